/**
 * On the cloth: the lay as a projector throws it, true to scale on the table. Points are taken through the homography one by
 * one, so lines stay thin and straight, and what is drawn at a corner lies at that corner.
 */

import { h, redraw, s } from "../draw/dom.js";
import { button, field } from "../draw/kit.js";
import { asLength, asTape, example, inInches, inMm, trim } from "../draw/words.js";
import { homography, isConvex, isInFront, seen } from "../geometry/homography.js";
import { placed } from "../geometry/pose.js";
import { thinnedRing } from "../geometry/rings.js";
import { DragKnob } from "../handlers/drag-knob.js";

/**
 * @typedef {import("../geometry/points.js").Point} Point @typedef {import("../app.js").App} App
 * @typedef {import("../documents.js").Lay} Lay @typedef {import("../documents.js").Cut} Cut
 */

/** How far a line strays from its curve on the table, mm: less than a projector shows. */
const FINE = 0.2;
const INCH = 25.4;

export class Beam {
  /** @param {App} app @param {Lay} lay @param {Cut} cut @param {() => void} closed */
  constructor(app, lay, cut, closed) {
    this.app = app;
    this.lay = lay;
    this.cut = cut;
    this.closed = closed;
    this.name = "table";
    this.size = inInches() ? [24 * INCH, 16 * INCH] : [600, 400];
    this.step = inInches() ? 20 * INCH : 500;
    this.shift = 0;
    this.dark = true;
    this.one = false;
    this.at = 0;
    this.calibrating = true;
    const [w, hgt] = [innerWidth, innerHeight];
    /** @type {[number, number][]} corners (0, 0), (w, 0), (w, h), (0, h) of the rectangle on the table, as seen on the screen */
    this.corners = [[w * 0.2, hgt * 0.8], [w * 0.8, hgt * 0.8], [w * 0.8, hgt * 0.2], [w * 0.2, hgt * 0.2]];
    const known = cut.calibrations[0];
    if (known) this.recall(known);
    this.svg = s("svg", { role: "application", "aria-label": "The lay on the table", tabindex: 0 });
    this.panel = h("div", { class: "panel" });
    this.root = h("dialog", { class: "beam steering", "aria-label": "On the cloth" }, this.svg, this.panel);
    /** @type {DragKnob[]} */
    this.knobs = [];
    this.idle = 0;
    this.root.addEventListener("keydown", (e) => this.key(e));
    this.root.addEventListener("pointermove", () => this.wake());
    this.root.addEventListener("close", () => this.close());
    this.resized = () => this.draw();
    addEventListener("resize", this.resized);
    document.body.append(this.root);
    this.root.showModal();
    void this.root.requestFullscreen?.().catch(() => undefined);
    this.drawPanel();
    this.draw();
  }

  /** @param {import("../documents.js").Calibration} known */
  recall(known) {
    this.name = known.name;
    this.size = [...known.size];
    this.step = known.shift || this.step;
    this.dark = known.dark;
    this.corners = known.corners.map(([x, y]) => [x, y]);
    this.calibrating = false;
  }

  /** What was ticked meanwhile. */
  heard() {
    const cut = this.app.store.docs.cut;
    if (cut && cut.cloth === this.cut.cloth) this.cut = cut;
    if (this.root.isConnected) this.draw();
  }

  close() {
    clearTimeout(this.idle);
    removeEventListener("resize", this.resized);
    for (const knob of this.knobs) knob.disable();
    if (document.fullscreenElement) void document.exitFullscreen().catch(() => undefined);
    if (this.root.isConnected) this.root.remove();
    this.closed();
  }

  /** The panel goes away by itself: light beside the lines hides them. */
  wake() {
    this.root.classList.add("steering");
    clearTimeout(this.idle);
    this.idle = window.setTimeout(() => {
      if (!this.calibrating) this.root.classList.remove("steering");
    }, 4000);
  }

  rows() {
    return this.cut.rows;
  }

  /** From the table (mm, the rectangle's first corner at 0, 0) to the screen. */
  matrix() {
    const [w, hgt] = this.size;
    return homography([[0, 0], [w, 0], [w, hgt], [0, hgt]], this.corners);
  }

  /** @param {readonly Point[]} line table mm @param {import("../geometry/homography.js").Homography} m @param {boolean} closed */
  path(line, m, closed) {
    let d = "";
    for (const p of line) {
      // a part behind the projector's horizon cannot be thrown
      if (!isInFront(m, p)) return "";
      const [x, y] = seen(m, p);
      d += `${d ? "L" : "M"}${x.toFixed(2)} ${y.toFixed(2)}`;
    }
    return closed ? `${d}Z` : d;
  }

  draw() {
    for (const knob of this.knobs) knob.disable();
    this.knobs = [];
    this.root.classList.toggle("light", !this.dark);
    const focused = document.activeElement?.getAttribute("data-key");
    if (!isConvex(this.corners)) return;
    const m = this.matrix();
    const children = this.calibrating ? this.frame(m) : this.pieces(m);
    this.svg.replaceChildren(...children);
    if (focused?.startsWith("beam-corner")) /** @type {SVGElement | null} */ (this.svg.querySelector(`[data-key="${focused}"]`))?.focus();
  }

  /** Rectangle, check lines and the four corners to drag. @param {import("../geometry/homography.js").Homography} m */
  frame(m) {
    const [w, hgt] = this.size;
    const out = [s("g", { class: "frame" }, ...this.checks(m), s("path", { class: "bold", d: this.path([[0, 0], [w, 0], [w, hgt], [0, hgt]], m, true) }))];
    const group = s("g", {});
    /** Two ends of tape that meet at a corner, as they lie on the table: nothing covers the corner itself. @param {Element} dot @param {number} i */
    const bend = (dot, i) => {
      const [x, y] = this.corners[i];
      const ways = [1, 3].map((k) => {
        const [a, b] = this.corners[(i + k) % 4];
        const long = Math.hypot(a - x, b - y) || 1;
        return [(a - x) / long, (b - y) / long];
      });
      const [[ux, uy], [vx, vy]] = ways;
      const at = (/** @type {number} */ u, /** @type {number} */ v) => `${(ux * u + vx * v).toFixed(1)} ${(uy * u + vy * v).toFixed(1)}`;
      dot.querySelector(".tapes")?.setAttribute("d", `M${at(52, -6)}L${at(-6, -6)}L${at(-6, 52)}`);
      const word = dot.querySelector("text");
      const [wx, wy] = [-(ux + vx) * 22, -(uy + vy) * 22];
      word?.setAttribute("x", wx.toFixed(1));
      word?.setAttribute("y", wy.toFixed(1));
    };
    this.corners.forEach((corner, i) => {
      const dot = s("g", { class: "corner-knob", tabindex: 0, role: "slider", "aria-label": `Corner ${i + 1} of 4: arrow keys move it by half a pixel, with Shift by ten`, "aria-valuenow": Math.round(corner[0]), "aria-valuetext": `${trim(corner[0], 1)}, ${trim(corner[1], 1)}`, "data-key": `beam-corner-${i}`, transform: `translate(${corner[0]} ${corner[1]})` },
        s("circle", { class: "grip", r: 22 }), s("path", { class: "tapes" }), s("text", { "text-anchor": "middle", "dominant-baseline": "central" }, String(i + 1)));
      bend(dot, i);
      /** @param {readonly [number, number]} p */
      const put = (p) => {
        const old = this.corners[i];
        this.corners[i] = [p[0], p[1]];
        if (!isConvex(this.corners)) {
          this.corners[i] = old;
          return;
        }
        dot.setAttribute("transform", `translate(${p[0]} ${p[1]})`);
        [...group.children].forEach((one, k) => bend(one, k));
        const fresh = this.matrix();
        out[0].replaceChildren(...this.checks(fresh), s("path", { class: "bold", d: this.path([[0, 0], [w, 0], [w, hgt], [0, hgt]], fresh, true) }));
      };
      this.knobs.push(new DragKnob(dot, {
        at: (e) => [e.clientX, e.clientY], nudge: (dx, dy) => [this.corners[i][0] + dx, this.corners[i][1] - dy],
        moved: put, done: put, cancelled: () => this.draw(), step: 0.5, coarse: 10,
      }).enable());
      group.append(dot);
    });
    return [...out, group];
  }

  /** A tape along each side, to hold a real one against, and both diagonals. @param {import("../geometry/homography.js").Homography} m */
  checks(m) {
    const [w, hgt] = this.size;
    let ticks = "";
    const words = [];
    const tape = tapeOf(Math.max(w, hgt));
    for (const [long, at] of /** @type {[number, (along: number, deep: number) => Point][]} */ ([
      [w, (a, d) => [a, d]], [w, (a, d) => [a, hgt - d]], [hgt, (a, d) => [d, a]], [hgt, (a, d) => [w - d, a]],
    ])) {
      for (let n = 1; n * tape.every < long - 1e-6; n++) {
        const along = n * tape.every;
        const told = n % tape.told === 0;
        ticks += this.path([at(along, 0), at(along, told ? 16 : n % tape.half === 0 ? 11 : 6)], m, false);
        if (!told) continue;
        const spot = at(along, 27);
        if (!isInFront(m, spot)) continue;
        const [x, y] = seen(m, spot);
        words.push(s("text", { class: "tape", x, y, "text-anchor": "middle", "dominant-baseline": "central" }, String(Math.round(along / tape.unit))));
      }
    }
    const middle = seen(m, [w / 2, hgt / 2]);
    return [
      s("path", { class: "check", d: ticks }), ...words,
      s("path", { class: "thin", d: this.path([[0, 0], [w, hgt]], m, false) + this.path([[0, hgt], [w, 0]], m, false) }),
      s("text", { class: "said", x: middle[0], y: middle[1], "text-anchor": "middle", "dominant-baseline": "central" }, `both diagonals ${asLength(Math.hypot(w, hgt))}`),
    ];
  }

  /** @param {import("../geometry/homography.js").Homography} m */
  pieces(m) {
    const out = [];
    const rows = this.rows();
    const wanted = this.one ? rows[this.at]?.laid : null;
    for (const part of this.lay.sections) {
      const wide = part.table_width;
      const x0 = -part.before;
      const x1 = part.length + part.after;
      /** @type {Point[][]} */
      const lines = [[[x0, 0], [x0, wide]], [[x0, 0], [x1, 0]], [[x0, wide], [x1, wide]], [[x1, 0], [x1, wide]]];
      if (!wanted) out.push(s("path", { class: "thin", d: lines.map((l) => this.path(this.onTable(l, part.start), m, false)).join("") }));
      for (const piece of part.pieces) {
        if (wanted && piece.id !== wanted) continue;
        if (!wanted && rows.find((r) => r.laid === piece.id)?.done) continue;
        const shape = this.lay.shapes[piece.shape];
        if (!shape) continue;
        const lay = (/** @type {readonly Point[]} */ l) => this.onTable(placed(l, piece), part.start);
        const ring = lay(thinnedRing(shape.outline, FINE));
        const d = this.path(ring, m, true);
        if (!d) continue;
        const marks = shape.notches.map((n) => {
          const a = (n.direction * Math.PI) / 180;
          const deep = Math.max(4, n.depth);
          return this.path(lay([n.at, [n.at[0] + deep * Math.cos(a), n.at[1] + deep * Math.sin(a)]]), m, false);
        });
        const grain = shape.grain.length > 1 ? this.path(lay(shape.grain), m, false) : "";
        const x = ring.reduce((sum, p) => sum + p[0], 0) / ring.length;
        const y = ring.reduce((sum, p) => sum + p[1], 0) / ring.length;
        const [tx, ty] = seen(m, [x, y]);
        out.push(s("g", { "data-beam": piece.id }, s("path", { class: "bold", d }), s("path", { d: marks.join("") }), s("path", { class: "thin", d: grain }), s("text", { x: tx, y: ty, "text-anchor": "middle" }, `${piece.number} ${piece.piece}${piece.size ? ` ${piece.size}` : ""}${piece.plies.length > 1 ? " ×" + piece.plies.length : ""}`)));
      }
    }
    return out;
  }

  /** From the cut end, moved along by the shift. @param {readonly Point[]} line @param {number} start @returns {Point[]} */
  onTable(line, start) {
    return line.map(([x, y]) => [x + start + (this.lay.sections[0]?.before ?? 0) - this.shift, y]);
  }

  /** @param {number} steps */
  go(steps) {
    this.shift = Math.max(0, this.shift + steps * this.step);
    this.app.say(`The cloth begins ${asLength(this.shift)} before the table's corner.`);
    this.drawPanel();
    this.draw();
  }

  /** @param {number} by */
  next(by) {
    const rows = this.rows();
    if (!rows.length) return;
    this.one = true;
    this.at = (this.at + by + rows.length) % rows.length;
    this.drawPanel();
    this.draw();
  }

  /** @param {KeyboardEvent} e */
  key(e) {
    if (e.target instanceof HTMLInputElement) return;
    this.wake();
    if (e.key === "ArrowRight" && !this.calibrating) this.go(1);
    else if (e.key === "ArrowLeft" && !this.calibrating) this.go(-1);
    else if (e.key === "." || e.key === "PageDown") this.next(1);
    else if (e.key === "," || e.key === "PageUp") this.next(-1);
    else if (e.key === "i" || e.key === "I") this.invert();
    else if (e.key === "c" || e.key === "C") this.calibrate(!this.calibrating);
    else return;
    e.preventDefault();
    e.stopPropagation();
  }

  invert() {
    this.dark = !this.dark;
    this.drawPanel();
    this.draw();
  }

  /** @param {boolean} on */
  calibrate(on) {
    this.calibrating = on;
    this.drawPanel();
    this.draw();
  }

  drawPanel() {
    const app = this.app;
    const row = this.rows()[this.at];
    redraw(
      this.panel,
      this.cut.calibrations.length ? field(app, { key: "beam-known", label: "set-up", kind: "choice", value: this.name, choices: [...new Set([this.name, ...this.cut.calibrations.map((c) => c.name)])], change: (v) => { const known = this.cut.calibrations.find((c) => c.name === v); if (known) this.recall(known); this.drawPanel(); this.draw(); } }) : null,
      button(this.calibrating ? "Show the lay" : "Set the corners", () => this.calibrate(!this.calibrating), { key: "beam-calibrate", kind: this.calibrating ? "main" : undefined }),
      ...(this.calibrating
        ? [
            field(app, { key: "beam-w", label: "rectangle on the table, along", value: asTape(this.size[0]), width: "short", change: (v) => this.measure(0, v) }),
            field(app, { key: "beam-h", label: "across", value: asTape(this.size[1]), width: "short", change: (v) => this.measure(1, v) }),
            field(app, { key: "beam-name", label: "remember as", value: this.name, width: "short", change: (v) => void (this.name = v || this.name) }),
            button("Remember", () => this.save(), { key: "beam-save" }),
            h("p", { class: "note" }, "Stick tape round a rectangle that you measured on the table, drag each corner onto its own, then hold a ruler against the sides and both diagonals."),
          ]
        : [
            button("◂", () => this.go(-1), { label: "Cloth back by one step", key: "beam-back" }), button("▸", () => this.go(1), { label: "Cloth on by one step", key: "beam-on" }),
            field(app, { key: "beam-step", label: `one step (now at ${asLength(this.shift)})`, value: asTape(this.step), width: "short", change: (v) => this.stepBy(v) }),
            button(this.one ? "All pieces" : "Piece by piece", () => { this.one = !this.one; this.drawPanel(); this.draw(); }, { key: "beam-one", pressed: this.one }),
            ...(this.one && row
              ? [button("‹", () => this.next(-1), { label: "Piece before", key: "beam-prev" }), h("span", {}, `${this.at + 1} of ${this.rows().length}`), button("›", () => this.next(1), { label: "Next piece", key: "beam-next" }),
                  button(row.done ? "Not cut" : "Cut ✓", async () => { const reply = await app.send("cut.tick", { cloth: this.cut.cloth, laid: row.laid, done: !row.done }); if (reply.ok) { row.done = !row.done; this.next(row.done ? 1 : 0); } }, { key: "beam-tick" })]
              : []),
          ]),
      button(this.dark ? "Dark on light" : "Light on dark", () => this.invert(), { key: "beam-invert" }),
      button("Leave", () => this.root.close(), { key: "beam-leave" }),
    );
  }

  /** @param {0 | 1} i @param {string} text */
  measure(i, text) {
    const mm = inMm(text);
    if (!mm || mm < 50) this.app.say(`“${text}” is not a length to measure on a table; write for example ${example("60 cm", "24 in")}.`, "bad");
    else this.size[i] = mm;
    this.drawPanel();
    this.draw();
  }

  /** @param {string} text how far the cloth is drawn on at each step */
  stepBy(text) {
    const mm = inMm(text);
    if (mm && mm > 0) this.step = mm;
    else this.app.say(`“${text}” is not how far the cloth is drawn on; write for example ${example("50 cm", "20 in")}.`, "bad");
    this.drawPanel();
  }

  async save() {
    const reply = await this.app.send("projector.save", { name: this.name, corners: this.corners, size: this.size, shift: this.step, dark: this.dark }, { done: `Remembered as ${this.name}.` });
    if (reply.ok) this.calibrate(false);
  }
}

/**
 * How a tape beside a rectangle is marked: a tick at `every` mm, a longer one at each `half` of them, a number at each `told`,
 * counted in `unit`s. One too fine to be thrown is marked more coarsely.
 * @param {number} long mm
 */
export function tapeOf(long) {
  if (inInches()) return long > 1500 ? { every: INCH, half: 6, told: 12, unit: INCH } : { every: INCH / 4, half: 2, told: long > 800 ? 16 : 8, unit: INCH };
  return long > 1500 ? { every: 50, half: 1, told: 2, unit: 10 } : { every: 10, half: 5, told: 10, unit: 10 };
}
