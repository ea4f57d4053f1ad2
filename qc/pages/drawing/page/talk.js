// What is asked of the machine that serves the page.

const AGAIN_MS = 1500;

/** Nobody answered. */
export class Gone extends Error {}

export class Talk {
  /** `changed` is told when nobody answers any more, and when somebody does again. */
  constructor(changed) {
    this.changed = changed;
    this.there = true;
    this.over = false; // from then on nobody is expected to answer
  }

  get(path) {
    return this.#ask(path, {});
  }

  post(path, what, signal) {
    const headers = { "content-type": "application/json" };
    return this.#ask(path, { method: "POST", headers, body: JSON.stringify(what), signal });
  }

  async #ask(path, how) {
    let answer;
    try {
      answer = await fetch(path, how);
    } catch (error) {
      if (error.name === "AbortError") throw error;
      this.#lost();
      throw new Gone("nobody answers");
    }
    const text = await answer.text();
    return { ok: answer.ok, status: answer.status, ...read(text, answer) };
  }

  #lost() {
    if (!this.there || this.over) return;
    this.there = false;
    this.changed(null);
    setTimeout(() => this.#look(), AGAIN_MS);
  }

  async #look() {
    try {
      const answer = await fetch("/start");
      const start = read(await answer.text(), answer);
      this.there = true;
      this.changed(start);
    } catch {
      setTimeout(() => this.#look(), AGAIN_MS); // still gone: that is said already
    }
  }
}

/** An answer of the page, or the one line with which it was refused. */
function read(text, answer) {
  if (answer.headers.get("content-type")?.startsWith("application/json")) return JSON.parse(text);
  return { said: text.trim() || `refused (${answer.status})` };
}
