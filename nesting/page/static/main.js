/**
 * The page begins here: the frame round every view (journey, reasons not to cut yet, messages, undo), then the view that
 * the address names.
 */

import { App } from "./app.js";
import { h, redraw } from "./draw/dom.js";
import { ask, button, commandLine, isBusy, named } from "./draw/kit.js";
import { allTerms, readTerms, watchWords } from "./help.js";
import { alterations } from "./views/alterations.js";
import { buying } from "./views/buying.js";
import { cloth } from "./views/cloth.js";
import { cut } from "./views/cut.js";
import { lay } from "./views/lay.js";
import { pieces } from "./views/pieces.js";
import { seams } from "./views/seams.js";

/**
 * @typedef {{
 *   name: string, title: string, docs: readonly import("./store.js").DocName[],
 *   mount: (root: HTMLElement, app: App) => {draw: () => void, leave?: () => void, key?: (e: KeyboardEvent) => boolean},
 * }} ViewSpec
 */

/** @type {readonly ViewSpec[]} */
const VIEWS = [pieces, seams, alterations, cloth, lay, buying, cut];

const app = new App();
const place = {
  journey: need("journey"), blockers: need("blockers"), notices: need("notices"), view: need("view"), status: need("status"),
  steps: need("steps"), title: need("title"), foot: need("foot"),
};

/** @type {ReturnType<ViewSpec["mount"]> | null} */
let shown = null;
/** @type {ViewSpec | null} */
let front = null;
let pending = false;

/** @param {string} id @returns {HTMLElement} */
function need(id) {
  const e = document.getElementById(id);
  if (!e) throw new Error(`the page has no ${id}`);
  return e;
}

let quiet = 0;
app.say = (text, tone = "plain") => {
  clearTimeout(quiet);
  // a refusal stays until something else is said; what went well need not
  if (tone !== "bad") quiet = window.setTimeout(() => (place.status.textContent = ""), 9000);
  place.status.className = `status ${tone}`;
  place.status.textContent = text;
};
/** A button that is replaced between the way down and up of a finger or key is not pressed: drawing waits for the release. */
let pressing = false;
let waiting = false;
app.redraw = () => {
  // several documents may come in one go: they are drawn once
  if (pending) return;
  pending = true;
  requestAnimationFrame(() => {
    pending = false;
    waiting = pressing;
    if (!pressing) shown?.draw();
  });
};
addEventListener("click", (e) => (app.clicks = e.detail), true);
for (const kind of /** @type {const} */ (["pointerdown", "keydown"])) {
  addEventListener(kind, (e) => { if (!(e instanceof KeyboardEvent) || e.key === " ") pressing = true; }, true);
}
for (const kind of ["pointerup", "pointercancel", "keyup", "blur"]) {
  addEventListener(kind, (e) => {
    // a field that is left while a button is pressed is no release; the window that is left is
    if (kind === "blur" && e.target !== window) return;
    pressing = false;
    // the click itself comes first
    if (waiting) setTimeout(app.redraw);
  }, true);
}
app.go = (name) => {
  if (location.hash !== `#${name}`) location.hash = name;
};

function showView() {
  const name = location.hash.slice(1);
  const spec = VIEWS.find((v) => v.name === name) ?? firstView();
  if (front === spec && shown) return;
  shown?.leave?.();
  front = spec;
  // what was refused stands where it was refused; elsewhere it would be misread
  if (place.status.classList.contains("bad")) app.say("");
  app.store.want(spec.docs);
  place.view.replaceChildren();
  place.view.dataset.view = spec.name;
  document.title = `${spec.title} – ${app.store.docs.state?.title ?? "lay"}`;
  shown = spec.mount(place.view, app);
  shown.draw();
  drawJourney();
  drawFoot();
}

function firstView() {
  return VIEWS[0];
}

function drawJourney() {
  const marks = marksOfViews();
  redraw(
    place.journey,
    h(
      "ol",
      {},
      ...VIEWS.map((v, i) =>
        h("li", {}, h(
          "a",
          { href: `#${v.name}`, "aria-current": v === front ? "page" : null, "data-key": `go-${v.name}`, class: marks.has(v.name) ? "marked" : null },
          h("span", { class: "count", "aria-hidden": "true" }, String(i + 1)), v.title,
          marks.has(v.name) ? h("span", { class: "unseen" }, " (something to settle)") : null,
        ))),
    ),
  );
}

/** Before anything is there nobody is about to cut: the first view says how to begin. @param {import("./documents.js").State} state */
function isBlank(state) {
  return state.order?.exists === false && !state.files.length;
}

/** Views in which something keeps one from cutting. */
function marksOfViews() {
  const state = app.store.docs.state;
  return new Set((state && !isBlank(state) ? state.blockers : []).map((b) => b.where.view));
}

function drawFrame() {
  const state = app.store.docs.state;
  if (!state) return;
  place.title.textContent = state.title;
  place.title.title = String(state.order?.file ?? "");
  document.title = `${front?.title ?? "Lay"} – ${state.title}`;
  drawJourney();
  redraw(
    place.steps,
    button("↶ Take back", () => app.undo(), { key: "undo", disabled: !state.undo, title: state.undo ? `Take back: ${state.undo.label} (Ctrl+Z)` : "Nothing to take back" }),
    button("↷ Again", () => app.redo(), { key: "redo", disabled: !state.redo, title: state.redo ? `Do again: ${state.redo.label} (Ctrl+Y)` : "Nothing to do again" }),
    button("Words & keys", showHelp, { key: "help" }),
  );
  drawBlockers(state);
  drawNotices(state);
  drawFoot();
}

/** The command that gives what the view in front shows; tables of what to buy have their own beside them. */
function drawFoot() {
  const { state, lay, cut } = app.store.docs;
  if (!state) return;
  const command = front?.name === "lay" ? (lay?.command ?? "") : front?.name === "cut" ? (cut?.command ?? "") : front?.name === "buy" ? "" : state.command;
  redraw(
    place.foot,
    command
      ? commandLine(app, command)
      : front?.name === "lay" && lay?.lay && lay.lay !== "so-far"
        ? h("p", { class: "note" }, "No command line gives this very lay: it was moved by hand, taken from the table of spreads, or the order has changed since. Go on from here, and the command for it stands here.")
        : null,
    h("p", { class: "note" }, state.order?.file ? `Everything stands in ${state.order.file}. ` : "", state.results ? `What is printed goes to ${state.results}.` : ""),
  );
}

/** @param {import("./documents.js").State} state */
function drawBlockers(state) {
  if (isBlank(state)) {
    place.blockers.hidden = true;
    return redraw(place.blockers);
  }
  place.blockers.hidden = state.blockers.length === 0 && state.readable;
  const reasons = state.readable || !state.problem ? state.blockers : [{ message: state.problem.message, where: state.problem.where }, ...state.blockers.filter((b) => b.message !== state.problem?.message)];
  const item = (/** @type {import("./documents.js").Blocker} */ b) =>
    h("li", {}, named(b), " ", b.where.view ? h("button", { type: "button", class: "mini", onclick: () => app.lead(b.where), "aria-label": `Show: ${named(b)}` }, "show") : null);
  redraw(
    place.blockers,
    h("strong", {}, "Do not cut yet"),
    h("ul", {}, ...reasons.slice(0, 2).map(item)),
    reasons.length > 2
      ? h("details", { "data-key": "more-reasons" }, h("summary", { "data-key": "more-reasons-s" }, `${reasons.length - 2} more`), h("ul", {}, ...reasons.slice(2).map(item)))
      : null,
  );
}

/** @param {import("./documents.js").State} state */
function drawNotices(state) {
  const list = [];
  if (!app.store.online && wasOnline) {
    list.push(h("div", { class: "notice bad" }, "The program does not answer. Nothing is lost: the order file holds every step. Start it again: this page comes back by itself, or go on in the one that opens then."));
  }
  const changed = /** @type {string[]} */ (state.disk?.files ?? []);
  if (changed.length) {
    list.push(
      h("div", { class: "notice bad" }, `Another program changed ${changed.join(", ")}. `,
        button("Take over what it wrote", () => app.send("disk.reload", {}, { done: "Read anew." }), { key: "disk-reload" }), " ",
        button("Keep what this page shows", () => app.send("disk.keep_mine", {}, { done: "Kept; the other text lies beside it." }), { key: "disk-keep" })),
    );
  }
  if (state.tabs > 1) list.push(h("div", { class: "notice" }, `This order is open in ${state.tabs} tabs. All of them show the same; the last word counts.`));
  if (state.warm && state.warm.ready === false) {
    list.push(h("div", { class: "notice" }, `Getting ready: ${(state.warm.doing || "the search is being compiled, once").replace(/[ .…]+$/, "")}. You can work meanwhile.`));
  }
  if (state.demo) list.push(h("div", { class: "notice" }, "This is a copy of a made-up example, a theatre's wardrobe, to try things on: nothing of yours can be spoiled."));
  redraw(place.notices, ...list);
}

let wasOnline = false;

const KEYS = [
  ["Tab, Shift+Tab", "from one thing to the next"],
  ["Ctrl+Z, Ctrl+Y", "take back, do again"],
  ["Alt+1 … Alt+7", "the seven steps"],
  ["F1", "in a field: what the word means"],
  ["arrows", "in a drawing: the next piece or edge; on the lay, move the chosen piece by 1 mm (Shift: 1 cm)"],
  [", and .", "on the lay: the piece before, the piece after"],
  ["R, F, H", "on the lay: turn, flip, hold the chosen piece"],
  ["Esc", "let go, as it was"],
  ["+ and −, 0", "in a drawing: nearer, farther, all of it"],
];

function showHelp() {
  ask(
    "Words and keys",
    [
      h("div", { class: "help", tabindex: 0, role: "region", "aria-label": "Words and keys" },
        h("h3", {}, "Keys"),
        h("table", {}, h("tbody", {}, ...KEYS.map(([k, w]) => h("tr", {}, h("th", { scope: "row" }, k), h("td", {}, w))))),
        h("h3", {}, "Words"),
        h("dl", { class: "words" }, ...Object.values(allTerms()).flatMap((t) => [
          h("dt", {}, t.term),
          h("dd", {}, t.picture ? h("img", { src: `/static/help/${t.picture}`, alt: "", width: 120, height: 80, loading: "lazy" }) : null, h("span", {}, t.words)),
        ]))),
    ],
    [{ text: "Close" }],
  );
}

/** @param {KeyboardEvent} e */
function pressed(e) {
  const typing = e.target instanceof HTMLInputElement && e.target.type !== "checkbox" && e.target.type !== "range";
  if ((e.ctrlKey || e.metaKey) && !e.altKey && !typing && document.querySelector("dialog[open]") === null) {
    const key = e.key.toLowerCase();
    if (key === "z" && !e.shiftKey) {
      e.preventDefault();
      void app.undo();
      return;
    }
    if (key === "y" || (key === "z" && e.shiftKey)) {
      e.preventDefault();
      void app.redo();
      return;
    }
  }
  if (e.altKey && !e.ctrlKey && /^[1-7]$/.test(e.key)) {
    e.preventDefault();
    app.go(VIEWS[Number(e.key) - 1].name);
    return;
  }
  if (!typing && shown?.key?.(e)) e.preventDefault();
}

app.store.on("online", (open) => {
  if (open) {
    if (wasOnline && app.store.docs.state) app.say("The program is back.");
    wasOnline = true;
  }
  drawFrame();
});
app.store.on("state", drawFrame);
for (const name of ["state", "pieces", "seams", "alterations", "cloth", "lay", "buy", "remnants", "batch", "cut"]) {
  app.store.on(name, () => {
    if (front?.docs.includes(/** @type {any} */ (name)) || name === "state") app.redraw();
    if (name === "lay" || name === "cut") drawFoot();
  });
}
/** the run whose stop was told last */
let stopped = 0;
app.store.on("better", drawFoot);
app.store.on("moved", drawFoot);
app.store.on("progress", (e) => {
  // what was found is safe with the server from here on: the proof, which takes longer, is told when it has judged
  if (e.run.state !== "stopping" || e.run.id === stopped) return;
  stopped = e.run.id;
  app.say(e.run.found ? "Stopped; the best so far is kept, and is judged now." : "Stopped; there was nothing to keep yet.", "good");
});
app.store.on("ended", (e) => {
  const run = e.run;
  if (run.state === "failed") app.say(run.problem?.message ?? "The search failed.", "bad");
  else if (run.state === "stopped") app.say(run.found ? "Stopped; the best so far is kept." : "Stopped; there was nothing to keep yet.", "good");
  else app.say("Done.", "good");
  drawFrame();
});
app.store.on("bye", (e) => app.say(e.message || "The program was ended.", "bad"));
addEventListener("hashchange", showView);
addEventListener("keydown", pressed);
// a drop beside the drawing must not make the browser leave the page
addEventListener("dragover", (e) => e.preventDefault());
addEventListener("drop", (e) => {
  // whoever took the files has said so
  if (!e.defaultPrevented && e.dataTransfer?.types.includes("Files")) app.say("Nothing was read: drop pattern drawings under Pieces, the drawing of a leftover on its card under Cloth & people.", "bad");
  e.preventDefault();
});
addEventListener("beforeunload", (e) => {
  if (isBusy(app.store.docs.state?.run) && !app.store.online) e.preventDefault();
});

need("skip").addEventListener("click", (e) => {
  // the address names the view, not a place in the page
  e.preventDefault();
  place.view.focus();
});
watchWords();
void readTerms();
app.store.link.open();
showView();
