/**
 * A photograph of a leftover over sheets of the mat: what cloth it is, how long the mat's bars came out, and it is in the
 * stash with its outline.
 */

import { h, s } from "../draw/dom.js";
import { button, field, wrongAt } from "../draw/kit.js";
import { placeIn, sendPhotos, tellAt } from "./photos.js";

/** @typedef {import("../app.js").App} App */

export class ScrapPhoto {
  /** @param {App} app @param {() => void} redraw */
  constructor(app, redraw) {
    this.app = app;
    this.redraw = redraw;
    /** @type {string[]} names of the photographs that the server has */
    this.names = [];
    /** @type {Record<string, [number, number]>} width and height in pixels */
    this.sizes = {};
    /** @type {{name: string, x: number, y: number} | null} where it was clicked, as parts of width and height */
    this.tap = null;
    this.said = { name: "", cloth: "", level: "", upright: "" };
    this.busy = false;
  }

  /** @param {readonly File[]} files */
  async take(files) {
    const there = await sendPhotos(this.app, files, "scrap-photo");
    if (there) {
      this.names = there.names;
      this.sizes = there.sizes;
      this.tap = null;
      this.app.say("Now measure the bars of the mat.");
    }
    this.redraw();
  }

  /** @param {string} cloth */
  async add(cloth) {
    this.busy = true;
    this.app.say("Looking …");
    this.redraw();
    const size = this.tap ? this.sizes[this.tap.name] : undefined;
    const taps = this.tap && size ? [`${this.names.indexOf(this.tap.name) + 1}:${Math.floor(this.tap.x * size[0])},${Math.floor(this.tap.y * size[1])}`] : [];
    const reply = await this.app.store.link.post("/api/trace", { photos: this.names, cloth, name: this.said.name, bars: [this.said.level, this.said.upright], taps });
    this.busy = false;
    tellAt(this.app, "scrap-photo", reply);
    if (reply.ok) {
      this.app.say(`In the stash: ${reply.result.added.join(", ")}. Look its outline over before you lay on it.`, "good");
      this.names = [];
      this.said.name = "";
      await this.app.store.refresh("cloth");
    }
    this.redraw();
  }

  /** What stands on the card of leftovers. @param {readonly string[]} cloths */
  nodes(cloths) {
    const { app, said } = this;
    const cloth = said.cloth || cloths[0] || "";
    if (!this.names.length) return [wrongAt(app, "scrap-photo")];
    return [
      h("fieldset", {}, h("legend", {}, `From ${this.names.join(", ")}`),
        h("p", { class: "note" }, "The leftover lies flat between four sheets of the mat. Measure both bars on one of them, tick to tick. Its longest straight edge is taken for the grain."),
        wrongAt(app, "scrap-photo"),
        h("div", { class: "fields" },
          field(app, { key: "scrap-name", label: "called", value: said.name, placeholder: "end of the jersey", change: (v) => void (said.name = v) }),
          field(app, { key: "scrap-cloth", label: "cloth", kind: "choice", choices: cloths.map((v) => ({ value: v, label: v })), value: cloth, change: (v) => void (said.cloth = v) }),
          field(app, { key: "scrap-level", label: "level bar, mm", value: said.level, placeholder: "180.0", width: "short", change: (v) => void (said.level = v) }),
          field(app, { key: "scrap-upright", label: "upright bar, mm", value: said.upright, placeholder: "240.0", width: "short", change: (v) => void (said.upright = v) })),
        ...this.pictures(),
        h("div", { class: "row" },
          button(this.busy ? "Looking …" : "Put it into the stash", () => void this.add(said.cloth || cloths[0] || ""), { kind: "main", key: "scrap-add", disabled: this.busy }),
          button("Without this picture", () => { this.names = []; app.problems.delete("scrap-photo"); this.redraw(); }, { kind: "mini", key: "scrap-clear" }))),
    ];
  }

  /** Where it is not found by itself it is clicked. */
  pictures() {
    return this.names.filter((name) => this.sizes[name]).map((name) => {
      const [wide, high] = /** @type {[number, number]} */ (this.sizes[name]);
      const mark = this.tap?.name === name ? this.tap : null;
      const r = Math.max(wide, high) / 40;
      // one that was shut is opened by a refusal: it is another one then
      const asked = this.app.problems.has("scrap-photo");
      const key = `scrap-picture-${name}${asked ? "-asked" : ""}`;
      return h("details", { "data-key": key, open: asked || undefined },
        h("summary", { "data-key": `${key}-s` }, mark ? "Pointed at" : "Not found by itself? Click its middle"),
        h("div", { class: "tapped" },
          h("img", { class: "picture", src: `/photos/${encodeURIComponent(name)}`, alt: `${name}: click the middle of the leftover`, width: wide, height: high,
            onclick: (/** @type {MouseEvent} */ e) => {
              const [x, y] = placeIn(e);
              this.tap = { name, x: Math.min(0.999, x), y: Math.min(0.999, y) };
              this.redraw();
            } }),
          s("svg", { viewBox: `0 0 ${wide} ${high}`, "aria-hidden": "true" }, mark ? s("g", { class: "tap" }, s("circle", { cx: mark.x * wide, cy: mark.y * high, r })) : null)));
    });
  }
}
