/** Numbers as people read them. */

/** @param {number | null | undefined} mm @returns {string} "81.2 cm", "1.35 m", "3.5 mm" */
export function asLength(mm) {
  if (mm === null || mm === undefined || !Number.isFinite(mm)) return "–";
  const size = Math.abs(mm);
  if (size >= 999.5) return `${trim(mm / 1000, 3)} m`;
  if (size >= 10) return `${trim(mm / 10, 1)} cm`;
  return `${trim(mm, 1)} mm`;
}

/** @param {number} mm @returns {string} a length that something is at least: printed, it is never more than it is */
export function asLeast(mm) {
  return asLength(Math.floor(mm + 1e-6));
}

/** @param {number} mm @returns {string} always in centimetres, one decimal */
export function asCm(mm) {
  return `${trim(mm / 10, 1)} cm`;
}

/** @param {number | null | undefined} share @returns {string} "87 %" */
export function asShare(share) {
  return share === null || share === undefined ? "–" : `${trim(share * 100, 1)} %`;
}

/** @param {number | null | undefined} money @returns {string} */
export function asMoney(money) {
  return money === null || money === undefined ? "–" : money.toFixed(2);
}

/** @param {number} value @param {number} digits @returns {string} without idle zeros */
export function trim(value, digits) {
  const text = value.toFixed(digits);
  return text.includes(".") ? text.replace(/\.?0+$/, "").replace(/^-0$/, "0") : text;
}

/** @param {number} seconds @returns {string} "7 s", "2 min 05 s" */
export function asTime(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  return whole < 60 ? `${whole} s` : `${Math.floor(whole / 60)} min ${String(whole % 60).padStart(2, "0")} s`;
}

/** @param {number} n @param {string} one @param {string} [many] @returns {string} "1 piece", "3 pieces" */
export function counted(n, one, many = `${one}s`) {
  return `${n} ${n === 1 ? one : many}`;
}
