/**
 * Closed outlines (rings: the first point is not repeated at the end) and open lines.
 */

import { between, distance, nearestOn } from "./points.js";

/** @typedef {import("./points.js").Point} Point */

/** @param {readonly Point[]} ring @returns {number} mm2, positive for an anticlockwise ring */
export function areaOf(ring) {
  let twice = 0;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    twice += ring[j][0] * ring[i][1] - ring[i][0] * ring[j][1];
  }
  return twice / 2;
}

/** @param {readonly Point[]} ring @returns {Point[]} the same ring, anticlockwise */
export function anticlockwise(ring) {
  return areaOf(ring) < 0 ? [...ring].reverse() : [...ring];
}

/** @param {Point} p @param {readonly Point[]} ring @returns {boolean} whether p lies inside (even-odd) */
export function holds(ring, p) {
  let inside = false;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const a = ring[i];
    const b = ring[j];
    if (a[1] > p[1] !== b[1] > p[1] && p[0] < ((b[0] - a[0]) * (p[1] - a[1])) / (b[1] - a[1]) + a[0]) inside = !inside;
  }
  return inside;
}

/** @param {readonly Point[]} line @returns {number} length of an open line */
export function lengthOf(line) {
  let sum = 0;
  for (let i = 1; i < line.length; i++) sum += distance(line[i - 1], line[i]);
  return sum;
}

/**
 * @param {readonly Point[]} line open, at least one point
 * @param {number} along how far from its beginning; beyond either end gives that end
 * @returns {Point}
 */
export function pointAlong(line, along) {
  let left = Math.max(0, along);
  for (let i = 1; i < line.length; i++) {
    const step = distance(line[i - 1], line[i]);
    if (left <= step && step > 0) return between(line[i - 1], line[i], left / step);
    left -= step;
  }
  return line[line.length - 1];
}

/**
 * The part of a ring from one corner to another, in the order of its points.
 * @param {readonly Point[]} ring @param {number} from index @param {number} to index; the same as from: all the way round
 * @returns {Point[]}
 */
export function partOf(ring, from, to) {
  const part = [ring[from]];
  for (let i = (from + 1) % ring.length; ; i = (i + 1) % ring.length) {
    part.push(ring[i]);
    if (i === to) return part;
    if (part.length > ring.length + 1) return part;
  }
}

/**
 * Where a line comes nearest to a point.
 * @param {Point} p @param {readonly Point[]} line @param {boolean} [closed]
 * @returns {{at: Point, index: number, share: number, away: number}} index of the segment's first point
 */
export function nearestAlong(p, line, closed = false) {
  let best = { at: line[0], index: 0, share: 0, away: distance(p, line[0]) };
  const end = closed ? line.length : line.length - 1;
  for (let i = 0; i < end; i++) {
    const near = nearestOn(p, line[i], line[(i + 1) % line.length]);
    if (near.away < best.away) best = { ...near, index: i };
  }
  return best;
}

/**
 * Fewer points, none of the dropped ones farther than `tolerance` from what is kept (Douglas and Peucker, 1973).
 * Outlines come flattened to a hundredth of a millimetre, which no screen shows: thinning makes drawing and judging quick.
 * @param {readonly Point[]} line open @param {number} tolerance
 * @returns {Point[]}
 */
export function thinned(line, tolerance) {
  if (line.length < 3) return [...line];
  const keep = new Uint8Array(line.length);
  keep[0] = 1;
  keep[line.length - 1] = 1;
  /** @type {[number, number][]} */
  const open = [[0, line.length - 1]];
  for (let part = open.pop(); part; part = open.pop()) {
    const [from, to] = part;
    let worst = tolerance;
    let at = -1;
    for (let i = from + 1; i < to; i++) {
      const { away } = nearestOn(line[i], line[from], line[to]);
      if (away > worst) {
        worst = away;
        at = i;
      }
    }
    if (at > 0) {
      keep[at] = 1;
      open.push([from, at], [at, to]);
    }
  }
  return line.filter((_, i) => keep[i] === 1);
}

/** @param {readonly Point[]} ring closed @param {number} tolerance @returns {Point[]} */
export function thinnedRing(ring, tolerance) {
  if (ring.length < 5) return [...ring];
  // a ring has no ends to keep: it is cut at its first point and the one farthest from there
  let far = 1;
  for (let i = 2; i < ring.length; i++) if (distance(ring[0], ring[i]) > distance(ring[0], ring[far])) far = i;
  const first = thinned(ring.slice(0, far + 1), tolerance);
  const second = thinned([...ring.slice(far), ring[0]], tolerance);
  const thin = [...first, ...second.slice(1, -1)];
  return thin.length >= 3 ? thin : [...ring];
}

/**
 * Angle by which the line turns at a point of a ring, degrees, positive to the left.
 * @param {readonly Point[]} ring @param {number} index
 */
export function bendAt(ring, index) {
  const n = ring.length;
  const a = ring[(index + n - 1) % n];
  const b = ring[index];
  const c = ring[(index + 1) % n];
  const ux = b[0] - a[0];
  const uy = b[1] - a[1];
  const vx = c[0] - b[0];
  const vy = c[1] - b[1];
  return (Math.atan2(ux * vy - uy * vx, ux * vx + uy * vy) * 180) / Math.PI;
}
