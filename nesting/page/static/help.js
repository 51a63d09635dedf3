/**
 * Trade words, each with a sentence or two and a small picture, shown where the word stands: on hover, on a click at its
 * question mark, or with F1 in a field.
 */

import { h } from "./draw/dom.js";

/** @type {Record<string, {term: string, words: string, picture: string | null}>} */
let terms = {};

/** @type {HTMLElement | null} */
let card = null;
let timer = 0;
/** The key of the field that the card speaks of. @type {string | null} */
let about = null;

export async function readTerms() {
  try {
    const answer = await fetch("/static/help/words.json");
    if (answer.ok) terms = (await answer.json()).terms;
  } catch {
    // without the words the page still works; the marks then say nothing
  }
}

/** @returns {typeof terms} */
export function allTerms() {
  return terms;
}

/** @param {HTMLElement} at the element that carries `data-term` */
export function explain(at) {
  const term = terms[at.dataset.term ?? ""];
  if (!term) return;
  hide();
  about = at.getAttribute("data-key");
  card = h(
    "div",
    { class: "card-of-word", popover: "auto", role: "note" },
    term.picture ? h("img", { src: `/static/help/${term.picture}`, alt: "", width: 120, height: 80 }) : null,
    h("div", {}, h("strong", {}, term.term), h("p", {}, term.words)),
  );
  (at.closest("dialog") ?? document.body).append(card);
  card.showPopover();
  const box = at.getBoundingClientRect();
  const own = card.getBoundingClientRect();
  const left = Math.max(8, Math.min(innerWidth - own.width - 8, box.left));
  // above the word, as what it explains stands below or beside it
  const above = box.top - own.height - 6 >= 8;
  card.style.left = `${left}px`;
  card.style.top = `${above ? box.top - own.height - 6 : Math.min(box.bottom + 6, innerHeight - own.height - 8)}px`;
}

export function hide() {
  clearTimeout(timer);
  card?.remove();
  card = null;
}

/** Watch the whole page for words to explain. */
export function watchWords() {
  document.addEventListener("pointerover", (e) => {
    if (e.pointerType !== "mouse" || !(e.target instanceof Element)) return;
    const at = e.target.closest(".what");
    if (at instanceof HTMLElement) {
      clearTimeout(timer);
      timer = window.setTimeout(() => explain(at), 250);
    } else if (card && !e.target.closest(".card-of-word")) {
      clearTimeout(timer);
      timer = window.setTimeout(hide, 300);
    }
  });
  document.addEventListener("wheel", () => hide(), { passive: true });
  document.addEventListener("keydown", (e) => {
    if (e.key !== "F1" || !(e.target instanceof HTMLElement)) return;
    const at = e.target.dataset.term ? e.target : null;
    if (at) {
      e.preventDefault();
      explain(at);
    }
  });
  // A view drawn anew takes the field away and gives its successor the focus at once: whoever is reading goes on reading.
  document.addEventListener("focusout", () => {
    const reading = card;
    setTimeout(() => {
      const now = document.activeElement;
      const same = !now || now === document.body || (about !== null && now.getAttribute("data-key") === about);
      if (reading && reading === card && !same) hide();
    });
  });
}
