// What the capture reads in the zone in hand. Only the newest question counts.

import { Gone } from "./talk.js";

const PAUSE_MS = 150; // while a hand moves
const LATER_MS = 400; // until what takes longer is asked for
const OVERTAKEN = 409;
const TAB = [...crypto.getRandomValues(new Uint32Array(2))].map((number) => number.toString(36)).join("-");

export class Readings {
  /** `show` gets each answer, and null as soon as another zone or shape is asked about. */
  constructor(talk, show) {
    Object.assign(this, { talk, show });
    this.about = "";
    this.timer = null;
    this.asking = null;
  }

  /** Read a zone among the others of the sheet; null for none. */
  want(zone, others) {
    const about = zone ? JSON.stringify({ zone, others }) : "";
    if (about === this.about) return;
    this.about = about;
    this.show(null);
    this.again(PAUSE_MS);
  }

  /** Ask (again) about the zone in hand. */
  again(pause = 0) {
    clearTimeout(this.timer);
    this.asking?.abort();
    this.asking = null;
    if (this.about) this.timer = setTimeout(() => this.#ask(JSON.parse(this.about), false), pause);
  }

  /** First what is quick; the rest once the hand rests. */
  async #ask(about, rest) {
    const asking = new AbortController();
    this.asking = asking;
    try {
      const answer = await this.talk.post("/measure", { ...about, rest, tab: TAB }, asking.signal);
      if (this.asking !== asking) return;
      if (answer.status === OVERTAKEN) return this.again(LATER_MS); // two questions passed each other on the way
      this.show(answer);
      if (answer.waiting && !rest) this.timer = setTimeout(() => this.#ask(about, true), LATER_MS);
    } catch (error) {
      if (error.name !== "AbortError" && !(error instanceof Gone)) throw error; // asked anew, or said already
    }
  }
}
