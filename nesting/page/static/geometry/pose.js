/**
 * How a piece lies on the cloth: flipped first (y becomes −y), then turned anticlockwise, then moved. The cloth's x runs
 * along its length from the cut end, y across it, seen from above.
 *
 * @typedef {{x: number, y: number, turn: number, flipped: boolean}} Pose  x, y in mm, turn in degrees
 * @typedef {import("./points.js").Point} Point
 */

import { turned } from "./points.js";

/** @param {readonly Point[]} line in the piece's frame @param {Pose} pose @returns {Point[]} on the cloth */
export function placed(line, pose) {
  return line.map((p) => {
    const [x, y] = turned(pose.flipped ? [p[0], -p[1]] : p, pose.turn);
    return [x + pose.x, y + pose.y];
  });
}

/** @param {readonly Point[]} line on the cloth @param {Pose} pose @returns {Point[]} in the piece's frame */
export function unplaced(line, pose) {
  return line.map((p) => {
    const [x, y] = turned([p[0] - pose.x, p[1] - pose.y], -pose.turn);
    return [x, pose.flipped ? -y : y];
  });
}

/** @param {number} degrees @returns {number} the same turn from 0 up to 360 */
export function wholeTurn(degrees) {
  return ((degrees % 360) + 360) % 360;
}
