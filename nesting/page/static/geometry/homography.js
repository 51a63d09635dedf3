/**
 * Plane to plane by four corners: how a projector that hangs askew sees the table.
 *
 * A homography takes (x, y) to ((ax + by + c) / (gx + hy + 1), (dx + ey + f) / (gx + hy + 1)); four corners, no three of
 * them on a line, fix its eight numbers (Hartley and Zisserman, Multiple View Geometry, 2nd ed., section 2.3 and 4.1).
 *
 * @typedef {import("./points.js").Point} Point
 * @typedef {readonly [number, number, number, number, number, number, number, number]} Homography
 */

/** How nearly in a line three corners may lie: the smallest share of the largest triangle among the four. */
const FLATTEST = 0.01;

/** @param {Point} a @param {Point} b @param {Point} c */
function cross(a, b, c) {
  return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

/**
 * Whether four corners in order go round a convex figure: anything else cannot be a rectangle seen from somewhere.
 * @param {readonly Point[]} corners four @returns {boolean}
 */
export function isConvex(corners) {
  const turns = corners.map((_, i) => cross(corners[i], corners[(i + 1) % 4], corners[(i + 2) % 4]));
  const most = Math.max(...turns.map(Math.abs));
  return most > 0 && (turns.every((t) => t > FLATTEST * most) || turns.every((t) => t < -FLATTEST * most));
}

/**
 * @param {readonly Point[]} from four corners @param {readonly Point[]} to where they must land
 * @returns {Homography}
 * @throws {RangeError} if either four are not the corners of a convex figure
 */
export function homography(from, to) {
  if (!isConvex(from) || !isConvex(to)) throw new RangeError("the four corners must go round a figure without a dent");
  // scaled to about one first: pixels and millimetres side by side would lose half the digits
  const a = scaling(from);
  const b = scaling(to);
  const rows = from.map((p, i) => [scaled(p, a), scaled(to[i], b)]).flatMap(([[x, y], [u, v]]) => [
    [x, y, 1, 0, 0, 0, -u * x, -u * y, u],
    [0, 0, 0, x, y, 1, -v * x, -v * y, v],
  ]);
  const h = [...solved(rows), 1];
  const t1 = [1 / a.size, 0, -a.x / a.size, 0, 1 / a.size, -a.y / a.size, 0, 0, 1];
  const t2 = [b.size, 0, b.x, 0, b.size, b.y, 0, 0, 1];
  const m = times(t2, times(h, t1));
  return /** @type {Homography} */ (/** @type {unknown} */ (m.slice(0, 8).map((n) => n / m[8])));
}

/** @param {Homography} h @param {Point} p @returns {Point} */
export function seen(h, p) {
  const w = h[6] * p[0] + h[7] * p[1] + 1;
  return [(h[0] * p[0] + h[1] * p[1] + h[2]) / w, (h[3] * p[0] + h[4] * p[1] + h[5]) / w];
}

/** Whether p lies on the side of the horizon on which the corners lie. @param {Homography} h @param {Point} p */
export function isInFront(h, p) {
  return h[6] * p[0] + h[7] * p[1] + 1 > 1e-6;
}

/** @param {Homography} h @returns {Homography} the way back */
export function reversed(h) {
  const [a, b, c, d, e, f, g, i] = h;
  const m = [
    e - f * i, c * i - b, b * f - c * e,
    f * g - d, a - c * g, c * d - a * f,
    d * i - e * g, b * g - a * i, a * e - b * d,
  ];
  return /** @type {Homography} */ (/** @type {unknown} */ (m.slice(0, 8).map((n) => n / m[8])));
}

/** @param {readonly Point[]} points */
function scaling(points) {
  const x = points.reduce((sum, p) => sum + p[0], 0) / points.length;
  const y = points.reduce((sum, p) => sum + p[1], 0) / points.length;
  const size = Math.max(...points.map((p) => Math.hypot(p[0] - x, p[1] - y)));
  return { x, y, size };
}

/** @param {Point} p @param {{x: number, y: number, size: number}} s @returns {Point} */
function scaled(p, s) {
  return [(p[0] - s.x) / s.size, (p[1] - s.y) / s.size];
}

/** @param {readonly number[]} a @param {readonly number[]} b 3 × 3, row by row */
function times(a, b) {
  const out = new Array(9).fill(0);
  for (let r = 0; r < 3; r++)
    for (let c = 0; c < 3; c++) for (let k = 0; k < 3; k++) out[3 * r + c] += a[3 * r + k] * b[3 * k + c];
  return out;
}

/** Gauss with the largest pivot. @param {number[][]} rows n rows of n + 1 @returns {number[]} */
function solved(rows) {
  const n = rows.length;
  const m = rows.map((row) => [...row]);
  for (let col = 0; col < n; col++) {
    let pivot = col;
    for (let r = col + 1; r < n; r++) if (Math.abs(m[r][col]) > Math.abs(m[pivot][col])) pivot = r;
    [m[col], m[pivot]] = [m[pivot], m[col]];
    for (let r = 0; r < n; r++) {
      if (r === col) continue;
      const f = m[r][col] / m[col][col];
      if (f !== 0) for (let c = col; c <= n; c++) m[r][c] -= f * m[col][c];
    }
  }
  return m.map((row, i) => row[n] / row[i]);
}
