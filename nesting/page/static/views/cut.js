/**
 * Cutting: the sheet as a list to tick, the drawing beside it, print and cutter files, leftovers, and the projector.
 */

import { h, redraw } from "../draw/dom.js";
import { button, field, heading, wrongAt } from "../draw/kit.js";
import { LayDrawing } from "../draw/laid.js";
import { asLength, example } from "../draw/words.js";
import { Beam } from "./beam.js";
import { scrap } from "./cloth.js";
import { zoomButtons } from "./lay.js";

/** @typedef {import("../app.js").App} App */

/** @type {import("../main.js").ViewSpec} */
export const cut = { name: "cut", title: "Cut", docs: ["cut", "lay"], mount };

/** @param {HTMLElement} root @param {App} app */
function mount(root, app) {
  const drawing = new LayDrawing("The lay; what is cut is faded");
  const top = h("div", { class: "bar" });
  const stage = h("div", { class: "stage long" }, drawing.board.svg, zoomButtons(drawing));
  const sheetCard = h("section", { class: "card full", "aria-label": "What to cut, row by row" });
  const printCard = h("section", { class: "card unprinted", "aria-label": "Print and cutter files" });
  const leftCard = h("section", { class: "card", "aria-label": "What is left over" });
  root.append(top, stage, h("div", { class: "cards" }, sheetCard, printCard, leftCard));
  /** @type {string | null} */
  let lit = null;
  /** @type {unknown} */
  let drawn = null;
  /** the document whose rows stand there: they are not replaced under somebody's hands for nothing @type {unknown} */
  let listed = null;
  /** @type {Set<string>} */
  let kinds = new Set(["sheet"]);
  let paper = "";
  /** @type {Set<number>} */
  /** ticks sent and not yet told back @type {Map<string, boolean>} */
  const ahead = new Map();
  /** @type {Beam | null} */
  let beam = null;
  const doc = () => app.store.docs.cut;
  const layNow = () => app.store.docs.lay;

  drawing.board.svg.addEventListener("click", (e) => {
    const id = e.target instanceof Element ? e.target.closest(".laid")?.getAttribute("data-laid") : null;
    if (!id) return;
    light(id);
    const row = sheetCard.querySelector(`[data-row="${CSS.escape(id)}"]`);
    row?.scrollIntoView({ block: "nearest" });
  });

  /** @param {string | null} id */
  function light(id) {
    lit = id;
    drawing.mark("lit", id ? [id] : []);
    for (const row of sheetCard.querySelectorAll("[data-row]")) row.classList.toggle("lit", row.getAttribute("data-row") === id);
  }

  /** @param {import("../documents.js").CutRow} row @param {boolean} done */
  async function tick(row, done) {
    const now = doc();
    if (!now) return;
    ahead.set(row.laid, done);
    light(row.laid);
    marks();
    const reply = await app.send("cut.tick", { cloth: now.cloth, laid: row.laid, done }, { spot: "tick", done: `${row.number} ${done ? "is cut" : "is not cut yet"}.` });
    ahead.delete(row.laid);
    if (reply.ok) row.done = done;
    listed = null;
    draw();
  }

  const isDone = (/** @type {import("../documents.js").CutRow} */ row) => ahead.get(row.laid) ?? row.done;

  function marks() {
    drawing.mark("cutout", (doc()?.rows ?? []).filter(isDone).map((r) => r.laid));
    drawing.mark("lit", lit ? [lit] : []);
  }

  function drawTop() {
    const now = doc();
    const cloths = layNow()?.cloths ?? [];
    redraw(
      top,
      cloths.length > 1 ? h("div", { class: "pick", role: "group", "aria-label": "Which cloth" }, ...cloths.map((c) => button(c, () => app.store.showCloth(c), { key: `cloth-${c}`, pressed: c === now?.cloth }))) : null,
      button("On the cloth (projector)", () => {
        const lay = layNow();
        const all = doc();
        if (!lay?.lay || !all) return;
        beam = new Beam(app, lay, all, () => { beam = null; });
      }, { key: "beam", disabled: !layNow()?.lay || !now }),
      now && !now.ready ? h("p", { class: "wrong" }, now.why_not ?? "Not ready to be cut.") : null,
    );
  }

  function drawSheet() {
    const now = doc();
    // a column that says nothing in any row takes room from those that do
    const columns = (now?.columns ?? []).filter(([key]) => now?.rows.some((row) => row.cells[key]));
    if (!now) return redraw(sheetCard, h("p", {}, "Reading …"));
    if (!now.lay) return redraw(sheetCard, h("p", {}, "Nothing is laid yet. Lay it first, then this is the list to cut by."));
    const done = now.rows.filter(isDone).length;
    redraw(
      sheetCard,
      heading(2, "Cut, row by row"),
      now.before.length ? h("details", { "data-key": "before", open: done === 0 || undefined }, h("summary", { "data-key": "before-s" }, "First"), h("ol", {}, ...now.before.map((b) => h("li", {}, b)))) : null,
      h("div", { class: "row" }, h("progress", { max: Math.max(1, now.rows.length), value: done, "aria-label": "Rows cut" }), h("span", {}, `${done} of ${now.rows.length} cut`), now.rows.length > 12 ? h("span", { class: "note" }, "The list scrolls.") : null),
      wrongAt(app, "tick"),
      h("div", { class: "scroll tall", tabindex: 0, role: "region", "aria-label": "Rows", "data-scroll": "rows" }, h("table", {},
        h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "cut"), ...columns.map(([, title]) => h("th", { scope: "col" }, title)))),
        h("tbody", {}, ...now.rows.map((row) => h("tr", { "data-row": row.laid, class: [row.laid === lit ? "lit" : "", isDone(row) ? "done" : ""].join(" ").trim() || null, onpointerenter: () => light(row.laid) },
          h("td", {}, h("input", { type: "checkbox", checked: isDone(row), "data-key": `tick-${row.laid}`, "aria-label": `${row.number} is cut`, onchange: (/** @type {Event} */ e) => void tick(row, /** @type {HTMLInputElement} */ (e.target).checked), onfocus: () => light(row.laid) })),
          ...columns.map(([key], i) => h(i === 0 ? "th" : "td", i === 0 ? { scope: "row" } : {}, row.cells[key] ?? "")))))))
    );
  }

  function drawPrint() {
    const now = doc();
    if (!now) return;
    const papers = now.papers;
    if (!paper) {
      const usual = example("a4", "letter");
      paper = papers.includes(usual) ? usual : (papers[0] ?? usual);
    }
    redraw(
      printCard,
      heading(2, "Print and cutter files"),
      ...now.kinds.map((k) => field(app, { key: `kind-${k.kind}`, label: `${k.kind}: ${k.words}`, kind: "flag", value: kinds.has(k.kind), change: (v) => { if (v === "true") kinds.add(k.kind); else kinds.delete(k.kind); drawPrint(); } })),
      papers.length ? field(app, { key: "paper", label: "paper", kind: "choice", value: paper, choices: papers, change: (v) => void (paper = v) }) : null,
      h("p", { class: "note" }, "Check the printed test square with a ruler before you cut. For cutters and lasers the maker's manual and the rules of the place come first; cut a trial piece."),
      button("Write the files", async () => {
        app.say("Writing …");
        const reply = await app.send("cut.print", { cloth: now.cloth, kinds: [...kinds], paper }, { spot: "print" });
        if (reply.ok) app.say(`Written: ${(reply.result?.files ?? []).map((/** @type {any} */ f) => f.name).join(", ")}.`, "good");
      }, { kind: "main", key: "print-files", disabled: !kinds.size || !now.lay }),
      wrongAt(app, "print"),
      now.files.length ? h("ul", { class: "list" }, ...now.files.map((f) => h("li", {}, h("a", { href: f.url, target: "_blank", rel: "noopener" }, f.name), h("span", { class: "note grow" }, f.words)))) : null,
    );
  }

  function drawLeft() {
    const now = doc();
    if (!now?.leftovers.length) return redraw(leftCard);
    redraw(
      leftCard,
      heading(2, "What is left over", "remnant"),
      h("ul", { class: "list" }, ...now.leftovers.map((l) => h("li", {}, scrap(l.outline), h("span", { class: "grow" }, l.words || `${asLength(l.length)} × ${asLength(l.width)}`),
        l.kept !== null
          ? h("span", { class: "tag" }, `in the stash as ${l.kept}`)
          : button("Keep it", async () => {
              const reply = await app.send("stash.add", { cloth: now.cloth, leftovers: [l.index] }, { spot: "stash" });
              if (!reply.ok) return;
              const names = [...(reply.result?.added ?? []), ...(reply.result?.already_there ?? [])];
              app.say(`In the stash: ${names.join(", ")}. It is there for every order of this folder, under Cloth & people.`, "good");
            }, { kind: "mini", key: `keep-${l.index}`, label: `Keep it: leftover ${l.index + 1}` })))),
      wrongAt(app, "stash"),
    );
  }

  function draw() {
    const lay = layNow();
    if (lay && lay !== drawn) {
      drawn = lay;
      drawing.show(lay);
    }
    drawTop();
    if (!doc() || doc() !== listed) drawSheet();
    listed = doc();
    drawPrint();
    drawLeft();
    marks();
    beam?.heard();
  }

  const off = app.store.on("moved", () => { drawn = null; app.redraw(); });
  return { draw, key: (/** @type {KeyboardEvent} */ e) => !beam && stage.contains(document.activeElement) && drawing.board.panZoom.key(e), leave: () => { off(); beam?.close(); drawing.board.leave(); } };
}
