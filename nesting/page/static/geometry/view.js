/**
 * From millimetres to pixels of a drawing: one scale, y turned so that cloth is seen from above with y growing upwards.
 */

/** @typedef {import("./points.js").Point} Point @typedef {import("./points.js").Box} Box */

export class View {
  /** @param {number} scale pixels per mm @param {number} left pixel of x = 0 @param {number} base pixel of y = 0 */
  constructor(scale, left, base) {
    this.scale = scale;
    this.left = left;
    this.base = base;
    Object.freeze(this);
  }

  /**
   * All of a box in a window, as large as it will go.
   * @param {Box} box mm @param {number} width pixels @param {number} height pixels @param {number} [margin] pixels
   */
  static fitted(box, width, height, margin = 12) {
    const w = Math.max(1e-6, box.right - box.left);
    const h = Math.max(1e-6, box.high - box.low);
    const scale = Math.max(1e-4, Math.min((width - 2 * margin) / w, (height - 2 * margin) / h));
    return new View(scale, (width - w * scale) / 2 - box.left * scale, (height + h * scale) / 2 + box.low * scale);
  }

  /** @param {Point} p mm @returns {Point} pixels */
  toScreen(p) {
    return [this.left + p[0] * this.scale, this.base - p[1] * this.scale];
  }

  /** @param {Point} p pixels @returns {Point} mm */
  toCloth(p) {
    return [(p[0] - this.left) / this.scale, (this.base - p[1]) / this.scale];
  }

  /** @param {number} dx pixels @param {number} dy pixels @returns {View} */
  moved(dx, dy) {
    return new View(this.scale, this.left + dx, this.base + dy);
  }

  /**
   * @param {number} factor @param {Point} about the pixel that stays where it is
   * @param {number} [least] pixels per mm @param {number} [most] pixels per mm @returns {View}
   */
  zoomed(factor, about, least = 0.005, most = 20) {
    const scale = Math.min(most, Math.max(least, this.scale * factor));
    const f = scale / this.scale;
    return new View(scale, about[0] - (about[0] - this.left) * f, about[1] - (about[1] - this.base) * f);
  }

  /** @returns {string} the same as an SVG transform */
  transform() {
    return `matrix(${this.scale} 0 0 ${-this.scale} ${this.left} ${this.base})`;
  }
}
