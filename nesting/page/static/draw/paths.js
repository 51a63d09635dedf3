/** Outlines as SVG paths. Drawings keep millimetres; y is turned here, so that text stays upright. */

/** @typedef {import("../geometry/points.js").Point} Point */

/** @param {readonly Point[] | null | undefined} line @param {boolean} [closed] @returns {string} */
export function pathOf(line, closed = false) {
  if (!line || line.length < 2) return "";
  let d = "";
  for (let i = 0; i < line.length; i++) d += `${i ? "L" : "M"}${round(line[i][0])} ${round(-line[i][1])}`;
  return closed ? `${d}Z` : d;
}

/** @param {number} n a hundredth of a millimetre is enough for any screen */
function round(n) {
  return Math.round(n * 100) / 100;
}

/** An arrow along a line of two points, with its head. @param {Point} from @param {Point} to @param {number} head mm */
export function arrowPath(from, to, head) {
  const a = Math.atan2(to[1] - from[1], to[0] - from[0]);
  /** @param {number} turn @returns {Point} */
  const barb = (turn) => [to[0] + head * Math.cos(a + turn), to[1] + head * Math.sin(a + turn)];
  return pathOf([from, to]) + pathOf([barb(2.6), to, barb(-2.6)]);
}

/** @param {import("../documents.js").Notch} notch @returns {string} a short line into the piece */
export function notchPath(notch) {
  const a = (notch.direction * Math.PI) / 180;
  const deep = Math.max(3, notch.depth || 5);
  return pathOf([notch.at, [notch.at[0] + deep * Math.cos(a), notch.at[1] + deep * Math.sin(a)]]);
}

/** @param {import("../documents.js").Drill} drill */
export function drillPath(drill) {
  const r = Math.max(2, drill.diameter / 2);
  const [x, y] = drill.at;
  return pathOf([[x - r, y], [x + r, y]]) + pathOf([[x, y - r], [x, y + r]]);
}
