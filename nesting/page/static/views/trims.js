/**
 * What goes round an opening: elastic, bindings and lace, bands without a drawing, and whether the opening goes on.
 */

import { h, redraw } from "../draw/dom.js";
import { button, field, findingList, heading, wrongAt } from "../draw/kit.js";
import { example } from "../draw/words.js";

/**
 * @typedef {import("../documents.js").Trim} Trim @typedef {import("../documents.js").Band} Band
 * @typedef {import("../documents.js").Opening} Opening @typedef {import("../app.js").App} App
 */

/** Examples of lengths for those who measure in inches. @type {Record<string, string>} */
const IN_INCHES = { "1 cm": "3/8 in", "10 cm": "1/8 yd", "8 cm": "3 in", "4 cm": "1 1/2 in", "62 cm": "24 in", "52 cm": "20 in" };
/** @param {string} hint */
const inOrder = (hint) => example(hint, IN_INCHES[hint] ?? hint);

/** What else a trim may say, and how its field is called. @type {[string, string, string][]} */
const OF_TRIM = [
  ["ratio", "length to the edge, ratio", "0.9"], ["measure", "or cut to this measure", "waist"], ["factor", "times", "0.9"], ["stretch", "it stretches by", "100 %"],
  ["join", "added for each join", "1 cm"], ["sits", "the opening sits on", "waist"], ["passes", "and must pass", "hip"],
  ["openings", "openings of one garment", "as the pieces say"], ["increment", "sold by", "10 cm"], ["price", "price per metre", "0.60"],
];
/** @type {[string, string, string][]} */
const OF_OPENING = [["stretch", "its edge gives", "as the cloth"], ["least", "at rest, at least", "70 %"], ["most", "at rest, at most", "100 %"], ["openings", "openings of one garment", "as the pieces say"]];
/** @type {[string, string, string][]} */
const OF_BAND = [["height", "cut so high", "8 cm"], ["ratio", "length to the opening, ratio", "0.85"], ["join", "for the join at each end", "1 cm"]];

/** Whether an opening was judged, and what it still takes. @param {Opening} o */
function judged(o) {
  if (o.findings.some((f) => f.kind !== "note")) return "look at this";
  const missing = [
    o.lines.some((l) => !l.sits && !l.passes) ? "for whom the garments are, with that measure" : "",
    o.lines.some((l) => l.stretched === "not known") ? "how far the cloth stretches" : "",
  ].filter(Boolean);
  return !o.lines.length ? "not judged: no garment has these edges" : missing.length ? `not judged: say ${missing.join(", and ")}` : "nothing speaks against it";
}

/** Cards that are drawn with the cloth. @param {App} app */
export function trims(app) {
  const trimCard = h("section", { class: "card wide", "aria-label": "Elastic, bindings, lace" });
  const bandCard = h("section", { class: "card wide", "aria-label": "Bands and strips" });
  const openingCard = h("section", { class: "card wide", "aria-label": "Openings" });
  const fresh = {
    trim: { name: "", kind: "elastic", edges: /** @type {string[]} */ ([]) },
    band: { name: "", edges: /** @type {string[]} */ ([]), height: "", ratio: "", join: "", along: "", across: "" },
    opening: { name: "", edges: /** @type {string[]} */ ([]), sits: "", passes: "" },
  };
  const doc = () => app.store.docs.cloth;

  /** Edges chosen one after the other. @param {string} key @param {string} label @param {{edges: string[]}} plan @param {() => void} again */
  function edgesField(key, label, plan, again) {
    const left = (doc()?.edges ?? []).filter((v) => !plan.edges.includes(v));
    return [
      field(app, { key: `${key}-edge`, label: plan.edges.length ? `${label}: ${plan.edges.join(" + ")}, and` : label, kind: "choice", value: "", choices: [{ value: "", label: "choose …" }, ...left.map((v) => ({ value: v, label: v }))], change: (v) => { if (v) plan.edges = [...plan.edges, v]; again(); } }),
      plan.edges.length ? button("Other edges", () => { plan.edges = []; again(); }, { kind: "mini", key: `${key}-clear` }) : null,
    ];
  }

  /**
   * The keys of a block as fields. @param {string} what "trim" @param {{index: number, name: string, values: Record<string, string>}} one
   * @param {readonly [string, string, string][]} keys
   */
  function cells(what, one, keys) {
    return keys.map(([key, label, hint]) => field(app, {
      key: `${what}-${one.index}-${key}`, label: label === "price per metre" ? example(label, "price per yard") : label, value: one.values[key] ?? "", given: key in one.values, placeholder: inOrder(hint),
      change: (v) => void app.send(`${what}.set`, { index: one.index, key, value: v || null }, { spot: `${what}-${one.index}-${key}`, typed: v, done: `${one.name}: ${label} ${v || "as usual"}.` }),
    }));
  }

  /** The edges that it has, one to be added, each to be taken away. @param {string} what @param {{index: number, name: string}} one @param {readonly string[]} edges @param {string} key */
  function edgesOf(what, one, edges, key) {
    const spot = `${what}-${one.index}-${key}`;
    /** @param {string[]} next */
    const set = (next) => void app.send(`${what}.set`, { index: one.index, key, value: next }, { spot, done: `${one.name}: ${next.join(", ")}.` });
    return h("div", { class: "row" },
      ...edges.map((e) => h("span", { class: "tag" }, e, edges.length > 1 ? button("×", () => set(edges.filter((x) => x !== e)), { kind: "mini", key: `${spot}-out-${e}`, label: `Take ${e} out of ${one.name}` }) : null)),
      field(app, { key: spot, label: "and", kind: "choice", value: "", choices: [{ value: "", label: "choose …" }, ...(doc()?.edges ?? []).filter((v) => !edges.includes(v)).map((v) => ({ value: v, label: v }))], change: (v) => { if (v) set([...edges, v]); } }));
  }

  function drawTrims() {
    const now = doc();
    if (!now) return;
    const plan = fresh.trim;
    redraw(
      trimCard,
      heading(2, "Elastic, bindings, lace"),
      h("p", { class: "note" }, "How much of each is told under Buy & use up, and how long to cut it stands on the labels."),
      ...now.trims.map((t) => h("details", { "data-key": `trim-${t.index}` },
        h("summary", { "data-key": `trim-${t.index}-s` }, t.name, h("span", { class: "note" }, ` · ${t.kind}, ${t.edges.join(" + ")}`)),
        edgesOf("trim", t, t.edges, "edges"),
        h("div", { class: "fields" },
          field(app, { key: `trim-${t.index}-name`, label: "called", value: t.name, change: (v) => void app.send("trim.set", { index: t.index, key: "name", value: v }, { spot: `trim-${t.index}-name`, typed: v, done: "Renamed." }) }),
          field(app, { key: `trim-${t.index}-kind`, label: "what it is", kind: "choice", value: t.kind, choices: now.kinds, change: (v) => void app.send("trim.set", { index: t.index, key: "kind", value: v }, { spot: `trim-${t.index}-kind`, done: `${t.name}: ${v}.` }) }),
          ...cells("trim", t, OF_TRIM)),
        t.edges.length > 1 ? h("details", { "data-key": `trim-${t.index}-each` }, h("summary", { "data-key": `trim-${t.index}-each-s` }, "Another ratio at single edges"),
          h("div", { class: "fields" }, ...t.edges.map((e) => field(app, {
            key: `trim-${t.index}-ratio-${e}`, label: e, value: t.ratios[e] ?? "", placeholder: t.values.ratio ?? "1",
            change: (v) => void app.send("trim.set", { index: t.index, key: `ratios.${e}`, value: v || null }, { spot: `trim-${t.index}-ratio-${e}`, typed: v, done: `${t.name}, ${e}: ${v || "as the others"}.` }),
          })))) : null,
        wrongAt(app, `trim-${t.index}`),
        button("Take out", () => app.send("trim.remove", { index: t.index }, { done: `${t.name} taken out.` }), { kind: "mini", key: `trim-out-${t.index}`, label: `Take out: ${t.name}` }))),
      h("div", { class: "row" },
        field(app, { key: "new-trim-name", label: "called", value: plan.name, placeholder: "leg elastic 8 mm", change: (v) => void (plan.name = v) }),
        field(app, { key: "new-trim-kind", label: "what it is", kind: "choice", value: plan.kind, choices: now.kinds, change: (v) => void (plan.kind = v) }),
        ...edgesField("new-trim", "sewn to", plan, drawTrims),
        button("Add it", async () => {
          const reply = await app.send("trim.add", { name: plan.name, kind: plan.kind, edges: plan.edges }, { spot: "new-trim", done: `${plan.name} added.` });
          if (reply.ok) {
            fresh.trim = { name: "", kind: plan.kind, edges: [] };
            drawTrims();
          }
        }, { key: "add-trim" })),
      wrongAt(app, "new-trim"),
    );
  }

  function drawBands() {
    const now = doc();
    if (!now) return;
    const plan = fresh.band;
    redraw(
      bandCard,
      heading(2, "Bands and strips without a drawing"),
      h("p", { class: "note" }, "A band or rib that goes round an opening is as long as that asks for; a strip has the measures that you give. They are cut with the other pieces of the garment."),
      ...now.bands.map((b) => h("details", { "data-key": `band-${b.index}` },
        h("summary", { "data-key": `band-${b.index}-s` }, b.name, h("span", { class: "note" }, b.round ? ` · round ${b.round.join(" + ")}` : ` · ${(b.rectangle ?? []).join(" × ")}`)),
        b.round ? edgesOf("band", b, b.round, "round") : null,
        h("div", { class: "fields" }, ...(b.round ? cells("band", b, OF_BAND) : strip(b))),
        b.words.length ? h("ul", { class: "findings" }, ...b.words.map((w) => h("li", {}, w))) : null,
        wrongAt(app, `band-${b.index}`),
        button("Take out", () => app.send("band.remove", { index: b.index }, { spot: `band-${b.index}`, done: `${b.name} taken out.` }), { kind: "mini", key: `band-out-${b.index}`, label: `Take out: ${b.name}` }))),
      h("div", { class: "row" },
        field(app, { key: "new-band-name", label: "called", value: plan.name, placeholder: "leg band", change: (v) => void (plan.name = v) }),
        ...edgesField("new-band", "goes round", plan, drawBands),
        ...(plan.edges.length
          ? OF_BAND.map(([key, label, hint]) => field(app, { key: `new-band-${key}`, label, value: /** @type {any} */ (plan)[key], placeholder: inOrder(hint), width: "short", change: (v) => void (/** @type {any} */ (plan)[key] = v) }))
          : [["along", "or a strip: along the grain", "4 cm"], ["across", "across", "62 cm"]].map(([key, label, hint]) => field(app, { key: `new-band-${key}`, label, value: /** @type {any} */ (plan)[key], placeholder: inOrder(hint), width: "short", change: (v) => void (/** @type {any} */ (plan)[key] = v) }))),
        button("Add it", async () => {
          const measures = plan.edges.length ? { round: plan.edges, height: plan.height || null, ratio: plan.ratio || null, join: plan.join || null } : { rectangle: [plan.along, plan.across] };
          const reply = await app.send("band.add", { name: plan.name, ...measures }, { spot: "new-band", done: `${plan.name} added.` });
          if (reply.ok) {
            fresh.band = { name: "", edges: [], height: "", ratio: "", join: "", along: "", across: "" };
            drawBands();
          }
        }, { key: "add-band" })),
      wrongAt(app, "new-band"),
    );
  }

  /** The two measures of a strip. @param {Band} b */
  function strip(b) {
    const now = b.rectangle ?? ["", ""];
    return ["along the grain", "across"].map((label, i) => field(app, {
      key: `band-${b.index}-rectangle-${i}`, label, value: now[i] ?? "",
      change: (v) => void app.send("band.set", { index: b.index, key: "rectangle", value: now.map((x, k) => (k === i ? v : x)) }, { spot: `band-${b.index}-rectangle-${i}`, typed: v, done: `${b.name}: ${label} ${v}.` }),
    }));
  }

  function drawOpenings() {
    const now = doc();
    if (!now) return;
    const measured = [...new Set(now.wearers.flatMap((w) => Object.keys(w.measures)))];
    const hint = measured.length ? `a length, or ${measured.slice(0, 3).join(", ")}` : "52 cm";
    const plan = fresh.opening;
    redraw(
      openingCard,
      heading(2, "Openings: will it go on?", "opening"),
      h("p", { class: "note" }, "Waist, leg, neck: each must stretch over the widest part that it passes, and sit where it ends."),
      ...now.openings.map((o) => {
        /** @param {"name" | "sits" | "passes"} key @param {string} label @param {string | null} value */
        const cell = (key, label, value) => field(app, {
          key: `opening-${o.index}-${key}`, label, value, placeholder: key === "name" ? "" : inOrder(hint),
          change: (v) => void app.send("opening.set", { index: o.index, key, value: v || null }, { spot: `opening-${o.index}-${key}`, typed: v, done: `${o.name}: ${label} ${v || "not said"}.` }),
        });
        return h("details", { "data-key": `opening-${o.index}`, open: o.findings.some((f) => f.kind !== "note") || undefined },
          h("summary", { "data-key": `opening-${o.index}-s` }, o.name, h("span", { class: "note" }, ` · ${o.edges.join(" + ")} · ${judged(o)}`)),
          edgesOf("opening", o, o.edges, "edges"),
          h("div", { class: "fields" }, cell("name", "called", o.name), cell("sits", "sits on", o.sits), cell("passes", "must pass", o.passes), ...cells("opening", o, OF_OPENING)),
          o.lines.length ? h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": `Opening ${o.name}` }, h("table", {},
            h("thead", {}, h("tr", {}, ...["garment", "edge", "at rest", "stretched", "sits on", "passes", "at rest to what it sits on"].map((t) => h("th", { scope: "col" }, t)))),
            h("tbody", {}, ...o.lines.map((l) => h("tr", {}, h("th", { scope: "row" }, l.garment), ...["edge", "rest", "stretched", "sits", "passes", "ratio"].map((k) => h("td", {}, l[k] ?? ""))))))) : null,
          findingList(app, o.findings),
          button("Take out", () => app.send("opening.remove", { index: o.index }, { done: `${o.name} taken out.` }), { kind: "mini", key: `opening-out-${o.index}`, label: `Take out: ${o.name}` }));
      }),
      h("div", { class: "row" },
        field(app, { key: "new-opening-name", label: "opening", value: plan.name, placeholder: "leg", change: (v) => void (plan.name = v) }),
        ...edgesField("new-opening", "edges that go round it", plan, drawOpenings),
        field(app, { key: "new-opening-sits", label: "sits on", value: plan.sits, placeholder: inOrder(hint), change: (v) => void (plan.sits = v) }),
        field(app, { key: "new-opening-passes", label: "must pass", value: plan.passes, placeholder: inOrder(hint), change: (v) => void (plan.passes = v) }),
        button("Add it", async () => {
          const reply = await app.send("opening.add", { name: plan.name, edges: plan.edges, sits: plan.sits || null, passes: plan.passes || null }, { spot: "new-opening", done: "Opening added." });
          if (reply.ok) {
            fresh.opening = { name: "", edges: [], sits: "", passes: "" };
            drawOpenings();
          }
        }, { key: "add-opening" })),
      wrongAt(app, "new-opening"),
    );
  }

  return {
    cards: [trimCard, bandCard, openingCard],
    draw() {
      drawTrims();
      drawBands();
      drawOpenings();
    },
  };
}
