/**
 * Points of the plane as pairs. Lengths are millimetres of cloth unless a function says otherwise; nothing here knows the page.
 *
 * @typedef {readonly [number, number]} Point
 * @typedef {{left: number, right: number, low: number, high: number}} Box
 */

/** @param {Point} a @param {Point} b @returns {number} distance in the unit of the points */
export function distance(a, b) {
  return Math.hypot(b[0] - a[0], b[1] - a[1]);
}

/** @param {Point} a @param {Point} b @param {number} share 0 gives a, 1 gives b @returns {Point} */
export function between(a, b, share) {
  return [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share];
}

/** @param {Point} p @param {number} degrees anticlockwise, about the origin @returns {Point} */
export function turned(p, degrees) {
  // quarter turns are exact: a lay at 180 degrees must not gain a billionth of a millimetre by being drawn
  const quarter = ((degrees % 360) + 360) % 360;
  if (quarter === 0) return [p[0], p[1]];
  if (quarter === 90) return [-p[1], p[0]];
  if (quarter === 180) return [-p[0], -p[1]];
  if (quarter === 270) return [p[1], -p[0]];
  const angle = (degrees * Math.PI) / 180;
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  return [p[0] * c - p[1] * s, p[0] * s + p[1] * c];
}

/**
 * The point of the segment a–b nearest to p.
 * @param {Point} p @param {Point} a @param {Point} b
 * @returns {{at: Point, share: number, away: number}} the point, where it lies between a and b (0 to 1), its distance
 */
export function nearestOn(p, a, b) {
  const ux = b[0] - a[0];
  const uy = b[1] - a[1];
  const square = ux * ux + uy * uy;
  const raw = square > 0 ? ((p[0] - a[0]) * ux + (p[1] - a[1]) * uy) / square : 0;
  const share = Math.min(1, Math.max(0, raw));
  const at = between(a, b, share);
  return { at, share, away: distance(p, at) };
}

/** @param {Iterable<Point>} points @returns {Box} of no points: an empty box (left > right) */
export function boxOf(points) {
  let left = Infinity;
  let right = -Infinity;
  let low = Infinity;
  let high = -Infinity;
  for (const [x, y] of points) {
    if (x < left) left = x;
    if (x > right) right = x;
    if (y < low) low = y;
    if (y > high) high = y;
  }
  return { left, right, low, high };
}

/** @param {Box} a @param {Box} b @param {number} [gap] @returns {boolean} whether they come nearer than the gap */
export function boxesMeet(a, b, gap = 0) {
  return a.left <= b.right + gap && b.left <= a.right + gap && a.low <= b.high + gap && b.low <= a.high + gap;
}

/** @param {Box} a @param {Box} b @returns {Box} the box round both */
export function boxRound(a, b) {
  return {
    left: Math.min(a.left, b.left),
    right: Math.max(a.right, b.right),
    low: Math.min(a.low, b.low),
    high: Math.max(a.high, b.high),
  };
}

/** @param {Box} box @param {number} dx @param {number} dy @returns {Box} */
export function boxMoved(box, dx, dy) {
  return { left: box.left + dx, right: box.right + dx, low: box.low + dy, high: box.high + dy };
}
