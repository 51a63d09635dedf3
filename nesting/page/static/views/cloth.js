/**
 * Cloth and people: what the cloth is, what it does in the wash and under the hands, what is left at home, who is sewn for, and
 * how many of what.
 */

import { h, redraw, s } from "../draw/dom.js";
import { button, field, findingList, heading, wrongAt } from "../draw/kit.js";
import { pathOf } from "../draw/paths.js";
import { asLength, asTape, counted, example, trim } from "../draw/words.js";
import { boxOf } from "../geometry/points.js";
import { DropFiles } from "../handlers/drop-files.js";
import { PICTURE } from "./photos.js";
import { ScrapPhoto } from "./scrap-photo.js";
import { trims } from "./trims.js";

/**
 * @typedef {import("../documents.js").Cloth} Cloth @typedef {import("../documents.js").Cloths} Cloths
 * @typedef {import("../documents.js").Remnant} Remnant @typedef {import("../documents.js").Garment} Garment
 * @typedef {import("../app.js").App} App
 */

/** @type {import("../main.js").ViewSpec} */
export const cloth = { name: "cloth", title: "Cloth & people", docs: ["cloth", "pieces"], mount };

/** Fields that nearly everybody fills in; the others are folded away. */
const FIRST = ["name", "width", "selvage", "nap", "price", "gap", "stretch_across", "stretch_along", "shrink_along", "shrink_across"];

/** Words to explain beside fields. @type {Record<string, string>} */
const TERMS = {
  width: "width", selvage: "selvage", nap: "nap", gap: "gap", stretch_across: "stretch", stretch_along: "stretch", shrink_along: "shrinkage", shrink_across: "shrinkage",
  repeat_along: "repeat", repeat_across: "repeat", plies: "plies", tubular: "tubular", increment: "increment", end_allowance: "end allowance", spreads: "spread", pairs: "pairs", right_side: "right side",
};

/** What holds where nothing is written, or may be written: with its unit, so that nobody has to guess it. @type {Record<string, readonly [string, string]>} metric, imperial */
const EXAMPLES = {
  width: ["150 cm", "60 in"], selvage: ["none, or 1 cm", "none, or 3/8 in"], gap: ["none, or 3 mm", "none, or 1/8 in"], price: ["14.90", "14.90"],
  length: ["any, or 3.5 m", "any, or 4 yd"], table_length: ["any, or 2 m", "any, or 2 yd"], increment: ["10 cm", "1/8 yd"], repeat_along: ["none, or 6.4 cm", "none, or 2 1/2 in"],
  repeat_across: ["none, or 6.4 cm", "none, or 2 1/2 in"], stretch_across: ["60 %", "60 %"], stretch_along: ["60 %", "60 %"], fibre_stretch: ["8 %", "8 %"], max_plies: ["any, or 8", "any, or 8"],
};

/** @param {HTMLElement} root @param {App} app */
function mount(root, app) {
  const cards = h("div", { class: "cards" });
  root.append(cards);
  const garmentCard = h("section", { class: "card full", "aria-label": "What to cut" });
  const clothCards = h("div", { class: "cards" });
  const remnantCard = h("section", { class: "card", "aria-label": "Leftovers" });
  const wearerCard = h("section", { class: "card", "aria-label": "People" });
  const orderCard = h("section", { class: "card", "aria-label": "This order" });
  const round = trims(app);
  cards.append(garmentCard, remnantCard, wearerCard, ...round.cards, orderCard);
  root.prepend(clothCards);
  clothCards.classList.add("cloths");
  const test = { alongA: "", alongB: "", acrossA: "", acrossB: "" };
  /** tests half filled in, by cloth and kind @type {Map<string, typeof test>} */
  const tests = new Map();
  const fresh = { garment: { name: "", size: "", count: "1" }, cloth: { name: "", width: "" }, remnant: { name: "", cloth: "", width: "", length: "" }, wearer: "" };
  const doc = () => app.store.docs.cloth;
  const shot = new ScrapPhoto(app, () => drawRemnants());
  /** @type {HTMLInputElement} */
  const chosen = h("input", { type: "file", multiple: true, accept: ".svg,.dxf,image/*", class: "unseen", "aria-label": "Drawings or photographs of leftovers", "data-key": "remnant-choose-files", onchange: () => { const files = [...(chosen.files ?? [])]; chosen.value = ""; if (files.length) void upload(files); } });
  const drop = new DropFiles(remnantCard, (files) => void upload(files)).enable();

  /** @param {File[]} files outlines of leftovers */
  async function upload(files) {
    const pictures = files.filter((f) => PICTURE.test(f.name));
    if (pictures.length) await shot.take(pictures);
    files = files.filter((f) => !PICTURE.test(f.name));
    if (!files.length) return;
    const reply = await app.store.link.upload(files, "remnant");
    app.problems.delete("remnant-files");
    if (!reply.ok && reply.problem) app.problems.set("remnant-files", reply.problem);
    app.say(reply.ok ? "Leftover read." : (reply.problem?.message ?? "Refused."), reply.ok ? "good" : "bad");
    await app.store.refresh("cloth");
    draw();
  }

  /** @param {Cloth} c @param {any} spec */
  function clothField(c, spec) {
    const key = `cloth-${c.index}-${spec.name}`;
    const given = c.fields[spec.name] ?? { value: spec.default ?? null, given: false };
    const value = shown(given.value, spec.kind);
    const imperial = ["in", "yd"].includes(app.store.docs.state?.units ?? "");
    const label = spec.name === "price" && imperial ? "price per yard" : labelOf(spec.name);
    /** @param {string} v @param {unknown} sent */
    const set = (v, sent) => void app.send("cloth.set", { index: c.index, key: spec.name, value: sent }, { spot: key, typed: v, done: `${c.name}: ${label} ${v || "as usual"}.` });
    const common = { key, label, term: TERMS[spec.name], given: given.given };
    if (spec.kind === "flag") return field(app, { ...common, kind: "flag", value: given.value === true, change: (v) => set(v, v === "true") });
    if (spec.kind === "choice") {
      return field(app, { ...common, kind: "choice", value: value ?? "", choices: [...(given.value === null ? [{ value: "", label: "as usual" }] : []), ...(spec.allowed ?? []).map((/** @type {string} */ v) => ({ value: v, label: v }))], change: (v) => set(v, v || null) });
    }
    if (spec.kind === "list") {
      const chosen = new Set(Array.isArray(given.value) ? given.value : []);
      return h("fieldset", { class: "list-field" }, h("legend", {}, label),
        ...(spec.allowed ?? []).map((/** @type {string} */ v) => field(app, {
          key: `${key}-${v}`, label: v, kind: "flag", value: chosen.has(v),
          change: (on) => {
            const next = new Set(chosen);
            if (on === "true") next.add(v);
            else next.delete(v);
            void app.send("cloth.set", { index: c.index, key: spec.name, value: next.size ? [...next] : null }, { spot: key, done: `${c.name}: ${next.size ? [...next].join(", ") : "every sound spread"}.` });
          },
        })), wrongAt(app, key));
    }
    return field(app, { ...common, value, placeholder: EXAMPLES[spec.name]?.[Number(imperial)] ?? String(shown(spec.default, spec.kind) ?? ""), change: (v) => set(v, v === "" ? null : spec.kind === "number" ? number(v) : v) });
  }

  /** A test with two lengths each way. @param {Cloth} c @param {"wash" | "ruler"} kind */
  function testForm(c, kind) {
    const id = `${kind}-${c.index}`;
    const t = tests.get(id) ?? { ...test };
    tests.set(id, t);
    const wash = kind === "wash";
    const cell = (/** @type {keyof typeof test} */ k, /** @type {string} */ label, /** @type {string} */ hint) =>
      field(app, { key: `${id}-${k}`, label, value: t[k], placeholder: hint, width: "short", change: (v) => void (t[k] = v) });
    return h("details", { "data-key": id },
      h("summary", { "data-key": `${id}-s` }, wash ? "Wash test: how much it shrinks" : "Ruler test: how far it stretches"),
      h("p", { class: "note" }, wash
        ? "Mark a square on the cloth, measure it, wash and dry the cloth as the garment will be, measure again."
        : "Fold the cloth, hold 10 cm of the fold against a ruler, stretch it as far as it goes without strain, read where it ends.".replace("10 cm", example("10 cm", "4 in"))),
      h("div", { class: "fields" },
        cell("alongA", wash ? "along, before" : "along, at rest", wash ? example("50 cm", "20 in") : example("10 cm", "4 in")), cell("alongB", wash ? "along, after" : "along, stretched", wash ? example("47,5 cm", "19 in") : example("15 cm", "6 in")),
        cell("acrossA", wash ? "across, before" : "across, at rest", wash ? example("50 cm", "20 in") : example("10 cm", "4 in")), cell("acrossB", wash ? "across, after" : "across, stretched", wash ? example("48,5 cm", "19 1/2 in") : example("16 cm", "6 1/2 in"))),
      wrongAt(app, id),
      button("Take it over", async () => {
        const along = t.alongA && t.alongB ? [t.alongA, t.alongB] : null;
        const across = t.acrossA && t.acrossB ? [t.acrossA, t.acrossB] : null;
        const reply = await app.send(wash ? "cloth.wash" : "cloth.ruler", { index: c.index, along, across }, { spot: id });
        if (reply.ok) app.say(`${c.name} ${wash ? "shrinks" : "stretches"}: ${["along", "across"].filter((k) => reply.result?.[k]).map((k) => `${k} ${reply.result[k]}`).join(", ")}.`, "good");
      }, { key: `${id}-go` }));
  }

  function drawCloths() {
    const now = doc();
    if (!now) return;
    const first = FIRST.map((n) => now.fields.find((f) => f.name === n)).filter(Boolean);
    const rest = now.fields.filter((f) => !FIRST.includes(f.name));
    redraw(
      clothCards,
      ...now.cloths.map((c) =>
        h("section", { class: "card", "aria-label": `Cloth ${c.name}` },
          h("div", { class: "heading" }, h("h2", {}, c.name), swatch(c)),
          h("div", { class: "fields" }, ...first.map((f) => clothField(c, f))),
          c.in_mm.usable_width ? h("p", { class: "note" }, `After the wash ${asTape(c.in_mm.width_washed)} wide, ${asTape(c.in_mm.usable_width)} of it between the selvages.`) : null,
          testForm(c, "wash"), testForm(c, "ruler"),
          h("details", { "data-key": `cloth-more-${c.index}` }, h("summary", { "data-key": `cloth-more-${c.index}-s` }, "More about this cloth"), h("div", { class: "fields" }, ...rest.map((f) => clothField(c, f)))),
          findingList(app, c.findings.filter((f) => f.kind !== "note")),
          c.findings.some((f) => f.kind === "note")
            ? h("details", { "data-key": `cloth-notes-${c.index}` }, h("summary", { "data-key": `cloth-notes-${c.index}-s` }, "Notes"), findingList(app, c.findings.filter((f) => f.kind === "note")))
            : null,
          h("div", { class: "row" }, button("Take this cloth out", () => app.send("cloth.remove", { index: c.index }, { spot: `cloth-out-${c.index}`, done: `${c.name} taken out.` }), { kind: "mini", key: `cloth-out-${c.index}` })),
          wrongAt(app, `cloth-out-${c.index}`))),
      h("section", { class: "card", "aria-label": "A further cloth" },
        heading(2, now.cloths.length ? "A further cloth" : "Which cloth?"),
        h("div", { class: "fields" },
          field(app, { key: "new-cloth-name", label: "called", value: fresh.cloth.name, placeholder: "main", change: (v) => void (fresh.cloth.name = v) }),
          field(app, { key: "new-cloth-width", label: "width, selvage to selvage", term: "width", value: fresh.cloth.width, placeholder: example("150 cm", "60 in"), change: (v) => void (fresh.cloth.width = v) })),
        wrongAt(app, "new-cloth"),
        button("Add the cloth", async () => {
          const reply = await app.send("cloth.add", { name: fresh.cloth.name || "main", width: fresh.cloth.width }, { spot: "new-cloth", done: "Cloth added." });
          if (reply.ok) fresh.cloth = { name: "", width: "" };
        }, { key: "add-cloth", kind: now.cloths.length ? undefined : "main" })),
    );
  }

  /** What is seldom said of a garment. @param {import("../documents.js").Garment} g */
  function moreOf(g) {
    const most = g.count === "most";
    const said = [most && g.ratio !== null ? `${g.ratio} to the others` : "", g.value === 1 ? "" : `worth ${trim(g.value, 2)}`, g.same_cloth ? "one cloth" : ""].filter(Boolean);
    /** @param {"ratio" | "value"} key @param {string} label @param {string | number | null} value @param {string} hint */
    const cell = (key, label, value, hint) => field(app, {
      key: `garment-${g.index}-${key}`, label, value, width: "short", placeholder: hint,
      change: (v) => void app.send("garment.set", { index: g.index, key, value: v || null }, { spot: `garment-${g.index}-${key}`, typed: v, done: `${g.name}: ${label} ${v || "not said"}.` }),
    });
    return h("details", { "data-key": `garment-${g.index}-m` }, h("summary", { "data-key": `garment-${g.index}-ms` }, said.join(", ") || "–"),
      most || g.ratio !== null ? cell("ratio", "so many to so many of the others", g.ratio, "1") : null,
      cell("value", "worth, against the others", g.value === 1 ? "" : g.value, "1"),
      field(app, {
        key: `garment-${g.index}-same_cloth`, label: "all of it from one piece of cloth", kind: "flag", value: g.same_cloth,
        change: (v) => void app.send("garment.set", { index: g.index, key: "same_cloth", value: v === "true" ? true : null }, { spot: `garment-${g.index}-same_cloth`, done: `${g.name}: ${v === "true" ? "all from one piece of cloth" : "from any pieces of cloth"}.` }),
      }));
  }

  function drawGarments() {
    const now = doc();
    if (!now) return;
    const state = app.store.docs.state;
    const pieceNames = [...new Set((app.store.docs.pieces?.pieces ?? []).map((p) => p.name))];
    const people = now.wearers.map((w) => w.name);
    const cloths = now.cloths.map((c) => c.name);
    /** the cloths that pieces are cut from, where a garment says nothing else */
    const used = [...new Set((app.store.docs.pieces?.pieces ?? []).map((p) => String(p.settings.cloth?.value ?? cloths[0] ?? "")))].filter((c) => c);
    redraw(
      garmentCard,
      heading(2, "What to cut", "garment"),
      h("datalist", { id: "counts" }, h("option", { value: "most" }, "as many as the cloth there is holds")),
      now.garments.length
        ? h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Garments", "data-scroll": "garments" }, h("table", {},
            h("thead", {}, h("tr", {}, ...["garment", "size", "how many", "for", "pieces", ...(cloths.length > 1 ? ["cloth"] : []), "more", ""].map((t) => h("th", { scope: "col" }, t || h("span", { class: "unseen" }, "take out"))))),
            h("tbody", {}, ...now.garments.map((g) => {
              /** @param {string} key @param {string} label @param {string | number | null} value @param {Partial<import("../draw/kit.js").FieldSpec>} [more] */
              const cell = (key, label, value, more = {}) => h("td", {}, field(app, {
                key: `garment-${g.index}-${key}`, label: `${label} of ${g.name} ${g.size ?? ""}`, quiet: true, value,
                change: (v) => void app.send("garment.set", { index: g.index, key, value: v === "" ? null : key === "count" && /^\d+$/.test(v) ? Number(v) : v }, { spot: `garment-${g.index}-${key}`, typed: v, done: `${g.name}: ${label} ${v}.` }), ...more,
              }));
              return h("tr", {},
                cell("name", "name", g.name), cell("size", "size", g.size, { width: "short" }), cell("count", "count", g.count, { width: "short", list: "counts" }),
                people.length ? cell("wearer", "wearer", g.wearer ?? "", { kind: "choice", choices: [{ value: "", label: "–" }, ...people.map((v) => ({ value: v, label: v }))] }) : h("td", { class: "note" }, "–"),
                h("td", {}, h("details", { "data-key": `garment-${g.index}-p` }, h("summary", { "data-key": `garment-${g.index}-ps` }, g.pieces ? g.pieces.join(", ") : "all of its size"),
                  ...pieceNames.map((name) => field(app, {
                    key: `garment-${g.index}-piece-${name}`, label: name, kind: "flag", value: !g.pieces || g.pieces.includes(name),
                    change: (v) => {
                      const list = pieceNames.filter((p) => (p === name ? v === "true" : !g.pieces || g.pieces.includes(p)));
                      void app.send("garment.set", { index: g.index, key: "pieces", value: list.length === pieceNames.length ? null : list }, { spot: `garment-${g.index}-pieces`, done: `${g.name}: ${list.join(", ")}.` });
                    },
                  })), wrongAt(app, `garment-${g.index}-pieces`))),
                cloths.length > 1 ? h("td", {}, h("details", { "data-key": `garment-${g.index}-c` }, h("summary", { "data-key": `garment-${g.index}-cs` }, Object.entries(g.cloth).map(([from, to]) => `${to} for ${from}`).join(", ") || "as the pieces say"),
                  ...used.map((base) => field(app, {
                    key: `garment-${g.index}-cloth-${base}`, label: `instead of ${base}`, kind: "choice", value: g.cloth[base] ?? base, choices: cloths.map((v) => ({ value: v, label: v })),
                    change: (v) => {
                      const rest = Object.fromEntries(Object.entries({ ...g.cloth, [base]: v }).filter(([from, to]) => from !== to));
                      void app.send("garment.set", { index: g.index, key: "cloth", value: Object.keys(rest).length ? rest : null }, { spot: `garment-${g.index}-cloth`, done: `${g.name}: ${v} for ${base}.` });
                    },
                  })), wrongAt(app, `garment-${g.index}-cloth`))) : null,
                h("td", {}, moreOf(g)),
                h("td", {}, button("Take out", () => app.send("garment.remove", { index: g.index }, { done: `${g.name} taken out.` }), { kind: "mini", key: `garment-out-${g.index}`, label: `Take out: ${g.name} ${g.size ?? ""}` })));
            }))))
        : h("p", { class: "note" }, "Nothing is asked for yet. Say what to sew and how many."),
      h("div", { class: "row" },
        field(app, { key: "new-garment-name", label: "garment", value: fresh.garment.name, placeholder: "shorts", change: (v) => void (fresh.garment.name = v) }),
        field(app, { key: "new-garment-size", label: "size", value: fresh.garment.size, width: "short", placeholder: (state?.sizes ?? [])[0] ?? "", change: (v) => void (fresh.garment.size = v) }),
        field(app, { key: "new-garment-count", label: "how many, or most", width: "short", list: "counts", value: fresh.garment.count, change: (v) => void (fresh.garment.count = v) }),
        button("Add it", async () => {
          const typed = fresh.garment.count.trim();
          const count = Number(typed);
          const reply = await app.send("garment.add", { name: fresh.garment.name || "garment", size: fresh.garment.size || null, count: Number.isInteger(count) && count > 0 ? count : typed || 1 }, { spot: "new-garment", done: "Added." });
          if (reply.ok) fresh.garment = { name: "", size: "", count: "1" };
        }, { key: "add-garment", kind: now.garments.length ? undefined : "main" })),
      wrongAt(app, "new-garment"),
    );
  }

  function drawRemnants() {
    const now = doc();
    if (!now) return;
    const cloths = now.cloths.map((c) => c.name);
    /** @param {Remnant} r */
    const row = (r) => h("li", {}, scrap(r.outline, r.flaws),
      h("span", { class: "grow" }, h("strong", {}, r.name), ` · ${r.cloth} · ${asLength(r.length)} × ${asLength(r.width)}`, r.source === "stash" ? h("span", { class: "tag" }, "at home") : null),
      r.source === "stash"
        ? [r.rectangular ? button("Use it", () => app.send("remnant.add", { name: r.name, cloth: r.cloth, from_stash: true }, { spot: "new-remnant", done: `${r.name} is laid on first.` }), { kind: "mini", key: `use-${r.name}`, label: `Use it: ${r.name}` }) : h("span", { class: "note" }, "Counts under Buy & use up, as it is drawn."),
            button("It is gone", () => app.send("stash.remove", { name: r.name }, { spot: "new-remnant", done: `${r.name} taken out of the stash.` }), { kind: "mini", key: `gone-${r.name}`, label: `It is gone: ${r.name}` })]
        : button("Take out", () => app.send("remnant.remove", { index: r.index }, { spot: "new-remnant", done: `${r.name} taken out.` }), { kind: "mini", key: `remnant-out-${r.index}`, label: `Take out: ${r.name}` }));
    redraw(
      remnantCard,
      heading(2, "Leftovers to lay on", "remnant"),
      h("ul", { class: "list" }, ...now.remnants.map(row)),
      now.remnants.length ? h("p", { class: "note" }, "Under Buy & use up it is worked out what goes on them. A lay by itself is on cloth to be bought.") : null,
      h("div", { class: "row" }, h("p", { class: "note" }, "Drop a drawing or a photograph of a leftover here, "), button("choose one", () => chosen.click(), { key: "remnant-choose", kind: "mini", label: "choose one: the drawing or photograph of a leftover" }), h("p", { class: "note" }, " or give its measures."), chosen),
      wrongAt(app, "remnant-files"),
      ...shot.nodes(cloths),
      h("div", { class: "fields" },
        field(app, { key: "new-remnant-name", label: "called", value: fresh.remnant.name, placeholder: "end of the jersey", change: (v) => void (fresh.remnant.name = v) }),
        field(app, { key: "new-remnant-cloth", label: "cloth", kind: "choice", choices: cloths, value: fresh.remnant.cloth || cloths[0], change: (v) => void (fresh.remnant.cloth = v) }),
        field(app, { key: "new-remnant-length", label: "along the grain", term: "grain", value: fresh.remnant.length, placeholder: example("45 cm", "18 in"), change: (v) => void (fresh.remnant.length = v) }),
        field(app, { key: "new-remnant-width", label: "across", value: fresh.remnant.width, placeholder: example("60 cm", "24 in"), change: (v) => void (fresh.remnant.width = v) })),
      wrongAt(app, "new-remnant"),
      button("Add the leftover", async () => {
        const reply = await app.send("remnant.add", { name: fresh.remnant.name, cloth: fresh.remnant.cloth || cloths[0] || "", width: fresh.remnant.width || null, length: fresh.remnant.length || null }, { spot: "new-remnant", done: "Leftover added." });
        if (reply.ok) fresh.remnant = { name: "", cloth: "", width: "", length: "" };
      }, { key: "add-remnant" }),
    );
  }

  function drawWearers() {
    const now = doc();
    if (!now) return;
    redraw(
      wearerCard,
      heading(2, "People", "wearer"),
      ...now.wearers.map((w) => h("details", { "data-key": `wearer-${w.index}`, open: !Object.keys(w.measures).length || undefined },
        h("summary", { "data-key": `wearer-${w.index}-s` }, w.name, h("span", { class: "note" }, ` · ${counted(Object.keys(w.measures).length, "measure")}`)),
        h("div", { class: "fields" },
          field(app, { key: `wearer-${w.index}-name`, label: "name", value: w.name, change: (v) => void app.send("wearer.set", { index: w.index, key: "name", value: v }, { spot: `wearer-${w.index}-name`, typed: v, done: "Renamed." }) }),
          ...[...new Set([...now.measures, ...Object.keys(w.measures)])].map((m) => field(app, {
            key: `wearer-${w.index}-${m}`, label: m.replaceAll("_", " "), value: w.measures[m] ?? "", given: m in w.measures, placeholder: example("cm", "in"),
            change: (v) => void app.send("wearer.set", { index: w.index, key: `measures.${m}`, value: v || null }, { spot: `wearer-${w.index}-${m}`, typed: v, done: `${w.name}: ${m} ${v}.` }),
          }))),
        button("Take out", () => app.send("wearer.remove", { index: w.index }, { spot: `wearer-out-${w.index}`, done: `${w.name} taken out.` }), { kind: "mini", key: `wearer-out-${w.index}`, label: `Take out: ${w.name}` }),
        wrongAt(app, `wearer-out-${w.index}`))),
      h("div", { class: "row" },
        field(app, { key: "new-wearer", label: "someone to sew for", value: fresh.wearer, placeholder: "name", change: (v) => void (fresh.wearer = v) }),
        button("Add", async () => {
          const reply = await app.send("wearer.add", { name: fresh.wearer }, { spot: "new-wearer", done: "Added." });
          if (reply.ok) fresh.wearer = "";
        }, { key: "add-wearer" })),
      wrongAt(app, "new-wearer"),
    );
  }

  /** What holds for the whole order. */
  function drawOrder() {
    const now = doc();
    if (!now) return;
    /** @param {string} key @param {string} label @param {Partial<import("../draw/kit.js").FieldSpec>} more */
    const cell = (key, label, more) => field(app, {
      key: `order-${key}`, label, value: now.top[key] ?? "",
      change: (v) => void app.send("order.set", { key, value: v || null }, { spot: `order-${key}`, typed: v, done: `${label}: ${v || "as usual"}.` }), ...more,
    });
    redraw(
      orderCard,
      heading(2, "This order"),
      h("div", { class: "fields" },
        cell("title", "called", { value: app.store.docs.state?.title ?? "" }),
        cell("units", "numbers without a unit are in", { term: "units", kind: "choice", value: now.top.units || "cm", choices: ["mm", "cm", "m", "in", "yd"], note: "It holds for every number that stands in the order without a unit." }),
        cell("fibre_stretch", "stretch fibre that stretching pieces need, at least", { value: shown(Number(now.top.fibre_stretch) || now.top.fibre_stretch, "share") })),
    );
  }

  function draw() {
    if (!doc()) return redraw(clothCards, h("p", {}, "Reading the order …"));
    drawCloths();
    drawGarments();
    drawRemnants();
    drawWearers();
    round.draw();
    drawOrder();
    if (app.lit?.field || app.lit?.cloth) {
      const index = doc()?.cloths.find((c) => c.name === app.lit?.cloth)?.index ?? 0;
      const e = root.querySelector(`[data-key="cloth-${index}-${app.lit.field ?? "name"}"]`);
      if (e instanceof HTMLElement) {
        e.closest("details")?.setAttribute("open", "");
        e.focus();
        app.lit = null;
      }
    }
  }

  return { draw, leave: () => drop.disable() };
}

/** @param {string} name */
function labelOf(name) {
  /** @type {Record<string, string>} */
  const own = {
    width: "width, selvage to selvage", selvage: "lost at each selvage", gap: "gap between cuts", price: "price per metre", nap: "nap or one-way print", plies: "plies on one another", max_plies: "plies at most", table_length: "longest lay on the table", stretch_tolerance: "stretches alike within", may_turn_plies: "every second ply may be cut off and turned",
    pairs: "left and right", patch_margin: "margin round a patch", surplus: "stacked plies may give more than asked", stretch_across: "stretches across by", stretch_along: "stretches along by",
    shrink_along: "shrinks along by", shrink_across: "shrinks across by", length: "all there is", increment: "sold by", repeat_along: "stripe repeat along", repeat_across: "stripe repeat across",
    spreads: "spreads to try (none: all that are sound)", right_side: "has a right side", tubular: "a tube", fibre_stretch: "share of stretch fibre",
  };
  return own[name] ?? name.replaceAll("_", " ");
}

/** @param {any} value @param {string} kind @returns {string | null} */
function shown(value, kind) {
  if (value === null || value === undefined) return null;
  if (kind === "share" && typeof value === "number") return `${trim(value * 100, 2)} %`;
  return String(value);
}

/** @param {string} v @returns {number | string} */
function number(v) {
  const n = Number(v.replace(",", "."));
  return Number.isFinite(n) ? n : v;
}

/** A scrap of the cloth: nap, stripes, stretch both ways. @param {Cloth} c */
function swatch(c) {
  const nap = c.fields.nap?.value;
  const lines = [];
  if (nap && nap !== "none") for (let x = 12; x < 90; x += 16) lines.push(`M${x} 34v-14m-3 4l3-4 3 4`);
  if (c.fields.repeat_along?.given) for (let x = 10; x < 96; x += 14) lines.push(`M${x} 2v40`);
  if (c.fields.repeat_across?.given) for (let y = 8; y < 44; y += 10) lines.push(`M2 ${y}h96`);
  return s("svg", { viewBox: "0 0 100 44", width: 100, height: 44, class: "scrap", "aria-hidden": "true" }, s("path", { d: "M2 2h96v40h-96z" }), s("path", { d: lines.join(""), "stroke-width": 1 }));
}

/** @param {readonly [number, number][]} outline @param {readonly (readonly [number, number][])[]} [flaws] */
export function scrap(outline, flaws = []) {
  const box = boxOf(outline);
  if (box.left > box.right) return null;
  const m = Math.max(box.right - box.left, box.high - box.low) * 0.05;
  return s("svg", { class: "scrap", viewBox: `${box.left - m} ${-box.high - m} ${box.right - box.left + 2 * m} ${box.high - box.low + 2 * m}`, "aria-hidden": "true" },
    s("path", { d: pathOf(outline, true), "vector-effect": "non-scaling-stroke" }), ...flaws.map((f) => s("path", { class: "flaw", d: pathOf(f, true), "vector-effect": "non-scaling-stroke" })));
}
