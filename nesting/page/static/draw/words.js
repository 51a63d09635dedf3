/** Numbers as people read them. */

const INCH = 25.4;
const YARD = 914.4;

/** Whether lengths are told in inches and yards, as the order's own are. */
let inches = false;

/** What bare numbers of the order are in: lengths are told alike. @param {string} units */
export function tellIn(units) {
  inches = units === "in" || units === "yd";
}

/** @returns {boolean} whether lengths are told in inches */
export function inInches() {
  return inches;
}

/** @param {string} metric @param {string} imperial @returns {string} the example that suits the order */
export function example(metric, imperial) {
  return inches ? imperial : metric;
}

/** @param {number | null | undefined} mm @returns {string} "81.2 cm", "1.35 m", "3.5 mm"; "1 3/8 yd", "14 1/16 in" */
export function asLength(mm) {
  if (mm === null || mm === undefined || !Number.isFinite(mm)) return "–";
  const size = Math.abs(mm);
  if (inches) {
    const eighths = size / (YARD / 8);
    // yards only where they are exact, as shops sell them
    if (eighths > 0.5 && Math.abs(eighths - Math.round(eighths)) * (YARD / 8) < 1e-3) return `${mm < 0 ? "-" : ""}${fraction(eighths / 8, 8)} yd`;
    if (size > 0 && size < INCH / 8) return `${trim(mm / INCH, 3)} in`;
    return `${mm < 0 ? "-" : ""}${fraction(size / INCH, 16)} in`;
  }
  if (size >= 999.5) return `${trim(mm / 1000, 3)} m`;
  if (size >= 10) return `${trim(mm / 10, 1)} cm`;
  return `${trim(mm, 1)} mm`;
}

/** @param {number} mm @returns {string} a length that something is at least: printed, it is never more than it is */
export function asLeast(mm) {
  return asLength(inches ? Math.floor((mm / INCH) * 16 + 1e-6) * (INCH / 16) : Math.floor(mm + 1e-6));
}

/** @param {number} mm @returns {string} a length to buy: printed, it is never less than it is */
export function asEnough(mm) {
  const step = inches ? INCH / 16 : 1;
  return asLength(Math.ceil(mm / step - 1e-4) * step);
}

/** @param {number} mm @returns {string} never in metres or yards: centimetres with one decimal, or sixteenths of an inch */
export function asTape(mm) {
  return inches ? `${mm < 0 ? "-" : ""}${fraction(Math.abs(mm) / INCH, 16)} in` : `${trim(mm / 10, 1)} cm`;
}

/** @param {number} value @param {number} parts @returns {string} to the nearest part: "1 3/8", "5/8", "2" */
function fraction(value, parts) {
  const all = Math.round(value * parts);
  const whole = Math.floor(all / parts);
  let [over, under] = [all % parts, parts];
  if (!over) return String(whole);
  while (over % 2 === 0) [over, under] = [over / 2, under / 2];
  return `${whole ? `${whole} ` : ""}${over}/${under}`;
}

/**
 * What was typed, only to draw a line there; the server reads the text itself. Bare numbers are in centimetres or inches.
 * @param {string} text "14.5 cm", "5 3/4 in", "5 3/4" @returns {number | null} mm
 */
export function inMm(text) {
  const m = /^\s*(-?)(?:(\d+(?:[.,]\d+)?|[.,]\d+)(?:\s+(\d+)\/(\d+))?|(\d+)\/(\d+))\s*(mm|cm|m|in|"|ft|yd)?\s*$/.exec(text);
  if (!m) return null;
  const [over, under] = [Number(m[3] ?? m[5] ?? 0), Number(m[4] ?? m[6] ?? 1)];
  if (under === 0) return null;
  const n = Number((m[2] ?? "0").replace(",", ".")) + over / under;
  const unit = m[7] === '"' ? "in" : (m[7] ?? (inches ? "in" : "cm"));
  return (m[1] ? -n : n) * ({ mm: 1, cm: 10, m: 1000, in: INCH, ft: 12 * INCH, yd: YARD }[unit] ?? 10);
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
