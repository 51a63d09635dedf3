import { Handler } from "./handler.js";

/**
 * A knob that is dragged by hand or moved with the arrow keys: the grain's end, a line of an alteration, a corner of the
 * projected rectangle.
 *
 * `moved` hears every step, `done` the end; `cancelled` the Escape key, which puts things back as they were.
 */
export class DragKnob extends Handler {
  /**
   * @param {SVGElement} knob
   * @param {{
   *   at: (e: PointerEvent) => readonly [number, number], nudge: (dx: number, dy: number) => readonly [number, number],
   *   moved: (p: readonly [number, number]) => void, done: (p: readonly [number, number]) => void, cancelled: () => void,
   *   step?: number, coarse?: number,
   * }} how  at: place of a pointer; nudge: place after one arrow key (dx, dy in steps, y upwards)
   */
  constructor(knob, how) {
    super();
    this.knob = knob;
    this.how = how;
    /** @type {number | null} */
    this.pointer = null;
    /** @type {readonly [number, number] | null} */
    this.last = null;
    this.timer = 0;
  }

  /** @override @param {AbortSignal} signal */
  begin(signal) {
    const knob = this.knob;
    knob.addEventListener(
      "pointerdown",
      (e) => {
        if (e.button !== 0) return;
        e.stopPropagation();
        e.preventDefault();
        this.pointer = e.pointerId;
        knob.setPointerCapture(e.pointerId);
        knob.focus({ preventScroll: true });
      },
      { signal },
    );
    knob.addEventListener(
      "pointermove",
      (e) => {
        if (e.pointerId !== this.pointer) return;
        this.last = this.how.at(e);
        this.how.moved(this.last);
      },
      { signal },
    );
    const end = (/** @type {PointerEvent} */ e) => {
      if (e.pointerId !== this.pointer) return;
      this.pointer = null;
      if (this.last) this.how.done(this.last);
      this.last = null;
    };
    knob.addEventListener("pointerup", end, { signal });
    knob.addEventListener("pointercancel", end, { signal });
    knob.addEventListener(
      "keydown",
      (e) => {
        if (e.key === "Escape" && (this.pointer !== null || this.last)) {
          e.stopPropagation();
          this.cancel();
          return;
        }
        const step = e.shiftKey ? (this.how.coarse ?? 10) : (this.how.step ?? 1);
        const way = ARROWS[e.key];
        if (!way || e.ctrlKey || e.altKey) return;
        e.preventDefault();
        e.stopPropagation();
        this.last = this.how.nudge(way[0] * step, way[1] * step);
        this.how.moved(this.last);
        clearTimeout(this.timer);
        // several presses are one step
        this.timer = window.setTimeout(() => this.settle(), 450);
      },
      { signal },
    );
    knob.addEventListener("blur", () => this.settle(), { signal });
  }

  settle() {
    clearTimeout(this.timer);
    if (this.pointer !== null || !this.last) return;
    const last = this.last;
    this.last = null;
    this.how.done(last);
  }

  /** @override */
  cancel() {
    clearTimeout(this.timer);
    const was = this.pointer !== null || this.last !== null;
    this.pointer = null;
    this.last = null;
    if (was) this.how.cancelled();
  }
}

/** @type {Record<string, [number, number]>} */
export const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
