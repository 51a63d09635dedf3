/**
 * A body that is pushed slides along what is in its way.
 *
 * How far may it go? Two outlines come nearest to each other at a corner of one of them, so the first contact of a push is
 * found by sending every corner of the body against every edge of a wall, thickened by the gap, and every corner of the
 * wall, backwards, against every edge of the body. At the contact the rest of the push loses what points into the wall.
 */

import { boxMoved, boxRound, boxesMeet } from "./points.js";
import { meets, squareFrom } from "./meeting.js";

/** @typedef {import("./meeting.js").Body} Body @typedef {import("./meeting.js").Wall} Wall */

/** A push stops this far before contact, mm: what is told to the proof must not touch by rounding. */
const SHY = 0.02;

/** Contacts one push may slide past: a corner takes two, a pocket of curves a few more. */
const CONTACTS = 8;

/**
 * @param {Body} body @param {readonly Wall[]} walls
 * @param {number} fromX where the body is (moved from its own coordinates), free there
 * @param {number} fromY
 * @param {number} toX where it is pushed to @param {number} toY
 * @returns {{x: number, y: number, touched: string[]}} where it ends, and the walls it slid along
 */
export function slide(body, walls, fromX, fromY, toX, toY) {
  let x = fromX;
  let y = fromY;
  let dx = toX - x;
  let dy = toY - y;
  /** @type {Set<string>} */
  const touched = new Set();
  /** @type {[number, number][]} */
  const faces = [];
  const near = walls.filter((w) => {
    const way = boxRound(boxMoved(body.box, fromX, fromY), boxMoved(body.box, toX, toY));
    // a slide may leave the straight way sideways by the length of the push
    const wide = Math.hypot(dx, dy) / 2;
    return w.hollow || boxesMeet(way, w.box, w.gap + wide);
  });
  // the nearest first: once it is met, what lies behind it is out of reach
  const start = boxMoved(body.box, fromX, fromY);
  const far = new Map(near.map((w) => [w, apart(start, w.box)]));
  near.sort((v, w) => (far.get(v) ?? 0) - (far.get(w) ?? 0));
  for (let round = 0; round < CONTACTS && Math.hypot(dx, dy) > 1e-3; round++) {
    const hit = firstContact(body, near, x, y, dx, dy);
    x += dx * hit.share;
    y += dy * hit.share;
    if (!hit.wall) break;
    touched.add(hit.wall.id);
    dx *= 1 - hit.share;
    dy *= 1 - hit.share;
    faces.push([hit.nx, hit.ny]);
    [dx, dy] = along(dx, dy, faces);
  }
  // a last look: what rounding let through is taken back
  if (near.some((w) => meets(body, x, y, w))) return { x: fromX, y: fromY, touched: [...touched] };
  return { x, y, touched: [...touched] };
}

/** How far two boxes are apart, along one of the axes at least, mm. @param {import("./points.js").Box} a @param {import("./points.js").Box} b */
function apart(a, b) {
  return Math.max(0, a.left - b.right, b.left - a.right, a.low - b.high, b.low - a.high);
}

/**
 * What is left of a push that may not go against any of the faces met so far.
 * @param {number} dx @param {number} dy @param {readonly [number, number][]} faces outward normals
 * @returns {[number, number]}
 */
function along(dx, dy, faces) {
  const last = faces[faces.length - 1];
  const into = dx * last[0] + dy * last[1];
  if (into >= 0) return [dx, dy];
  const sx = dx - last[0] * into;
  const sy = dy - last[1] * into;
  // wedged between two faces: nothing is left
  const long = Math.hypot(sx, sy);
  for (const [nx, ny] of faces.slice(0, -1)) if (sx * nx + sy * ny < -0.02 * long) return [0, 0];
  return [sx, sy];
}

/**
 * @param {Body} body @param {readonly Wall[]} walls @param {number} x @param {number} y @param {number} dx @param {number} dy
 * @returns {{share: number, nx: number, ny: number, wall: Wall | null}}
 */
export function firstContact(body, walls, x, y, dx, dy) {
  const best = { share: 1, nx: 0, ny: 0, wall: /** @type {Wall | null} */ (null) };
  const a = body.xs;
  const start = boxMoved(body.box, x, y);
  for (const wall of walls) {
    const r = wall.gap + SHY;
    // only as far as the earliest contact so far
    if (!boxesMeet(boxRound(start, boxMoved(start, dx * best.share, dy * best.share)), wall.box, r)) continue;
    const b = wall.xs;
    const n = a.length;
    const m = b.length;
    for (let i = 0, k = n - 2; i < n; k = i, i += 2) {
      const px = a[k] + x;
      const py = a[k + 1] + y;
      const qx = a[i] + x;
      const qy = a[i + 1] + y;
      // the edge k–i of the body, swept, thickened
      const sx = dx * best.share;
      const sy = dy * best.share;
      const l = Math.min(px, qx) + Math.min(0, sx) - r;
      const h = Math.max(px, qx) + Math.max(0, sx) + r;
      const d = Math.min(py, qy) + Math.min(0, sy) - r;
      const u = Math.max(py, qy) + Math.max(0, sy) + r;
      if (l > wall.box.right || h < wall.box.left || d > wall.box.high || u < wall.box.low) continue;
      for (let j = 0, g = m - 2; j < m; g = j, j += 2) {
        const cx = b[g];
        const cy = b[g + 1];
        const ex = b[j];
        const ey = b[j + 1];
        if ((cx < l && ex < l) || (cx > h && ex > h) || (cy < d && ey < d) || (cy > u && ey > u)) continue;
        // a corner of the body against an edge of the wall, and the other way round
        against(best, wall, px, py, dx, dy, cx, cy, ex, ey, r, 1);
        against(best, wall, cx, cy, -dx, -dy, px, py, qx, qy, r, -1);
      }
    }
  }
  if (best.wall && best.share < 0) best.share = 0;
  return best;
}

/**
 * A point sent along (dx, dy) against a segment thickened by r; keeps the contact if it is the earliest. `way` is 1 if the
 * point is the body's, −1 if it is the wall's and the body is what moves.
 * @param {{share: number, nx: number, ny: number, wall: Wall | null}} best @param {Wall} wall
 * @param {number} px @param {number} py @param {number} dx @param {number} dy
 * @param {number} ax @param {number} ay @param {number} bx @param {number} by @param {number} r @param {number} way
 */
function against(best, wall, px, py, dx, dy, ax, ay, bx, by, r, way) {
  const ux = bx - ax;
  const uy = by - ay;
  const long = Math.hypot(ux, uy);
  if (long === 0) return;
  // outside of an anticlockwise ring is to the right of its edges
  const nx = uy / long;
  const ny = -ux / long;
  const away = (px - ax) * nx + (py - ay) * ny;
  const speed = dx * nx + dy * ny;
  if (squareFrom(px, py, ax, ay, bx, by) <= r * r) {
    // near already: only what brings it nearer is stopped
    const share = Math.min(1, Math.max(0, ((px - ax) * ux + (py - ay) * uy) / (long * long)));
    let cx = px - ax - ux * share;
    let cy = py - ay - uy * share;
    const off = Math.hypot(cx, cy);
    if (off < 1e-9 || away < 0) {
      cx = nx;
      cy = ny;
    } else {
      cx /= off;
      cy /= off;
    }
    if (dx * cx + dy * cy < -1e-9 && best.share > 0) keep(best, wall, 0, cx * way, cy * way);
    return;
  }
  if (speed < 0 && away >= r) {
    const t = (away - r) / -speed;
    if (t < best.share) {
      const s = ((px + dx * t - ax) * ux + (py + dy * t - ay) * uy) / (long * long);
      if (s >= 0 && s <= 1) {
        keep(best, wall, t, nx * way, ny * way);
        return;
      }
    }
  }
  // the round end at a; the one at b belongs to the next edge of the ring
  const ox = px - ax;
  const oy = py - ay;
  const A = dx * dx + dy * dy;
  const B = ox * dx + oy * dy;
  const C = ox * ox + oy * oy - r * r;
  if (B >= 0 || C < 0) return;
  const root = B * B - A * C;
  if (root < 0) return;
  const t = (-B - Math.sqrt(root)) / A;
  if (t >= 0 && t < best.share) keep(best, wall, t, ((ox + dx * t) / r) * way, ((oy + dy * t) / r) * way);
}

/**
 * @param {{share: number, nx: number, ny: number, wall: Wall | null}} best @param {Wall} wall
 * @param {number} share @param {number} nx @param {number} ny
 */
function keep(best, wall, share, nx, ny) {
  best.share = share;
  best.nx = nx;
  best.ny = ny;
  best.wall = wall;
}

/**
 * Where a piece goes that is pulled to a place: right there if the place is free, else as far as it slides.
 * @param {Body} body @param {readonly Wall[]} walls @param {number} fromX @param {number} fromY @param {number} toX @param {number} toY
 * @returns {{x: number, y: number, touched: string[]}}
 */
export function pulled(body, walls, fromX, fromY, toX, toY) {
  if (!walls.some((w) => meets(body, toX, toY, w, 0))) return { x: toX, y: toY, touched: [] };
  return slide(body, walls, fromX, fromY, toX, toY);
}
