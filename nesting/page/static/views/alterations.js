/**
 * Alterations: drag the line or type; before and after over each other, the seams that they touch beside them.
 */

import { h, redraw, s } from "../draw/dom.js";
import { button, field, heading, whatIs, wrongAt } from "../draw/kit.js";
import { Board } from "../draw/board.js";
import { pathOf } from "../draw/paths.js";
import { walk } from "../draw/walk.js";
import { asLength, asTape, counted, example, inInches, inMm, trim } from "../draw/words.js";
import { boxOf, boxRound } from "../geometry/points.js";
import { DragKnob } from "../handlers/drag-knob.js";
import { sentence } from "./seams.js";
import { zoomButtons } from "./lay.js";

/**
 * @typedef {import("../documents.js").Piece} Piece @typedef {import("../documents.js").Change} Change
 * @typedef {import("../documents.js").Seam} Seam @typedef {import("../app.js").App} App
 * @typedef {import("../geometry/points.js").Point} Point
 */

/** @type {import("../main.js").ViewSpec} */
export const alterations = { name: "alterations", title: "Alterations", docs: ["pieces", "alterations"], mount };

const KINDS = [
  { value: "lengthen", label: "lengthen" }, { value: "shorten", label: "shorten" },
  { value: "take strip", label: "take a strip out of the middle" },
  { value: "add", label: "add at an edge" }, { value: "take", label: "take off at an edge" },
];
const AT_EDGE = new Set(["add", "take"]);

/** @param {HTMLElement} root @param {App} app */
function mount(root, app) {
  const board = new Board("The piece before (dashed) and after (full)", () => true);
  const stage = h("div", { class: "stage" }, board.svg, zoomButtons({ board }));
  const cards = h("div", { class: "cards" });
  root.append(h("div", { class: "split" }, stage, cards));
  const form = h("section", { class: "card", "aria-label": "A new alteration" });
  const seamCard = h("section", { class: "card", "aria-label": "Seams beside it" });
  const list = h("section", { class: "card", "aria-label": "Alterations of this order" });
  cards.append(form, seamCard, list);

  /** What is being set up. */
  const plan = { piece: "", size: "", wearer: "", kind: "lengthen", at: "", by: "", edge: "", hold: /** @type {string[]} */ ([]) };
  /** @type {{shapes: Record<string, Change>, seams: Seam[]} | null} */
  let tried = null;
  let asked = 0;
  let busy = false;
  let again = false;
  /** @type {number | null} */
  let shown = null;
  /** @type {DragKnob[]} */
  let knobs = [];

  const pieces = () => app.store.docs.pieces?.pieces ?? [];
  const doc = () => app.store.docs.alterations;
  const names = () => [...new Set(pieces().map((p) => p.name))];
  const pieceNow = () => pieces().find((p) => p.name === plan.piece && (!plan.size || p.size === plan.size)) ?? pieces().find((p) => p.name === plan.piece);

  /** Here only a distance is meant, where a bare number would be that of a corner. @param {string} text */
  function withUnit(text) {
    return /^\d+([.,]\d+)?$/.test(text) ? `${text} ${app.store.docs.state?.units ?? "cm"}` : text;
  }

  function body() {
    return {
      kind: plan.kind, pieces: [plan.piece], by: plan.by, size: plan.size || null,
      wearer: plan.wearer || null,
      ...(AT_EDGE.has(plan.kind) ? { edge: plan.edge, hold: plan.hold } : { at: withUnit(plan.at) || null }),
    };
  }

  /** While a line is dragged many are asked for: one at a time, the newest last. */
  async function tryIt() {
    if (!plan.piece || (AT_EDGE.has(plan.kind) && !plan.edge)) {
      tried = null;
      return draw();
    }
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    const mine = ++asked;
    const reply = await app.store.link.send("alter.try", body());
    busy = false;
    app.problems.delete("alter");
    if (reply.ok) tried = reply.result;
    else if (reply.problem) app.problems.set("alter", reply.problem);
    if (again) {
      again = false;
      void tryIt();
    }
    if (mine === asked) draw();
  }

  /** @param {string} name */
  function take(name) {
    plan.piece = name;
    plan.by ||= example("1 cm", "3/8 in");
    plan.edge = "";
    plan.hold = [];
    tried = null;
    shown = null;
    board.touched = false;
    const piece = pieceNow();
    if (piece) {
      const { span } = frameOf(piece);
      plan.at = asTape(Math.round(span / 2 / 5) * 5);
    }
    void tryIt();
  }

  /** Direction of the grain and how far the piece reaches along it. @param {Piece} piece @param {readonly Point[]} [line] as it is before */
  function frameOf(piece, line = piece.seam ?? piece.outline) {
    const a = ((piece.grain_deg ?? 90) * Math.PI) / 180;
    /** @type {[number, number]} */
    const g = [Math.cos(a), Math.sin(a)];
    const along = line.map((p) => p[0] * g[0] + p[1] * g[1]);
    const across = line.map((p) => -p[0] * g[1] + p[1] * g[0]);
    const least = Math.min(...along);
    return { g, least, span: Math.max(...along) - least, low: Math.min(...across), high: Math.max(...across) };
  }

  /** A piece is called by size and wearer together where it is cut for somebody. @param {Piece} piece @param {string} wearer */
  function idFor(piece, wearer) {
    return wearer ? `${piece.name}|${[piece.size, wearer].filter(Boolean).join(" ")}` : piece.id;
  }

  function drawBoard() {
    // a knob in the hand stays: taken out of the page it would lose its pointer
    const inHand = knobs.some((k) => k.pointer !== null);
    if (!inHand) {
      for (const knob of knobs) knob.disable();
      knobs = [];
    }
    const focused = document.activeElement?.getAttribute?.("data-key");
    /** @type {Change | undefined} */
    let change;
    let piece = pieceNow();
    if (shown !== null) {
      const alteration = doc()?.alterations.find((a) => a.index === shown);
      piece = pieces().find((p) => p.name === alteration?.pieces[0] && (!alteration.size || p.size === alteration.size));
      change = piece ? doc()?.shapes[idFor(piece, alteration?.wearer ?? "")] : undefined;
    } else if (piece) change = tried?.shapes?.[idFor(piece, plan.wearer)] ?? Object.entries(tried?.shapes ?? {}).find(([id]) => id.startsWith(`${plan.piece}|`))?.[1];
    if (!piece) {
      board.layer.replaceChildren();
      return;
    }
    const before = change?.before.outline ?? piece.seam ?? piece.outline;
    const after = change?.after?.outline ?? piece.seam ?? piece.outline;
    /** @type {SVGElement[]} */
    const children = [
      s("path", { class: "after", d: pathOf(after, true) }),
      s("path", { class: "before", d: pathOf(before, true) }),
    ];
    board.show(boxRound(boxOf(before), boxOf(after)));
    if (shown === null && AT_EDGE.has(plan.kind)) children.push(...edges(piece));
    const across = shown === null && !AT_EDGE.has(plan.kind) ? lineOf(piece, before) : null;
    if (across) children.push(s("path", { class: "alterline", d: across.path }));
    const ground = s("g", {}, ...children);
    if (inHand && across && board.layer.firstElementChild) {
      board.layer.firstElementChild.replaceWith(ground);
      for (const [key, p] of across.spots) {
        const dot = board.layer.querySelector(`[data-key="${key}"]`);
        dot?.setAttribute("cx", String(p[0]));
        dot?.setAttribute("cy", String(-p[1]));
      }
      return;
    }
    board.layer.replaceChildren(ground, ...(across?.knobs() ?? []));
    if (focused) /** @type {SVGElement | null} */ (board.svg.querySelector(`[data-key="${CSS.escape(focused)}"]`))?.focus();
  }

  /** The line at which the piece opens or closes, with two knobs: where, and by how much. @param {Piece} piece @param {readonly Point[]} before */
  function lineOf(piece, before) {
    const { g, least, span, low, high } = frameOf(piece, before);
    /** @type {[number, number]} */
    const c = [-g[1], g[0]];
    const at = Math.min(span, Math.max(0, inMm(plan.at) ?? span / 2));
    const by = inMm(plan.by) ?? 0;
    /** @param {number} along @param {number} across @returns {[number, number]} */
    const place = (along, across) => [g[0] * (least + along) + c[0] * across, g[1] * (least + along) + c[1] * across];
    const margin = (high - low) * 0.08;
    const first = [place(at, low - margin), place(at, high + margin)];
    const second = [place(at + by, low - margin), place(at + by, high + margin)];
    /** @param {string} key @param {Point} p @param {string} label @param {number} value @param {(mm: number) => void} set */
    const knob = (key, p, label, value, set) => {
      const dot = s("circle", { class: "knob", cx: p[0], cy: -p[1], r: Math.max(4, Math.min(9, span / 40)), tabindex: 0, role: "slider", "aria-label": label, "aria-valuemin": 0, "aria-valuemax": Math.round(span), "aria-valuenow": Math.round(value), "aria-valuetext": asLength(value), "data-key": key });
      knobs.push(new DragKnob(dot, {
        at: (e) => {
          const [x, y] = board.at(e);
          return [Math.round(x * g[0] + y * g[1] - least), 0];
        },
        nudge: (dx, dy) => [value + (Math.abs(dy) > 0 ? dy : dx), 0],
        moved: ([mm]) => set(mm),
        done: () => void tryIt(),
        cancelled: () => void tryIt(),
      }).enable());
      return dot;
    };
    const setAt = (/** @type {number} */ mm) => {
      plan.at = asTape(Math.min(span, Math.max(0, mm)));
      void tryIt();
    };
    const setBy = (/** @type {number} */ mm) => {
      // the other line is dragged: what lies between the two is the change
      plan.by = inInches() ? asTape(Math.max(0, mm - (inMm(plan.at) ?? at))) : `${trim(Math.max(0, mm - (inMm(plan.at) ?? at)), 1)} mm`;
      void tryIt();
    };
    return {
      path: pathOf(first) + (by ? pathOf(second) : ""),
      spots: /** @type {[string, Point][]} */ ([["alter-at", first[1]], ["alter-by", second[0]]]),
      knobs: () => [
        knob("alter-at", first[1], plan.kind === "take strip" ? "Where the strip begins along the grain" : "Where along the grain", at, setAt),
        knob("alter-by", second[0], "By how much: the other line", at + by, setBy),
      ],
    };
  }

  /** Edges to choose from. @param {Piece} piece */
  function edges(piece) {
    return piece.edges.filter((e) => e.named).map((edge) => s(
      "g",
      { class: `edge named${edge.name === plan.edge ? " chosen" : ""}`, role: "button", tabindex: 0, "aria-label": `edge ${edge.name}`, "data-key": `alter-edge-${edge.name}`,
        onclick: () => setEdge(edge.name), onkeydown: (/** @type {KeyboardEvent} */ e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); setEdge(edge.name); } } },
      s("path", { class: "edgeline", d: pathOf(edge.line) }), s("path", { class: "edgehit", d: pathOf(edge.line) }),
    ));
  }

  /** @param {string} name */
  function setEdge(name) {
    plan.edge = name;
    plan.hold = [];
    void tryIt();
  }

  function drawForm() {
    const piece = pieceNow();
    const sizes = [...new Set(pieces().filter((p) => p.name === plan.piece).map((p) => p.size).filter((x) => x !== null))];
    const edge = piece?.edges.find((e) => e.name === plan.edge);
    redraw(
      form,
      heading(2, "After a fitting", "alteration"),
      h("div", { class: "fields" },
        field(app, { key: "alter-piece", label: "piece", kind: "choice", value: plan.piece, choices: [{ value: "", label: "choose …" }, ...names().map((v) => ({ value: v, label: v }))], change: (v) => take(v) }),
        (app.store.docs.state?.wearers ?? []).length
          ? field(app, { key: "alter-wearer", label: "for", kind: "choice", value: plan.wearer, choices: [{ value: "", label: "everybody" }, ...(app.store.docs.state?.wearers ?? []).map((v) => ({ value: v, label: v }))], change: (v) => { plan.wearer = v; void tryIt(); } })
          : null,
        sizes.length > 1 ? field(app, { key: "alter-size", label: "size", kind: "choice", value: plan.size, choices: [{ value: "", label: "every size" }, ...sizes.map((v) => ({ value: String(v), label: String(v) }))], change: (v) => { plan.size = v; void tryIt(); } }) : null,
        field(app, { key: "alter-kind", label: "what", kind: "choice", value: plan.kind, choices: KINDS, change: (v) => { plan.kind = v; tried = null; void tryIt(); } }),
        AT_EDGE.has(plan.kind)
          ? field(app, { key: "alter-edge", label: "edge", kind: "choice", value: plan.edge, choices: [{ value: "", label: "choose …" }, ...(piece?.edges ?? []).filter((e) => e.named).map((e) => ({ value: e.name, label: e.name }))], change: setEdge })
          : field(app, { key: "alter-at-text", label: "at, along the grain from the tail of its arrow", value: plan.at, change: (v) => { plan.at = v; void tryIt(); } }),
        field(app, { key: "alter-by-text", label: "by", value: plan.by, change: (v) => { plan.by = v; void tryIt(); } })),
      AT_EDGE.has(plan.kind) && edge
        ? h("fieldset", {}, h("legend", {}, "ends that stay where they are ", whatIs("hold", "hold")),
            ...[edge.start, edge.end].map((anchor) => field(app, {
              key: `hold-${anchor}`, label: `the end at ${typeof anchor === "number" ? `corner ${anchor}` : anchor}`, kind: "flag", value: plan.hold.includes(String(anchor)),
              change: (v) => {
                const rest = plan.hold.filter((x) => x !== String(anchor));
                plan.hold = v === "true" ? [...rest, String(anchor)] : rest;
                void tryIt();
              },
            })))
        : null,
      wrongAt(app, "alter"),
      plan.piece
        ? button("Alter it", async () => {
            const asked = plan.piece;
            const reply = await app.send("alter.add", holdAsGiven(), { spot: "alter", done: `${plan.piece}: ${plan.kind} ${plan.by}.` });
            if (reply.ok) {
              // somebody may have taken the next piece meanwhile
              if (plan.piece !== asked) return;
              shown = reply.result?.index ?? null;
              plan.piece = "";
              tried = null;
              draw();
            }
          }, { kind: "main", key: "alter-add", disabled: AT_EDGE.has(plan.kind) && !plan.edge })
        : null,
    );
  }

  /** Corners are numbers, notches names. */
  function holdAsGiven() {
    const b = body();
    return "hold" in b && b.hold ? { ...b, hold: b.hold.map((x) => (/^\d+$/.test(x) ? Number(x) : x)) } : b;
  }

  function drawSeams() {
    const seams = shown !== null || !tried ? (doc()?.seams ?? []) : (tried.seams ?? []);
    redraw(
      seamCard,
      seams.length ? heading(2, "Seams beside it") : null,
      ...seams.map((x) => h("details", { "data-key": `beside-${x.index}-${x.size}`, open: !x.agrees || undefined },
        h("summary", { class: x.agrees ? null : "bad", "data-key": `beside-${x.index}-${x.size}-s` }, x.agrees ? "✓ " : "✗ ", `${x.sides.map((y) => y.edges.join(" + ")).join(" – ")}${x.size ? `, ${x.size}` : ""}: ${sentence(x)}`), walk(x))),
    );
  }

  function drawList() {
    const all = doc()?.alterations ?? [];
    redraw(
      list,
      heading(2, all.length ? counted(all.length, "alteration") : "No alterations: the pieces are as drawn"),
      h("ul", { class: "list" }, ...all.map((a) =>
        h("li", {},
          h("span", { class: "grow" }, a.message || `${a.kind} ${a.pieces.join(", ")}${a.size ? ` ${a.size}` : ""} by ${a.by}${a.at ? ` at ${a.at}` : ""}${a.edge ? `, edge ${a.edge}` : ""}`, a.wearer ? h("span", { class: "tag" }, `for ${a.wearer}`) : null,
            a.wearer && !(app.store.docs.state?.garments ?? []).some((g) => g.wearer === a.wearer) ? h("span", { class: "note" }, ` No garment is cut for ${a.wearer} yet: choose who it is for under Cloth & people.`) : null),
          field(app, { key: `alter-${a.index}-by`, label: "by", value: a.by, width: "short", change: (v) => void app.send("alter.set", { index: a.index, key: "by", value: v }, { spot: `alter-${a.index}-by`, typed: v, done: "Changed." }) }),
          a.asks
            ? field(app, { key: `alter-${a.index}-from`, label: "measured from", kind: "choice", value: a.start ?? "", choices: [{ value: "", label: "choose …" }, { value: "tail", label: "the tail of the grain arrow" }, { value: "head", label: "its head" }, ...a.edges.map((v) => ({ value: v, label: v }))], change: (v) => void app.send("alter.set", { index: a.index, key: "from", value: v || null }, { spot: `alter-${a.index}`, done: "Changed." }) })
            : null,
          button("Show", () => { shown = a.index; board.touched = false; draw(); }, { kind: "mini", key: `alter-${a.index}-show`, pressed: shown === a.index }),
          button("Take back out", () => { if (shown === a.index) shown = null; void app.send("alter.remove", { index: a.index }, { done: "Alteration taken out." }); }, { kind: "mini", key: `alter-${a.index}-out` }),
          wrongAt(app, `alter-${a.index}`)))),
      Object.values(doc()?.shapes ?? {}).some((c) => c.follows) ? h("p", { class: "note" }, "Pieces that are cut together with an altered one follow it by themselves.") : null,
    );
  }

  function draw() {
    if (app.lit?.alteration !== undefined) {
      shown = app.lit.alteration;
      app.lit = null;
    }
    if (!plan.piece && shown === null && names().length) {
      const first = names()[0];
      if (first) return take(first);
    }
    drawBoard();
    drawForm();
    drawSeams();
    drawList();
  }

  return { draw, key: (/** @type {KeyboardEvent} */ e) => (stage.contains(document.activeElement) ? board.panZoom.key(e) : false), leave: () => { for (const k of knobs) k.disable(); board.leave(); } };
}
