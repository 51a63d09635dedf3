/**
 * Pieces as they are drawn, side by side, with edges that can be picked by pointer or key.
 */

import { Board } from "./board.js";
import { s } from "./dom.js";
import { drillPath, notchPath, pathOf } from "./paths.js";
import { asLength } from "./words.js";
import { pointAlong, lengthOf } from "../geometry/rings.js";

/**
 * @typedef {import("../documents.js").Piece} Piece @typedef {import("../documents.js").Edge} Edge
 * @typedef {import("../geometry/points.js").Point} Point
 * @typedef {{piece: Piece, edge: Edge}} Picked
 */

/** Names of edges, as a part of the piece's own; and pixels below which nobody reads them. */
const EDGE_WORD = 0.62;
const READABLE = 7.5;
/** Pixels that are enough for a piece's name, and for an edge's. */
const LARGE = 20;
const EDGE_LARGE = 13;

export class Sheet {
  /** @param {string} label @param {{edge?: (picked: Picked, at: Point, e: Event) => void, piece?: (piece: Piece) => void}} picked  `at`: in the piece's drawing, mm */
  constructor(label, picked) {
    this.board = new Board(label, (target) => !target.closest(".edge"));
    this.board.svg.setAttribute("aria-label", label);
    this.picked = picked;
    /** @type {Map<string, {group: SVGGElement, shift: [number, number], piece: Piece}>} */
    this.places = new Map();
    this.board.zoomed = () => this.words();
    /** @type {Map<string, SVGGElement>} "id edge" → its group */
    this.edges = new Map();
  }

  /** @param {readonly Piece[]} pieces */
  show(pieces) {
    const active = document.activeElement?.closest?.(".edge")?.getAttribute("data-edge");
    const gap = 40;
    const area = pieces.reduce((sum, p) => sum + (width(p) + gap) * (height(p) + gap), 0);
    const wide = Math.max(Math.sqrt(area * 1.7), ...pieces.map((p) => width(p) + gap));
    let x = 0;
    let y = 0;
    let row = 0;
    let right = 0;
    this.places.clear();
    this.edges.clear();
    const groups = [];
    for (const piece of pieces) {
      if (x > 0 && x + width(piece) > wide) {
        x = 0;
        y += row + gap;
        row = 0;
      }
      /** @type {[number, number]} */
      const shift = [x - piece.bounds[0], -y - piece.bounds[3]];
      const group = this.pieceOf(piece, shift);
      this.places.set(piece.id, { group, shift, piece });
      groups.push(group);
      x += width(piece) + gap;
      right = Math.max(right, x - gap);
      row = Math.max(row, height(piece));
    }
    this.board.show({ left: -20, right: Math.max(100, right + 20), low: -(y + row) - 20, high: 20 });
    this.board.layer.replaceChildren(...groups, s("g", { class: "over" }));
    this.words();
    if (active) this.edges.get(active)?.focus({ preventScroll: true });
  }

  /** Words are written as large as they are read, and go where they would be too small: nearer, they come back. */
  words() {
    const { scale } = this.board.view;
    for (const { group, piece } of this.places.values()) {
      const word = wordOf(piece);
      group.classList.toggle("tiny", word * EDGE_WORD * scale < READABLE);
      // the names of edges stand on both sides of it
      const large = Math.min(word * 0.75, LARGE / scale);
      const name = group.querySelector(":scope > .word");
      name?.setAttribute("font-size", String(large));
      const size = group.querySelector(":scope > .onrule");
      size?.setAttribute("font-size", String(large * 0.75));
      size?.setAttribute("y", String(Number(name?.getAttribute("y")) + large * 1.1));
      const small = Math.min(word * EDGE_WORD, EDGE_LARGE / scale);
      for (const edge of piece.edges) {
        const text = this.edges.get(edgeKey(piece, edge))?.querySelector(".edgeword");
        if (!text) continue;
        const { x, y, anchor } = inward(edge.line.length > 1 ? edge.line : edge.cut, small * 1.1);
        text.setAttribute("font-size", String(small));
        text.setAttribute("x", String(x));
        text.setAttribute("y", String(-y));
        text.setAttribute("text-anchor", anchor);
      }
    }
  }

  /** @param {Piece} piece @param {[number, number]} shift */
  pieceOf(piece, shift) {
    const word = wordOf(piece);
    const [mx, my] = middleOf(piece.outline);
    const group = s(
      "g",
      { class: `shape${piece.usable ? "" : " broken"}`, "data-piece": piece.id, transform: `translate(${shift[0]} ${-shift[1]})` },
      s("path", { class: "cutline", d: pathOf(piece.outline, true) + piece.cutouts.map((r) => pathOf(r, true)).join(""), "fill-rule": "evenodd" }),
      piece.seam ? s("path", { class: "seamline", d: pathOf(piece.seam, true) }) : null,
      s("path", { class: "inside", d: piece.inside.map((l) => pathOf(l)).join("") }),
      s("path", { class: "marks", d: piece.notches.map(notchPath).join("") + piece.drills.map(drillPath).join("") }),
      piece.fold ? s("path", { class: "foldline", d: pathOf(piece.fold) }) : null,
      s("text", { class: "word", x: mx, y: -my, "font-size": word, "text-anchor": "middle" }, piece.name),
      s("text", { class: "onrule", x: mx, y: -my + word * 1.2, "font-size": word * 0.7, "text-anchor": "middle" }, piece.size ?? ""),
    );
    group.addEventListener("click", (e) => {
      if (!(e.target instanceof Element) || e.target.closest(".edge")) return;
      if (!this.board.panZoom.moved) this.picked.piece?.(piece);
    });
    for (const edge of piece.edges) group.append(this.edgeOf(piece, edge));
    for (const [, at] of piece.corners) group.append(s("circle", { class: "corner", cx: at[0], cy: -at[1], r: Math.max(1.5, word * 0.16) }));
    for (const at of piece.places) group.append(s("circle", { class: "place", cx: at[0], cy: -at[1], r: word * 0.7 }));
    return group;
  }

  /** @param {Piece} piece @param {Edge} edge */
  edgeOf(piece, edge) {
    const line = edge.line.length > 1 ? edge.line : edge.cut;
    const middle = pointAlong(line, lengthOf(line) / 2);
    const key = edgeKey(piece, edge);
    const said = `${edge.named ? `edge ${edge.name}` : `edge from corner ${edge.start} to ${edge.end}, no name`} of ${piece.name}${piece.size ? ` ${piece.size}` : ""}, ${asLength(edge.length)}${edge.finish ? `, ${edge.finish}` : ""}${edge.fold ? ", on the fold" : ""}`;
    const group = s(
      "g",
      { class: `edge${edge.named ? " named" : ""}${edge.fold ? " onfold" : ""}`, tabindex: 0, role: "button", "aria-label": said, "data-edge": key, "data-name": edge.name },
      s("title", {}, said),
      s("path", { class: "edgeline", d: pathOf(line) }),
      s("path", { class: "edgehit", d: pathOf(line) }),
      edge.named ? s("text", { class: "edgeword", "dominant-baseline": "central", "aria-hidden": "true" }, edge.name) : null,
    );
    const shift = () => this.places.get(piece.id)?.shift ?? [0, 0];
    group.addEventListener("click", (e) => {
      const [x, y] = this.board.at(e);
      this.picked.edge?.({ piece, edge }, [x - shift()[0], y - shift()[1]], e);
    });
    group.addEventListener("keydown", (e) => {
      if (e.key === "Enter" || e.key === " ") {
        e.preventDefault();
        this.picked.edge?.({ piece, edge }, middle, e);
      } else if (e.key === "ArrowRight" || e.key === "ArrowLeft") {
        const all = [...this.edges.values()];
        const at = all.indexOf(group);
        all[(at + (e.key === "ArrowRight" ? 1 : all.length - 1)) % all.length]?.focus();
        e.preventDefault();
      }
    });
    this.edges.set(key, group);
    return group;
  }

  /** @param {string} name @param {Iterable<string>} keys of edges */
  markEdges(name, keys) {
    const set = new Set(keys);
    for (const [key, group] of this.edges) group.classList.toggle(name, set.has(key));
  }

  /** @param {string} id */
  markPiece(id) {
    for (const [key, { group }] of this.places) group.classList.toggle("chosen", key === id);
  }

  /** The layer above a piece, in its own drawing. @param {string | null} id @param {readonly Node[]} children */
  over(id, children) {
    const layer = this.board.layer.querySelector(":scope > .over");
    const shift = id ? this.places.get(id)?.shift : null;
    if (!layer) return;
    layer.setAttribute("transform", shift ? `translate(${shift[0]} ${-shift[1]})` : "");
    layer.replaceChildren(...children);
  }
}

/**
 * Where an edge's name stands: beside its middle, inside the piece (which is to the left), running away from an upright edge.
 * @param {readonly Point[]} line @param {number} off mm
 */
function inward(line, off) {
  const half = lengthOf(line) / 2;
  const [a, b] = [pointAlong(line, half * 0.95), pointAlong(line, half * 1.05)];
  const long = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  const [nx, ny] = [-(b[1] - a[1]) / long, (b[0] - a[0]) / long];
  const anchor = nx > 0.7 ? "start" : nx < -0.7 ? "end" : "middle";
  return { x: (a[0] + b[0]) / 2 + nx * (anchor === "middle" ? off : off * 0.5), y: (a[1] + b[1]) / 2 + ny * off, anchor };
}

/** The centre of an area. @param {readonly Point[]} ring @returns {[number, number]} */
function middleOf(ring) {
  let twice = 0;
  let x = 0;
  let y = 0;
  for (let i = 0, j = ring.length - 1; i < ring.length; j = i++) {
    const c = ring[j][0] * ring[i][1] - ring[i][0] * ring[j][1];
    twice += c;
    x += (ring[j][0] + ring[i][0]) * c;
    y += (ring[j][1] + ring[i][1]) * c;
  }
  return twice === 0 ? [ring[0]?.[0] ?? 0, ring[0]?.[1] ?? 0] : [x / (3 * twice), y / (3 * twice)];
}

/** How large a piece's name is written, mm. @param {Piece} piece */
function wordOf(piece) {
  return Math.max(6, Math.min(24, Math.min(width(piece), height(piece)) / 5, width(piece) / (0.8 * Math.max(6, piece.name.length))));
}

/** @param {Piece} piece @param {Edge} edge */
export function edgeKey(piece, edge) {
  return `${piece.id} ${edge.name}`;
}

/** @param {Piece} p */
function width(p) {
  return Math.max(1, p.bounds[2] - p.bounds[0]);
}

/** @param {Piece} p */
function height(p) {
  return Math.max(1, p.bounds[3] - p.bounds[1]);
}
