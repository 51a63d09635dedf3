/**
 * An outline that does not close, with each of its gaps: where it is and how wide.
 */

import { h, s } from "./dom.js";
import { asLength, counted } from "./words.js";

/** Pixels of the picture, and the share of them that is left free at the sides for the words. */
const WIDE = 300;
const HIGH = 200;
const FREE = 46;
/** More gaps than these are not told one by one. */
const MOST = 8;

/** @param {import("../documents.js").OpenOutline} open */
export function openOutline(open) {
  const numbers = (open.lines.match(/-?\d+(\.\d+)?/g) ?? []).map(Number);
  const xs = numbers.filter((_, i) => i % 2 === 0);
  const ys = numbers.filter((_, i) => i % 2 === 1);
  const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const scale = Math.min((WIDE - 2 * FREE) / Math.max(1, x1 - x0), (HIGH - 2 * FREE) / Math.max(1, y1 - y0));
  /** @param {readonly [number, number]} p @returns {[number, number]} */
  const at = ([x, y]) => [WIDE / 2 + (x - (x0 + x1) / 2) * scale, HIGH / 2 - (y - (y0 + y1) / 2) * scale];
  const line = open.lines.replace(/(-?[\d.]+) (-?[\d.]+)/g, (_, x, y) => at([Number(x), Number(y)]).map((v) => v.toFixed(1)).join(" "));
  const gaps = open.gaps.slice(0, MOST).map(([p, q]) => ({ a: at(p), b: at(q), wide: asLength(Math.hypot(p[0] - q[0], p[1] - q[1])) }));
  const said = `Open at ${counted(open.gaps.length, "place")}: ${gaps.map((g) => g.wide).join(", ")}`;
  return h("figure", { class: "openoutline" },
    s("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": said },
      s("path", { class: "cutline", d: line }),
      ...gaps.flatMap(({ a, b, wide }) => {
        const x = (a[0] + b[0]) / 2;
        const y = (a[1] + b[1]) / 2;
        const [left, up] = [x < WIDE / 2, y < HIGH / 2];
        const ring = Math.max(6, Math.hypot(a[0] - b[0], a[1] - b[1]) / 2 + 3);
        return [
          s("path", { class: "gap", d: `M${a[0]} ${a[1]}L${b[0]} ${b[1]}` }),
          s("circle", { class: "place", cx: x, cy: y, r: ring }),
          s("text", { x: x + (left ? -9 : 9), y: y + (up ? -11 : 19), "text-anchor": left ? "end" : "start" }, wide),
        ];
      })),
    h("figcaption", { class: "note" }, said));
}
