/**
 * One way of interacting, one handler: each can be switched off, replaced and tested alone. Switching off in the middle of a
 * gesture ends it first.
 */
export class Handler {
  constructor() {
    this.enabled = false;
    /** @type {AbortController | null} */
    this.listening = null;
  }

  /** @returns {this} */
  enable() {
    if (this.enabled) return this;
    this.enabled = true;
    this.listening = new AbortController();
    this.begin(this.listening.signal);
    return this;
  }

  disable() {
    if (!this.enabled) return;
    this.enabled = false;
    this.cancel();
    this.listening?.abort();
    this.listening = null;
  }

  /** Put up the listeners. @param {AbortSignal} _signal takes them down again */
  begin(_signal) {}

  /** End a gesture under way, as if it had not begun. */
  cancel() {}
}

/** A press may wander this far before it is a drag, pixels: hands are not still. */
export const WANDER = 3;
