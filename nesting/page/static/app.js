/**
 * What all views share: the store, one voice for messages, commands whose refusals stand where they happened, undo.
 */

import { Store } from "./store.js";

/**
 * @typedef {import("./documents.js").Reply} Reply
 * @typedef {import("./documents.js").Problem} Problem
 * @typedef {import("./documents.js").Where} Where
 */

/** Commands that nobody means to give twice within `TWICE` ms. */
const ONCE = /\.(add|remove|start|print)$|^order\.new$/;
const TWICE = 1000;

export class App {
  constructor() {
    this.store = new Store();
    /** @type {Map<string, Problem>} refusals by the spot at which they stand */
    this.problems = new Map();
    /** @type {Map<string, string>} what was typed where it was refused: nobody types it twice */
    this.typed = new Map();
    /** @type {Where | null} what the view in front should light, from a reason or a finding that was clicked */
    this.lit = null;
    /** @type {(text: string, tone?: "plain" | "good" | "bad") => void} */
    this.say = () => {};
    /** @type {(view: string) => void} */
    this.go = () => {};
    /** how many clicks in a row the last one made, on one spot */
    this.clicks = 0;
    /** @type {{cmd: string, at: number, reply: Promise<Reply>}} the command that was sent last */
    this.last = { cmd: "", at: 0, reply: Promise.resolve({ ok: false, rev: 0 }) };
    /** @type {() => void} draws the view in front again */
    this.redraw = () => {};
  }

  /**
   * Send a command; a refusal stands at its spot until the next try there.
   * @param {string} cmd @param {Record<string, unknown>} [fields]
   * @param {{spot?: string, typed?: string, done?: string}} [how] spot: key of the field; typed: what stands in it; done: what to say
   * @returns {Promise<Reply>}
   */
  send(cmd, fields = {}, how = {}) {
    const now = performance.now();
    // the second click of a double click is no second wish: it would add twice, or take out what came next
    if (ONCE.test(cmd) && this.clicks > 1 && cmd === this.last.cmd && now - this.last.at < TWICE) return this.last.reply;
    const reply = this.sent(cmd, fields, how);
    this.last = { cmd, at: now, reply };
    return reply;
  }

  /** @param {string} cmd @param {Record<string, unknown>} fields @param {{spot?: string, typed?: string, done?: string}} how @returns {Promise<Reply>} */
  async sent(cmd, fields, how) {
    const reply = await this.store.link.send(cmd, fields);
    if (how.spot) {
      const stood = this.problems.delete(how.spot);
      this.typed.delete(how.spot);
      if (!reply.ok && reply.problem) {
        this.problems.set(how.spot, reply.problem);
        if (how.typed !== undefined) this.typed.set(how.spot, how.typed);
      }
      if (stood || !reply.ok) this.redraw();
    }
    if (!reply.ok) this.say(reply.problem?.message ?? "This was refused.", "bad");
    else if (how.done) this.say(how.done, "good");
    return reply;
  }

  /** @param {string[]} ids proposals and questions that are not asked again */
  decline(ids) {
    return this.send("proposals.decline", { ids }, { done: "Not asked again; one step back asks it again." });
  }

  async undo() {
    const step = this.store.docs.state?.undo;
    if (!step) return this.say("There is nothing to take back.");
    const reply = await this.send("undo");
    if (reply.ok) this.say(`Taken back: ${step.label}.`);
  }

  async redo() {
    const step = this.store.docs.state?.redo;
    if (!step) return this.say("There is nothing to do again.");
    const reply = await this.send("redo");
    if (reply.ok) this.say(`Done again: ${step.label}.`);
  }

  /** @param {Where} where go to the view of a reason and light what it is about */
  lead(where) {
    this.lit = where;
    if (where.cloth && (where.view === "lay" || where.view === "cut")) this.store.showCloth(where.cloth);
    if (where.view) this.go(where.view);
    this.redraw();
  }
}
