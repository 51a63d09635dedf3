/**
 * A seam walked: its sides one under the other from the common end, notches where they are, the difference at the far end.
 */

import { s } from "./dom.js";
import { pathOf } from "./paths.js";
import { asLength, trim } from "./words.js";
import { boxOf } from "../geometry/points.js";

/** @typedef {import("../documents.js").Seam} Seam */

/** @param {Seam} seam @param {number} [width] pixels of the drawing's own frame */
export function walk(seam, width = 460) {
  const longest = Math.max(1, ...seam.sides.map((side) => Math.max(side.length, side.wanted)));
  const scale = (width - 40) / longest;
  const svg = s("svg", { class: "walk", role: "img", "aria-label": said(seam) });
  let y = 8;
  seam.sides.forEach((side, i) => {
    const box = boxOf(side.drawn.flat());
    const high = Number.isFinite(box.high) ? box.high : 0;
    const low = Number.isFinite(box.low) ? box.low : 0;
    const bend = Math.min(1, 60 / Math.max(1, (high - low) * scale));
    const colour = `side-${"abc"[i] ?? "c"}`;
    y += 16;
    svg.append(s("text", { x: 16, y }, `${side.edges.join(" + ")}: ${asLength(side.length)}${side.half ? " (half, on the fold)" : ""}`));
    y += 10 + high * scale * bend;
    const group = s("g", { transform: `translate(16 ${y})` });
    for (const line of side.drawn) {
      group.append(s("path", { class: colour, d: pathOf(line.map(([px, py]) => /** @type {[number, number]} */ ([px * scale, py * scale * bend]))) }));
    }
    const base = -low * scale * bend + 12;
    // the measured length, straight, with notches and joins
    group.append(s("path", { class: colour, d: `M0 ${base}H${side.length * scale}` }));
    for (const join of side.joins) group.append(s("path", { class: colour, d: `M${join * scale} ${base - 7}V${base + 7}` }));
    for (const mark of side.marks) {
      const along = Number(mark.along);
      group.append(s("path", { class: mark.agrees === false ? "missed" : "notchmark", d: `M${along * scale} ${base - 6}v12` }));
      if (mark.agrees === false && mark.misses !== null && mark.misses !== undefined) {
        group.append(s("text", { x: along * scale + 5, y: base + 16 }, `${trim(Math.abs(mark.misses), 1)} mm off`));
      }
    }
    const off = side.length - side.wanted;
    if (i > 0 && Math.abs(off) > 0.05) {
      group.append(s("path", { class: "gap", d: `M${side.wanted * scale} ${base}H${side.length * scale}` }));
    }
    svg.append(group);
    y += base + 18;
  });
  svg.setAttribute("viewBox", `0 0 ${width} ${Math.ceil(y + 6)}`);
  svg.setAttribute("width", "100%");
  return svg;
}

/** @param {Seam} seam */
export function said(seam) {
  return `${seam.sides.map((x) => `${x.edges.join(" and ")} ${asLength(x.length)}`).join(", against ")}: ${seam.agrees ? "they agree" : `${asLength(Math.abs(seam.difference))} apart`}`;
}
