/**
 * The wire to the server: documents are fetched, commands go through one socket, each with the number of its reply.
 *
 * @typedef {import("./documents.js").Reply} Reply
 */

const PATIENCE = [500, 1000, 2000, 4000, 8000, 15000];

export class Link {
  /** @param {(event: any) => void} hear @param {(open: boolean) => void} opened */
  constructor(hear, opened) {
    this.hear = hear;
    this.opened = opened;
    this.tab = tabName();
    this.count = 0;
    /** @type {Map<number, (reply: Reply) => void>} */
    this.waiting = new Map();
    /** @type {WebSocket | null} */
    this.socket = null;
    /** @type {string[]} commands given while the wire was down */
    this.kept = [];
    this.tries = 0;
    /** the wire broke and is not back: nothing is asked for, as each try would be a line in the browser's console */
    this.gone = false;
    this.leaving = false;
    addEventListener("pagehide", () => {
      this.leaving = true;
      this.socket?.close();
    });
    addEventListener("pageshow", (e) => {
      if (e.persisted) {
        this.leaving = false;
        void this.again();
      }
    });
  }

  open() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const socket = new WebSocket(`${scheme}://${location.host}/api/socket?tab=${encodeURIComponent(this.tab)}`);
    this.socket = socket;
    socket.addEventListener("open", () => {
      this.tries = 0;
      this.gone = false;
      for (const text of this.kept.splice(0)) socket.send(text);
      this.opened(true);
    });
    socket.addEventListener("message", (m) => {
      const event = JSON.parse(String(m.data));
      if (event.event === "reply") {
        this.waiting.get(event.n)?.(event);
        this.waiting.delete(event.n);
      } else this.hear(event);
    });
    socket.addEventListener("close", () => {
      if (this.socket !== socket) return;
      this.socket = null;
      if (this.leaving) return;
      this.gone = true;
      this.opened(false);
      // what was under way when the wire broke was perhaps done, perhaps not: say so, do not send it twice
      for (const answer of this.waiting.values()) answer(lost());
      this.waiting.clear();
      this.later();
    });
  }

  later() {
    const wait = PATIENCE[Math.min(this.tries++, PATIENCE.length - 1)];
    setTimeout(() => void this.again(), wait);
  }

  /** Open the wire again as soon as there is somebody at its other end who knows this page. */
  async again() {
    if (this.leaving || this.socket) return;
    if ((await here()) === "yes") this.open();
    else this.later();
  }

  /**
   * @param {string} cmd @param {Record<string, unknown>} [fields] @returns {Promise<Reply>} never rejects
   */
  send(cmd, fields = {}) {
    const n = ++this.count;
    const text = JSON.stringify({ ...fields, cmd, n });
    return new Promise((resolve) => {
      if (this.socket?.readyState === WebSocket.OPEN) {
        this.waiting.set(n, resolve);
        this.socket.send(text);
      } else if (this.socket?.readyState === WebSocket.CONNECTING) {
        this.waiting.set(n, resolve);
        this.kept.push(text);
      } else resolve(lost());
    });
  }

  /** @param {string} path @returns {Promise<any | null>} null where the server does not answer */
  async fetch(path) {
    if (this.gone) return null;
    try {
      const answer = await fetch(path, { headers: { Accept: "application/json" } });
      return answer.ok ? await answer.json() : null;
    } catch {
      return null;
    }
  }

  /** @param {string} path @param {unknown} body @returns {Promise<Reply>} never rejects */
  async post(path, body) {
    if (this.gone) return lost();
    try {
      const answer = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
      return await answer.json();
    } catch {
      return lost();
    }
  }

  /**
   * @param {readonly File[]} files @param {string} kind
   * @returns {Promise<{ok: boolean, photos?: string[], scans?: string[], sizes?: Record<string, [number, number]>, files?: any[], findings?: any[], problem?: any}>}
   */
  async upload(files, kind) {
    if (this.gone) return { ok: false, problem: lost().problem };
    const form = new FormData();
    form.append("kind", kind);
    for (const file of files) form.append("files", file, file.name);
    try {
      const answer = await fetch("/api/upload", { method: "POST", body: form });
      return await answer.json();
    } catch {
      return { ok: false, problem: lost().problem };
    }
  }
}

/** @returns {Reply} */
function lost() {
  return {
    ok: false,
    rev: -1,
    problem: { code: "no-server", message: "The program does not answer, so this was not done. Try again when it is back.", where: {} },
  };
}

/** Whether the server answers, asked in a frame, of which the console says nothing: "yes", "no" where it does not know
 * this tab, "" where nobody answers. @returns {Promise<string>} */
function here() {
  return new Promise((resolve) => {
    const frame = document.createElement("iframe");
    frame.hidden = true;
    const end = () => {
      let said = "";
      try {
        // a page of the browser's own, that nobody answers, is none of ours and cannot be read
        said = frame.contentDocument?.body?.textContent?.trim() ?? "";
      } catch {
        said = "";
      }
      frame.remove();
      resolve(said);
    };
    const late = setTimeout(end, 5000);
    frame.addEventListener("load", () => {
      clearTimeout(late);
      end();
    });
    frame.src = "/here";
    document.body.append(frame);
  });
}

/** A name for this tab that a reload keeps and a second tab does not share. */
function tabName() {
  const random = () => Array.from(crypto.getRandomValues(new Uint8Array(8)), (b) => b.toString(16).padStart(2, "0")).join("");
  try {
    const known = sessionStorage.getItem("tab");
    const reloaded = performance.getEntriesByType("navigation").some((e) => /** @type {any} */ (e).type === "reload");
    if (known && reloaded) return known;
    const fresh = random();
    sessionStorage.setItem("tab", fresh);
    return fresh;
  } catch {
    return random();
  }
}
