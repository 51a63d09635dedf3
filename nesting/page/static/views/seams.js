/**
 * Seams: click an edge, then what it is sewn to; both are walked at once.
 */

import { h, redraw } from "../draw/dom.js";
import { ask, button, field, heading, wrongAt } from "../draw/kit.js";
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
  const sheet = new Sheet("Pieces with their edges; choose an edge, then the edges that it is sewn to", { edge: ({ piece, edge }) => (edge.named ? pick(`${piece.name}.${edge.name}`) : nameIt(piece, edge)) });
  const top = h("div", { class: "bar" });
  const stage = h("div", { class: "stage" }, sheet.board.svg, zoomButtons(sheet));
  const side = h("div", { class: "cards" });
  root.append(top, h("div", { class: "split" }, stage, side));
  const trial = h("section", { class: "card", "aria-label": "A seam in the making" });
  const proposed = h("section", { class: "card", "aria-label": "Proposals" });
  const list = h("section", { class: "card", "aria-label": "Seams of this order" });
  const pairs = h("section", { class: "card", "aria-label": "Cut together" });
  side.append(trial, proposed, list, pairs);
  const fresh = { leader: "", follower: "", shape: "" };
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

  /** Seams are kept by the names of edges: one without is named where it is clicked. @param {import("../documents.js").Piece} piece @param {import("../documents.js").Edge} edge */
  function nameIt(piece, edge) {
    const taken = new Set(piece.edges.filter((e) => e.named).map((e) => e.name));
    const names = (pieces()?.edge_names ?? []).filter((n) => !taken.has(n));
    const input = h("input", { id: "edge-called", list: "edge-called-names", autocomplete: "off", placeholder: names.slice(0, 3).join(", ") || "side, waist …" });
    const problem = h("p", { class: "wrong", role: "alert" });
    ask(
      `What is this edge of ${piece.name} called?`,
      [
        h("datalist", { id: "edge-called-names" }, ...names.map((n) => h("option", { value: n }))),
        h("div", { class: "field" }, h("label", { for: "edge-called" }, `${asLength(edge.length)} long, from corner ${edge.start} to ${edge.end}`), input),
        problem,
      ],
      [
        { text: "Not now" },
        {
          text: "Name it", kind: "main",
          act: async () => {
            const name = input.value.trim();
            if (!name) {
              problem.textContent = "Give it a name first.";
              return false;
            }
            const reply = await app.send("edge.name", { piece: piece.name, start: edge.start, end: edge.end, name, old: null }, { done: `Edge ${name} of ${piece.name}.` });
            if (!reply.ok) {
              problem.textContent = reply.problem?.message ?? "";
              return false;
            }
            pick(`${piece.name}.${name}`);
            return true;
          },
        },
      ],
    );
  }

  /** @param {string} edge "piece.edge" */
  function pick(edge) {
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
      field(app, { key: "edge-by-name", label: "or choose an edge by name", kind: "choice", value: "", choices: [{ value: "", label: "…" }, ...edges.map((v) => ({ value: v, label: v }))], change: (v) => { if (v) pick(v); } }),
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
        field(app, { key: "seam-ease", label: `ease: how much longer ${sides[1].join(" + ")} is than ${sides[0].join(" + ")} (with - where it is shorter)`, term: "ease", value: ease, placeholder: "0", change: (v) => { ease = v; void tryIt(); } }),
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
    if (!now) return redraw(list, h("p", {}, "Walking the seams …"));
    const likely = now.proposals;
    const sure = likely.filter((p) => !p.guess);
    /** @type {Map<number, Seam[]>} */
    const byIndex = new Map();
    for (const seam of now.seams) byIndex.set(seam.index, [...(byIndex.get(seam.index) ?? []), seam]);
    redraw(
      proposed,
      likely.length ? [
        heading(2, "Likely"),
        h("ul", { class: "list" }, ...likely.map((p) => h("li", {}, h("span", { class: "grow" }, p.message, h("span", { class: "note" }, ` ${p.why}`)), button("Yes", () => app.send("proposals.accept", { ids: [p.id] }, { done: p.message }), { kind: "mini", key: `accept-${p.id}`, label: `Accept: ${p.message}` }),
          button("No", () => app.decline([p.id]), { kind: "mini", key: `decline-${p.id}`, label: `Not so: ${p.message}` })))),
        sure.length ? button(`Accept all ${sure.length}${sure.length < likely.length ? " of one length" : ""}`, () => app.send("proposals.accept", { ids: sure.map((p) => p.id) }, { done: "Accepted." }), { key: "accept-seams", kind: "main" }) : null,
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
            field(app, { key: `seam-${index}-ease`, label: `ease: how much longer ${sizes[0].sides[1]?.edges.join(" + ")} is than ${sizes[0].sides[0].edges.join(" + ")} (with - where it is shorter)`, term: "ease", value: sizes[0].ease ? `${trim(sizes[0].ease, 2)} mm` : "", change: (v) => void app.send("seam.set", { index, key: "ease", value: v || null }, { spot: `seam-${index}-ease`, typed: v }) }),
            field(app, { key: `seam-${index}-ratio`, label: "ratio", term: "ratio", value: sizes[0].ratio === 1 ? "" : trim(sizes[0].ratio, 3), change: (v) => void app.send("seam.set", { index, key: "ratio", value: v ? asNumber(v) : null }, { spot: `seam-${index}-ratio`, typed: v }) })),
          more(index, sizes),
          h("div", { class: "row" },
            button("Unpick", () => app.send("seam.remove", { index }, { spot: `seam-${index}`, done: "Seam taken out." }), { kind: "mini", key: `seam-${index}-out`, label: `Unpick ${title}` })),
          wrongAt(app, `seam-${index}`));
      }),
    );
    if (app.lit?.seam !== undefined) {
      shownSeam = app.lit.seam;
      app.lit = null;
    }
  }

  /** What else can be said of a seam. @param {number} index @param {Seam[]} sizes */
  function more(index, sizes) {
    const said = doc()?.settings.find((x) => x.index === index);
    if (!said) return null;
    const names = [...new Set(sizes.flatMap((x) => x.sides.flatMap((y) => y.marks.map((m) => m.name))).filter(Boolean))];
    /** @param {"match" | "add_centre_notches" | "add_join_notches"} key @param {string} label @param {string} done */
    const flag = (key, label, done) => field(app, {
      key: `seam-${index}-${key}`, label, kind: "flag", value: said[key],
      change: (v) => void app.send("seam.set", { index, key, value: v === "true" ? true : null }, { spot: `seam-${index}-${key}`, done }),
    });
    return h("div", { class: "fields" },
      flag("add_centre_notches", "notches at the middle", "Notches at the middle."),
      said.in_row ? flag("add_join_notches", "notches where the others join", "Notches at the joins.") : null,
      flag("match", "stripes meet at the notches", "Stripes at the notches."),
      sizes[0].ease
        ? [h("datalist", { id: `notches-${index}` }, ...names.map((n) => h("option", { value: String(n) }))),
            field(app, {
              key: `seam-${index}-ease_between`, label: "eased only between", term: "ease", list: `notches-${index}`, value: (said.ease_between ?? []).join(", "), placeholder: names.length > 1 ? `${names[0]}, ${names[1]}` : "two notches",
              change: (v) => void app.send("seam.set", { index, key: "ease_between", value: v ? v.split(/\s*[,;]\s*|\s+and\s+/).filter(Boolean) : null }, { spot: `seam-${index}-ease_between`, typed: v, done: v ? `Eased between ${v}.` : "Eased all along." }),
            })]
        : null);
  }

  /** Pieces cut in one go: a lining laid under its front. */
  function drawPairs() {
    const now = doc();
    const names = [...new Set((pieces()?.pieces ?? []).map((p) => p.name))];
    if (!now || names.length < 2) return redraw(pairs);
    const SHAPES = [{ value: "", label: "the leader's, if drawn alike" }, { value: "leader", label: "the leader's" }, { value: "own", label: "its own" }];
    redraw(
      pairs,
      heading(2, "Cut in one go", "cut together"),
      h("p", { class: "note" }, "A lining laid over its front is cut through with it: it lies where the front lies, and follows when the front is altered."),
      h("ul", { class: "list" }, ...now.together.map((t) => h("li", {},
        h("span", { class: "grow" }, h("strong", {}, t.follower), " is cut with ", h("strong", {}, t.leader)),
        field(app, { key: `together-${t.index}-shape`, label: "its shape", kind: "choice", value: t.shape ?? "", choices: SHAPES, change: (v) => void app.send("together.set", { index: t.index, key: "shape", value: v || null }, { spot: `together-${t.index}`, done: `${t.follower}: ${SHAPES.find((x) => x.value === v)?.label ?? v}.` }) }),
        field(app, { key: `together-${t.index}-faces`, label: "its right side faces", kind: "choice", value: t.faces, choices: [{ value: "same", label: "as the leader's" }, { value: "to the leader", label: "the leader" }], change: (v) => void app.send("together.set", { index: t.index, key: "faces", value: v }, { spot: `together-${t.index}`, done: "Changed." }) }),
        button("Apart", () => app.send("together.remove", { index: t.index }, { spot: `together-${t.index}`, done: `${t.follower} is cut by itself.` }), { kind: "mini", key: `together-${t.index}-out`, label: `Apart: ${t.follower} and ${t.leader}` }),
        wrongAt(app, `together-${t.index}`)))),
      h("details", { "data-key": "together-new" }, h("summary", { "data-key": "together-new-s" }, "Two more pieces"),
        h("div", { class: "fields" },
          field(app, { key: "together-leader", label: "leads", kind: "choice", value: fresh.leader, choices: [{ value: "", label: "choose …" }, ...names.map((v) => ({ value: v, label: v }))], change: (v) => void (fresh.leader = v) }),
          field(app, { key: "together-follower", label: "is cut with it", kind: "choice", value: fresh.follower, choices: [{ value: "", label: "choose …" }, ...names.map((v) => ({ value: v, label: v }))], change: (v) => void (fresh.follower = v) }),
          field(app, { key: "together-shape", label: "its shape", kind: "choice", value: fresh.shape, choices: SHAPES, change: (v) => void (fresh.shape = v) })),
        wrongAt(app, "together-add"),
        button("Cut them together", async () => {
          const reply = await app.send("together.add", { leader: fresh.leader, follower: fresh.follower, shape: fresh.shape || null }, { spot: "together-add", done: `${fresh.follower} is cut with ${fresh.leader}.` });
          if (reply.ok) Object.assign(fresh, { leader: "", follower: "", shape: "" });
        }, { key: "together-add" })),
    );
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
    drawPairs();
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
