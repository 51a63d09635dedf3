import { Handler, WANDER } from "./handler.js";
import { View } from "../geometry/view.js";

/**
 * Move about in a drawing: drag the ground, wheel, two fingers, or the keys + − 0.
 *
 * @typedef {{svg: SVGSVGElement, view: View, setView: (view: View) => void, fit: () => void}} Drawing
 */
export class PanZoom extends Handler {
  /** @param {Drawing} drawing @param {(target: Element) => boolean} [isGround] what may be grabbed to move the whole */
  constructor(drawing, isGround = () => true) {
    super();
    this.drawing = drawing;
    this.isGround = isGround;
    /** @type {Map<number, [number, number]>} where each finger is */
    this.fingers = new Map();
    this.moved = false;
  }

  /** @override @param {AbortSignal} signal */
  begin(signal) {
    const svg = this.drawing.svg;
    svg.addEventListener("pointerdown", (e) => this.down(e), { signal });
    svg.addEventListener("pointermove", (e) => this.move(e), { signal });
    svg.addEventListener("pointerup", (e) => this.up(e), { signal });
    svg.addEventListener("pointercancel", (e) => this.up(e), { signal });
    svg.addEventListener("wheel", (e) => this.wheel(e), { signal, passive: false });
  }

  /** @override */
  cancel() {
    this.fingers.clear();
  }

  /** @param {PointerEvent} e @returns {[number, number]} */
  at(e) {
    const box = this.drawing.svg.getBoundingClientRect();
    return [e.clientX - box.left, e.clientY - box.top];
  }

  /** @param {PointerEvent} e */
  down(e) {
    if (e.button !== 0 && e.pointerType === "mouse") return;
    if (!(e.target instanceof Element) || !this.isGround(e.target)) return;
    this.fingers.set(e.pointerId, this.at(e));
    this.moved = false;
  }

  /** @param {PointerEvent} e */
  move(e) {
    const before = this.fingers.get(e.pointerId);
    if (!before) return;
    const now = this.at(e);
    if (!this.moved && Math.hypot(now[0] - before[0], now[1] - before[1]) < WANDER) return;
    if (!this.moved) {
      this.moved = true;
      this.drawing.svg.setPointerCapture(e.pointerId);
    }
    const other = [...this.fingers].find(([id]) => id !== e.pointerId)?.[1];
    let view = this.drawing.view;
    if (other) {
      const was = Math.hypot(before[0] - other[0], before[1] - other[1]);
      const is = Math.hypot(now[0] - other[0], now[1] - other[1]);
      if (was > 0) view = view.zoomed(is / was, other);
    } else view = view.moved(now[0] - before[0], now[1] - before[1]);
    this.fingers.set(e.pointerId, now);
    this.drawing.setView(view);
  }

  /** @param {PointerEvent} e */
  up(e) {
    this.fingers.delete(e.pointerId);
  }

  /** @param {WheelEvent} e */
  wheel(e) {
    // a plain wheel scrolls the page, as everywhere; with Ctrl (a pinch on a touch pad sends that, too) it zooms
    if (!e.ctrlKey && !e.metaKey) return;
    e.preventDefault();
    const box = this.drawing.svg.getBoundingClientRect();
    this.drawing.setView(this.drawing.view.zoomed(Math.exp(-e.deltaY * 0.002), [e.clientX - box.left, e.clientY - box.top]));
  }

  /** @param {KeyboardEvent} e @returns {boolean} whether the key was meant for this */
  key(e) {
    if (e.ctrlKey || e.altKey || e.metaKey) return false;
    const box = this.drawing.svg.getBoundingClientRect();
    if (e.key === "+" || e.key === "=") this.drawing.setView(this.drawing.view.zoomed(1.25, [box.width / 2, box.height / 2]));
    else if (e.key === "-") this.drawing.setView(this.drawing.view.zoomed(0.8, [box.width / 2, box.height / 2]));
    else if (e.key === "0") this.drawing.fit();
    else return false;
    return true;
  }
}
