/**
 * A drawing that one moves about in: an SVG that fills its place, in millimetres, y downwards on paper and upwards in the
 * millimetres (see `paths`).
 */

import { s } from "./dom.js";
import { View } from "../geometry/view.js";
import { PanZoom } from "../handlers/pan-zoom.js";

/** @typedef {import("../geometry/points.js").Box} Box @typedef {import("../geometry/points.js").Point} Point */

export class Board {
  /**
   * @param {string} label what the drawing shows, for those who do not see it
   * @param {(target: Element) => boolean} [isGround]
   */
  constructor(label, isGround = () => true) {
    this.layer = s("g", { class: "world" });
    this.svg = s("svg", { class: "board", role: "group", "aria-label": label }, this.layer);
    this.view = new View(1, 0, 0);
    /** @type {Box} */
    this.box = { left: 0, right: 100, low: 0, high: 100 };
    this.touched = false;
    this.panZoom = new PanZoom(this, isGround).enable();
    /** @type {(() => void) | null} */
    this.zoomed = null;
    this.sizes = new ResizeObserver(() => {
      if (!this.touched) this.fit();
    });
    this.sizes.observe(this.svg);
  }

  /** @param {Box} box what `fit` shows, mm */
  show(box) {
    const same = ["left", "right", "low", "high"].every((k) => Math.abs(/** @type {any} */ (box)[k] - /** @type {any} */ (this.box)[k]) < 0.5);
    this.box = box;
    if (!same && !this.touched) this.fit();
  }

  fit() {
    const { width, height } = this.svg.getBoundingClientRect();
    if (width < 10 || height < 10) return;
    this.setView(View.fitted(this.box, width, height, 16));
    this.touched = false;
  }

  /** @param {View} view */
  setView(view) {
    const scaled = view.scale !== this.view.scale;
    this.view = view;
    this.touched = true;
    this.layer.setAttribute("transform", `translate(${view.left} ${view.base}) scale(${view.scale})`);
    if (scaled) this.zoomed?.();
  }

  /** @param {PointerEvent | MouseEvent} e @returns {[number, number]} mm */
  at(e) {
    const box = this.svg.getBoundingClientRect();
    const [x, y] = this.view.toCloth([e.clientX - box.left, e.clientY - box.top]);
    return [x, y];
  }

  leave() {
    this.panZoom.disable();
    this.sizes.disconnect();
  }
}
