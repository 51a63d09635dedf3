/**
 * Do two pieces meet? Judged on thinned outlines while a piece is dragged; the proof on the server has the last word.
 *
 * A *body* is a ring as numbers in a row, anticlockwise, with its box. A *wall* is what a body may not come nearer to than
 * its gap: another body (solid inside), or the edge of the cloth (solid outside: its ring is kept clockwise, and a body
 * that lies wholly outside is not found by distance alone).
 *
 * @typedef {import("./points.js").Point} Point
 * @typedef {import("./points.js").Box} Box
 * @typedef {{xs: Float64Array, box: Box}} Body  x0, y0, x1, y1, …
 * @typedef {{xs: Float64Array, box: Box, gap: number, hollow: boolean, id: string}} Wall
 */

import { boxMoved, boxOf, boxesMeet } from "./points.js";
import { anticlockwise, thinnedRing } from "./rings.js";

/** Contacts are judged on outlines thinned by this; mm. Far below what a hand can place, far above rounding. */
export const THIN = 0.05;

/** @param {readonly Point[]} ring @param {number} [thin] mm @returns {Body} */
export function bodyOf(ring, thin = THIN) {
  const points = anticlockwise(thin > 0 ? thinnedRing(ring, thin) : ring);
  return { xs: Float64Array.from(points.flat()), box: boxOf(points) };
}

/** @param {readonly Point[]} ring @param {number} gap mm @param {string} id @returns {Wall} */
export function solidWall(ring, gap, id) {
  return { ...bodyOf(ring), gap, hollow: false, id };
}

/** @param {readonly Point[]} ring inside of which a body has to stay @param {string} id @returns {Wall} */
export function hollowWall(ring, id) {
  const points = anticlockwise(thinnedRing(ring, THIN)).reverse();
  return { xs: Float64Array.from(points.flat()), box: boxOf(points), gap: 0, hollow: true, id };
}

/** @param {Float64Array} xs @param {number} x @param {number} y @returns {boolean} whether the ring holds the point */
export function inside(xs, x, y) {
  let within = false;
  const n = xs.length;
  for (let i = 0, j = n - 2; i < n; j = i, i += 2) {
    const ay = xs[i + 1];
    const by = xs[j + 1];
    if (ay > y !== by > y && x < ((xs[j] - xs[i]) * (y - ay)) / (by - ay) + xs[i]) within = !within;
  }
  return within;
}

/** Square of the distance of (x, y) from a segment. @param {number} x @param {number} y @param {number} ax @param {number} ay @param {number} bx @param {number} by */
export function squareFrom(x, y, ax, ay, bx, by) {
  const ux = bx - ax;
  const uy = by - ay;
  const square = ux * ux + uy * uy;
  let share = square > 0 ? ((x - ax) * ux + (y - ay) * uy) / square : 0;
  if (share < 0) share = 0;
  else if (share > 1) share = 1;
  const ox = x - ax - ux * share;
  const oy = y - ay - uy * share;
  return ox * ox + oy * oy;
}

/**
 * Whether a body, moved by (dx, dy), overlaps a wall or comes nearer to it than its gap.
 * @param {Body} body @param {number} dx @param {number} dy @param {Wall} wall
 * @param {number} [grace] mm nearer than the gap that still passes: outlines are thinned, and laid pieces touch
 */
export function meets(body, dx, dy, wall, grace = 2 * THIN) {
  const reach = wall.gap - grace;
  const box = boxMoved(body.box, dx, dy);
  if (wall.hollow) {
    if (box.left < wall.box.left - grace || box.right > wall.box.right + grace) return true;
    if (box.low < wall.box.low - grace || box.high > wall.box.high + grace) return true;
  } else if (!boxesMeet(box, wall.box, Math.max(0, reach))) return false;
  const a = body.xs;
  const b = wall.xs;
  // whole inside (or, of a hollow wall, whole outside): no edge needs to cross
  if (inside(b, a[0] + dx, a[1] + dy) !== wall.hollow && deepest(a, dx, dy, wall) > grace) return true;
  if (!wall.hollow && inside(a, b[0] - dx, b[1] - dy)) return true;
  const square = reach > 0 ? reach * reach : 0;
  const by = Math.max(reach, 0);
  const n = a.length;
  const m = b.length;
  for (let i = 0, k = n - 2; i < n; k = i, i += 2) {
    const px = a[k] + dx;
    const py = a[k + 1] + dy;
    const qx = a[i] + dx;
    const qy = a[i + 1] + dy;
    const l = Math.min(px, qx) - by;
    const r = Math.max(px, qx) + by;
    const d = Math.min(py, qy) - by;
    const u = Math.max(py, qy) + by;
    if (l > wall.box.right || r < wall.box.left || d > wall.box.high || u < wall.box.low) continue;
    for (let j = 0, h = m - 2; j < m; h = j, j += 2) {
      const cx = b[h];
      const cy = b[h + 1];
      const ex = b[j];
      const ey = b[j + 1];
      if ((cx < l && ex < l) || (cx > r && ex > r) || (cy < d && ey < d) || (cy > u && ey > u)) continue;
      if (square > 0) {
        if (squareFrom(px, py, cx, cy, ex, ey) < square || squareFrom(cx, cy, px, py, qx, qy) < square) return true;
      }
      if (crossDeep(px, py, qx, qy, cx, cy, ex, ey, grace)) return true;
    }
  }
  return false;
}

/**
 * Whether two segments cross with all four ends farther than `grace` from the other's line.
 * @param {number} px @param {number} py @param {number} qx @param {number} qy
 * @param {number} cx @param {number} cy @param {number} ex @param {number} ey @param {number} grace
 */
function crossDeep(px, py, qx, qy, cx, cy, ex, ey, grace) {
  const ux = qx - px;
  const uy = qy - py;
  const vx = ex - cx;
  const vy = ey - cy;
  const lu = Math.hypot(ux, uy);
  const lv = Math.hypot(vx, vy);
  if (lu === 0 || lv === 0) return false;
  const c = (ux * (cy - py) - uy * (cx - px)) / lu;
  const e = (ux * (ey - py) - uy * (ex - px)) / lu;
  const p = (vx * (py - cy) - vy * (px - cx)) / lv;
  const q = (vx * (qy - cy) - vy * (qx - cx)) / lv;
  return (c > grace ? e < -grace : c < -grace && e > grace) && (p > grace ? q < -grace : p < -grace && q > grace);
}

/** How deep the deepest corner of a ring lies on the solid side of a wall. @param {Float64Array} a @param {number} dx @param {number} dy @param {Wall} wall */
function deepest(a, dx, dy, wall) {
  let most = 0;
  for (let i = 0; i < a.length; i += 2) {
    const x = a[i] + dx;
    const y = a[i + 1] + dy;
    if (inside(wall.xs, x, y) === wall.hollow) continue;
    most = Math.max(most, nearestSquare(wall.xs, x, y));
  }
  return Math.sqrt(most);
}

/** @param {Float64Array} xs @param {number} x @param {number} y */
function nearestSquare(xs, x, y) {
  let least = Infinity;
  for (let j = 0, h = xs.length - 2; j < xs.length; h = j, j += 2) {
    least = Math.min(least, squareFrom(x, y, xs[h], xs[h + 1], xs[j], xs[j + 1]));
  }
  return least;
}

/**
 * About how deep a body overlaps a wall: the deepest corner of either in the other. Zero where they only come too near.
 * @param {Body} body @param {number} dx @param {number} dy @param {Wall} wall @returns {number} mm
 */
export function depth(body, dx, dy, wall) {
  let most = deepest(body.xs, dx, dy, wall);
  if (!wall.hollow) {
    for (let j = 0; j < wall.xs.length; j += 2) {
      const x = wall.xs[j] - dx;
      const y = wall.xs[j + 1] - dy;
      if (inside(body.xs, x, y)) most = Math.max(most, Math.sqrt(nearestSquare(body.xs, x, y)));
    }
  }
  return most;
}
