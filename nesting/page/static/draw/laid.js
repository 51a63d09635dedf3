/**
 * The lay as a drawing: cloth, plies, folds, and every piece where it lies.
 */

import { Board } from "./board.js";
import { s } from "./dom.js";
import { arrowPath, drillPath, notchPath, pathOf } from "./paths.js";
import { asLength, inInches } from "./words.js";
import { boxOf } from "../geometry/points.js";
import { placed } from "../geometry/pose.js";

/**
 * @typedef {import("../documents.js").Lay} Lay @typedef {import("../documents.js").Laid} Laid
 * @typedef {import("../documents.js").Section} Section @typedef {import("../geometry/pose.js").Pose} Pose
 */

/** Pixels below which a number is hard to read. */
const READABLE = 10;
/** Pixels that are enough for a number. */
const LARGE = 22;

/** How many tints there are in the style sheet. */
const TINTS = 6;

export class LayDrawing {
  /** @param {string} label */
  constructor(label) {
    this.board = new Board(label, (target) => !target.closest(".laid"));
    this.board.svg.classList.add("lay");
    /** @type {Lay | null} */
    this.lay = null;
    this.wide = 1;
    /** @type {Map<string, {group: SVGGElement, turn: SVGGElement, word: SVGTextElement, name: SVGTextElement, large: number, room: number, space: number, slim: "long" | "high" | null, piece: Laid, part: Section}>} */
    this.places = new Map();
    this.board.zoomed = () => this.words();
  }

  /** @param {Lay} lay */
  show(lay) {
    this.lay = lay;
    const end = Math.max(1, ...lay.sections.map((p) => p.start + p.length));
    const first = -(lay.sections[0]?.before ?? 0);
    const last = end + (lay.sections.at(-1)?.after ?? 0);
    const wide = Math.max(1, ...lay.sections.map((p) => p.table_width));
    this.wide = wide;
    const sizes = new Set(lay.sections.flatMap((p) => p.pieces.map((one) => one.size ?? "")));
    this.board.show({ left: first - wide * 0.05, right: last * 1.02 + wide * 0.03, low: -wide * 0.09, high: wide * 1.02 });
    const frame = s("g", { class: "cloth" });
    const pieces = s("g", { class: "pieces" });
    this.places.clear();
    for (const part of lay.sections) {
      frame.append(clothOf(part));
      const group = s("g", { transform: `translate(${part.start} 0)` });
      // what lies on the upper ply alone is drawn last: it is cut first
      const order = [...part.pieces].sort((a, b) => Math.min(...a.plies) - Math.min(...b.plies) || a.number - b.number);
      for (const piece of order) {
        const shape = lay.shapes[piece.shape];
        if (!shape) continue;
        const drawn = pieceOf(piece, shape, tintOf(lay, piece), sizes.size > 1);
        this.places.set(piece.id, { ...drawn, piece, part });
        group.append(drawn.group);
      }
      pieces.append(group);
    }
    if (lay.sections.length) frame.append(...lay.sections.map((part, i) => rulers(part, wide, i === 0)), endLine(lay, end, wide));
    this.board.layer.replaceChildren(frame, pieces, s("g", { class: "over" }));
    for (const { piece } of this.places.values()) this.pose(piece.id, piece);
    this.words();
  }

  /** Numbers are written no smaller than can be read, as far as they have room. */
  words() {
    const least = READABLE / this.board.view.scale;
    for (const { word, name, room, large, space } of this.places.values()) {
      const size = Math.max(Math.min(large, LARGE / this.board.view.scale), Math.min(least, room));
      word.setAttribute("font-size", String(size));
      // the name goes under the number where there is room for it to be read
      const own = Math.min(size * 0.8, space / (0.62 * Math.max(4, name.textContent?.length ?? 0)));
      name.setAttribute("font-size", String(own));
      name.setAttribute("dy", String(size * 0.5 + own * 0.6));
      name.classList.toggle("unread", own * this.board.view.scale < READABLE * 0.9);
    }
    for (const word of this.board.layer.querySelectorAll(".rulers text")) word.setAttribute("font-size", String(Math.max(0.018 * this.wide, least)));
  }

  /** @param {string} id @param {Pose} pose only the drawing: the document stays */
  pose(id, pose) {
    const place = this.places.get(id);
    if (!place) return;
    place.group.setAttribute("transform", `translate(${pose.x} ${-pose.y})`);
    place.turn.setAttribute("transform", `rotate(${-pose.turn})${pose.flipped ? " scale(1 -1)" : ""}`);
    const shape = this.lay?.shapes[place.piece.shape];
    if (!shape) return;
    const middle = middleOf(shape.outline);
    const [[x, y]] = placed([middle], { ...pose, x: 0, y: 0 });
    // in a narrow upright piece the words run upwards
    const rises = place.slim && Math.abs(Math.sin(((pose.turn - (place.slim === "high" ? 90 : 0)) * Math.PI) / 180)) > 0.9;
    for (const word of [place.word, place.name]) {
      word.setAttribute("x", String(x));
      word.setAttribute("y", String(-y));
      if (rises) word.setAttribute("transform", `rotate(-90 ${x} ${-y})`);
      else word.removeAttribute("transform");
    }
  }

  /** @param {string} name of the class @param {Iterable<string>} ids @param {boolean} [only] take it from all others */
  mark(name, ids, only = true) {
    const set = new Set(ids);
    for (const [id, place] of this.places) {
      if (set.has(id)) place.group.classList.add(name);
      else if (only) place.group.classList.remove(name);
    }
  }

  /** The layer above everything. @param {readonly Node[]} children */
  over(children) {
    this.board.layer.querySelector(".over")?.replaceChildren(...children);
  }

  /** @param {string} id */
  raise(id) {
    const group = this.places.get(id)?.group;
    // moved only where needed: a node that moves loses its pointer
    if (group && group.parentNode && group.nextSibling) group.parentNode.appendChild(group);
  }
}

/** @param {Lay} lay @param {Laid} piece */
export function tintOf(lay, piece) {
  const keys = [[piece.garment, piece.size].filter(Boolean).join(" "), piece.garment];
  for (const key of keys) if (lay.colours?.[key] !== undefined) return lay.colours[key] % TINTS;
  return 0;
}

/** @param {readonly [number, number][]} ring @returns {[number, number]} the middle of its box */
function middleOf(ring) {
  const box = boxOf(ring);
  return [(box.left + box.right) / 2, (box.low + box.high) / 2];
}

/** @param {Laid} piece @param {import("../documents.js").Shape} shape @param {number} tint @param {boolean} sized  write the size, too: tints alone do not tell them apart in grey */
function pieceOf(piece, shape, tint, sized) {
  const box = boxOf(shape.outline);
  const long = box.right - box.left;
  const high = box.high - box.low;
  const said = `${piece.number}${sized && piece.size ? ` ${piece.size}` : ""}`;
  const large = Math.max(5, Math.min(26, Math.min(long, high) / 3.2, Math.max(long, high) / (2.5 * Math.max(3, said.length))));
  const room = Math.max(large, Math.min(Math.min(long, high) / 1.6, Math.max(long, high) / (0.75 * said.length)));
  const holes = shape.cutouts.map((ring) => pathOf(ring, true)).join("");
  const turn = s(
    "g",
    {},
    s("path", { class: "cutline", d: pathOf(shape.outline, true) + holes, "fill-rule": "evenodd" }),
    shape.seam ? s("path", { class: "seamline", d: pathOf(shape.seam, true) }) : null,
    shape.inside.length ? s("path", { class: "inside", d: shape.inside.map((l) => pathOf(l)).join("") }) : null,
    shape.fold ? s("path", { class: "foldline", d: pathOf(shape.fold) }) : null,
    s("path", { class: "marks", d: shape.notches.map(notchPath).join("") + shape.drills.map(drillPath).join("") }),
    shape.grain.length > 1 ? s("path", { class: "grain", d: arrowPath(shape.grain[0], shape.grain[1], Math.min(12, long / 6)) }) : null,
  );
  const word = s("text", { class: "word", "font-size": large, "text-anchor": "middle", "dominant-baseline": "central" }, said);
  const name = s("text", { class: "word nameword", "text-anchor": "middle", "dominant-baseline": "central" }, piece.piece);
  const group = s(
    "g",
    { class: `laid tint-${tint}${piece.kept ? " kept" : ""}${piece.plies.length > 1 ? " through" : ""}`, "data-laid": piece.id },
    turn,
    word,
    name,
  );
  // turned by a quarter, its length is its height
  /** @type {"long" | "high" | null} far longer one way than the other */
  const slim = long > 3 * high ? "long" : high > 3 * long ? "high" : null;
  return { group, turn, word, name, large, room, slim, space: (slim ? 0.5 * Math.max(long, high) : 0.8 * Math.min(long, high)) };
}

/** @param {Section} part */
function clothOf(part) {
  const group = s("g", { transform: `translate(${part.start} 0)` });
  // the end allowances are cloth, too: only nothing is laid there
  group.append(s("rect", { class: "table", x: -part.before, y: -part.table_width, width: part.before + part.length + part.after, height: part.table_width }));
  for (const ply of [...part.plies].sort((a, b) => a.ply - b.ply)) {
    group.append(s("path", { class: `ply ply-${ply.face} ply-${ply.ply > 0 ? "upper" : "under"}`, d: pathOf(ply.region, true) }));
    for (const flaw of ply.flaws ?? []) group.append(s("path", { class: "flaw", d: pathOf(flaw, true) }));
  }
  for (const fold of part.folds) {
    const d = fold.along === "x" ? `M${-part.before} ${-fold.at}H${part.length + part.after}` : `M${fold.at} 0V${-part.table_width}`;
    group.append(s("path", { class: "clothfold", d }));
    const words = fold.along === "x" ? { x: part.length / 2, y: -fold.at + (fold.at > part.table_width / 2 ? -8 : 22) } : { x: fold.at - 20, y: -part.table_width / 2 };
    group.append(s("text", { class: "onrule", ...words, "font-size": 16, "text-anchor": "middle" }, "fold"));
  }
  group.append(s("path", { class: "cutend", d: `M${-part.before} 0V${-part.table_width}` }));
  return group;
}

/** Rulers from the cut end, or from the line at which a later section begins, as the sheet measures.
 * @param {Section} part @param {number} wide mm @param {boolean} first */
function rulers(part, wide, first) {
  let d = "";
  const words = s("g", {});
  const long = part.before + part.length + part.after;
  // centimetres, or inches; half of them between two numbers
  const unit = inInches() ? 25.4 : 10;
  const along = (inInches() ? (long > 3000 ? 18 : 6) : long > 3000 ? 50 : 10) * unit;
  for (let n = 0; n * along <= 2 * (long + 1); n++) {
    const x = (n * along) / 2;
    d += `M${x} ${wide * 0.012}V${wide * (n % 2 ? 0.02 : 0.03)}`;
    if (n % 2 === 0) words.append(s("text", { x, y: wide * 0.05, "font-size": wide * 0.018, "text-anchor": "middle", class: "onrule" }, String(Math.round(x / unit))));
  }
  const across = (inInches() ? 6 : 10) * unit;
  for (let n = 0; first && n * across <= 2 * (wide + 1); n++) {
    const y = (n * across) / 2;
    d += `M${-wide * 0.012} ${-y}H${-wide * (n % 2 ? 0.02 : 0.03)}`;
    if (n && n % 2 === 0) words.append(s("text", { x: -wide * 0.035, y: -y, "font-size": wide * 0.018, "text-anchor": "end", "dominant-baseline": "central", class: "onrule" }, String(Math.round(y / unit))));
  }
  return s("g", { class: "rulers", "aria-hidden": "true", transform: `translate(${part.start - part.before} 0)` }, s("path", { d, class: "ticks" }), words);
}

/** @param {Lay} lay @param {number} end @param {number} wide */
function endLine(lay, end, wide) {
  return s(
    "g",
    { "aria-hidden": "true" },
    s("path", { class: "layend", d: `M${end} ${wide * 0.03}V${-wide * 1.01}` }),
    s("text", { class: "onrule", x: end, y: wide * 0.077, "font-size": wide * 0.02, "text-anchor": "end" }, `lay ${asLength(lay.lay_length)}`),
  );
}
