/**
 * The lay: search, look, take another spread, move pieces by hand, hold some and go on.
 */

import { h, redraw, s } from "../draw/dom.js";
import { ask, button, field, heading, isBusy, runBar, showRun, wrongAt } from "../draw/kit.js";
import { LayDrawing, tintOf } from "../draw/laid.js";
import { asEnough, asLeast, asLength, asMoney, asShare, counted, example, inInches, inMm, trim } from "../draw/words.js";
import { boxOf } from "../geometry/points.js";
import { placed, wholeTurn } from "../geometry/pose.js";
import { DragPiece, Hand } from "../handlers/drag-piece.js";
import { ARROWS } from "../handlers/drag-knob.js";

/**
 * @typedef {import("../documents.js").Laid} Laid @typedef {import("../geometry/pose.js").Pose} Pose
 * @typedef {import("../app.js").App} App
 */

const SPREADS = ["open", "lengthwise fold", "partial fold", "double fold", "crosswise fold", "stacked face up", "stacked face to face", "tubular", "sections"];
const TIMES = [["10", "10 seconds"], ["20", "20 seconds"], ["60", "1 minute"], ["180", "3 minutes"], ["600", "10 minutes"]];

/** @type {import("../main.js").ViewSpec} */
export const lay = { name: "lay", title: "Lay", docs: ["lay"], mount };

/** What the search is asked for, as it was set last. */
const wish = { seconds: "20", spread: "", seed: "0", rounds: "" };

/** @param {HTMLElement} root @param {App} app */
function mount(root, app) {
  const drawing = new LayDrawing("The lay, seen from above; the cut end is on the left");
  const svg = drawing.board.svg;
  svg.setAttribute("tabindex", "0");
  svg.setAttribute("aria-describedby", "lay-chosen");
  svg.setAttribute("role", "application");
  const top = h("div", { class: "bar" });
  const notes = h("div", { class: "lay-notes" });
  const hint = h("p", { class: "hint", "aria-hidden": "true" });
  const stage = h("div", { class: "stage long" }, svg, zoomButtons(drawing), hint);
  const side = h("div", { class: "cards" });
  root.append(top, notes, stage, side);
  const run = runBar(app, app.store.docs.state?.run ?? null, "lay");

  /** @type {string | null} */
  let chosen = null;
  /** @type {unknown} */
  let drawn = null;
  let slides = true;
  /** places moved here of which the server has not told yet @type {Map<string, Pose>} */
  const ahead = new Map();
  /** @type {Promise<unknown>} moves go one after the other: each is made on the lay before it */
  let queue = Promise.resolve();
  let keyTimer = 0;
  /** @type {Pose | null} */
  let keyStart = null;

  const doc = () => app.store.docs.lay;
  const find = (/** @type {string | null} */ id) => (id ? (drawing.places.get(id)?.piece ?? null) : null);
  const poseOf = (/** @type {Laid} */ piece) => ahead.get(piece.id) ?? { x: piece.x, y: piece.y, turn: piece.turn, flipped: piece.flipped };

  /** the garment whose pieces are lit */
  let whose = "";
  // a lay that is still being found, or could not be kept, is not there to be moved
  const stays = () => isBusy(app.store.docs.state?.run) || doc()?.lay === "so-far";

  const drag = new DragPiece(drawing, {
    mayDrag: () => !stays(),
    slides: (e) => slides !== e.altKey,
    taken: (id) => choose(id),
    held: (id, held) => showHeld(id, held.meets, held.deep, held.snaps),
    dropped: (id, pose) => drop(id, pose),
    back: () => {
      hint.textContent = "";
      drawing.mark("overlapping", []);
    },
  }).enable();

  /** @param {string | null} id */
  function choose(id) {
    if (id === chosen) return;
    settleKeys();
    chosen = id;
    drawing.mark("chosen", id ? [id] : []);
    drawChosen();
  }

  /** @param {string} id @param {string[]} met @param {number} deep @param {readonly string[]} snaps */
  function showHeld(id, met, deep, snaps) {
    drawing.mark("overlapping", met.length ? [id, ...met.filter((m) => m !== "cloth")] : []);
    const names = met.map((m) => (m === "cloth" ? "the cloth's edge" : m === "flaw" ? "a flaw" : numbered(find(m))));
    hint.textContent = met.length
      ? `${deep > 0.5 ? `overlaps ${names.join(", ")} by about ${asLength(deep)}` : `too near to ${names.join(", ")}`}`
      : snaps.length ? `at the ${[...new Set(snaps)].join(", ")}` : "";
  }

  /** @param {string} id @param {Pose} pose @param {string} [what] */
  function drop(id, pose, what = "moved") {
    const piece = find(id);
    const lay = doc();
    if (!piece || !lay) return;
    ahead.set(id, pose);
    drawing.pose(id, pose);
    hint.textContent = "";
    verdict("being judged");
    queue = queue.then(async () => {
      const now = doc();
      if (!now) return;
      const reply = await app.send("lay.move", { cloth: now.cloth, base: now.move, id, x: pose.x, y: pose.y, turn: pose.turn, flipped: pose.flipped });
      ahead.delete(id);
      if (reply.ok) {
        app.store.unjudged(Number(reply.result?.move ?? 0));
        app.say(`${numbered(piece)} ${what}.`);
      } else {
        if (reply.problem?.code === "out-of-date") await app.store.refresh("lay");
        const place = drawing.places.get(id);
        if (place) drawing.pose(id, place.piece);
        drawing.mark("overlapping", []);
      }
      drawChosen();
      drawVerdict();
    });
  }

  /** Another turn or the other face, about the middle of the piece. @param {Laid} piece @param {number} turn @param {boolean} flipped @param {string} what */
  function turnTo(piece, turn, flipped, what) {
    const lay = doc();
    const outline = lay?.shapes[piece.shape]?.outline;
    if (!lay || !outline) return;
    const was = poseOf(piece);
    const box = boxOf(placed(outline, was));
    const fresh = boxOf(placed(outline, { x: 0, y: 0, turn, flipped }));
    const x = piece.fixed_x ?? (box.left + box.right - fresh.left - fresh.right) / 2;
    const y = piece.fixed_y ?? (box.low + box.high - fresh.low - fresh.high) / 2;
    drop(piece.id, { x, y, turn: wholeTurn(turn), flipped }, what);
  }

  /** @param {Laid} piece */
  function nextTurn(piece) {
    const turns = [...piece.turns].sort((a, b) => a - b);
    const now = wholeTurn(poseOf(piece).turn);
    const next = turns.find((t) => t > now + 1e-6) ?? turns[0];
    if (turns.length < 2) {
      app.say(piece.refused.length ? piece.refused.map(([t, why]) => `${trim(t, 1)}°: ${why}`).join(" ") : "This piece may lie one way only.", "bad");
      return;
    }
    turnTo(piece, next, poseOf(piece).flipped, `turned to ${trim(next, 1)}°`);
  }

  /** @param {Laid} piece */
  function flip(piece) {
    if (!piece.flips) return app.say(piece.why_no_flip ?? "This piece may not be flipped here.", "bad");
    turnTo(piece, poseOf(piece).turn, !poseOf(piece).flipped, "flipped");
  }

  /** @param {Laid} piece */
  function hold(piece) {
    const lay = doc();
    if (!lay) return;
    void app.send("lay.keep", { cloth: lay.cloth, ids: [piece.id], keep: !piece.kept }, { done: `${numbered(piece)} ${piece.kept ? "may move" : "is held"} when the search goes on.` });
  }

  /** One press of an arrow key. @param {Laid} piece @param {number} dx mm @param {number} dy mm @param {boolean} free */
  function nudge(piece, dx, dy, free) {
    const lay = doc();
    const part = drawing.places.get(piece.id)?.part;
    if (!lay || !part) return;
    const pose = poseOf(piece);
    keyStart ??= pose;
    const hand = new Hand(lay, part, piece, pose);
    const every = { x: piece.snap_x?.every ?? 0, y: piece.snap_y?.every ?? 0 };
    const held = hand.pull(pose.x + (dx && every.x ? Math.sign(dx) * every.x : dx), pose.y + (dy && every.y ? Math.sign(dy) * every.y : dy), { slides: !free, reach: 0 });
    ahead.set(piece.id, held.pose);
    drawing.pose(piece.id, held.pose);
    drawing.raise(piece.id);
    showHeld(piece.id, held.meets, held.deep, held.snaps);
    clearTimeout(keyTimer);
    // several presses are one step to take back
    keyTimer = window.setTimeout(settleKeys, 600);
  }

  function settleKeys() {
    clearTimeout(keyTimer);
    const piece = find(chosen);
    if (!keyStart || !piece) return;
    keyStart = null;
    const pose = ahead.get(piece.id);
    if (pose && (pose.x !== piece.x || pose.y !== piece.y)) drop(piece.id, pose);
  }

  /** @param {KeyboardEvent} e */
  function key(e) {
    if (document.activeElement !== svg) return false;
    const ids = [...drawing.places.values()].map((p) => p.piece).sort((a, b) => a.number - b.number).map((p) => p.id);
    const at = chosen ? ids.indexOf(chosen) : -1;
    if (e.key === "." || e.key === "PageDown") return choose(ids[(at + 1) % ids.length] ?? null), true;
    if (e.key === "," || e.key === "PageUp") return choose(ids[(at - 1 + ids.length) % ids.length] ?? null), true;
    const piece = find(chosen);
    const way = ARROWS[e.key];
    if (way && !e.ctrlKey && !e.altKey) {
      if (!piece) return choose(ids[0] ?? null), true;
      if (stays()) return app.say(isBusy(app.store.docs.state?.run) ? "Pieces can be moved once the search has ended." : "Pieces can be moved once this lay is kept."), true;
      const step = e.shiftKey ? 10 : 1;
      nudge(piece, way[0] * step, way[1] * step, !slides);
      return true;
    }
    if (e.ctrlKey || e.altKey || e.metaKey) return false;
    if (e.key === "Escape" && piece) {
      clearTimeout(keyTimer);
      if (keyStart) {
        ahead.delete(piece.id);
        drawing.pose(piece.id, piece);
        keyStart = null;
        hint.textContent = "";
        drawing.mark("overlapping", []);
      } else choose(null);
      return true;
    }
    if (piece && !stays()) {
      settleKeys();
      if (e.key === "r" || e.key === "R") return nextTurn(piece), true;
      if (e.key === "f" || e.key === "F") return flip(piece), true;
      if (e.key === "h" || e.key === "H") return hold(piece), true;
    }
    return drawing.board.panZoom.key(e);
  }

  // --- cards

  const chosenCard = h("section", { class: "card", id: "lay-chosen", "aria-live": "polite", "aria-label": "The chosen piece" });
  const verdictCard = h("section", { class: "card", "aria-label": "Figures and proof" });
  const spreadCard = h("section", { class: "card wide", "aria-label": "Spreads" });
  const noteCard = h("section", { class: "card" });
  side.append(verdictCard, chosenCard, spreadCard, noteCard);

  function drawTop() {
    const lay = doc();
    const state = app.store.docs.state;
    const busy = isBusy(state?.run);
    const cloths = lay?.cloths ?? [];
    const held = lay ? lay.sections.flatMap((p) => p.pieces).filter((p) => p.kept).length : 0;
    redraw(
      top,
      cloths.length > 1
        ? h("div", { class: "pick", role: "group", "aria-label": "Which cloth" }, ...cloths.map((c) => button(c, () => app.store.showCloth(c), { key: `cloth-${c}`, pressed: c === lay?.cloth })))
        : null,
      button(lay?.lay ? "Lay anew" : "Lay it", () => start(false), { key: "lay-start", kind: "main", disabled: busy }),
      lay?.lay ? button(held ? `Go on from here, ${counted(held, "piece")} held` : "Go on from here", () => start(true), { key: "lay-go-on", disabled: busy }) : null,
      field(app, { key: "lay-seconds", label: "search for", kind: "choice", value: wish.seconds, choices: TIMES.map(([value, label]) => ({ value, label })), change: (v) => void (wish.seconds = v) }),
      field(app, { key: "lay-spread", label: "spread", term: "spread", kind: "choice", value: wish.spread, choices: [{ value: "", label: "whichever takes least to buy" }, ...SPREADS.map((v) => ({ value: v, label: v }))], change: (v) => void (wish.spread = v) }),
      h("details", { "data-key": "lay-exact", class: "inline" }, h("summary", { "data-key": "lay-exact-s" }, "exactly repeatable"),
        field(app, { key: "lay-rounds", label: "rounds in place of seconds", kind: "number", min: 1, step: 1, value: wish.rounds, change: (v) => void (wish.rounds = v), note: "The same rounds and seed give the same lay." }),
        field(app, { key: "lay-seed", label: "seed", kind: "number", min: 0, step: 1, value: wish.seed, change: (v) => void (wish.seed = v) })),
      run,
      wrongAt(app, "lay-start"),
    );
    showRun(app, run, state?.run ?? null, "lay");
  }

  /** @param {boolean} goOn @param {boolean} [anyway] */
  async function start(goOn, anyway = false) {
    settleKeys();
    await queue;
    const rounds = Number.parseInt(wish.rounds, 10);
    const seed = Number.parseInt(wish.seed, 10);
    const fields = {
      seconds: Number.isFinite(rounds) ? null : Number(wish.seconds),
      rounds: Number.isFinite(rounds) ? rounds : null,
      seed: Number.isFinite(seed) ? seed : 0,
      spread: wish.spread || null, go_on: goOn, anyway,
      ...(goOn ? { cloth: doc()?.cloth ?? null } : {}),
    };
    app.say("The search begins.");
    const reply = await app.send("lay.start", fields, { spot: "lay-start" });
    if (reply.ok && reply.result?.note) app.say(reply.result.note);
    if (!reply.ok && reply.problem?.code === "do-not-cut" && !anyway) {
      ask("Not to be cut yet", [h("p", {}, reply.problem.message)], [
        { text: "Settle it first", kind: "main", act: () => (reply.problem?.where.view ? app.lead(reply.problem.where) : undefined) },
        { text: "Lay it for a look", act: () => void start(goOn, true) },
      ]);
    }
  }

  function drawVerdict() {
    const lay = doc();
    if (!lay) return redraw(verdictCard, h("p", {}, "Reading …"));
    if (!lay.lay) {
      redraw(verdictCard, h("p", {}, "Nothing is laid yet. ", h("strong", {}, "Lay it"), " searches; the best lay so far is drawn as it comes, and stopping keeps it."));
      return;
    }
    const judged = lay.judged;
    const ends = lay.remnant ? 0 : lay.sections.reduce((sum, part) => sum + part.before + part.after, 0);
    const figures = [
      ["lay", asLength(judged?.lay_length ?? lay.lay_length), "lay length"],
      ...(ends > 0 ? [["with the end allowances", asLength((judged?.lay_length ?? lay.lay_length) + ends)]] : []),
      ["to buy", asEnough(judged?.buy_length ?? lay.buy_length), "to buy"],
      ["cut from it", asShare(lay.utilisation), "utilisation"],
      // none is known while the search has not worked one out
      ...(lay.lower_bound > 0 ? [["no lay is shorter than", asLeast(lay.lower_bound), "lower bound"]] : []),
    ];
    redraw(
      verdictCard,
      h("dl", { class: "figures" }, ...figures.map(([k, v]) => h("div", {}, h("dt", {}, k), h("dd", {}, v)))),
      h("p", { class: `verdict ${judged?.ok === true ? "good" : judged?.ok === false ? "bad" : ""}` },
        lay.lay === "so-far" ? (isBusy(app.store.docs.state?.run) ? "The best so far; it is judged when the search has ended." : "The best that was found; it is judged as soon as it can be kept.") : judged === null ? "Not yet judged." : judged.ok === null ? "Being judged …" : judged.ok ? "✓ Proved: right pieces, no overlap, gaps kept, inside the cloth." : "✗ Does not hold as it lies:"),
      judged?.ok === false
        ? h("ul", { class: "findings" }, ...judged.failures.slice(0, 12).map((f) =>
            h("li", {}, f.message, " ", f.laid.length ? h("button", { type: "button", class: "mini", onclick: () => choose(f.laid[0]) }, "show") : null)))
        : null,
      lay.stale ? h("p", { class: "wrong" }, "The order was changed after this lay was made. Lay it anew before you cut.") : null,
      lay.edited ? h("p", { class: "note" }, "Pieces were moved by hand.") : null,
    );
    drawing.mark("failing", judged?.ok === false ? judged.failures.flatMap((f) => f.laid) : []);
  }

  /** @param {string} text */
  function verdict(text) {
    const p = verdictCard.querySelector(".verdict");
    if (p) {
      p.className = "verdict";
      p.textContent = `${text[0].toUpperCase()}${text.slice(1)} …`;
    }
  }

  function drawChosen() {
    const piece = find(chosen);
    const lay = doc();
    if (!piece || !lay) {
      redraw(chosenCard, heading(2, "A piece in the hand"), h("p", { class: "note" }, lay?.lay
        ? "Drag a piece: it slides along its neighbours; with Alt it goes through them. Or put the focus on the drawing and use , and . to choose, the arrows to move, R to turn, F to flip, H to hold."
        : "Once something is laid, pieces can be moved by hand."));
      return;
    }
    const pose = poseOf(piece);
    const busy = stays();
    const part = drawing.places.get(piece.id)?.part;
    // as the sheet and the cut list measure: from the cut end of the cloth that is bought
    const off = { x: part?.before ?? 0, y: 0 };
    const later = (part?.start ?? 0) > 0;
    const unit = inInches() ? 25.4 : 10;
    const inUnit = example("cm", "in");
    const coordinate = (/** @type {"x" | "y"} */ axis, /** @type {string} */ label) =>
      field(app, {
        key: `place-${axis}`, label, value: trim((pose[axis] + off[axis]) / unit, 2), width: "short",
        change: (v) => {
          const mm = inMm(v);
          if (mm === null) return app.say(`“${v}” is not a length; write for example ${example("12.5", "5 1/4")}.`, "bad");
          drop(piece.id, { ...pose, [axis]: mm - off[axis] });
        },
      });
    redraw(
      chosenCard,
      heading(2, `${numbered(piece)}`),
      h("p", {}, piece.garment ? `${piece.garment}${piece.size ? ` ${piece.size}` : ""}, copy ${piece.copy} · ` : "",
        `${piece.plies.length > 1 ? `through ${piece.plies.length} plies` : "one ply"}${piece.on_fold ? ", on the fold" : piece.opened ? ", opened out" : ""}`),
      h("div", { class: "row" }, coordinate("x", `${inUnit} from ${lay.remnant ? "the leftmost point" : later ? "the line of its section" : "the cut end"}`), coordinate("y", `${inUnit} from the near edge`)),
      h("p", { class: "note" }, "To the middle of its grainline; the cut list has the ends of the line drawn through it."),
      h("div", { class: "row", role: "group", "aria-label": "Turns" },
        ...[...piece.turns].sort((a, b) => a - b).map((t) => button(`${trim(t, 1)}°`, () => turnTo(piece, t, pose.flipped, `turned to ${trim(t, 1)}°`), { key: `turn-${t}`, pressed: Math.abs(wholeTurn(t) - wholeTurn(pose.turn)) < 1e-6, disabled: busy, label: `turn to ${trim(t, 1)} degrees` })),
        button("Flip", () => flip(piece), { key: "flip", disabled: busy, pressed: pose.flipped }),
        button(piece.kept ? "Let go" : "Hold", () => hold(piece), { key: "hold", pressed: piece.kept, title: "Held pieces stay where they are when the search goes on" })),
      piece.flips ? null : h("p", { class: "note" }, piece.why_no_flip ?? "May not be flipped."),
      piece.refused.length ? h("ul", { class: "findings" }, ...piece.refused.map(([t, why]) => h("li", {}, `${trim(t, 1)}°: ${why}`))) : null,
    );
  }

  function drawSpreads() {
    const lay = doc();
    if (!lay?.spreads.length) return redraw(spreadCard);
    const busy = isBusy(app.store.docs.state?.run);
    redraw(
      spreadCard,
      heading(2, "Other ways to spread it", "spread"),
      h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Table of spreads", "data-scroll": "spreads" },
        h("table", {},
          h("thead", {}, h("tr", {}, ...["spread", "lay", "to buy", "cut from it", "cost", ""].map((t) => h("th", { scope: "col" }, t || h("span", { class: "unseen" }, "take"))))),
          h("tbody", {}, ...lay.spreads.map((row) =>
            h("tr", { class: row.shown ? "shown" : null },
              h("th", { scope: "row" }, row.spread, row.chosen ? h("span", { class: "tag" }, "taken") : null),
              row.refused
                ? h("td", { colspan: 5, class: "note" }, row.refused)
                : [
                    h("td", {}, asLength(row.lay_length)), h("td", {}, row.buy_length === null ? "–" : asEnough(row.buy_length)), h("td", {}, asShare(row.utilisation)), h("td", {}, asMoney(row.cost)),
                    h("td", {}, row.shown ? "shown" : lay.lay === "so-far" ? "" : row.lay
                      ? button("Show", () => app.send("lay.take", { cloth: lay.cloth, lay: row.lay }, { done: `Taken: ${row.spread}.` }), { key: `take-${row.spread}`, kind: "mini", disabled: busy, label: `Show the lay: ${row.spread}` })
                      : button("Search", () => { wish.spread = row.spread; void start(false); }, { key: `take-${row.spread}`, kind: "mini", disabled: busy, label: `Search: ${row.spread}` })),
                  ]))))),
    );
  }

  /** Pieces of the garment that was chosen in the list of tints, which are near to one another in grey. */
  function lightWhose() {
    const lay = doc();
    drawing.mark("lit", whose && lay ? lay.sections.flatMap((p) => p.pieces).filter((p) => whoseOf(p) === whose).map((p) => p.id) : []);
  }

  /** What was drawn anew has no marks. */
  function markAgain() {
    drawing.mark("chosen", chosen ? [chosen] : []);
    lightWhose();
  }

  function drawNotes() {
    const lay = doc();
    redraw(notes, lay?.over ? h("p", { class: "note" }, `Lies over ${lay.over}: its pieces are cut where their leaders lie.`) : null);
    redraw(
      noteCard,
      lay?.lay ? legend(lay, whose, (name) => { whose = whose === name ? "" : name; lightWhose(); drawNotes(); }) : null,
      lay?.notes.length ? h("ul", { class: "findings" }, ...lay.notes.map((n) => h("li", {}, n))) : null,
      button("A new order from this one", () => newOrder(app), { key: "new-order" }),
      wrongAt(app, "order-new"),
    );
  }

  function draw() {
    const lay = doc();
    if (lay && lay !== drawn) {
      drawn = lay;
      drawing.show(lay);
      for (const [id, pose] of ahead) drawing.pose(id, pose);
      if (chosen && !drawing.places.has(chosen)) chosen = null;
      markAgain();
    }
    if (app.lit?.laid && drawing.places.has(app.lit.laid)) {
      choose(app.lit.laid);
      app.lit = null;
    }
    stage.classList.toggle("empty", !lay?.lay);
    drawTop();
    drawVerdict();
    if (!keyStart) drawChosen();
    drawSpreads();
    drawNotes();
  }

  const offs = [
    app.store.on("progress", (e) => showRun(app, run, e.run, "lay")),
    app.store.on("better", () => {
      const lay = doc();
      if (lay && lay !== drawn) {
        drawn = lay;
        drawing.show(lay);
        markAgain();
        drawVerdict();
        drawSpreads();
      }
    }),
    app.store.on("moved", (e) => {
      for (const p of e.pieces) {
        const place = drawing.places.get(p.id);
        if (!place || ahead.has(p.id)) continue;
        drawing.pose(p.id, place.piece);
        place.group.classList.toggle("kept", !!place.piece.kept);
      }
      drawVerdict();
    }),
    app.store.on("judged", () => {
      if (!drag.gesture) drawing.mark("overlapping", []);
      drawVerdict();
    }),
  ];

  const slide = h("label", { class: "slides" }, h("input", { type: "checkbox", checked: true, onchange: (/** @type {Event} */ e) => void (slides = /** @type {HTMLInputElement} */ (e.target).checked) }), "slide along neighbours");
  stage.append(slide);

  return {
    draw, key,
    leave: () => {
      settleKeys();
      drag.disable();
      drawing.board.leave();
      for (const off of offs) off();
    },
  };
}

/** @param {Laid | null} piece */
function numbered(piece) {
  return piece ? `${piece.number} ${piece.piece}${piece.size && !piece.piece.endsWith(` ${piece.size}`) ? ` ${piece.size}` : ""}` : "a piece";
}

/** @param {{board: import("../draw/board.js").Board}} drawing */
export function zoomButtons(drawing) {
  const about = () => {
    const box = drawing.board.svg.getBoundingClientRect();
    return /** @type {[number, number]} */ ([box.width / 2, box.height / 2]);
  };
  return h("div", { class: "zoom", role: "group", "aria-label": "Nearer and farther" },
    button("+", () => drawing.board.setView(drawing.board.view.zoomed(1.4, about())), { label: "Nearer" }),
    button("−", () => drawing.board.setView(drawing.board.view.zoomed(1 / 1.4, about())), { label: "Farther" }),
    button("▣", () => drawing.board.fit(), { label: "All of it" }));
}

/** The garment that a piece belongs to, with its size. @param {import("../documents.js").Laid} piece */
const whoseOf = (piece) => [piece.garment, piece.size].filter(Boolean).join(" ");

/** Which tint is whose; a click lights the pieces, as tints are near to one another in grey. @param {import("../documents.js").Lay} lay @param {string} whose @param {(name: string) => void} light */
function legend(lay, whose, light) {
  /** @type {Map<string, number>} */
  const seen = new Map();
  for (const piece of lay.sections.flatMap((p) => p.pieces)) {
    const name = whoseOf(piece);
    if (name && !seen.has(name)) seen.set(name, tintOf(lay, piece));
  }
  return h("ul", { class: "legend", "aria-label": "Tints" }, ...[...seen].map(([name, tint]) =>
    h("li", {}, s("svg", { width: 22, height: 14, "aria-hidden": "true", class: "swatch" }, s("g", { class: `tint-${tint}` }, s("rect", { class: "cutline", x: 1, y: 1, width: 20, height: 12 }))), button(name, () => light(name), { kind: "mini", key: `whose-${name}`, pressed: whose === name, label: `${name}: light its pieces` }))));
}

/** Same pattern, other cloth and counts, in one go. @param {App} app */
function newOrder(app) {
  const state = app.store.docs.state;
  if (!state) return;
  const name = h("input", { id: "new-name", value: `${state.title} 2`, autocomplete: "off" });
  const width = h("input", { id: "new-width", placeholder: "as now", autocomplete: "off" });
  const counts = state.garments.map((g) => h("input", { type: "number", min: 0, value: String(g.count), placeholder: String(g.count), "aria-label": `How many ${g.name} ${g.size ?? ""}`, class: "short", "data-index": g.index }));
  const problem = h("p", { class: "wrong", role: "alert" });
  const result = h("p", {});
  const dialog = ask(
    "A new order from this one",
    [
      h("p", { class: "note" }, "The same pattern, seams and alterations; this order stays as it is."),
      h("div", { class: "field" }, h("label", { for: "new-name" }, "called"), name),
      h("div", { class: "field" }, h("label", { for: "new-width" }, "width of the cloth"), width),
      h("table", {}, h("tbody", {}, ...state.garments.map((g, i) => h("tr", {}, h("th", { scope: "row" }, g.name, " ", g.size ?? ""), h("td", {}, counts[i]))))),
      problem, result,
    ],
    [
      { text: "Not now" },
      {
        text: "Make it", kind: "main",
        act: async () => {
          result.textContent = "Making it …";
          const reply = await app.send("order.new", {
            name: name.value.trim(),
            // one that is left empty stays as it is: as many as fit, for instance
            counts: Object.fromEntries(counts.filter((c) => /^\d+$/.test(c.value.trim())).map((c) => [c.dataset.index ?? "", Number(c.value)])),
            cloth: width.value.trim() ? { width: width.value.trim() } : {},
            open: true,
          });
          if (!reply.ok) {
            result.textContent = "";
            problem.textContent = reply.problem?.message ?? "";
            return false;
          }
          problem.textContent = "";
          const address = String(reply.result?.address ?? "");
          result.replaceChildren(`Made: ${reply.result?.order ?? ""}. `, address ? h("a", { href: address, target: "_blank", rel: "noopener" }, "Open it in a tab") : "", " ", h("code", {}, String(reply.result?.command ?? "")));
          dialog.querySelector("button.main")?.remove();
          const leave = dialog.querySelector(".answers button");
          if (leave) leave.textContent = "Stay with this order";
          return false;
        },
      },
    ],
  );
}

