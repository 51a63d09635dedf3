/** Marks on an axis. */

/**
 * @param {number} most the largest value @param {number} wanted about how many steps
 * @returns {number[]} from 0 on, 1, 2 or 5 times a power of ten apart, up to the first that reaches `most`
 */
export function marks(most, wanted) {
  if (!(most > 0) || !(wanted > 0)) return [0];
  const raw = most / wanted;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const step = ten * ([1, 2, 5, 10].find((k) => k * ten >= raw * (1 - 1e-9)) ?? 10);
  return Array.from({ length: Math.ceil(most / step - 1e-9) + 1 }, (_, i) => i * step);
}
