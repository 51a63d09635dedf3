/**
 * What to buy, whether the leftovers will do, and many garments at once: tables and pictures.
 */

import { h, redraw, s } from "../draw/dom.js";
import { button, commandLine, copy, field, heading, isBusy, runBar, showRun, wrongAt } from "../draw/kit.js";
import { asEnough, asLength, asMoney, asTape, counted, example, inInches } from "../draw/words.js";
import { marks } from "../geometry/marks.js";

/** @typedef {import("../app.js").App} App */

/** @type {import("../main.js").ViewSpec} */
export const buying = { name: "buy", title: "Buy & use up", docs: ["buy", "remnants", "batch"], mount };

const wish = { widths: "", seconds: "60", whatIf: false };
const TIMES = [{ value: "20", label: "20 seconds" }, { value: "60", label: "1 minute" }, { value: "120", label: "2 minutes" }, { value: "300", label: "5 minutes" }];

/** @param {HTMLElement} root @param {App} app */
function mount(root, app) {
  const buyCard = h("section", { class: "card wide", "aria-label": "What to buy" });
  const shopCard = h("section", { class: "card", "aria-label": "Shopping list" });
  const remnantCard = h("section", { class: "card wide", "aria-label": "From leftovers" });
  const batchCard = h("section", { class: "card wide", "aria-label": "Many at once" });
  root.append(h("div", { class: "cards" }, buyCard, shopCard, remnantCard, batchCard));
  const runNow = () => app.store.docs.state?.run ?? null;
  const runs = { buy: runBar(app, runNow(), "buy"), remnants: runBar(app, runNow(), "remnants"), batch: runBar(app, runNow(), "batch") };

  /** @param {"buy" | "remnants" | "batch"} kind @param {Record<string, unknown>} [fields] */
  function start(kind, fields = {}) {
    app.say("Working it out …");
    return app.send(`${kind}.start`, { seconds: Number(wish.seconds), seed: 0, ...fields }, { spot: `${kind}-start` });
  }

  /** @param {string} key */
  function time(key) {
    return field(app, { key, label: "take", kind: "choice", value: wish.seconds, choices: TIMES, change: (v) => void (wish.seconds = v) });
  }

  function drawBuy() {
    const doc = app.store.docs.buy;
    const busy = isBusy(runNow());
    redraw(
      buyCard,
      heading(2, "What to buy, width by width", "to buy"),
      h("div", { class: "row" },
        field(app, { key: "buy-widths", label: "widths to compare", value: wish.widths, placeholder: example("115 cm, 140 cm, 150 cm", "45 in, 54 in, 60 in"), change: (v) => void (wish.widths = v) }),
        time("buy-time"),
        field(app, { key: "buy-what-if", label: "and what would save", kind: "flag", value: wish.whatIf, change: (v) => void (wish.whatIf = v === "true") }),
        button("Work it out", () => start("buy", { what_if: wish.whatIf, widths: wish.widths.split(/[;,](?!\d)|\s+and\s+/).map((w) => w.trim()).filter(Boolean) }), { kind: "main", key: "buy-start", disabled: busy }),
        runs.buy),
      wrongAt(app, "buy-start"),
      doc?.stale ? h("p", { class: "wrong" }, "The order was changed since; work it out anew.") : null,
      !doc?.answer && !isBusy(runNow()) ? h("p", { class: "note" }, "Cloth, elastic and binding for all garments of this order: how much of each, in each width, and what one garment more would add.") : null,
      doc?.rows.length ? table("Widths", HEADS, doc.rows.map((r) => row(r, true))) : null,
      doc?.rows.some((r) => r.known) ? h("p", { class: "note" }, "“Your lay”: the lay that you have takes less than this table's own search found, so the table and the shopping list go by it.") : null,
      doc?.rows.some((r) => r.more.length) ? h("details", { "data-key": "buy-more" }, h("summary", { "data-key": "buy-more-s" }, "Spread in other ways"),
        table("Other spreads", HEADS, doc.rows.flatMap((r) => r.more.map((/** @type {any} */ m, /** @type {number} */ i) => row(m, i === 0))))) : null,
      doc?.savings ? savingsOf(doc.savings) : null,
      doc?.refused.length ? h("details", { "data-key": "buy-not" }, h("summary", { "data-key": "buy-not-s" }, "What cannot be done"),
        h("ul", { class: "findings" }, ...doc.refused.map((r) => h("li", {}, `${[r.cloth, widthOf(r.width), r.spread, r.nap && r.nap !== "none" ? `nap ${r.nap}` : ""].filter(Boolean).join(", ")}: ${r.why}`)))) : null,
      ...(doc?.curves ?? []).filter((c) => c.points.length > 1).map((c) => h("figure", {}, h("figcaption", {}, `${c.cloth}${c.width ? `, ${asTape(c.width)} wide` : ""}: cloth to buy for 1, 2, 3 … garments`), curve(c.points))),
      doc?.trims.length ? [h("h3", {}, "Elastic, binding, lace"), table("Trims", ["trim", "pieces", "in all", "to buy", "cost"], doc.trims.map((t) => [t.name, String(t.count), lengthOf(t.total), lengthOf(t.buy), asMoney(t.cost)]))] : null,
      doc?.unlisted.length ? [h("h3", {}, "Sewn to edges, and not reckoned yet"), h("ul", { class: "findings" }, ...doc.unlisted.map((l) => h("li", {}, l))),
        h("p", { class: "note" }, "How much of it to buy depends on how far it is stretched; add it under “Elastic, bindings, lace”, where the cloth is described, and it is reckoned.")] : null,
      doc?.answer ? commandLine(app, doc.command) : null,
    );
    showRun(app, runs.buy, runNow(), "buy");
    redraw(
      shopCard,
      doc?.shopping.length ? [
        heading(2, "Shopping list"),
        h("pre", { tabindex: 0 }, doc.shopping.join("\n")),
        h("div", { class: "row" }, button("Copy", () => copy(app, doc.shopping.join("\n")), { key: "copy-list" }), button("Print", () => printAlone(shopCard), { key: "print-list", label: "Print the shopping list" })),
      ] : null,
    );
  }

  /** @param {"remnants" | "batch"} kind @param {Element} card @param {string} title @param {string} term @param {string} words */
  function drawAnswer(kind, card, title, term, words) {
    const doc = app.store.docs[kind];
    redraw(
      card,
      heading(2, title, term),
      h("p", { class: "note" }, words),
      h("div", { class: "row" }, time(`${kind}-time`), button("Work it out", () => start(kind), { key: `${kind}-start`, disabled: isBusy(runNow()) }), runs[kind]),
      wrongAt(app, `${kind}-start`),
      doc?.stale ? h("p", { class: "wrong" }, "The order was changed since; work it out anew.") : null,
      ...(doc?.answer ? (kind === "batch" ? batchOf(doc.answer) : remnantsOf(doc.answer)) : []),
      ...(doc?.pictures ?? []).map((p) => h("figure", { class: "fig" }, h("figcaption", {}, p.title), h("img", { class: "picture", src: p.url, alt: `The lay of ${p.title}` }))),
      doc?.words.length ? h("details", { "data-key": `${kind}-words` }, h("summary", { "data-key": `${kind}-words-s` }, "As the command line tells it"), h("pre", { tabindex: 0 }, doc.words.join("\n"))) : null,
      doc?.answer ? commandLine(app, doc.command) : null,
    );
    showRun(app, runs[kind], runNow(), kind);
  }

  function draw() {
    drawBuy();
    drawAnswer("remnants", remnantCard, "Will the leftovers do?", "remnant", "Whole garments from the leftovers of this order and of the stash, and what must be bought for the rest.");
    drawAnswer("batch", batchCard, "Many garments at once", "plies", "Sections and plies so that exactly the counts come out.");
  }

  const offs = [
    app.store.on("progress", (e) => {
      for (const kind of /** @type {("buy" | "remnants" | "batch")[]} */ (["buy", "remnants", "batch"])) showRun(app, runs[kind], e.run, kind);
    }),
  ];
  return { draw, leave: () => { for (const off of offs) off(); } };
}

/** Print one card and nothing beside it. @param {HTMLElement} card */
function printAlone(card) {
  document.body.classList.add("one-card");
  card.classList.add("alone");
  addEventListener("afterprint", () => {
    document.body.classList.remove("one-card");
    card.classList.remove("alone");
  }, { once: true });
  print();
}

/** Sections and plies of each cloth. @param {any} answer */
function batchOf(answer) {
  const left = answer.leftovers?.pieces?.length ? [h("h3", {}, "First, from leftovers"), ...remnantsOf(answer.leftovers)] : [];
  if (left.length && !answer.plans?.length) left.push(h("p", {}, h("strong", {}, "Nothing has to be bought.")));
  return [...left, ...(answer.plans ?? []).flatMap((/** @type {any} */ plan) => [
    h("p", {}, "Buy ", h("strong", {}, asEnough(plan.buy_length)), ` of ${plan.cloth}`, plan.cost === null ? "" : `, costs ${asMoney(plan.cost)}`,
      `: ${asLength(plan.per_garment)} each on average${plan.one_at_a_time === null ? "" : `; one at a time they would take about ${asLength(plan.one_at_a_time)}`}. `,
      plan.proved ? "No division of the batch needs less cloth from the shop." : "The best found."),
    table(`Sections of ${plan.cloth}`, ["section", "spread", "plies", "in each layer", "lay", "cloth", "outlines to cut"], plan.sections.map((/** @type {any} */ s, /** @type {number} */ i) =>
      [String(i + 1), s.spread, String(s.plies), Object.entries(s.per_layer).map(([name, n]) => `${n} × ${name}`).join(", "), asLength(s.lay_length), asLength(s.cloth_length), String(s.cuts)])),
  ])];
}

/** What the leftovers give, which piece lies on which, and what is still to buy. @param {any} answer */
function remnantsOf(answer) {
  /** @type {Map<string, string[]>} */
  const on = new Map();
  for (const u of answer.pieces ?? []) on.set(u.remnant, [...(on.get(u.remnant) ?? []), `${u.piece}${u.hand ? ` ${u.hand}` : ""} (${u.garment}${u.size ? ` ${u.size}` : ""} ${u.copy})`]);
  return [
    table("Garments from leftovers", ["garment", "size", "whole ones from leftovers", "asked for"], (answer.garments ?? []).map((/** @type {any} */ g) => [g.name, g.size ?? "", String(g.made), String(g.asked)])),
    answer.proved ? h("p", {}, "No other plan is worth more.") : h("p", { class: "note" }, "The best found."),
    on.size ? table("On which leftover", ["leftover", "what is cut from it"], [...on].map(([name, pieces]) => [name, pieces.join(", ")])) : null,
    answer.unused?.length ? h("p", { class: "note" }, `Not needed: ${answer.unused.join(", ")}.`) : null,
    ...(answer.to_buy ?? []).map((/** @type {any} */ b) => h("p", {}, typeof b.buy_length === "number" ? ["Still to buy: ", h("strong", {}, asEnough(b.buy_length)), ` of ${b.cloth}`, typeof b.cost === "number" ? `, costs ${asMoney(b.cost)}` : "", b.garments?.length ? `, for ${b.garments.map((/** @type {any} */ g) => `${g.count} × ${g.garment}`).join(", ")}` : "", "."] : `${b.cloth}: ${b.reason ?? ""}`)),
    ...(answer.refused ?? []).map((/** @type {any} */ r) => h("p", { class: "note" }, String(r))),
  ].filter(Boolean);
}

/** What changes of the order would save, and what they ask in handling. @param {NonNullable<import("../documents.js").Buy["savings"]>} savings */
function savingsOf(savings) {
  /** @param {number} v @param {(v: number) => string} words */
  const signed = (v, words) => (v < 0 ? `−${words(-v)}` : words(v));
  const saved = (/** @type {Record<string, number>} */ lengths) => {
    const all = Object.entries(lengths);
    return all.map(([cloth, mm]) => (all.length > 1 ? `${signed(mm, asLength)} of ${cloth}` : signed(mm, asLength))).join(", ") || "nothing";
  };
  return [
    h("h3", {}, "What would save"),
    h("p", { class: "note" }, "Each is tried by itself, against the order as it is; a minus takes more. About, as the search ends by the clock."),
    savings.length
      ? table("What would save", ["what if", "saves about", "money", "handling"], savings.map((o) => [o.what, o.refused ? "–" : saved(o.lengths), o.refused || o.money === null ? "–" : signed(o.money, asMoney), o.handling]))
      : h("p", {}, "Nothing in this order leaves a choice."),
  ];
}

const HEADS = ["cloth", "width", "spread", "lay", "to buy", "cost", "each garment", "one more adds"];

/** @param {any} r @param {boolean} named  the cloth and its width stand in the row, too */
function row(r, named) {
  const adds = typeof r.next_adds !== "number" ? "–" : r.next_adds < 0.001 ? `nothing (${r.next_garment})` : `${asLength(r.next_adds)} (${r.next_garment})`;
  return [named ? r.cloth : "", named ? widthOf(r.width) : "", r.known ? `${r.spread} (your lay)` : r.spread, lengthOf(r.length), lengthOf(r.buy), asMoney(r.cost), lengthOf(r.per_garment), adds];
}

/** @param {unknown} v */
function widthOf(v) {
  return typeof v === "number" ? asTape(v) : String(v ?? "");
}

/** @param {unknown} v a length in mm, or words */
function lengthOf(v) {
  return typeof v === "number" ? asLength(v) : v === null || v === undefined ? "–" : typeof v === "object" ? "" : String(v);
}

/** @param {string} label @param {readonly string[]} heads @param {readonly (readonly string[])[]} rows */
export function table(label, heads, rows) {
  return h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": label }, h("table", {},
    h("thead", {}, h("tr", {}, ...heads.map((t) => h("th", { scope: "col" }, t)))),
    h("tbody", {}, ...rows.map((r) => h("tr", {}, ...r.map((c, i) => (i === 0 && c ? h("th", { scope: "row" }, c) : h("td", { class: /^−?\d[^(]{0,10}$/.test(c) ? "figure" : null }, c))))))));
}

/** @param {readonly {count: number, length: number}[]} points */
function curve(points) {
  const w = 560;
  const high = 150;
  // whole steps of what people measure in
  const unit = inInches() ? 25.4 : 10;
  const upwards = marks(Math.max(...points.map((p) => p.length)) / unit, 4).map((n) => n * unit);
  const most = upwards.at(-1) || 1;
  const last = Math.max(...points.map((p) => p.count)) || 1;
  const x = (/** @type {number} */ count) => 54 + (count / last) * (w - 80);
  const y = (/** @type {number} */ length) => high - (length / most) * (high - 24);
  const said = points.map((p) => `${counted(p.count, "garment")} ${asLength(p.length)}`).join(", ");
  const along = marks(last, Math.min(last, 12)).filter((n) => n > 0 && n <= last && Number.isInteger(n));
  return s("svg", { class: "chart", viewBox: `0 0 ${w} ${high + 40}`, role: "img", "aria-label": said },
    s("path", { class: "axis", d: `M54 10V${high}H${w - 16}` }),
    s("path", { class: "axis", d: upwards.map((l) => `M50 ${y(l)}h4`).join("") + along.map((n) => `M${x(n)} ${high}v4`).join("") }),
    s("path", { class: "curve", d: points.map((p, i) => `${i ? "L" : "M"}${x(p.count)} ${y(p.length)}`).join("") }),
    ...points.map((p) => s("g", {}, s("title", {}, `${counted(p.count, "garment")}: ${asLength(p.length)}`), s("circle", { cx: x(p.count), cy: y(p.length), r: 3.5 }))),
    ...along.map((n) => s("text", { x: x(n), y: high + 16, "text-anchor": "middle" }, String(n))),
    ...upwards.map((l) => s("text", { x: 47, y: y(l) + 4, "text-anchor": "end" }, l ? asLength(l) : "0")),
    s("text", { x: w - 16, y: high + 32, "text-anchor": "end" }, "garments"));
}
