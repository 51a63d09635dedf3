/**
 * Photographs of paper pieces: which, how long the mat's bars came out, and what only a person knows of each piece.
 */

import { h, redraw } from "../draw/dom.js";
import { button, field, heading, wrongAt } from "../draw/kit.js";
import { asLength, counted } from "../draw/words.js";

/** @typedef {import("../app.js").App} App */

export const PICTURE = /\.(jpe?g|png|tiff?|hei[cf])$/i;

const FIELDS = /** @type {const} */ (["name", "size", "line", "fold", "notches", "grain"]);

export class Photos {
  /** @param {App} app @param {HTMLElement} root */
  constructor(app, root) {
    this.app = app;
    this.root = root;
    /** @type {string[]} names of the photographs that the server has */
    this.names = [];
    this.level = "";
    this.upright = "";
    /** @type {any} what was seen in them */
    this.seen = null;
    /** @type {Record<string, string>[]} answers, one for each piece */
    this.said = [];
    this.busy = false;
  }

  /** @param {readonly File[]} files */
  async take(files) {
    this.app.say(`Reading ${counted(files.length, "photograph")} …`);
    const reply = await this.app.store.link.upload(files, "photo");
    this.tell(reply);
    if (reply.ok) {
      this.names = [...new Set([...this.names, ...(reply.photos ?? [])])];
      this.seen = null;
      this.app.say("Now measure the two bars on a sheet of the mat, and look.");
    }
    this.draw();
  }

  /** @param {{ok: boolean, problem?: any}} reply */
  tell(reply) {
    this.app.problems.delete("photos");
    if (reply.ok || !reply.problem) return;
    this.app.problems.set("photos", reply.problem);
    this.app.say(reply.problem.message, "bad");
  }

  async look() {
    this.busy = true;
    this.app.say("Looking …");
    this.draw();
    const answers = Object.fromEntries(FIELDS.map((key) => [key, this.said.map((one) => one[key] ?? "")]));
    for (const key of FIELDS) if (answers[key].some((v) => !v)) delete answers[key];
    const reply = await this.app.store.link.post("/api/trace", { photos: this.names, bars: [this.level, this.upright], answers });
    this.busy = false;
    this.tell(reply);
    if (reply.ok) {
      this.seen = reply.result;
      const pieces = /** @type {any[]} */ (this.seen.pieces);
      this.said = pieces.map((p, i) => ({ name: p.name, ...this.said[i] }));
      if (this.seen.file) {
        this.app.say(`${this.seen.file}: ${counted(pieces.length, "piece")}, ${pieces.map((p) => `± ${asLength(p.error_mm)}`).join(", ")}.`, "good");
        this.names = [];
        this.seen = null;
        this.said = [];
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
            h("p", {}, this.names.join(", "), " ", button("Other pictures", () => { this.names = []; this.seen = null; this.said = []; app.problems.delete("photos"); this.draw(); }, { kind: "mini", key: "photo-clear" })),
            h("p", { class: "note" }, "The piece lies flat between four sheets of the mat. Measure both bars on one of them, tick to tick: the printer decides how long they are."),
            h("div", { class: "fields" },
              field(app, { key: "photo-level", label: "level bar, mm", value: this.level, placeholder: "180.0", width: "short", change: (v) => void (this.level = v) }),
              field(app, { key: "photo-upright", label: "upright bar, mm", value: this.upright, placeholder: "240.0", width: "short", change: (v) => void (this.upright = v) })),
            ...(this.seen ? this.questions() : []),
            button(this.busy ? "Looking …" : this.seen ? "Take it as a pattern piece" : "Look at them", () => void this.look(), { kind: "main", key: "photo-look", disabled: this.busy }),
          ]
        : null,
    );
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
