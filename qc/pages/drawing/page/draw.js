// The page of `qc sheet draw`: puts its parts together, saves, and keeps what is drawn when nobody answers.

import { Book } from "./book.js";
import { Card } from "./card.js";
import { Desk } from "./desk.js";
import { keys } from "./keys.js";
import { Picture } from "./picture.js";
import { pointing } from "./pointing.js";
import { Readings } from "./readings.js";
import { Grid } from "./shapes.js";
import { Gone, Talk } from "./talk.js";
import { View } from "./view.js";
import { Words, say } from "./words.js";

const at = (id) => document.getElementById(id);

const WAY_OUT = ". Undo what you did to it here and save; what else you drew is kept, and the sheet\u2019s own comes in";

class Page {
  constructor(start, talk) {
    Object.assign(this, { start, talk, over: false, reads: true, saving: null, drawing: 0 });
    const svg = at("picture");
    const grid = new Grid(start.size);
    this.book = new Book(start.zones);
    const changed = () => this.changed();
    const toPicture = () => svg.focus({ preventScroll: true });
    this.desk = new Desk({ grid, book: this.book, roles: start.roles, found: [], changed, say, toPicture });
    this.view = new View(svg, grid, changed);
    this.picture = new Picture(svg, grid, this.view);
    this.card = new Card(this.desk, this.view);
    this.words = new Words(this.desk, start);
    this.readings = new Readings(talk, (answer) => this.card.read(answer));
    pointing(svg, this.desk, this.view);
    keys(svg, this.desk, this.view, this);
    this.#buttons(toPicture);
    new ResizeObserver(changed).observe(svg);
    window.addEventListener("beforeunload", (event) => {
      if (this.book.unsaved && !this.over) event.preventDefault();
    });
  }

  /** Draw what changed, once a frame however often it did. */
  changed() {
    this.drawing ||= requestAnimationFrame(() => {
      this.drawing = 0;
      this.#draw();
    });
  }

  #draw() {
    this.picture.draw(this.desk);
    this.words.draw();
    this.card.draw();
    const zone = this.desk.inHand;
    const others = this.book.zones.filter((one) => one.id !== zone?.id);
    const told = zone && this.reads && !this.over ? this.desk.told(zone) : null;
    this.readings.want(told, others.map((one) => this.desk.told(one)));
    at("read").hidden = !this.reads;
  }

  #buttons(toPicture) {
    const press = (id, ...acts) => at(id).addEventListener("click", () => acts.forEach((act) => act()));
    press("box", () => this.desk.begin("box"), toPicture);
    press("points", () => this.desk.begin("points"), toPicture);
    press("find", () => this.desk.toggleFound(), toPicture);
    press("undo", () => this.desk.undo());
    press("redo", () => this.desk.redo());
    press("save", () => this.save());
    press("done", () => this.done());
    press("list", () => this.keys());
    at("keys-shut").addEventListener("click", () => at("keys").close());
  }

  // Acts of the page for keys

  edit() {
    this.#draw(); // what follows is typed at once
    this.card.edit("name");
  }

  keys() {
    if (at("keys").open) at("keys").close();
    else at("keys").showModal();
  }

  busy({ key }) {
    return this.over || (at("keys").open && key !== "?");
  }

  /** Save what is drawn; tells whether it is saved. */
  async save() {
    document.activeElement?.matches("input") && document.activeElement.blur();
    this.saving ??= this.#save().finally(() => {
      this.saving = null;
    });
    return this.saving;
  }

  async #save() {
    const { zones } = this.book;
    try {
      const start = await this.talk.get("/start");
      if (!this.#isSameSheet(start)) return false; // another one, started at the link of this page
      const sent = zones.map((zone) => ({ zone, told: this.desk.told(zone) }));
      const answer = await this.talk.post("/save", { zones: sent.map(({ told }) => told), seen: this.book.seen });
      if (answer.ok) say(`${answer.said}${this.desk.wasSaved(zones, sent, answer.zones)}`);
      else say(`Not saved: ${answer.said}${answer.said.includes("meanwhile") ? WAY_OUT : ""}`);
      return answer.ok;
    } catch (error) {
      if (!(error instanceof Gone)) throw error;
      say("Not saved: nobody answers. What is drawn stays here; save again when it is back.");
      return false;
    } finally {
      this.changed();
    }
  }

  async done() {
    if (this.book.unsaved && !(await this.save())) return;
    if (this.book.unsaved) return; // drawn meanwhile
    this.over = true;
    this.readings.want(null);
    try {
      await this.talk.post("/done", {});
    } catch (error) {
      if (!(error instanceof Gone)) throw error;
    }
    this.talk.over = true;
    at("main").inert = true;
    at("over").hidden = false;
  }

  /** Somebody answers again, or nobody does. */
  met(start) {
    if (this.over) return;
    at("gone").hidden = start !== null;
    if (start === null) return;
    if (!this.#isSameSheet(start)) return;
    this.reads = start.name === this.start.name;
    if (this.reads) say("It answers again. What is drawn is still here.");
    else say(`It answers again, but for ${start.name}. Save what is drawn here, then load the page again.`);
    this.readings.again();
    this.changed();
  }

  #isSameSheet({ sheet, said }) {
    const same = sheet === this.start.sheet;
    if (!same) say(`Not saved: ${said ?? `${sheet} is drawn at this link now`}. What is drawn stays here.`);
    return same;
  }

  /** Found places are ready later than the picture. */
  async find() {
    try {
      const { found } = await this.talk.get("/found");
      this.desk.found = found ?? [];
      this.changed();
    } catch (error) {
      if (!(error instanceof Gone)) throw error;
    }
  }
}

async function begin() {
  let page = null;
  const talk = new Talk((start) => page?.met(start));
  const start = await talk.get("/start");
  if (!start.ok) return say(start.said);
  page = new Page(start, talk);
  page.changed();
  return page.find();
}

begin().catch((error) => say(`This page failed: ${error.message}`));
