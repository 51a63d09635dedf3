/**
 * Fields, buttons and small blocks, all of the browser's own elements.
 *
 * @typedef {import("../app.js").App} App
 * @typedef {import("../documents.js").Reply} Reply
 * @typedef {{
 *   key: string, label: string, value: string | number | boolean | null | undefined,
 *   kind?: "text" | "number" | "choice" | "flag" | "password", choices?: readonly (string | {value: string, label: string})[],
 *   term?: string, note?: string | null, given?: boolean, list?: string, placeholder?: string, quiet?: boolean,
 *   min?: number, max?: number, step?: number, width?: string,
 *   change: (value: string) => Promise<Reply | void> | void,
 * }} FieldSpec
 */

import { freshId, h } from "./dom.js";
import { explain } from "../help.js";
import { openOutline } from "./open-outline.js";

/** Refusals that have nothing to do with what was typed. */
const TRY_AGAIN = new Set(["input", "no-server"]);

/**
 * A labelled field with its refusal underneath. `key` is also the spot of the refusal.
 * @param {App} app @param {FieldSpec} spec @returns {HTMLElement}
 */
export function field(app, spec) {
  const id = freshId("field");
  const problem = app.problems.get(spec.key);
  const about = problem || spec.note ? `${id}-note` : null;
  const shown = app.typed.get(spec.key) ?? (spec.value === null || spec.value === undefined ? "" : String(spec.value));
  const common = { id, "data-key": spec.key, "aria-describedby": about, "aria-invalid": problem ? "true" : null, "data-term": spec.term };
  /** @type {HTMLElement} */
  let input;
  if (spec.kind === "flag") {
    input = h("input", {
      ...common, type: "checkbox", checked: spec.value === true,
      onchange: (/** @type {Event} */ e) => void spec.change(String(/** @type {HTMLInputElement} */ (e.target).checked)),
    });
  } else if (spec.kind === "choice") {
    input = h(
      "select",
      { ...common, onchange: (/** @type {Event} */ e) => void spec.change(/** @type {HTMLSelectElement} */ (e.target).value) },
      ...(spec.choices ?? []).map((c) => {
        const [value, label] = typeof c === "string" ? [c, c] : [c.value, c.label];
        return h("option", { value, selected: value === shown }, label);
      }),
    );
  } else {
    input = h("input", {
      ...common, type: spec.kind === "number" ? "number" : "text", value: shown, list: spec.list, placeholder: spec.placeholder,
      min: spec.min, max: spec.max, step: spec.step, autocomplete: "off", spellcheck: "false",
      class: spec.width ?? null,
      onchange: (/** @type {Event} */ e) => void spec.change(/** @type {HTMLInputElement} */ (e.target).value.trim()),
      // what was refused is tried again as it stands: no change tells the browser so
      onkeydown: (/** @type {KeyboardEvent} */ e) => {
        const typed = /** @type {HTMLInputElement} */ (e.target).value;
        if (e.key === "Enter" && problem && typed === shown) void spec.change(typed.trim());
      },
    });
  }
  const label = h("label", { for: id, class: spec.quiet ? "unseen" : null }, spec.label);
  const mark = spec.term && !spec.quiet ? whatIs(spec.term, spec.label, true) : null;
  const note = about ? h("p", { id: about, class: problem ? "wrong" : "note" }, problem?.message ?? spec.note) : null;
  const again = problem && TRY_AGAIN.has(problem.code) ? button("Try again", () => spec.change(shown.trim()), { kind: "mini" }) : null;
  const choices = problem?.choices?.length
    ? h("p", { class: "note choices" }, "Would do: ", ...problem.choices.slice(0, 6).map((c) => h("button", { type: "button", class: "mini", onclick: () => void spec.change(c) }, c)))
    : null;
  const css = `field${spec.kind === "flag" ? " flag" : ""}${spec.given === false ? " assumed" : ""}`;
  return spec.kind === "flag"
    ? h("div", { class: css }, input, label, mark, note)
    : h("div", { class: css }, spec.quiet ? label : h("span", { class: "labels" }, label, mark), input, note, again, choices);
}

/**
 * The mark that explains a trade word.
 * @param {string} term @param {string} word @param {boolean} [passed] left out of the order of the Tab key: F1 in the field does the same
 */
export function whatIs(term, word, passed = false) {
  return h(
    "button",
    { type: "button", class: "what", "data-term": term, "aria-label": `What is meant by ${word}?`, tabindex: passed ? -1 : null, onclick: (/** @type {Event} */ e) => explain(/** @type {HTMLElement} */ (e.currentTarget)) },
    "?",
  );
}

/** A heading, perhaps with a word to explain. @param {2 | 3} level @param {string} text @param {string} [term] */
export function heading(level, text, term) {
  return h("div", { class: "heading" }, h(level === 2 ? "h2" : "h3", {}, text), term ? whatIs(term, text) : null);
}

/**
 * @param {string} text @param {() => unknown} act
 * @param {{key?: string, kind?: string, disabled?: boolean, title?: string, pressed?: boolean, label?: string}} [how]
 */
export function button(text, act, how = {}) {
  return h(
    "button",
    {
      type: "button", class: how.kind ?? null, "data-key": how.key ?? null, disabled: how.disabled ?? false, title: how.title ?? null,
      "aria-pressed": how.pressed === undefined ? null : String(how.pressed), "aria-label": how.label ?? null, onclick: act,
    },
    text,
  );
}

/** @param {App} app @param {string} spot @returns {HTMLElement | null} the refusal that stands there */
export function wrongAt(app, spot) {
  const problem = app.problems.get(spot);
  if (!problem) return null;
  const told = h("p", { class: "wrong" }, problem.message);
  return problem.open ? h("div", { class: "told" }, told, openOutline(problem.open)) : told;
}

/** What is said of a piece, with its name before it where the words do not have it. @param {{message: string, where?: import("../documents.js").Where}} told */
export function named(told) {
  const piece = told.where?.piece;
  return piece && !told.message.includes(piece) ? `${piece}: ${told.message}` : told.message;
}

/** @param {App} app @param {readonly import("../documents.js").Finding[]} findings @param {boolean} [whose] of several pieces, so that each is named */
export function findingList(app, findings, whose = false) {
  if (!findings.length) return null;
  return h(
    "ul",
    { class: "findings" },
    ...findings.map((f) =>
      h("li", { class: `finding ${f.kind}` }, h("span", { class: "kind" }, KINDS[f.kind] ?? f.kind), " ", whose ? named(f) : f.message, f.open ? openOutline(f.open) : null,
        f.where?.view && Object.keys(f.where).length > 1 ? h("button", { type: "button", class: "mini", onclick: () => app.lead(f.where) }, "show") : null)),
  );
}

/** @type {Record<string, string>} */
const KINDS = { repaired: "put right", ignored: "left out", ambiguous: "unclear", question: "question", warning: "mind", note: "note" };

/** A command line that can be copied. @param {App} app @param {string} text */
export function commandLine(app, text) {
  if (!text) return null;
  return h(
    "div",
    { class: "command" },
    h("span", { class: "kind" }, "The same on the command line"),
    h("code", { tabindex: 0, class: "line", role: "textbox", "aria-readonly": "true", "aria-label": "The same on the command line" }, text),
    button("Copy", () => copy(app, text), { kind: "mini", label: "Copy the command" }),
  );
}

/** @param {App} app @param {string} text */
export async function copy(app, text) {
  try {
    await navigator.clipboard.writeText(text);
    app.say("Copied.", "good");
  } catch {
    app.say("The browser does not let the page copy; mark the text and copy it yourself.", "bad");
  }
}

/**
 * Progress of a run with its stop button.
 * @param {App} app @param {import("../documents.js").Run | null} run @param {string} kind
 */
export function runBar(app, run, kind) {
  const bar = h("div", { class: "run", "data-run": kind });
  showRun(app, bar, run, kind);
  return bar;
}

/** @param {App} app @param {Element} bar @param {import("../documents.js").Run | null} run @param {string} kind */
export function showRun(app, bar, run, kind) {
  const busy = !!run && run.kind === kind && ["starting", "running", "stopping"].includes(run.state);
  bar.classList.toggle("busy", busy);
  if (!busy || !run) {
    if (run?.kind === kind && run.state === "failed" && run.problem) bar.replaceChildren(h("p", { class: "wrong" }, run.problem.message));
    else bar.replaceChildren();
    return;
  }
  let progress = bar.querySelector("progress");
  if (!progress) {
    progress = h("progress", { max: 1, value: 0, "aria-label": "How far the search is" });
    bar.replaceChildren(
      progress,
      h("span", { class: "doing" }),
      button("Stop, keep the best", () => app.send("run.stop", { run: Number(bar.getAttribute("data-id")) }), { kind: "stop", key: `stop-${kind}` }),
    );
  }
  bar.setAttribute("data-id", String(run.id));
  progress.value = Math.min(1, Math.max(0, run.share));
  const doing = bar.querySelector(".doing");
  if (doing) doing.textContent = run.state === "stopping" ? "stopped; what was found is judged" : `${run.doing} · ${Math.round(run.elapsed)} s`;
  const stop = bar.querySelector("button");
  if (stop) stop.disabled = run.state === "stopping";
}

/** @param {import("../documents.js").Run | null | undefined} run */
export function isBusy(run) {
  return !!run && ["starting", "running", "stopping"].includes(run.state);
}

/**
 * A question in the browser's own dialog.
 * @param {string} title @param {readonly Node[]} body @param {readonly {text: string, kind?: string, act?: () => unknown}[]} answers
 */
export function ask(title, body, answers) {
  const id = freshId("dialog");
  const dialog = h(
    "dialog",
    { "aria-labelledby": id },
    h("h2", { id }, title),
    ...body,
    h("div", { class: "answers" }, ...answers.map((a) => button(a.text, async () => {
      const kept = await a.act?.();
      if (kept !== false) dialog.close();
    }, { kind: a.kind }))),
  );
  // the Enter key in a field gives the main answer
  dialog.addEventListener("keydown", (e) => {
    if (e.key !== "Enter" || !(e.target instanceof HTMLInputElement)) return;
    e.preventDefault();
    /** @type {HTMLButtonElement | null} */ (dialog.querySelector(".answers .main"))?.click();
  });
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  return dialog;
}
