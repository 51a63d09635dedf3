/**
 * The pieces: drop pattern files, see every piece true, name its edges, give finishes, fold, grain.
 */

import { h, redraw, s } from "../draw/dom.js";
import { ask, button, field, findingList, heading, whatIs, wrongAt } from "../draw/kit.js";
import { Sheet, edgeKey } from "../draw/sheet.js";
import { arrowPath } from "../draw/paths.js";
import { asLength, counted, example, trim } from "../draw/words.js";
import { lengthOf, pointAlong } from "../geometry/rings.js";
import { DragKnob } from "../handlers/drag-knob.js";
import { DropFiles } from "../handlers/drop-files.js";
import { askContents } from "./contents.js";
import { zoomButtons } from "./lay.js";
import { Photos, PICTURE } from "./photos.js";

/**
 * @typedef {import("../documents.js").Piece} Piece @typedef {import("../documents.js").Edge} Edge
 * @typedef {import("../geometry/points.js").Point} Point @typedef {import("../app.js").App} App
 */

/** The largest file that is sent at all; the server has its own limit. */
const MOST = 64 * 1024 * 1024;

/** @type {import("../main.js").ViewSpec} */
export const pieces = { name: "pieces", title: "Pieces", docs: ["pieces", "seams"], mount };

/** Chosen before the view was left. */
const memory = { size: "", piece: "", edge: "", sized: false };

/** @param {HTMLElement} root @param {App} app */
function mount(root, app) {
  const sheet = new Sheet("Pattern pieces with their edges; arrows go from edge to edge, Enter chooses one", { edge: pickEdge, piece: (p) => choose(p, null) });
  const top = h("div", { class: "bar" });
  const input = h("input", { type: "file", multiple: true, accept: ".svg,.dxf,.pdf,.png,.jpg,.jpeg,.tif,.tiff,.heic,.heif", id: "files", class: "unseen", "aria-label": "Pattern files", onchange: () => take([...(input.files ?? [])]) });
  const begin = h("div", { class: "begin", hidden: true });
  const stage = h("div", { class: "stage" }, sheet.board.svg, zoomButtons(sheet), begin);
  const side = h("div", { class: "cards" });
  root.append(top, h("div", { class: "split" }, stage, side));
  const proposed = h("section", { class: "card", "aria-label": "Proposals" });
  const allowanceCard = h("section", { class: "card", "aria-label": "Seam allowance" });
  const edgeCard = h("section", { class: "card", "aria-label": "The chosen edge" });
  const pieceCard = h("section", { class: "card", "aria-label": "The chosen piece" });
  const fileCard = h("section", { class: "card", "aria-label": "Pattern files" });
  const photoCard = h("section", { class: "card", "aria-label": "Photographs" });
  side.append(allowanceCard, proposed, edgeCard, pieceCard, fileCard, photoCard);
  const photos = new Photos(app, photoCard);
  const drop = new DropFiles(root, take).enable();
  /** @type {DragKnob | null} */
  let knob = null;
  const allowance = { is: "cut", width: "" };
  /** @type {unknown} */
  let drawn = null;
  let dividing = false;
  /** @type {number} share along the edge where a division is planned */
  let divideAt = 0.5;

  const doc = () => app.store.docs.pieces;
  const pieceNow = () => doc()?.pieces.find((p) => p.id === memory.piece) ?? null;
  const edgeNow = () => pieceNow()?.edges.find((e) => e.name === memory.edge) ?? null;

  /** files that are being read: those of a second drop wait @type {Promise<void>} */
  let reading = Promise.resolve();

  /** @param {File[]} files */
  function take(files) {
    reading = reading.then(() => takeThese(files));
    return reading;
  }

  /** @param {File[]} files @returns {Promise<void>} */
  async function takeThese(files) {
    input.value = "";
    if (!files.length) return;
    const pictures = files.filter((f) => PICTURE.test(f.name));
    if (pictures.length) {
      void photos.take(pictures);
      return takeThese(files.filter((f) => !PICTURE.test(f.name)));
    }
    const large = files.find((f) => f.size > MOST);
    if (large) {
      app.problems.set("files", { code: "too-large", message: `${large.name} is ${Math.round(large.size / 1e6)} MB; a pattern drawing has at most ${MOST / 1048576} MB. Was it the right file?`, where: {} });
      app.say(app.problems.get("files")?.message ?? "", "bad");
      return draw();
    }
    app.say(`Reading ${counted(files.length, "file")} …`);
    const before = new Set(app.store.docs.state?.sizes ?? []);
    const reply = await app.store.link.upload(files, "pattern");
    app.problems.delete("files");
    // pages of a PDF that are scans are pictures, and are traced as such
    const scans = files.filter((f) => reply.scans?.includes(f.name));
    if (scans.length) void photos.take(scans);
    if (scans.length && scans.length + (reply.files ?? []).length === files.length) {
      app.say(`${scans.map((f) => f.name).join(", ")}: scanned pictures; look at them under From photographs.`);
    } else if (!reply.ok && reply.problem) {
      app.problems.set("files", reply.problem);
      app.say(reply.problem.message, "bad");
    } else app.say(`Read: ${(reply.files ?? []).map((f) => `${f.file}, ${counted(f.pieces, "piece")}`).join("; ")}.`, "good");
    await app.store.refresh("pieces");
    await app.store.refresh("state");
    draw();
    for (const f of reply.files ?? []) {
      if (!/\.pdf$/i.test(f.file) || !(await askContents(app, f.index, false))) continue;
      await app.store.refresh("pieces");
      await app.store.refresh("state");
      draw();
    }
    const state = app.store.docs.state;
    const fresh = (state?.sizes ?? []).filter((z) => !before.has(z));
    if (!reply.ok || fresh.length <= (before.size ? 0 : 1) || !state) return;
    // the first size is no question; with the second, both are
    const all = before.size === 1 && !asked;
    askSizes(app, state, (all ? state.files : (reply.files ?? [])).map((f) => f.file), all ? state.sizes : fresh);
  }

  /** @param {Piece} piece @param {Edge | null} edge */
  function choose(piece, edge) {
    memory.piece = piece.id;
    memory.edge = edge?.name ?? "";
    dividing = false;
    divideAt = 0.5;
    mark();
    drawCards();
  }

  /** @param {{piece: Piece, edge: Edge}} picked @param {Point} at @param {Event} e */
  function pickEdge({ piece, edge }, at, e) {
    if (dividing && piece.id === memory.piece && e.type === "click") {
      void divide(piece, edge, at);
      return;
    }
    choose(piece, edge);
    if (e.type === "keydown") edgeCard.querySelector("input")?.focus();
  }

  /** @param {Piece} piece @param {Edge} edge @param {Point} at */
  async function divide(piece, edge, at) {
    dividing = false;
    const reply = await app.send("edge.split", { piece: piece.name, size: piece.size, edge: edge.name, at: [at[0], at[1]], every_size: true }, { spot: "edge-divide", done: "Divided: both parts can be named now." });
    if (reply.ok) memory.edge = "";
    draw();
  }

  function mark() {
    const piece = pieceNow();
    const edge = edgeNow();
    sheet.markPiece(memory.piece);
    sheet.markEdges("chosen", piece && edge ? [edgeKey(piece, edge)] : []);
    const over = [];
    knob?.disable();
    knob = null;
    if (piece) over.push(...grainOf(piece));
    if (piece && edge && dividing) {
      const at = pointAlong(edge.line, lengthOf(edge.line) * divideAt);
      over.push(s("circle", { class: "preview", cx: at[0], cy: -at[1], r: 5 }));
    }
    sheet.over(memory.piece || null, over);
  }

  /** The grain arrow of the chosen piece, its end to be dragged. @param {Piece} piece */
  function grainOf(piece) {
    if (piece.grain_deg === null && !piece.usable) return [];
    const [x0, y0, x1, y1] = piece.bounds;
    /** @type {[number, number]} */
    const middle = piece.grain ? [(piece.grain[0][0] + piece.grain[1][0]) / 2, (piece.grain[0][1] + piece.grain[1][1]) / 2] : [(x0 + x1) / 2, (y0 + y1) / 2];
    const long = piece.grain ? Math.max(20, Math.hypot(piece.grain[1][0] - piece.grain[0][0], piece.grain[1][1] - piece.grain[0][1]) / 2) : Math.min(x1 - x0, y1 - y0) / 2.5;
    const path = s("path", { class: "grainline" });
    const end = s("circle", { class: "knob", r: Math.max(4, Math.min(10, long / 12)), tabindex: 0, role: "slider", "aria-label": `Grain of ${piece.name}: arrow keys turn it by 1 degree, with Shift by 15`, "aria-valuemin": 0, "aria-valuemax": 360, "data-key": "grain-knob" });
    let degrees = piece.grain_deg ?? 90;
    const put = (/** @type {number} */ deg) => {
      degrees = deg;
      const a = (deg * Math.PI) / 180;
      /** @type {[number, number]} */
      const tip = [middle[0] + long * Math.cos(a), middle[1] + long * Math.sin(a)];
      path.setAttribute("d", arrowPath([2 * middle[0] - tip[0], 2 * middle[1] - tip[1]], tip, long / 6));
      end.setAttribute("cx", String(tip[0]));
      end.setAttribute("cy", String(-tip[1]));
      end.setAttribute("aria-valuenow", String(Math.round(deg)));
      end.setAttribute("aria-valuetext", `${trim(deg, 1)} degrees`);
    };
    put(degrees);
    const shift = () => sheet.places.get(piece.id)?.shift ?? [0, 0];
    /** @param {Point} p */
    const angle = (p) => {
      const raw = (Math.atan2(p[1] - middle[1], p[0] - middle[0]) * 180) / Math.PI;
      // near a whole eighth it is the eighth that is meant
      const eighth = Math.round(raw / 45) * 45;
      return ((Math.abs(raw - eighth) < 2.5 ? eighth : Math.round(raw * 2) / 2) + 360) % 360;
    };
    knob = new DragKnob(end, {
      at: (e) => {
        const [x, y] = sheet.board.at(e);
        return [angle([x - shift()[0], y - shift()[1]]), 0];
      },
      nudge: (dx, dy) => [(degrees - dx + dy + 360) % 360, 0],
      coarse: 15,
      moved: ([deg]) => put(deg),
      done: ([deg]) => void app.send("piece.set", { piece: piece.name, key: "grain", value: deg }, { spot: "set-grain", done: `Grain of ${piece.name}: ${trim(deg, 1)}°.` }),
      cancelled: () => put(piece.grain_deg ?? 90),
    }).enable();
    return [path, end];
  }

  function drawTop() {
    const sizes = [...new Set((doc()?.pieces ?? []).map((p) => p.size).filter((x) => x !== null))];
    if (memory.size && !sizes.includes(memory.size)) memory.size = "";
    redraw(
      top,
      h("label", { class: "drop", for: "files" }, "Drop SVG, DXF or PDF drawings, or photographs, anywhere here, or "),
      button("choose files", () => input.click(), { key: "choose-files", kind: doc()?.pieces.length ? undefined : "main" }),
      input,
      sizes.length > 1
        ? h("div", { class: "pick", role: "group", "aria-label": "Which size" },
            ...["", ...sizes].map((z) => button(z || "all sizes", () => { memory.size = z; drawn = null; draw(); }, { key: `size-${z}`, pressed: memory.size === z })))
        : null,
      wrongAt(app, "files"),
    );
  }

  function drawProposals() {
    const list = doc()?.proposals ?? [];
    const sure = list.filter((p) => !p.guess);
    if (!list.length) return redraw(proposed);
    redraw(
      proposed,
      heading(2, "Likely, from what is drawn"),
      sure.length ? button(`Accept ${sure.length > 1 ? `all ${sure.length}` : "it"}${sure.length < list.length ? " but the guesses" : ""}`, () => app.send("proposals.accept", { ids: sure.map((p) => p.id) }, { done: `${counted(sure.length, "proposal")} accepted; one step back takes them all away.` }), { kind: "main", key: "accept-all" }) : null,
      h("ul", { class: "list" }, ...list.map((p) =>
        h("li", {}, h("span", { class: "grow" }, p.message, h("span", { class: "note" }, ` ${p.why}`)),
          button("Yes", () => app.send("proposals.accept", { ids: [p.id] }, { done: p.message }), { kind: "mini", key: `accept-${p.id}`, label: `Accept: ${p.message}` }),
          button("No", () => app.decline([p.id]), { kind: "mini", key: `decline-${p.id}`, label: `Not so: ${p.message}` })))),
    );
  }

  /** A drawing with one outline does not say whether it is cut or sewn along: a person knows. */
  function drawAllowance() {
    const names = doc()?.unsaid ?? [];
    if (!names.length) return redraw(allowanceCard);
    redraw(
      allowanceCard,
      heading(2, "Seam allowance", "allowance"),
      h("p", {}, `${listed(names)} ${names.length > 1 ? "have" : "has"} one outline. Which line is it?`),
      h("div", { class: "fields two" },
        field(app, { key: "allowance-is", label: "the drawn line is", kind: "choice", value: allowance.is, choices: [{ value: "cut", label: "cut along" }, { value: "sewn", label: "sewn along" }], change: (v) => { allowance.is = v; drawAllowance(); } }),
        field(app, { key: "allowance-width", label: allowance.is === "cut" ? "allowance lies in it (0: none)" : "allowance to add", value: allowance.width, placeholder: example("1 cm", "3/8 in"), change: (v) => void (allowance.width = v) })),
      h("p", { class: "note" }, "Hems, elastic and single edges are told apart afterwards: click an edge and give it its finish."),
      h("div", { class: "row" },
        button("So it is", () => app.send("pieces.allowance", { pieces: names, includes: allowance.is === "cut", length: allowance.width }, { spot: "allowance-width", typed: allowance.width, done: `${listed(names)}: ${allowance.is === "cut" ? "the allowance lies in the drawn line" : "the allowance is added"}.` }), { kind: "main", key: "allowance-say" }),
        button("Cut as drawn, do not ask", () => app.decline(names.map((n) => `allowance:${n}`)), { key: "allowance-no" })),
    );
  }

  function drawEdge() {
    const piece = pieceNow();
    const edge = edgeNow();
    if (!piece || !edge) {
      redraw(edgeCard, piece ? [heading(2, "Edges"), h("p", { class: "note" }, "Click an edge of the piece to name it and say how it is finished. Bends count as corners where you divide an edge, however slight.")] : null);
      return;
    }
    const at = { piece: piece.name };
    const next = piece.edges[(piece.edges.indexOf(edge) + 1) % piece.edges.length];
    const finishes = doc()?.finishes ?? [];
    redraw(
      edgeCard,
      heading(2, edge.named ? `Edge ${edge.name} of ${piece.name}` : `Edge ${edge.start} to ${edge.end} of ${piece.name}`),
      h("p", { class: "note" }, `${asLength(edge.length)} long`, edge.source === "file" ? ", named in the drawing" : ""),
      h("datalist", { id: "edge-names" }, ...(doc()?.edge_names ?? []).map((n) => h("option", { value: n }))),
      h("datalist", { id: "finish-names" }, ...finishes.map((f) => h("option", { value: f.example }, f.words))),
      h("div", { class: "fields" },
        field(app, {
          key: "edge-name", label: "name", value: edge.named ? edge.name : "", list: "edge-names", placeholder: "side, waist, leg …",
          change: async (v) => {
            if (!v && edge.source === "order") {
              const reply = await app.send("edge.unname", { ...at, name: edge.name }, { spot: "edge-name", done: "Name taken away." });
              if (reply.ok) memory.edge = "";
              return;
            }
            if (!v) return;
            const reply = await app.send("edge.name", { ...at, start: edge.start, end: edge.end, name: v, old: edge.named ? edge.name : null }, { spot: "edge-name", typed: v, done: `Edge ${v} of ${piece.name}.` });
            if (reply.ok) memory.edge = v;
          },
        }),
        field(app, {
          key: "edge-finish", label: "finish", term: "finish", value: edge.finish ?? "", list: "finish-names", placeholder: example("raw, seam 1 cm …", "raw, seam 3/8 in …"),
          note: finishes.length ? null : `for example: fold back ${example("2 cm", "3/4 in")}`,
          change: (v) => void app.send("piece.finish", { ...at, edge: edge.name, finish: v || null }, { spot: "edge-finish", typed: v, done: v ? `${edge.name}: ${v}.` : "No finish." }),
        }),
        edge.named && piece.file ? lengthOfEdge(at, edge, "allowance", "drawn with an allowance of", example("1 cm", "3/8 in")) : null,
        edge.named && follows(piece.name) ? lengthOfEdge(at, edge, "trim_short", "ends short by", example("2 cm", "3/4 in")) : null),
      h("div", { class: "row" },
        edge.fold
          ? button("Off the fold", () => app.send("piece.fold", { ...at, side: null }, { spot: "edge-fold", done: "Not on a fold any more." }), { key: "edge-fold", pressed: true })
          : button("Lies on the fold", () => {
              if (!edge.fold_side) {
                app.problems.set("edge-fold", { code: "not-a-fold", message: edge.why_no_fold ?? "This edge cannot be a fold.", where: {} });
                app.say(edge.why_no_fold ?? "This edge cannot be a fold.", "bad");
                drawCards();
              } else void app.send("piece.fold", { ...at, side: edge.fold_side }, { spot: "edge-fold", done: `${piece.name} lies on the fold with this edge.` });
            }, { key: "edge-fold", pressed: false }),
        whatIs("fold", "on the fold"),
        button(dividing ? "Click the place …" : "Divide here", () => { dividing = !dividing; mark(); drawCards(); }, { key: "edge-divide", pressed: dividing }),
        next && next !== edge ? button(`Join with ${next.name}`, () => app.send("edge.join", { ...at, edges: [edge.name, next.name], name: edge.named ? edge.name : next.named ? next.name : "joined" }, { spot: "edge-divide", done: "Joined." }), { key: "edge-join" }) : null),
      wrongAt(app, "edge-fold"),
      wrongAt(app, "edge-divide"),
      dividing
        ? h("div", { class: "field" }, h("label", { for: "divide-range" }, "or along the edge"),
            h("div", { class: "row" },
              h("input", { id: "divide-range", type: "range", min: 1, max: 99, value: String(divideAt * 100), "data-key": "divide-range", oninput: (/** @type {Event} */ e) => { divideAt = Number(/** @type {HTMLInputElement} */ (e.target).value) / 100; mark(); } }),
              button("Divide there", () => divide(piece, edge, pointAlong(edge.line, lengthOf(edge.line) * divideAt)), { key: "divide-there" })))
        : null,
    );
  }

  /** @param {{piece: string}} at @param {Edge} edge @param {"allowance" | "trim_short"} key @param {string} label @param {string} hint */
  function lengthOfEdge(at, edge, key, label, hint) {
    return field(app, {
      key: `edge-${key}`, label, term: key === "allowance" ? "finish" : undefined, value: edge[key] ?? "", placeholder: hint,
      change: (v) => void app.send("piece.set", { ...at, key: `${key}.${edge.name}`, value: v || null }, { spot: `edge-${key}`, typed: v, done: `${edge.name}: ${label} ${v || "nothing"}.` }),
    });
  }

  /** Is it cut together with another piece? @param {string} name */
  function follows(name) {
    return (app.store.docs.seams?.together ?? []).some((t) => t.follower === name);
  }

  function drawPiece() {
    const piece = pieceNow();
    const state = app.store.docs.state;
    if (!piece) {
      redraw(pieceCard, !doc() ? h("p", {}, "Reading the pattern …") : doc()?.pieces.length ? h("p", { class: "note" }, unnamed().length ? `The drawing has no name for ${listed(unnamed().map((p) => `${p.name}${p.size ? ` in size ${p.size}` : ""}`))}: click ${unnamed().length > 1 ? "each" : "it"} and say what it is.` : "Click a piece, or go to its edges with the Tab key.") : h("p", {}, "No pieces yet. A piece is one closed outline; grain, notches and names in the drawing are read, and what is missing you add here."), pieceList());
      return;
    }
    const at = { piece: piece.name };
    /** @param {string} key @param {string} v @param {unknown} value */
    const set = (key, v, value) => void app.send("piece.set", { ...at, key, value }, { spot: `set-${key.replace(".*", "")}`, typed: v, done: `${piece.name}: ${key.replace(".*", "").replaceAll("_", " ")} ${v || "as the drawing says"}.` });
    const of = (/** @type {string} */ key) => piece.settings[key] ?? { value: null, given: false };
    /** What holds for all edges that have none of their own. @param {"allowance" | "finish"} key */
    const allRound = (key) => /** @type {Record<string, string> | null} */ (of(key).value)?.["*"] ?? "";
    const cloths = [...new Set([...(state?.cloths ?? []), String(of("cloth").value ?? "")])].filter(Boolean);
    redraw(
      pieceCard,
      heading(2, `${piece.name}${piece.size ? `, size ${piece.size}` : ""}`),
      piece.problem ? h("p", { class: "wrong" }, piece.problem.message) : null,
      piece.in_order ? null : h("p", { class: "note" }, "No garment uses this piece yet (see Cloth & people)."),
      field(app, {
        key: "piece-name", label: "name of the piece", value: piece.unnamed ? "" : piece.name, placeholder: "front, back, waistband …",
        note: piece.unnamed ? "The drawing has no name for it: give it one, and it is called so everywhere." : null,
        change: (v) => void rename(piece, v),
      }),
      h("div", { class: "fields" },
        field(app, { key: "set-cut", label: "cut", term: "cut", kind: "number", min: 1, max: 99, step: 1, value: of("cut").value, given: of("cut").given, change: (v) => set("cut", v, v === "" ? null : Number(v)) }),
        field(app, { key: "set-cloth", label: "cloth", kind: cloths.length ? "choice" : "text", choices: cloths, value: of("cloth").value ?? "", given: of("cloth").given, change: (v) => set("cloth", v, v || null) }),
        field(app, { key: "set-turn", label: "may be turned", term: "turn", kind: "choice", choices: [{ value: "", label: "as the cloth allows" }, ...(doc()?.turns ?? []).map((v) => ({ value: v, label: v }))], value: of("turn").value ?? "", given: of("turn").given, change: (v) => set("turn", v, v || null) }),
        field(app, { key: "set-tilt", label: "tilt, degrees", term: "tilt", value: of("tilt").value ?? "", given: of("tilt").given, change: (v) => set("tilt", v, v === "" ? null : asNumber(v)) }),
        field(app, { key: "set-needs_stretch", label: "needs stretch", term: "stretch", value: asPercent(of("needs_stretch").value), given: of("needs_stretch").given, placeholder: "40 %", change: (v) => set("needs_stretch", v, v || null) }),
        field(app, { key: "set-grain", label: "grain, degrees", term: "grain", value: piece.grain_deg === null ? "" : trim(piece.grain_deg, 2), given: of("grain").given, placeholder: "90 is up", change: (v) => set("grain", v, v === "" ? null : asNumber(v)) }),
        piece.file && !piece.seam ? field(app, { key: "set-allowance", label: "allowance in the drawn line", term: "allowance", value: allRound("allowance"), placeholder: example("1 cm", "3/8 in"), change: (v) => set("allowance.*", v, v || null) }) : null,
        piece.file ? field(app, { key: "set-finish", label: "finish of the other edges", term: "finish", value: allRound("finish"), placeholder: example("seam 1 cm", "seam 3/8 in"), change: (v) => void app.send("piece.finish", { ...at, edge: "*", finish: v || null }, { spot: "set-finish", typed: v, done: `${piece.name}: ${v || "no finish"} all round.` }) }) : null),
      h("div", { class: "fields" },
        field(app, { key: "set-mirrored", label: "left and right", term: "mirrored", kind: "flag", value: of("mirrored").value === true, change: (v) => set("mirrored", v, v === "true") }),
        field(app, { key: "set-unfold", label: "may be opened out", term: "opened out", kind: "flag", value: of("unfold").value === true, change: (v) => set("unfold", v, v === "true") }),
        field(app, { key: "set-alike_ok", label: "mirror image does as well", kind: "flag", value: of("alike_ok").value === true, change: (v) => set("alike_ok", v, v === "true") })),
      piece.grain_deg === null
        ? button("Draw its grain: an arrow to turn", () => app.send("piece.set", { ...at, key: "grain", value: 90 }, { spot: "set-grain", done: `An arrow on ${piece.name}, pointing up: turn it by its end.` }), { key: "grain-arrow" })
        : null,
      wrongAt(app, "grain"),
      findingList(app, piece.findings),
      piece.text.length ? h("details", { "data-key": "piece-text" }, h("summary", { "data-key": "piece-text-s" }, "Text in the drawing"), h("ul", { class: "findings" }, ...piece.text.map((t) => h("li", {}, t)))) : null,
      pieceList(),
    );
  }

  /** @param {Piece} piece @param {string} name */
  async function rename(piece, name) {
    if (!name && piece.unnamed) return;
    const reply = await app.send("piece.rename", { piece: piece.name, size: piece.size, name }, { spot: "piece-name", typed: name });
    if (!reply.ok) return;
    const { name: now, sizes } = reply.result;
    memory.piece = `${now}|${piece.size ?? ""}`;
    app.say(`${piece.name} is called ${now}${sizes.length > 1 ? ` in sizes ${listed(sizes)}` : ""}.`, "good");
    draw();
  }

  /** All pieces as a list, for those who do not point. */
  function pieceList() {
    const list = shownPieces();
    if (!list.length) return null;
    return h("details", { "data-key": "piece-list" }, h("summary", { "data-key": "piece-list-s" }, `All ${counted(list.length, "piece")}`),
      h("ul", { class: "list" }, ...list.map((p) => h("li", {}, button(`${p.name}${p.size ? ` ${p.size}` : ""}`, () => choose(p, null), { kind: "mini", key: `choose-${p.id}`, pressed: p.id === memory.piece }),
        h("span", { class: "note" }, `${counted(p.edges.filter((e) => e.named).length, "named edge")} of ${p.edges.length}`, p.usable ? "" : " · cannot be used yet")))));
  }

  function drawFiles() {
    const state = app.store.docs.state;
    const files = state?.files ?? [];
    redraw(
      fileCard,
      files.length ? heading(2, "Pattern files") : null,
      files.length ? h("ul", { class: "list" }, ...files.map((f) =>
        h("li", {},
          h("span", { class: "grow whole" }, h("strong", {}, f.file), ` · ${counted(f.pieces, "piece")}`, findingList(app, f.findings.filter((x) => x.kind !== "note"), true),
            f.findings.some((x) => x.kind === "note") ? h("details", { "data-key": `file-notes-${f.index}` }, h("summary", { "data-key": `file-notes-${f.index}-s` }, "How it was read"), findingList(app, f.findings.filter((x) => x.kind === "note"), true)) : null),
          field(app, { key: `file-size-${f.index}`, label: "size", value: f.size ?? "", width: "short", change: (v) => void app.send("file.set", { index: f.index, key: "size", value: v || null }, { spot: `file-size-${f.index}`, typed: v }) }),
          field(app, { key: `file-units-${f.index}`, label: "units", term: "units", kind: "choice", choices: [{ value: "", label: f.units ? `${f.units} (drawing)` : "as the drawing says" }, "mm", "cm", "m", "in", "yd"], value: "", change: (v) => void app.send("file.set", { index: f.index, key: "units", value: v || null }, { spot: `file-units-${f.index}`, typed: v }) }),
          /\.pdf$/i.test(f.file)
            ? button(f.pages || f.layers ? `${chosenOf(f)}: choose others` : "Pages and layers …", () => askContents(app, f.index, true), { kind: "mini", key: `file-choose-${f.index}`, label: `Choose pages and layers of ${f.file}` })
            : null,
          button("Take out", () => app.send("file.remove", { index: f.index }, { done: `${f.file} taken out of the order; the file itself stays.` }), { kind: "mini", key: `file-out-${f.index}`, label: `Take out: ${f.file}` })))) : null,
    );
  }

  /** Pieces that nobody has named, in the sizes in sight. */
  function unnamed() {
    return shownPieces().filter((p) => p.unnamed);
  }

  function shownPieces() {
    return (doc()?.pieces ?? []).filter((p) => !memory.size || p.size === null || p.size === memory.size);
  }

  function drawBegin() {
    const empty = doc() && !doc()?.pieces.length && !app.store.docs.state?.files.length;
    redraw(begin, empty ? [
      h("strong", {}, "Drop your pattern here"),
      h("p", {}, "SVG, DXF or PDF drawings, true to size, or photographs of paper pieces."),
      h("ol", {}, ...["Pieces: look them over, name their edges", "Seams: see whether they fit", "Cloth: how wide, how many garments", "Lay, buy, cut"].map((t) => h("li", {}, t))),
    ] : null);
    begin.hidden = !empty;
  }

  function drawCards() {
    drawBegin();
    drawTop();
    drawAllowance();
    drawProposals();
    drawEdge();
    drawPiece();
    drawFiles();
    photos.draw();
  }

  function draw() {
    const now = doc();
    const lit = app.lit;
    if (lit?.piece && now) {
      const piece = now.pieces.find((p) => p.name === lit.piece && (!lit.size || p.size === lit.size));
      if (piece) {
        if (memory.size && memory.size !== piece.size) memory.size = "";
        memory.piece = piece.id;
        memory.edge = lit.edge ?? "";
        drawn = null;
        app.lit = null;
      }
    }
    if (now && now !== drawn) {
      drawn = now;
      // many pieces at once are too small to click: one size first
      if (!memory.sized && now.pieces.length > 8) memory.size = now.pieces[0].size ?? "";
      memory.sized ||= now.pieces.length > 0;
      sheet.show(shownPieces());
    }
    mark();
    drawCards();
  }

  return { draw, key: (/** @type {KeyboardEvent} */ e) => (stage.contains(document.activeElement) ? sheet.board.panZoom.key(e) : false), leave: () => { drop.disable(); knob?.disable(); sheet.board.leave(); } };
}

/** A decimal comma is a comma in half of the world. @param {string} v @returns {number | string} what the server can judge */
export function asNumber(v) {
  const n = Number(v.replace(",", ".").replace(/°$/, ""));
  return Number.isFinite(n) ? n : v;
}

/** @param {readonly string[]} names the first few of them */
function listed(names) {
  const more = names.length - 3;
  return more > 1 ? `${names.slice(0, 3).join(", ")} and ${more} more` : names.length > 1 ? `${names.slice(0, -1).join(", ")} and ${names[names.length - 1]}` : names.join("");
}

/** Which pages and layers of a PDF are read. @param {import("../documents.js").FileDoc} f */
function chosenOf(f) {
  return [f.pages ? `pages ${f.pages.join(", ")}` : "", f.layers ? `layers ${f.layers.join(", ")}` : ""].filter(Boolean).join(", ");
}

/** @param {unknown} v */
function asPercent(v) {
  return typeof v === "number" ? `${trim(v * 100, 1)} %` : v === null || v === undefined ? "" : String(v);
}


/** The question about sizes that was asked last. @type {{dialog: HTMLDialogElement, files: readonly string[], fresh: readonly string[]} | null} */
let asked = null;

/**
 * A pattern of several sizes is there: few people sew all of them.
 * @param {App} app @param {import("../documents.js").State} state @param {readonly string[]} files @param {readonly string[]} fresh
 */
function askSizes(app, state, files, fresh) {
  if (asked?.dialog.open) {
    // dropped while that was being asked: one question for all
    files = [...asked.files, ...files];
    fresh = [...asked.fresh, ...fresh];
    asked.dialog.close();
  }
  const garments = state.garments.filter((g) => g.size !== null && fresh.includes(g.size));
  if (!garments.length) return;
  const counts = garments.map((g) => h("input", { type: "number", min: 0, max: 999, step: 1, value: String(g.count), id: `size-count-${g.index}`, class: "short" }));
  const problem = h("p", { class: "wrong", role: "alert" });
  const dialog = ask(
    "Which sizes will you cut?",
    [
      h("p", { class: "note" }, `${files.join(", ")} ${files.length > 1 ? "have" : "has"} ${counted(fresh.length, "size")}. Say how many of each; 0 leaves a size out. It can be changed under Cloth & people at any time.`),
      h("table", {}, h("tbody", {}, ...garments.map((g, i) => h("tr", {}, h("th", { scope: "row" }, h("label", { for: `size-count-${g.index}` }, `${g.name} ${g.size}`)), h("td", {}, counts[i]))))),
      problem,
    ],
    [
      { text: "One of each" },
      {
        text: "Take these", kind: "main",
        act: async () => {
          const wanted = counts.map((c) => Number(c.value));
          if (wanted.some((n) => !Number.isInteger(n) || n < 0) || wanted.every((n) => n === 0)) {
            problem.textContent = "Whole numbers are needed, and at least one of one size.";
            return false;
          }
          const reply = await app.send("garment.counts", { counts: Object.fromEntries(garments.map((g, i) => [String(g.index), wanted[i]])) }, { done: "Counted." });
          if (reply.ok) return true;
          problem.textContent = reply.problem?.message ?? "";
          return false;
        },
      },
    ],
  );
  asked = { dialog, files, fresh };
}
