/**
 * Seams: click an edge, then what it is sewn to; both are walked at once.
 */

import { h, redraw } from "../draw/dom.js";
import { button, field, heading, wrongAt } from "../draw/kit.js";
import { Sheet, edgeKey } from "../draw/sheet.js";
import { walk } from "../draw/walk.js";
import { asLength, counted, trim } from "../draw/words.js";
import { asNumber } from "./pieces.js";
import { zoomButtons } from "./lay.js";

/** @typedef {import("../documents.js").Seam} Seam @typedef {import("../app.js").App} App */

/** @type {import("../main.js").ViewSpec} */
export const seams = { name: "seams", title: "Seams", docs: ["pieces", "seams"], mount };

/** @param {HTMLElement} root @param {App} app */
function mount(root, app) {
  const sheet = new Sheet("Pieces with their edges; choose an edge, then the edges that it is sewn to", { edge: ({ piece, edge }) => pick(`${piece.name}.${edge.name}`, edge.named) });
  const top = h("div", { class: "bar" });
  const stage = h("div", { class: "stage" }, sheet.board.svg, zoomButtons(sheet));
  const side = h("div", { class: "cards" });
  root.append(top, h("div", { class: "split" }, stage, side));
  const trial = h("section", { class: "card", "aria-label": "A seam in the making" });
  const proposed = h("section", { class: "card", "aria-label": "Proposals" });
  const list = h("section", { class: "card", "aria-label": "Seams of this order" });
  side.append(trial, proposed, list);
  /** @type {string[][]} edges of each side */
  let sides = [];
  /** the side that the next click goes to */
  let active = 0;
  let ease = "";
  let ratio = "";
  /** @type {Seam[]} */
  let tried = [];
  let asked = 0;
  let size = "";
  /** @type {number | null} */
  let shownSeam = null;
  /** @type {unknown[]} */
  let drawn = [];

  const pieces = () => app.store.docs.pieces;
  const doc = () => app.store.docs.seams;

  /** @param {string} edge "piece.edge" @param {boolean} named */
  function pick(edge, named) {
    if (!named) return app.say("This edge has no name yet; give it one under Pieces.", "bad");
    shownSeam = null;
    const at = sides.findIndex((row) => row.includes(edge));
    if (at >= 0) {
      sides[at] = sides[at].filter((e) => e !== edge);
      sides = sides.filter((row) => row.length);
      active = Math.min(active, sides.length);
    } else if (!sides.length) {
      sides = [[edge]];
      active = 1;
    } else {
      sides[active] = [...(sides[active] ?? []), edge];
    }
    void tryIt();
  }

  async function tryIt() {
    mark();
    app.problems.delete("seam-try");
    if (sides.length < 2) {
      tried = [];
      return drawTrial();
    }
    const mine = ++asked;
    const reply = await app.store.link.send("seam.try", body());
    if (mine !== asked) return;
    tried = reply.ok ? (reply.result?.seams ?? []) : [];
    if (!reply.ok && reply.problem) app.problems.set("seam-try", reply.problem);
    else if (tried[0]) app.say(verdictOf(tried), tried.every((t) => t.agrees) ? "good" : "plain");
    drawTrial();
  }

  function body() {
    return { sides: sides.map((row) => (row.length === 1 ? row[0] : row)), ...(ease ? { ease } : {}), ...(ratio ? { ratio: asNumber(ratio) } : {}) };
  }

  function mark() {
    const all = sides.length ? sides : (doc()?.seams.find((x) => x.index === shownSeam)?.sides.map((x) => x.edges) ?? []);
    const keys = (/** @type {string[]} */ names) => (pieces()?.pieces ?? []).flatMap((p) => p.edges.filter((e) => names.includes(`${p.name}.${e.name}`)).map((e) => edgeKey(p, e)));
    sheet.markEdges("chosen", keys(all[0] ?? []));
    sheet.markEdges("other", keys(all.slice(1).flat()));
  }

  function drawTop() {
    const sizes = [...new Set((pieces()?.pieces ?? []).map((p) => p.size).filter((x) => x !== null))];
    if (!size && sizes.length) size = String(sizes[0]);
    const edges = [...new Set((pieces()?.pieces ?? []).flatMap((p) => p.edges.filter((e) => e.named).map((e) => `${p.name}.${e.name}`)))];
    redraw(
      top,
      sizes.length > 1 ? h("div", { class: "pick", role: "group", "aria-label": "Which size" }, ...sizes.map((z) => button(String(z), () => { size = String(z); drawn = []; draw(); }, { key: `size-${z}`, pressed: size === z }))) : null,
      field(app, { key: "edge-by-name", label: "or choose an edge by name", kind: "choice", value: "", choices: [{ value: "", label: "…" }, ...edges.map((v) => ({ value: v, label: v }))], change: (v) => { if (v) pick(v, true); } }),
    );
  }

  function drawTrial() {
    redraw(
      trial,
      heading(2, "Sew together", "seam"),
      sides.length
        ? h("ol", { class: "list" }, ...sides.map((row, i) =>
            h("li", {}, h("span", { class: "grow" }, i === 0 ? "this edge: " : "to: ", h("strong", {}, row.join(" + "))),
              i > 0 && i === active ? h("span", { class: "note" }, "the next click adds one beside it") : i > 0 ? button("Add beside it", () => { active = i; drawTrial(); }, { kind: "mini", key: `row-${i}` }) : null)))
        : h("p", { class: "note" }, "Click an edge, then the edge it is sewn to. Several in a row (a waistband to front and back): click one after the other."),
      sides.length > 1 ? h("div", { class: "row" },
        button("One more layer", () => { active = sides.length; drawTrial(); app.say("The next edge is a further layer of the seam."); }, { key: "layer", pressed: active === sides.length }),
        button("Start again", () => { sides = []; active = 0; tried = []; mark(); drawTrial(); }, { key: "again" })) : null,
      sides.length > 1 ? h("div", { class: "fields" },
        field(app, { key: "seam-ease", label: "ease", term: "ease", value: ease, placeholder: "0", change: (v) => { ease = v; void tryIt(); } }),
        field(app, { key: "seam-ratio", label: "stretched to fit, ratio", term: "ratio", value: ratio, placeholder: "1", change: (v) => { ratio = v; void tryIt(); } })) : null,
      wrongAt(app, "seam-try"),
      ...tried.map((t) => h("figure", { class: "fig" }, h("figcaption", { class: t.agrees ? "good" : "bad" }, `${t.size ? `${t.size}: ` : ""}${sentence(t)}`), walk(t), messages(t))),
      tried.length ? button("Make it a seam", async () => {
        const reply = await app.send("seam.add", body(), { spot: "seam-try", done: "Sewn together." });
        if (reply.ok) {
          sides = [];
          active = 0;
          tried = [];
          ease = "";
          ratio = "";
          drawTrial();
        }
      }, { kind: "main", key: "seam-add" }) : null,
    );
  }

  function drawList() {
    const now = doc();
    if (!now) return;
    /** @type {Map<number, Seam[]>} */
    const byIndex = new Map();
    for (const seam of now.seams) byIndex.set(seam.index, [...(byIndex.get(seam.index) ?? []), seam]);
    redraw(
      proposed,
      now.proposals.length ? [
        heading(2, "Likely"),
        h("ul", { class: "list" }, ...now.proposals.map((p) => h("li", {}, h("span", { class: "grow" }, p.message, h("span", { class: "note" }, ` ${p.why}`)), button("Yes", () => app.send("proposals.accept", { ids: [p.id] }, { done: p.message }), { kind: "mini", key: `accept-${p.id}`, label: `Accept: ${p.message}` })))),
        button(`Accept all ${now.proposals.length}`, () => app.send("proposals.accept", { ids: now.proposals.map((p) => p.id) }, { done: "Accepted." }), { key: "accept-seams", kind: "main" }),
      ] : null,
    );
    redraw(
      list,
      heading(2, byIndex.size ? counted(byIndex.size, "seam") : "No seams yet"),
      now.loose.length ? h("p", { class: "note" }, `In no seam: ${now.loose.join(", ")}.`) : null,
      ...[...byIndex].map(([index, sizes]) => {
        const good = sizes.every((x) => x.agrees);
        const title = sizes[0].sides.map((x) => x.edges.join(" + ")).join(" – ");
        return h("details", { "data-key": `seam-${index}`, open: app.lit?.seam === index || undefined, ontoggle: (/** @type {Event} */ e) => { if (/** @type {HTMLDetailsElement} */ (e.target).open) { shownSeam = index; mark(); } } },
          h("summary", { "data-key": `seam-${index}-s`, class: good ? null : "bad" }, good ? "✓ " : "✗ ", title, good ? "" : ` · ${asLength(Math.max(...sizes.map((x) => Math.abs(x.difference))))} apart`),
          ...sizes.map((x) => h("figure", { class: "fig" }, h("figcaption", {}, `${x.size ? `${x.size}: ` : ""}${sentence(x)}`), walk(x), messages(x))),
          h("div", { class: "fields" },
            field(app, { key: `seam-${index}-ease`, label: "ease", term: "ease", value: sizes[0].ease ? `${trim(sizes[0].ease, 2)} mm` : "", change: (v) => void app.send("seam.set", { index, key: "ease", value: v || null }, { spot: `seam-${index}-ease`, typed: v }) }),
            field(app, { key: `seam-${index}-ratio`, label: "ratio", term: "ratio", value: sizes[0].ratio === 1 ? "" : trim(sizes[0].ratio, 3), change: (v) => void app.send("seam.set", { index, key: "ratio", value: v ? asNumber(v) : null }, { spot: `seam-${index}-ratio`, typed: v }) })),
          h("div", { class: "row" },
            button("Add centre notches", () => app.send("seam.set", { index, key: "add_centre_notches", value: true }, { spot: `seam-${index}`, done: "Centre notches added." }), { kind: "mini", key: `seam-${index}-notch` }),
            button("Unpick", () => app.send("seam.remove", { index }, { spot: `seam-${index}`, done: "Seam taken out." }), { kind: "mini", key: `seam-${index}-out`, label: `Unpick ${title}` })),
          wrongAt(app, `seam-${index}`));
      }),
    );
    if (app.lit?.seam !== undefined) {
      shownSeam = app.lit.seam;
      app.lit = null;
    }
  }

  function draw() {
    const now = pieces();
    drawTop();
    if (now && (drawn[0] !== now || drawn[1] !== size)) {
      drawn = [now, size];
      sheet.show(now.pieces.filter((p) => !size || p.size === null || p.size === size));
    }
    drawTrial();
    drawList();
    mark();
  }

  return { draw, key: (/** @type {KeyboardEvent} */ e) => (stage.contains(document.activeElement) ? sheet.board.panZoom.key(e) : false), leave: () => sheet.board.leave() };
}

/** @param {Seam} seam */
export function sentence(seam) {
  return seam.agrees ? `they agree (${asLength(seam.sides[0]?.length)})` : `${asLength(Math.abs(seam.difference))} apart`;
}

/** @param {readonly Seam[]} all */
function verdictOf(all) {
  return all.map((t) => `${t.size ? `${t.size}: ` : ""}${sentence(t)}`).join("; ");
}

/** @param {Seam} seam */
function messages(seam) {
  return seam.messages.length ? h("ul", { class: "findings" }, ...seam.messages.map((m) => h("li", {}, m))) : null;
}
