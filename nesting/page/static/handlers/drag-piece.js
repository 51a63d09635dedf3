/**
 * A piece of the lay in the hand: it follows the pointer, slides along its neighbours, snaps, and shows what it overlaps.
 */

import { Handler, WANDER } from "./handler.js";
import { bodyOf, depth, hollowWall, meets, solidWall } from "../geometry/meeting.js";
import { boxMoved, boxOf } from "../geometry/points.js";
import { placed } from "../geometry/pose.js";
import { pulled } from "../geometry/slide.js";
import { nearestRepeat, snapped } from "../geometry/snap.js";

/**
 * @typedef {import("../documents.js").Laid} Laid @typedef {import("../documents.js").Lay} Lay
 * @typedef {import("../documents.js").Section} Section @typedef {import("../geometry/pose.js").Pose} Pose
 * @typedef {import("../geometry/meeting.js").Wall} Wall @typedef {import("../geometry/meeting.js").Body} Body
 * @typedef {{pose: Pose, meets: string[], deep: number, snaps: string[]}} Held  where it is, what it overlaps, about how deep (mm)
 */

/** Cloth beyond the end of the lay into which a piece may be pulled, mm: the lay only grows longer. */
const BEYOND = 5000;

/** Snapping reaches this far, pixels. */
const REACH = 7;

/** One piece, everything it may meet, and how it moves among them. Without the page, so that it can be tested alone. */
export class Hand {
  /** @param {Lay} lay @param {Section} part @param {Laid} piece @param {Pose} [pose] */
  constructor(lay, part, piece, pose = piece) {
    this.lay = lay;
    this.part = part;
    this.piece = piece;
    /** @type {Pose} */
    this.pose = { x: pose.x, y: pose.y, turn: pose.turn, flipped: pose.flipped };
    this.walls = wallsFor(lay, part, piece);
    /** @type {Body} */
    this.body = bodyOf(placed(lay.shapes[piece.shape].outline, { ...this.pose, x: 0, y: 0 }));
    this.free = !this.overlaps(this.pose.x, this.pose.y).length;
  }

  /** @param {number} x @param {number} y @returns {string[]} ids of the walls it overlaps there, "cloth" for the cloth's edge */
  overlaps(x, y) {
    return [...new Set(this.walls.filter((w) => meets(this.body, x, y, w)).map((w) => w.id))];
  }

  /**
   * @param {number} x wanted, mm @param {number} y @param {{slides: boolean, reach: number}} how reach: of snapping, mm
   * @returns {Held}
   */
  pull(x, y, how) {
    const { piece } = this;
    const snaps = [];
    let tx = piece.fixed_x ?? x;
    let ty = piece.fixed_y ?? y;
    const box = this.body.box;
    if (piece.fixed_x === null) {
      if (piece.snap_x) {
        tx = nearestRepeat(tx, piece.snap_x.every, piece.snap_x.offset, "stripe").at;
        snaps.push("stripe");
      } else {
        const s = snapped(tx, [{ at: -box.left, why: "beginning" }], how.reach);
        tx = s.at;
        if (s.why) snaps.push(s.why);
      }
    }
    if (piece.fixed_y === null) {
      if (piece.snap_y) {
        ty = nearestRepeat(ty, piece.snap_y.every, piece.snap_y.offset, "stripe").at;
        snaps.push("stripe");
      } else {
        const rims = this.walls.filter((w) => w.hollow);
        const s = snapped(ty, rims.flatMap((w) => [{ at: w.box.low - box.low, why: "edge" }, { at: w.box.high - box.high, why: "edge" }]), how.reach);
        ty = s.at;
        if (s.why) snaps.push(s.why);
      }
    }
    let to = { x: tx, y: ty };
    if (how.slides && this.free) {
      const went = pulled(this.body, this.walls, this.pose.x, this.pose.y, tx, ty);
      to = { x: piece.fixed_x ?? went.x, y: piece.fixed_y ?? went.y };
      // a stripe is not slid off: it stays where it was until the next one is free
      if (piece.snap_x && Math.abs(to.x - tx) > 1e-6) to = { x: this.pose.x, y: to.y };
      if (piece.snap_y && Math.abs(to.y - ty) > 1e-6) to = { x: to.x, y: this.pose.y };
      // what it was pushed off is not where it lies
      const off = (/** @type {string} */ why) => (why === "edge" ? Math.abs(to.y - ty) > 1e-6 : why === "beginning" && Math.abs(to.x - tx) > 1e-6);
      for (const why of snaps.filter(off)) snaps.splice(snaps.indexOf(why), 1);
      if (went.touched.some((id) => id !== "cloth")) snaps.push("neighbour");
    }
    const met = this.overlaps(to.x, to.y);
    this.free = met.length === 0;
    this.pose = { ...this.pose, ...to };
    const deep = Math.max(0, ...this.walls.filter((w) => met.includes(w.id)).map((w) => depth(this.body, to.x, to.y, w)));
    return { pose: this.pose, meets: met, deep, snaps };
  }
}

/** @param {Lay} lay @param {Section} part @param {Laid} piece @returns {Wall[]} */
export function wallsFor(lay, part, piece) {
  /** @type {Wall[]} */
  const walls = [];
  for (const other of part.pieces) {
    if (other.id === piece.id || !other.plies.some((p) => piece.plies.includes(p))) continue;
    const shape = lay.shapes[other.shape];
    if (shape) walls.push(wallOf(shape, other, lay.gap));
  }
  const last = part === lay.sections[lay.sections.length - 1];
  const across = part.folds.some((f) => f.along === "y");
  for (const ply of part.plies) {
    if (!piece.plies.includes(ply.ply)) continue;
    const box = boxOf(ply.region);
    const folds = part.folds.filter((f) => f.plies.includes(ply.ply) && !piece.on_fold);
    const rim = ply.region.map(([x, y]) => {
      let px = x;
      let py = y;
      // half the gap from a fold, for a piece that is not on it
      for (const f of folds) {
        const inward = f.along === "x" ? (f.at <= (box.low + box.high) / 2 ? 1 : -1) : f.at <= (box.left + box.right) / 2 ? 1 : -1;
        if (f.along === "x" && Math.abs(y - f.at) < 1e-6) py += (inward * lay.gap) / 2;
        if (f.along === "y" && Math.abs(x - f.at) < 1e-6) px += (inward * lay.gap) / 2;
      }
      if (last && !across && !lay.remnant && Math.abs(x - box.right) < 1e-6) px += BEYOND;
      return /** @type {[number, number]} */ ([px, py]);
    });
    walls.push(hollowWall(rim, "cloth"));
    for (const flaw of ply.flaws ?? []) walls.push(solidWall(flaw, 0, "flaw"));
  }
  return walls;
}

/** @type {WeakMap<object, Map<string, Body>>} bodies of shapes as turned, without their place */
const bodies = new WeakMap();

/** @param {import("../documents.js").Shape} shape @param {Pose} pose @param {number} gap @returns {Wall} */
function wallOf(shape, pose, gap) {
  const known = bodies.get(shape) ?? new Map();
  bodies.set(shape, known);
  const key = `${pose.turn}|${pose.flipped}`;
  const body = known.get(key) ?? bodyOf(placed(shape.outline, { ...pose, x: 0, y: 0 }));
  known.set(key, body);
  const xs = new Float64Array(body.xs.length);
  for (let i = 0; i < xs.length; i += 2) {
    xs[i] = body.xs[i] + pose.x;
    xs[i + 1] = body.xs[i + 1] + pose.y;
  }
  return { xs, box: boxMoved(body.box, pose.x, pose.y), gap, hollow: false, id: /** @type {any} */ (pose).id };
}

export class DragPiece extends Handler {
  /**
   * @param {import("../draw/laid.js").LayDrawing} drawing
   * @param {{
   *   mayDrag: () => boolean, slides: (e: PointerEvent) => boolean, taken: (id: string) => void,
   *   held: (id: string, held: Held) => void, dropped: (id: string, pose: Pose) => void, back: (id: string) => void,
   * }} how
   */
  constructor(drawing, how) {
    super();
    this.drawing = drawing;
    this.how = how;
    /** @type {{id: string, pointer: number, hand: Hand | null, grip: [number, number], start: Pose, down: [number, number]} | null} */
    this.gesture = null;
    this.frame = 0;
    /** @type {PointerEvent | null} */
    this.latest = null;
  }

  /** @override @param {AbortSignal} signal */
  begin(signal) {
    const svg = this.drawing.board.svg;
    svg.addEventListener("pointerdown", (e) => this.down(e), { signal });
    svg.addEventListener("pointermove", (e) => this.move(e), { signal });
    svg.addEventListener("pointerup", (e) => this.up(e), { signal });
    svg.addEventListener("pointercancel", () => this.cancel(), { signal });
    // a drag of a picture or text would take the pointer away
    svg.addEventListener("dragstart", (e) => e.preventDefault(), { signal });
    addEventListener("keydown", (e) => e.key === "Escape" && this.gesture && this.cancel(), { signal });
  }

  /** @param {PointerEvent} e */
  down(e) {
    // not with the right button: that opens the menu
    if (e.button !== 0 || this.gesture) return;
    const group = e.target instanceof Element ? e.target.closest(".laid") : null;
    const id = group?.getAttribute("data-laid");
    const place = id ? this.drawing.places.get(id) : null;
    if (!id || !place) return;
    this.how.taken(id);
    if (!this.how.mayDrag()) return;
    const at = this.drawing.board.at(e);
    const { x, y, turn, flipped } = place.piece;
    this.gesture = { id, pointer: e.pointerId, hand: null, grip: [at[0] - x, at[1] - y], start: { x, y, turn, flipped }, down: [e.clientX, e.clientY] };
  }

  /** @param {PointerEvent} e */
  move(e) {
    const g = this.gesture;
    if (!g || e.pointerId !== g.pointer) return;
    const lay = this.drawing.lay;
    const place = this.drawing.places.get(g.id);
    if (!lay || !place) return;
    if (!g.hand) {
      if (Math.hypot(e.clientX - g.down[0], e.clientY - g.down[1]) < WANDER) return;
      g.hand = new Hand(lay, place.part, place.piece);
      this.drawing.board.svg.setPointerCapture(e.pointerId);
      this.drawing.raise(g.id);
      place.group.classList.add("held");
    }
    this.latest = e;
    // pointers report faster than screens draw: once a frame is enough
    if (!this.frame) this.frame = requestAnimationFrame(() => this.step());
  }

  step() {
    this.frame = 0;
    const g = this.gesture;
    const e = this.latest;
    if (!g?.hand || !e) return;
    const at = this.drawing.board.at(e);
    const held = g.hand.pull(at[0] - g.grip[0], at[1] - g.grip[1], { slides: this.how.slides(e), reach: REACH / this.drawing.board.view.scale });
    this.drawing.pose(g.id, held.pose);
    this.how.held(g.id, held);
  }

  /** @param {PointerEvent} e */
  up(e) {
    const g = this.gesture;
    if (!g || e.pointerId !== g.pointer) return;
    if (this.frame) {
      cancelAnimationFrame(this.frame);
      this.step();
    }
    this.gesture = null;
    this.latest = null;
    this.drawing.places.get(g.id)?.group.classList.remove("held");
    if (!g.hand) return;
    const { pose } = g.hand;
    if (pose.x === g.start.x && pose.y === g.start.y) this.how.back(g.id);
    else this.how.dropped(g.id, pose);
  }

  /** @override */
  cancel() {
    const g = this.gesture;
    cancelAnimationFrame(this.frame);
    this.frame = 0;
    this.gesture = null;
    this.latest = null;
    if (!g) return;
    this.drawing.places.get(g.id)?.group.classList.remove("held");
    this.drawing.pose(g.id, g.start);
    this.how.back(g.id);
  }
}
