/**
 * What a PDF holds: its pages in small and its layers, to be chosen from.
 */

import { h, s } from "../draw/dom.js";
import { ask } from "../draw/kit.js";
import { counted } from "../draw/words.js";

/** @typedef {import("../documents.js").Contents} Contents @typedef {import("../app.js").App} App */

/** Is there anything to choose? @param {Contents} held */
export function hasChoice(held) {
  return held.pages.length > 1 || held.layers.length > 1;
}

/**
 * Ask which pages and layers of a PDF are read.
 * @param {App} app @param {number} index of the pattern file @param {boolean} always  also where there is only one of each
 * @returns {Promise<boolean>} whether it was asked
 */
export async function askContents(app, index, always) {
  app.say("Looking into the file …");
  const reply = await app.store.link.send("file.contents", { index });
  if (!reply.ok) {
    app.say(reply.problem?.message ?? "It cannot be looked into.", "bad");
    return false;
  }
  /** @type {Contents} */
  const held = reply.result;
  app.say("");
  if (!always && !hasChoice(held)) return false;
  const pages = held.pages.map((p) => h("input", { type: "checkbox", id: `pdf-page-${p.number}`, checked: p.read, "data-key": `pdf-page-${p.number}` }));
  const layers = held.layers.map((l, i) => h("input", { type: "checkbox", id: `pdf-layer-${i}`, checked: l.read, "data-key": `pdf-layer-${i}` }));
  const problem = h("p", { class: "wrong", role: "alert" });
  return new Promise((resolve) => {
    const dialog = ask(
      `What is read of ${held.file}?`,
      [
        held.pages.length > 1
          ? h("fieldset", { class: "pages" }, h("legend", {}, counted(held.pages.length, "page")),
              ...held.pages.map((p, i) => h("label", { class: "page", for: `pdf-page-${p.number}` }, small(p), h("span", {}, pages[i], ` page ${p.number}`), p.words ? h("span", { class: "note" }, p.words) : null)))
          : null,
        held.layers.length
          ? h("fieldset", {}, h("legend", {}, counted(held.layers.length, "layer")),
              h("p", { class: "note" }, "What lies in no layer is always read."),
              ...held.layers.map((l, i) => h("div", { class: "field flag" }, layers[i], h("label", { for: `pdf-layer-${i}` }, l.name, h("span", { class: "note" }, l.shown ? ` · ${counted(l.count, "line or text", "lines and texts")}` : " · switched off in the file")))))
          : null,
        problem,
      ].filter((x) => x !== null),
      [
        { text: "As it is" },
        {
          text: "Read these", kind: "main",
          act: async () => {
            const read = held.pages.filter((_, i) => pages[i].checked);
            const shown = held.layers.filter((_, i) => layers[i].checked);
            // what would be read anyhow is not written down
            const usual = read.length === held.pages.filter((p) => p.usual).length && read.every((p) => p.usual);
            const open = shown.length === held.layers.filter((l) => l.shown).length && shown.every((l) => l.shown);
            const answer = await app.send("file.choose", { index, pages: usual ? null : read.map((p) => p.number), layers: open ? null : shown.map((l) => l.name) }, { done: `${held.file}: read anew.` });
            if (answer.ok) return true;
            problem.textContent = answer.problem?.message ?? "";
            return false;
          },
        },
      ],
    );
    dialog.addEventListener("close", () => resolve(true));
  });
}

/** A page drawn in small. @param {Contents["pages"][number]} p */
function small(p) {
  return s("svg", { class: "small", viewBox: `0 0 ${p.width} ${p.height}`, role: "img", "aria-label": `Page ${p.number}` },
    s("rect", { width: p.width, height: p.height }), s("path", { d: p.drawing, "vector-effect": "non-scaling-stroke" }));
}
