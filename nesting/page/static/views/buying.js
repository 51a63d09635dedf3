/**
 * What to buy, whether the leftovers will do, and many garments at once: tables and pictures.
 */

import { h, redraw, s } from "../draw/dom.js";
import { button, commandLine, copy, field, heading, isBusy, runBar, showRun, wrongAt } from "../draw/kit.js";
import { asLength, asMoney, counted } from "../draw/words.js";

/** @typedef {import("../app.js").App} App */

/** @type {import("../main.js").ViewSpec} */
export const buying = { name: "buy", title: "Buy & use up", docs: ["buy", "remnants", "batch"], mount };

const wish = { widths: "", seconds: "60" };
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
        field(app, { key: "buy-widths", label: "widths to compare", value: wish.widths, placeholder: "115 cm, 140 cm, 150 cm", change: (v) => void (wish.widths = v) }),
        time("buy-time"),
        button("Work it out", () => start("buy", { widths: wish.widths.split(/[;,](?!\d)|\s+and\s+/).map((w) => w.trim()).filter(Boolean) }), { kind: "main", key: "buy-start", disabled: busy }),
        runs.buy),
      wrongAt(app, "buy-start"),
      doc?.stale ? h("p", { class: "wrong" }, "The order was changed since; work it out anew.") : null,
      doc?.rows.length ? table("Widths", ["cloth", "width", "spread", "lay", "to buy", "cost", "each garment", "one more adds"], doc.rows.flatMap((r) => [row(r, false), ...(r.more ?? []).map((/** @type {any} */ m) => row({ ...m, cloth: r.cloth, width: r.width }, true))])) : null,
      doc?.refused.length ? h("ul", { class: "findings" }, ...doc.refused.map((r) => h("li", {}, `${widthOf(r.width)}${r.spread ? `, ${r.spread}` : ""}: ${r.why}`))) : null,
      doc && doc.curve.length > 1 ? [h("h3", {}, "Cloth by the number of garments"), curve(doc.curve)] : null,
      doc?.trims.length ? [h("h3", {}, "Elastic, binding, lace"), table("Trims", ["trim", "each", "in all", "to buy", "cost"], doc.trims.map((t) => [t.name, lengthOf(t.each), lengthOf(t.total), lengthOf(t.buy), asMoney(t.cost)]))] : null,
      doc ? commandLine(app, doc.command) : null,
    );
    showRun(app, runs.buy, runNow(), "buy");
    redraw(
      shopCard,
      doc?.shopping.length ? [
        heading(2, "Shopping list"),
        h("pre", { tabindex: 0 }, doc.shopping.join("\n")),
        h("div", { class: "row" }, button("Copy", () => copy(app, doc.shopping.join("\n")), { key: "copy-list" }), button("Print", () => print(), { key: "print-list" })),
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
      doc?.words.length ? h("ul", { class: "findings" }, ...doc.words.map((w) => h("li", {}, w))) : null,
      ...(doc?.pictures ?? []).map((p) => h("figure", { class: "fig" }, h("figcaption", {}, p.title), h("img", { class: "picture", src: p.url, alt: p.title, loading: "lazy" }))),
      doc ? commandLine(app, doc.command) : null,
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

/** @param {any} r @param {boolean} more */
function row(r, more) {
  return [more ? "" : r.cloth, more ? "" : widthOf(r.width), [r.spread, r.nap && r.nap !== "none" ? `nap ${r.nap}` : ""].filter(Boolean).join(", "), lengthOf(r.length), lengthOf(r.buy), asMoney(r.cost), lengthOf(r.per_garment), lengthOf(r.next_adds)];
}

/** @param {unknown} v */
function widthOf(v) {
  return typeof v === "number" ? asLength(v) : String(v ?? "");
}

/** @param {unknown} v a length in mm, or words */
function lengthOf(v) {
  return typeof v === "number" ? asLength(v) : v === null || v === undefined ? "–" : typeof v === "object" ? "" : String(v);
}

/** @param {string} label @param {readonly string[]} heads @param {readonly (readonly string[])[]} rows */
export function table(label, heads, rows) {
  return h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": label }, h("table", {},
    h("thead", {}, h("tr", {}, ...heads.map((t) => h("th", { scope: "col" }, t)))),
    h("tbody", {}, ...rows.map((r) => h("tr", {}, ...r.map((c, i) => (i === 0 && c ? h("th", { scope: "row" }, c) : h("td", {}, c))))))));
}

/** @param {readonly {count: number, length: number}[]} points */
function curve(points) {
  const w = 560;
  const high = 150;
  const most = Math.max(...points.map((p) => p.length)) || 1;
  const last = Math.max(...points.map((p) => p.count)) || 1;
  const at = (/** @type {{count: number, length: number}} */ p) => [44 + (p.count / last) * (w - 70), high - (p.length / most) * (high - 24)];
  const said = points.map((p) => `${counted(p.count, "garment")} ${asLength(p.length)}`).join(", ");
  return s("svg", { class: "chart", viewBox: `0 0 ${w} ${high + 26}`, role: "img", "aria-label": said },
    s("path", { class: "axis", d: `M44 10V${high}H${w - 16}` }),
    s("path", { class: "curve", d: points.map((p, i) => `${i ? "L" : "M"}${at(p).join(" ")}`).join("") }),
    ...points.map((p) => s("g", {}, s("title", {}, `${counted(p.count, "garment")}: ${asLength(p.length)}`), s("circle", { cx: at(p)[0], cy: at(p)[1], r: 3.5 }))),
    ...points.filter((_, i) => points.length < 13 || i % Math.ceil(points.length / 12) === 0).map((p) => s("text", { x: at(p)[0], y: high + 16, "text-anchor": "middle" }, String(p.count))),
    s("text", { x: 40, y: 16, "text-anchor": "end" }, asLength(most)), s("text", { x: 40, y: high, "text-anchor": "end" }, "0"));
}
