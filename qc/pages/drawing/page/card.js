// The card beside the zone in hand: its name, role and budget, and what the capture reads there.

import { area } from "./shapes.js";

const ORDER = ["clipped", "blur", "cast", "level"];
const FIELDS = ["name", "role", "budget", "reference", "lightness"];
const GAP = 14; // CSS pixels between zone and card
const at = (id) => document.getElementById(id);

export class Card {
  constructor(desk, view) {
    Object.assign(this, { desk, view });
    this.card = at("card");
    this.fields = Object.fromEntries(FIELDS.map((key) => [key, at(key)]));
    this.fields.role.append(...desk.roles.map(({ role }) => new Option(role, role)));
    this.#field("name", (text) => desk.book.mistakeIn(text, desk.chosen), (name) => desk.rename(name));
    const change = (key, value) => desk.change({ [key]: value }, `${desk.zone.name} has another ${key}`);
    this.#field("budget", percent, (text) => change("budget", number(text)));
    this.#field("reference", reference, (text) => change("reference", text || null));
    this.#field("lightness", lightness, (text) => change("lightness", number(text)));
    this.#roles();
    at("take").addEventListener("click", () => desk.take(desk.offered));
    at("remove").addEventListener("click", () => desk.remove());
  }

  /** Letters are keys again once a role was picked by mouse; by keys one goes through the roles. */
  #roles() {
    let pointed = false;
    const { role } = this.fields;
    role.addEventListener("pointerdown", () => {
      pointed = true;
    });
    role.addEventListener("keydown", () => {
      pointed = false;
    });
    role.addEventListener("change", () => {
      this.desk.setRole(role.value);
      if (pointed) this.desk.toPicture();
    });
  }

  /** A field takes what is right when it is left or Enter is pressed; else what was there stays. */
  #field(key, mistakeIn, take) {
    const field = this.fields[key];
    const mistake = at(`${key}-mistake`);
    const look = () => {
      mistake.textContent = mistakeIn(field.value.trim()) ?? "";
      field.setAttribute("aria-invalid", mistake.textContent !== "");
      return mistake.textContent === "";
    };
    const leave = () => {
      const right = look();
      const kept = this.editing?.before;
      this.editing = null;
      if (right) take(field.value.trim());
      else this.desk.say(kept ? `${mistake.textContent}: ${kept} stays` : `${mistake.textContent}: as it was`);
      mistake.textContent = "";
      field.setAttribute("aria-invalid", "false");
      this.draw();
    };
    field.addEventListener("focus", () => {
      this.editing = { key, before: field.value };
    });
    field.addEventListener("input", () => {
      look();
      this.place();
    });
    field.addEventListener("blur", () => {
      if (this.editing) leave();
    });
    field.addEventListener("keydown", (event) => {
      if (event.key === "Escape") field.value = this.editing.before;
      if (event.key === "Escape" || (event.key === "Enter" && look())) this.desk.toPicture();
      if (event.key === "Escape" || event.key === "Enter") event.stopPropagation();
    });
  }

  edit(key) {
    if (!this.desk.zone) return;
    this.fields[key].focus();
    this.fields[key].select();
  }

  draw() {
    const { desk } = this;
    const { zone } = desk;
    const place = desk.offered === null ? null : desk.found[desk.offered];
    this.shape = desk.inHand;
    this.card.hidden = !this.shape;
    if (!this.shape) return;
    at("of-zone").hidden = at("remove").hidden = !zone;
    at("of-place").hidden = !place;
    const part = (100 * area(this.shape)).toFixed(2);
    at("size").textContent = `${size(desk.grid.bounds(this.shape))}, ${part} % of the picture`;
    if (zone) this.#show(zone);
    if (place) at("why").textContent = place.why;
    at("place-name").textContent = place ? `${place.name}, ${place.role}` : "";
    this.place();
  }

  #show(zone) {
    const role = this.desk.roleOf(zone);
    for (const key of FIELDS) {
      if (this.editing?.key !== key) this.fields[key].value = zone[key] ?? "";
    }
    at("about").textContent = role.about;
    at("of-budget").hidden = !role.budget;
    at("of-patch").hidden = !role.reference;
  }

  /** Beside the zone where there is room for the card, else over a corner of the stage away from it. */
  place() {
    if (this.card.hidden) return;
    const [x0, y0, x1, y1] = this.desk.grid.bounds(this.shape);
    const [left, top] = this.view.onStage([x0, y0]);
    const [right, bottom] = this.view.onStage([x1, y1]);
    const { offsetWidth: wide, offsetHeight: high } = this.card;
    const { clientWidth: width, clientHeight: height } = this.card.parentElement;
    const beside = Math.min(Math.max(top, 8), Math.max(height - high - 8, 8));
    const along = Math.min(Math.max(left, 8), Math.max(width - wide - 8, 8));
    const ways = [
      [right + GAP, beside, right + GAP + wide <= width],
      [left - GAP - wide, beside, left - GAP - wide >= 0],
      [along, bottom + GAP, bottom + GAP + high <= height],
      [along, top - GAP - high, top - GAP - high >= 0],
      [left + right > width ? 8 : width - wide - 8, top + bottom > height ? 8 : Math.max(height - high - 8, 8), true],
    ];
    const [x, y] = ways.find(([, , fits]) => fits);
    this.card.style.setProperty("--x", `${Math.round(x)}px`);
    this.card.style.setProperty("--y", `${Math.round(y)}px`);
  }

  /** Show an answer; null while one is on its way: what stands there then is of a moment ago. */
  read(answer) {
    const id = this.desk.inHand?.id ?? null;
    const kept = this.readOf === id;
    at("lines").classList.toggle("old", answer === null);
    if (answer === null && kept) return;
    this.readOf = id;
    const missing = { missing: true, waiting: answer === null, said: answer?.said ?? "" };
    const lines = answer?.lines ?? ORDER.map((what) => ({ what, ...missing }));
    at("lines").replaceChildren(...lines.flatMap(line));
    if (!answer?.waiting) at("judged").replaceChildren(...(answer?.judged ?? []).map(judged));
    this.place();
  }
}

function line({ what, said, missing, waiting }) {
  const [head, body] = [document.createElement("dt"), document.createElement("dd")];
  head.textContent = what;
  body.textContent = waiting ? "being read" : said;
  body.className = missing || waiting ? "quiet" : "";
  return [head, body];
}

function judged({ said, against, level }) {
  const [item, mark, limits] = ["li", "span", "span"].map((name) => document.createElement(name));
  mark.className = `mark ${level}`;
  mark.append(document.createElement("i"), level);
  limits.className = "quiet";
  limits.textContent = against;
  item.append(...(level === "unjudged" ? [] : [mark, ": "]), said, " ", limits);
  return item;
}

const size = ([x0, y0, x1, y1]) => `${Math.round(x1 - x0)} × ${Math.round(y1 - y0)} pixels`;
const number = (text) => (text === "" ? null : Number(text.replace(",", ".")));
const between = (text, low, high) => number(text) === null || (number(text) >= low && number(text) <= high);
const percent = (text) => (between(text, 0, 100) ? null : "a number from 0 to 100, % of the picture");
const lightness = (text) => (between(text, 1e-9, 100) ? null : "L*, a number above 0 up to 100");
const isReference = (text) => text === "" || text === "neutral" || /^[^/]*\S[^/]*\/.*\S/.test(text);
const reference = (text) => (isReference(text) ? null : "“neutral”, or EDITION/patch");
