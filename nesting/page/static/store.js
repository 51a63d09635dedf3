/**
 * What is shown, in one place. The server owns it; here it is only kept, fetched when the server says that it changed, and
 * told to whoever draws it.
 *
 * @typedef {"state" | "pieces" | "seams" | "alterations" | "cloth" | "lay" | "buy" | "remnants" | "batch" | "cut"} DocName
 * @typedef {{state: import("./documents.js").State, pieces: import("./documents.js").Pieces, seams: import("./documents.js").Seams, alterations: import("./documents.js").Alterations, cloth: import("./documents.js").Cloths, lay: import("./documents.js").Lay, buy: import("./documents.js").Buy, remnants: import("./documents.js").Answer, batch: import("./documents.js").Answer, cut: import("./documents.js").Cut}} Docs
 */

import { tellIn } from "./draw/words.js";
import { Link } from "./link.js";

/** Documents that belong to one cloth are asked for with its name. */
const BY_CLOTH = new Set(["lay", "cut"]);

export class Store {
  constructor() {
    /** @type {Partial<Docs>} */
    this.docs = {};
    /** @type {Set<DocName>} documents that are out of date here */
    this.old = new Set();
    /** @type {Set<DocName>} documents that the view in front shows */
    this.wanted = new Set(["state"]);
    /** @type {string | null} the cloth whose lay is shown */
    this.cloth = null;
    this.online = false;
    /** the last run that has ended */
    this.ended = 0;
    /** @type {Map<string, Set<(detail: any) => void>>} */
    this.listeners = new Map();
    /** @type {Map<DocName, Promise<void>>} */
    this.fetching = new Map();
    this.link = new Link(
      (event) => this.hear(event),
      (open) => {
        this.online = open;
        this.tell("online", open);
      },
    );
  }

  /**
   * @param {string} what a document's name, or an event's ("progress", "better", "judged", "moved", "online", …)
   * @param {(detail: any) => void} listener @returns {() => void} stops listening
   */
  on(what, listener) {
    const set = this.listeners.get(what) ?? new Set();
    this.listeners.set(what, set);
    set.add(listener);
    return () => set.delete(listener);
  }

  /** @param {string} what @param {any} detail */
  tell(what, detail) {
    for (const listener of [...(this.listeners.get(what) ?? [])]) listener(detail);
  }

  /** @param {readonly DocName[]} names what the view in front shows */
  want(names) {
    this.wanted = new Set(["state", ...names]);
    for (const name of this.wanted) if (!this.docs[name] || this.old.has(name)) void this.refresh(name);
  }

  /** @param {string} cloth */
  showCloth(cloth) {
    if (this.cloth === cloth) return;
    this.cloth = cloth;
    for (const name of /** @type {DocName[]} */ (["lay", "cut"])) {
      this.old.add(name);
      if (this.wanted.has(name)) void this.refresh(name);
    }
  }

  /** @param {DocName} name @returns {Promise<void>} */
  refresh(name) {
    const running = this.fetching.get(name);
    if (running) {
      // changed while it was on its way: once more after that
      this.old.add(name);
      return running;
    }
    this.old.delete(name);
    const query = BY_CLOTH.has(name) && this.cloth ? `?cloth=${encodeURIComponent(this.cloth)}` : "";
    const work = (async () => {
      const doc = await this.link.fetch(`/api/${name}${query}`);
      this.fetching.delete(name);
      if (doc === null) {
        this.old.add(name);
        return;
      }
      this.put(name, doc);
      if (this.old.has(name) && this.wanted.has(name)) await this.refresh(name);
    })();
    this.fetching.set(name, work);
    return work;
  }

  /** @param {DocName} name @param {any} doc */
  put(name, doc) {
    this.docs[name] = doc;
    // every view tells lengths as the order does
    if (name === "state") tellIn(doc.units);
    if (name === "lay" && doc.cloth) this.cloth = doc.cloth;
    this.tell(name, doc);
  }

  /** @param {any} event */
  hear(event) {
    if (event.event === "hello") {
      // a server that was started anew counts its runs anew
      this.ended = 0;
      this.put("state", event.state);
      const names = /** @type {DocName[]} */ (Object.keys(this.docs));
      for (const name of names) {
        if (name === "state" || this.docs[name]?.rev === event.rev) continue;
        this.old.add(name);
        if (this.wanted.has(name)) void this.refresh(name);
      }
    } else if (event.event === "changed") {
      for (const name of /** @type {DocName[]} */ (event.docs)) {
        this.old.add(name);
        if (this.wanted.has(name)) void this.refresh(name);
      }
    } else if (event.event === "moved") this.moved(event);
    else if (event.event === "judged") {
      const lay = this.docs.lay;
      if (lay && lay.cloth === event.cloth && event.judged.of >= lay.move) lay.judged = event.judged;
      // what may be cut hangs on the proof: a sheet from before it is fetched anew
      const cut = this.docs.cut;
      const fault = event.judged.failures[0]?.code === "our-fault";
      if (!fault && ((cut && cut.cloth === event.cloth && !cut.judged) || this.fetching.has("cut"))) {
        this.old.add("cut");
        if (this.wanted.has("cut") && !this.fetching.has("cut")) void this.refresh("cut");
      }
      // a lay on its way may have been written before its proof: it is fetched once more
      if (this.fetching.has("lay")) this.old.add("lay");
    } else if (event.event === "better") {
      // one that comes after its run has ended is older than the lay that was fetched since
      if (event.run > this.ended && event.cloth === (this.cloth ?? event.cloth) && event.lay) this.docs.lay = event.lay;
    } else if (event.event === "progress" || event.event === "ended") {
      if (event.event === "progress" && event.run.id <= this.ended) return;
      if (this.docs.state) this.docs.state.run = event.run;
      if (event.event === "ended") {
        this.ended = Math.max(this.ended, event.run.id);
        this.old.add("lay");
        if (this.wanted.has("lay")) void this.refresh("lay");
      }
    } else if (event.event === "warm" && this.docs.state) {
      this.docs.state.warm = { ready: event.ready, doing: event.doing, share: event.share };
      this.tell("state", this.docs.state);
    } else if (event.event === "tabs" && this.docs.state) {
      this.docs.state.tabs = event.tabs;
      this.tell("state", this.docs.state);
    } else if (event.event === "disk" && this.docs.state) {
      void this.refresh("state");
    }
    this.tell(event.event, event);
  }

  /** @param {any} event pieces of a lay that lie elsewhere now */
  moved(event) {
    const lay = this.docs.lay;
    if (!lay || lay.cloth !== event.cloth) return;
    lay.move = event.move;
    if (event.pieces.some((/** @type {any} */ p) => "x" in p)) lay.command = "";
    this.unjudged(event.move);
    for (const piece of lay.sections.flatMap((part) => part.pieces)) {
      const now = event.pieces.find((/** @type {any} */ p) => p.id === piece.id);
      if (now) Object.assign(piece, now);
    }
  }

  /** Moved by hand, the lay is not proved any more, whatever stood there, until it has been judged. @param {number} move */
  unjudged(move) {
    const lay = this.docs.lay;
    if (lay?.judged && lay.judged.of < move) lay.judged = { ...lay.judged, of: move, ok: null, failures: [] };
  }
}
