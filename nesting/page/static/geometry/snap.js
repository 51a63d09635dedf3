/**
 * Snapping: a coordinate goes to the nearest place that means something, if one is near enough.
 *
 * @typedef {{at: number, why: string}} Mark  a place for a coordinate (mm) and its name, as "fold" or "stripe"
 */

/**
 * @param {number} value @param {readonly Mark[]} marks @param {number} near mm
 * @returns {{at: number, why: string | null}}
 */
export function snapped(value, marks, near) {
  let best = { at: value, why: /** @type {string | null} */ (null) };
  let least = near;
  for (const mark of marks) {
    const away = Math.abs(mark.at - value);
    if (away <= least) {
      least = away;
      best = { at: mark.at, why: mark.why };
    }
  }
  return best;
}

/**
 * The mark of a repeat nearest to a value: first, first + repeat, …
 * @param {number} value @param {number} repeat mm, above zero @param {number} first mm @param {string} why
 * @returns {Mark}
 */
export function nearestRepeat(value, repeat, first, why) {
  return { at: first + Math.round((value - first) / repeat) * repeat, why };
}

/**
 * @param {number} degrees @param {readonly number[]} allowed degrees @returns {number} the allowed turn next to it, going round
 */
export function nearestTurn(degrees, allowed) {
  let best = allowed[0] ?? 0;
  let least = Infinity;
  for (const turn of allowed) {
    const away = Math.abs(((degrees - turn + 540) % 360) - 180);
    if (away < least) {
      least = away;
      best = turn;
    }
  }
  return best;
}
