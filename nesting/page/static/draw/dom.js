/**
 * Elements in few words. Text is always set as text; no markup is ever read from anywhere.
 */

const SVG = "http://www.w3.org/2000/svg";

/** @typedef {Node | string | number | null | undefined | false} Child @typedef {Child | readonly Child[]} Children */

/**
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Record<string, unknown>} [props] "on…": a listener; "value", "checked" and their like: properties; else attributes
 * @param {...Children} children
 * @returns {HTMLElementTagNameMap[T]}
 */
export function h(tag, props = {}, ...children) {
  const element = document.createElement(tag);
  dress(element, props);
  element.append(...nodes(children));
  return element;
}

/**
 * @template {keyof SVGElementTagNameMap} T
 * @param {T} tag @param {Record<string, unknown>} [props] @param {...Children} children @returns {SVGElementTagNameMap[T]}
 */
export function s(tag, props = {}, ...children) {
  const element = document.createElementNS(SVG, tag);
  dress(element, props);
  element.append(...nodes(children));
  return element;
}

/** @param {Children[]} children @returns {Node[]} */
function nodes(children) {
  /** @type {Node[]} */
  const out = [];
  for (const child of /** @type {Child[]} */ (children.flat())) {
    if (child === null || child === undefined || child === false) continue;
    out.push(child instanceof Node ? child : document.createTextNode(String(child)));
  }
  return out;
}

const PROPERTIES = new Set(["value", "checked", "disabled", "selected", "open", "hidden", "indeterminate"]);

/** @param {Element} element @param {Record<string, unknown>} props */
function dress(element, props) {
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === null) continue;
    if (name.startsWith("on") && typeof value === "function") {
      element.addEventListener(name.slice(2), /** @type {EventListener} */ (value));
    } else if (PROPERTIES.has(name)) {
      /** @type {any} */ (element)[name] = value;
      // what was there first is told apart from what somebody typed (see `redraw`)
      if (name === "value" && element instanceof HTMLInputElement) element.defaultValue = String(value);
    } else if (value === true) element.setAttribute(name, "");
    else if (value !== false) element.setAttribute(name, String(value));
  }
}

/**
 * Put new children into a place, keeping the focus, what is half typed, what is unfolded and how far it is scrolled.
 * Elements are known again by their `data-key`.
 * @param {Element} root @param {...Children} children
 */
export function redraw(root, ...children) {
  const active = document.activeElement;
  const key = active && root.contains(active) ? keyOf(active) : null;
  /** @type {Map<string, string>} */
  const typed = new Map();
  /** @type {Map<string, boolean>} */
  const open = new Map();
  for (const e of root.querySelectorAll("[data-key]")) {
    const k = keyOf(e);
    if (!k) continue;
    if (e instanceof HTMLInputElement && e === active && isText(e) && e.value !== e.defaultValue) typed.set(k, e.value);
    if (e instanceof HTMLDetailsElement) open.set(k, e.open);
  }
  /** @type {[number | null, number | null] | null} */
  const caret = active instanceof HTMLInputElement && key && isText(active) ? [active.selectionStart, active.selectionEnd] : null;
  const scrolls = [...root.querySelectorAll("[data-scroll]")].map((e) => [e.getAttribute("data-scroll"), e.scrollTop, e.scrollLeft]);
  root.replaceChildren(...nodes(children));
  for (const [k, isOpen] of open) {
    const e = byKey(root, k);
    if (e instanceof HTMLDetailsElement) e.open = isOpen;
  }
  for (const [k, value] of typed) {
    const e = byKey(root, k);
    if (e instanceof HTMLInputElement) e.value = value;
  }
  for (const [name, top, left] of scrolls) {
    const e = root.querySelector(`[data-scroll="${CSS.escape(String(name))}"]`);
    if (e) {
      e.scrollTop = Number(top);
      e.scrollLeft = Number(left);
    }
  }
  if (key) {
    const e = byKey(root, key);
    if (e instanceof HTMLElement || e instanceof SVGElement) {
      e.focus({ preventScroll: true });
      if (caret && e instanceof HTMLInputElement && isText(e)) e.setSelectionRange(caret[0], caret[1]);
    }
  }
}

/** @param {Element} e */
function keyOf(e) {
  return e.getAttribute("data-key");
}

/** @param {Element} root @param {string} key */
function byKey(root, key) {
  return root.querySelector(`[data-key="${CSS.escape(key)}"]`);
}

/** @param {HTMLInputElement} e */
function isText(e) {
  return ["text", "search", "tel", "url"].includes(e.type);
}

let last = 0;

/** @param {string} stem @returns {string} an id that no other element has */
export function freshId(stem) {
  last += 1;
  return `${stem}-${last}`;
}
