/**
 * Photographs of paper pieces: which, how long the mat's bars came out, and what only a person knows of each piece.
 */

import { h, redraw, s } from "../draw/dom.js";
import { button, field, heading, wrongAt } from "../draw/kit.js";
import { asLength, counted } from "../draw/words.js";

/** @typedef {import("../app.js").App} App */

export const PICTURE = /\.(jpe?g|png|tiff?|hei[cf])$/i;

/** @typedef {{ok: boolean, problem?: any}} Said */

/** What went wrong is told, and shown where it happened. @param {App} app @param {string} spot @param {Said} reply */
export function tellAt(app, spot, reply) {
  app.problems.delete(spot);
  if (reply.ok || !reply.problem) return;
  app.problems.set(spot, reply.problem);
  app.say(reply.problem.message, "bad");
}

/** Photographs to the server; null, and told at the spot, where it does not take them. @param {App} app @param {readonly File[]} files @param {string} spot */
export async function sendPhotos(app, files, spot) {
  app.say(`Reading ${counted(files.length, "photograph")} …`);
  const reply = await app.store.link.upload(files, "photo");
  tellAt(app, spot, reply);
  return reply.ok ? { names: reply.photos ?? [], sizes: reply.sizes ?? {} } : null;
}

/** Where in a picture it was clicked, as parts of its width and height. @param {MouseEvent} e @returns {[number, number]} */
export function placeIn(e) {
  const box = /** @type {HTMLElement} */ (e.currentTarget).getBoundingClientRect();
  return [(e.clientX - box.left) / box.width, (e.clientY - box.top) / box.height];
}

const WAYS = /** @type {const} */ (["level", "upright"]);
const FIELDS = /** @type {const} */ (["name", "size", "line", "fold", "notches", "grain"]);

export class Photos {
  /** @param {App} app @param {HTMLElement} root */
  constructor(app, root) {
    this.app = app;
    this.root = root;
    /** @type {string[]} names of the photographs that the server has */
    this.names = [];
    /** @type {Record<string, [number, number]>} width and height in pixels of those that can be shown */
    this.sizes = {};
    /** @type {{name: string, x: number, y: number}[]} where a piece was tapped, as parts of the picture's width and height */
    this.taps = [];
    this.level = "";
    this.upright = "";
    /** a photograph over sheets of the mat, or a flatbed scan @type {"photo" | "scan"} */
    this.way = "photo";
    /** what was measured in a scan: two pixels as "x,y x,y", and how far apart they are @type {Record<"level" | "upright", {ends: string, long: string}>} */
    this.measured = { level: { ends: "", long: "" }, upright: { ends: "", long: "" } };
    /** ends that the next clicks in the picture set @type {{of: "level" | "upright", first: string} | null} */
    this.picking = null;
    /** @type {any} what was seen in them */
    this.seen = null;
    /** @type {Record<string, string>[]} answers, one for each piece */
    this.said = [];
    this.busy = false;
  }

  /** @param {readonly File[]} files */
  async take(files) {
    const there = await sendPhotos(this.app, files, "photos");
    if (there) {
      this.names = [...new Set([...this.names, ...there.names])];
      Object.assign(this.sizes, there.sizes);
      this.seen = null;
      this.app.say("Now say how large they are, and look.");
    }
    this.draw();
  }

  async look() {
    this.busy = true;
    this.app.say("Looking …");
    this.draw();
    const answers = Object.fromEntries(FIELDS.map((key) => [key, this.said.map((one) => one[key] ?? "")]));
    for (const key of FIELDS) if (answers[key].some((v) => !v)) delete answers[key];
    const size = this.way === "photo" ? { bars: [this.level, this.upright] } : { measured: WAYS.map((of) => `${this.measured[of].ends} = ${this.measured[of].long}`) };
    const lacking = this.way === "scan" ? WAYS.find((of) => !this.measured[of].ends || !this.measured[of].long) : undefined;
    /** @type {any} */
    const reply = lacking
      ? { ok: false, problem: { code: "scan.not-measured", message: `Say the ${lacking} length: its two ends in the picture, and how long it is.`, where: {} } }
      : await this.app.store.link.post("/api/trace", { photos: this.names, ...size, taps: this.tapped(), answers });
    this.busy = false;
    tellAt(this.app, "photos", reply);
    if (reply.ok) {
      this.seen = reply.result;
      const pieces = /** @type {any[]} */ (this.seen.pieces);
      this.said = pieces.map((p, i) => ({ name: p.name, ...this.said[i] }));
      if (this.seen.file) {
        this.app.say(`${this.seen.file}: ${counted(pieces.length, "piece")}, ${pieces.map((p) => `± ${asLength(p.error_mm)}`).join(", ")}.`, "good");
        this.clear();
      } else this.app.say(`${counted(pieces.length, "piece")} seen. Say what only you know of ${pieces.length > 1 ? "them" : "it"}.`);
    }
    this.draw();
  }

  draw() {
    const { app } = this;
    redraw(
      this.root,
      this.names.length || app.problems.has("photos") ? heading(2, "From photographs") : null,
      wrongAt(app, "photos"),
      this.names.length
        ? [
            h("p", {}, this.names.join(", "), " ", button("Other pictures", () => { this.clear(); this.draw(); }, { kind: "mini", key: "photo-clear" })),
            field(app, { key: "photo-way", label: "what kind of picture", kind: "choice", value: this.way, choices: [{ value: "photo", label: "photographs over sheets of the mat" }, { value: "scan", label: "one flat scan" }], change: (v) => { this.way = v === "scan" ? "scan" : "photo"; this.picking = null; this.seen = null; this.draw(); } }),
            ...(this.way === "photo" ? this.bars() : this.lengths()),
            this.pictures(),
            ...(this.seen ? this.questions() : []),
            button(this.busy ? "Looking …" : this.seen ? "Take it as a pattern piece" : "Look at them", () => void this.look(), { kind: "main", key: "photo-look", disabled: this.busy }),
          ]
        : null,
    );
  }

  bars() {
    const { app } = this;
    return [
      h("p", { class: "note" }, "The piece lies flat between four sheets of the mat. Measure both bars on one of them, tick to tick: the printer decides how long they are."),
      h("div", { class: "fields" },
        field(app, { key: "photo-level", label: "level bar, mm", value: this.level, placeholder: "180.0", width: "short", change: (v) => void (this.level = v) }),
        field(app, { key: "photo-upright", label: "upright bar, mm", value: this.upright, placeholder: "240.0", width: "short", change: (v) => void (this.upright = v) })),
    ];
  }

  /** A scan states its size, but a scanner's carriage and its sensor each have a scale of their own: both are measured. */
  lengths() {
    const { app } = this;
    return [
      h("p", { class: "note" }, "Lay a ruler beside the piece both ways, or draw a level and an upright line of known length on it, before you scan. Click the two ends of each in the picture, and say how long it is."),
      ...WAYS.map((of) => {
        const one = this.measured[of];
        const picking = this.picking?.of === of;
        return h("div", { class: "row" },
          field(app, { key: `scan-${of}-ends`, label: `${of} length, its ends in pixels`, value: one.ends, placeholder: "120,80 2900,80", change: (v) => { one.ends = v; this.seen = null; this.draw(); } }),
          button(picking ? `Click the ${this.picking?.first ? "other" : "first"} end …` : "Click its ends", () => { this.picking = picking ? null : { of, first: "" }; this.draw(); }, { key: `scan-${of}-pick`, pressed: picking, label: `Click the ends of the ${of} length` }),
          field(app, { key: `scan-${of}-long`, label: "is so long", value: one.long, placeholder: "20 cm", width: "short", change: (v) => { one.long = v; this.seen = null; } }));
      }),
    ];
  }

  clear() {
    this.names = [];
    this.picking = null;
    this.measured = { level: { ends: "", long: "" }, upright: { ends: "", long: "" } };
    this.taps = [];
    this.seen = null;
    this.said = [];
    this.app.problems.delete("photos");
  }

  /** Taps in pixels of the pictures, as `nesting trace --tap` takes them: "2:1980,1410". */
  tapped() {
    return this.taps.flatMap((t) => {
      const at = this.names.indexOf(t.name);
      const size = this.sizes[t.name];
      return at < 0 || !size ? [] : [`${at + 1}:${Math.floor(t.x * size[0])},${Math.floor(t.y * size[1])}`];
    });
  }

  /** @param {string} name @param {number} x @param {number} y parts of width and height */
  tap(name, x, y) {
    const size = this.sizes[name];
    if (this.picking && size) {
      const at = `${Math.round(x * size[0])},${Math.round(y * size[1])}`;
      const { of, first } = this.picking;
      if (first) this.measured[of].ends = `${first} ${at}`;
      this.picking = first ? null : { of, first: at };
      this.seen = null;
      return this.draw();
    }
    this.taps.push({ name, x: Math.min(0.999, Math.max(0, x)), y: Math.min(0.999, Math.max(0, y)) });
    // other pieces are meant than were seen before
    this.seen = null;
    this.said = [];
    this.draw();
  }

  /** The pictures themselves: a piece that is not found by itself is clicked in its middle, or told by figures. */
  pictures() {
    const { app } = this;
    const shown = this.names.filter((n) => this.sizes[n]);
    if (!shown.length) return null;
    // one that was shut is opened by a refusal: it is another one then
    const key = `photo-taps-${this.way}${app.problems.has("photos") ? "-asked" : ""}`;
    return h("details", { "data-key": key, open: this.taps.length > 0 || this.way === "scan" || app.problems.has("photos") || undefined },
      h("summary", { "data-key": `${key}-s` }, this.taps.length ? `${counted(this.taps.length, "piece")} pointed at` : this.way === "scan" ? "The scan" : "Point at the pieces yourself"),
      h("p", { class: "note" }, "Only where a piece is not found by itself, or something else is taken for one: click its middle, one click for each piece."),
      ...shown.map((name) => {
        const size = this.sizes[name];
        const marks = this.taps.filter((t) => t.name === name);
        const at = { across: "", down: "" };
        return h("figure", { class: "fig" },
          h("figcaption", {}, name),
          h("div", { class: "tapped" },
            h("img", { class: "picture", src: `/photos/${encodeURIComponent(name)}`, alt: `${name}: click the middle of each piece`, width: size[0], height: size[1],
              onclick: (/** @type {MouseEvent} */ e) => this.tap(name, ...placeIn(e)) }),
            s("svg", { viewBox: `0 0 ${size[0]} ${size[1]}`, "aria-hidden": "true" }, ...(this.way === "scan" ? WAYS.flatMap((of) => measuredMark(this.measured[of].ends)) : []), ...marks.map((t) => tapMark(t.x * size[0], t.y * size[1], Math.max(...size) / 40, this.taps.indexOf(t) + 1)))),
          h("div", { class: "row" },
            field(app, { key: `tap-across-${name}`, label: "% from the left", value: "", width: "short", placeholder: "50", change: (v) => void (at.across = v) }),
            field(app, { key: `tap-down-${name}`, label: "% from the top", value: "", width: "short", placeholder: "50", change: (v) => void (at.down = v) }),
            button("Point there", () => {
              const [x, y] = [at.across || "50", at.down || "50"].map((v) => Number(v.replace(",", ".")) / 100);
              if (Number.isFinite(x) && Number.isFinite(y)) this.tap(name, x, y);
              else app.say("Say both as numbers from 0 to 100.", "bad");
            }, { kind: "mini", key: `tap-there-${name}`, label: `Point there in ${name}` })));
      }),
      this.taps.length ? button("Take the last one back", () => { this.taps.pop(); this.seen = null; this.said = []; this.draw(); }, { kind: "mini", key: "tap-back" }) : null);
  }

  questions() {
    const { app } = this;
    return [
      this.seen.preview ? h("img", { class: "picture", src: `${this.seen.preview}?${Date.now()}`, alt: "What was seen, edges, notches and lines numbered" }) : null,
      ...this.seen.findings.map((/** @type {string} */ f) => h("p", { class: "note" }, f)),
      ...this.seen.pieces.map((/** @type {any} */ p, /** @type {number} */ i) => {
        const said = (this.said[i] ??= { name: p.name });
        const straight = p.edges.flatMap((/** @type {any} */ e, /** @type {number} */ k) => (e.straight ? [k + 1] : []));
        /** @param {string} key @param {string} label @param {[string, string][]} choices */
        const pick = (key, label, choices) => field(app, { key: `photo-${i}-${key}`, label, kind: "choice", value: said[key] ?? "", choices: [["", "choose …"], ...choices].map(([value, text]) => ({ value, label: text })), change: (v) => void (said[key] = v) });
        return h("fieldset", {}, h("legend", {}, `${p.name}, outline ± ${asLength(p.error_mm)}`),
          h("div", { class: "fields" },
            field(app, { key: `photo-${i}-name`, label: "called", value: said.name, change: (v) => void (said.name = v) }),
            field(app, { key: `photo-${i}-size`, label: "size", value: said.size ?? "", width: "short", change: (v) => void (said.size = v) }),
            pick("line", "its outline is", [["cut", "the cut edge"], ["sewn", "the sewn line"]]),
            pick("fold", "on the fold", [["none", "no edge"], ...straight.map((/** @type {number} */ k) => /** @type {[string, string]} */ ([String(k), `edge ${k}`]))]),
            p.notches.length ? pick("notches", "notches", [["all", `all ${p.notches.length} that were seen`], ["none", "none of them"], ...p.notches.map((/** @type {any} */ _, /** @type {number} */ k) => /** @type {[string, string]} */ ([String(k + 1), `only ${k + 1}`]))]) : null,
            pick("grain", "grain", [...p.lines.map((/** @type {any} */ _, /** @type {number} */ k) => /** @type {[string, string]} */ ([`marked ${k + 1}`, `the line ${k + 1} drawn on it`])), ...(said.fold && said.fold !== "none" ? /** @type {[string, string][]} */ ([["fold", "along the fold"]]) : []), ...straight.map((/** @type {number} */ k) => /** @type {[string, string]} */ ([`edge ${k}`, `along edge ${k}`])), ["none", "I turn its arrow later"]])));
      }),
    ];
  }
}

/** A ring with a number. @param {number} x @param {number} y @param {number} r @param {number} number */
function tapMark(x, y, r, number) {
  return s("g", { class: "tap" }, s("circle", { cx: x, cy: y, r }), s("text", { x, y: y + r * 0.42, "font-size": r * 1.2, "text-anchor": "middle" }, String(number)));
}

/** A line between two pixels that are written "x,y x,y". @param {string} ends */
function measuredMark(ends) {
  const n = ends.split(/[\s,]+/).map(Number);
  return n.length === 4 && n.every(Number.isFinite) ? [s("path", { class: "measured", d: `M${n[0]} ${n[1]}L${n[2]} ${n[3]}` })] : [];
}
