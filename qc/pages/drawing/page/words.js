// The column of words: the sheet's zones under what is meant with them, found places, what was said.

const at = (id) => document.getElementById(id);

export class Words {
  constructor(desk, start) {
    Object.assign(this, { desk, start });
    at("capture").replaceChildren(...breakable(start.name));
    at("file").replaceChildren(...breakable(start.sheet));
  }

  draw() {
    const { desk } = this;
    at("roles").replaceChildren(...desk.roles.flatMap((role) => this.#role(role)));
    at("none").hidden = desk.book.zones.length > 0;
    at("undo").disabled = !desk.book.past.length;
    at("redo").disabled = !desk.book.future.length;
    for (const tool of ["box", "points"]) at(tool).setAttribute("aria-pressed", desk.tool === tool);
    at("find").setAttribute("aria-pressed", desk.showsFound);
    at("find-many").textContent = desk.places.length;
    at("found").replaceChildren(...(desk.showsFound ? desk.places.map((place) => this.#place(place)) : []));
    at("state").textContent = state(desk.book, this.start);
    at("state").classList.toggle("unsaved", desk.book.unsaved);
    document.title = `${desk.book.unsaved ? "not saved: " : ""}zones on ${this.start.name}`;
    at("hint").textContent = hint(desk);
  }

  #role({ role, about }) {
    const zones = this.desk.book.zones.filter((zone) => zone.role === role);
    if (!zones.length) return [];
    const [head, list] = [document.createElement("h2"), document.createElement("ul")];
    head.append(`${about} `, quiet(`(${role})`));
    list.append(...zones.map((zone) => this.#zone(zone)));
    return [head, list];
  }

  #zone(zone) {
    const budget = zone.budget !== null && this.desk.roleOf(zone).budget;
    const entry = button(zone.name, zone.id === this.desk.chosen, () => this.#press(() => this.desk.choose(zone.id)));
    if (budget) entry.append(" ", quiet(`up to ${zone.budget} %`));
    return item(entry);
  }

  #press(act) {
    act();
    this.desk.toPicture();
  }

  #place(place) {
    const take = () => this.#press(() => this.desk.take(place.index));
    const entry = button(place.name, place.index === this.desk.offered, take);
    entry.title = place.why;
    entry.append(" ", quiet(place.why));
    return item(entry);
  }
}

export function say(text) {
  at("said").textContent = text;
  at("said").classList.toggle("refused", text.startsWith("Not saved"));
}

function state(book, start) {
  const many = book.zones.length;
  const zones = `${many || "no"} zone${many === 1 ? "" : "s"}`;
  if (book.unsaved) return `${zones}, not saved yet`;
  return start.new && !many ? "a new sheet, nothing in it yet" : `${zones}, as saved`;
}

function hint({ tool, drawn, zone, corner, offered, stepName }) {
  const step = `A step of the arrows is ${stepName}.`;
  const points = tool === "points" || drawn?.kind === "points";
  if (points) return `Click, or arrows and Enter, sets a point; c closes. ${step}`;
  if (drawn) return `The other corner: arrows and Enter. Escape drops it. ${step}`;
  if (tool === "box") return `Drag from corner to corner; or arrows and Enter. ${step}`;
  if (offered !== null) return "Enter takes this place as a zone.";
  if (zone && corner !== null) return `Arrows move this corner; v picks the next. ${step}`;
  if (zone) return `Arrows move it, with Shift they resize it; Escape lets go. ${step}`;
  return "Drag on the picture to draw a box. Click a zone to change it.";
}

/** A file name that goes on the next line before a sign, not within a word. */
function breakable(name) {
  return name.split(/(?=[._-])/).flatMap((part) => [document.createElement("wbr"), part]);
}

function button(text, chosen, press) {
  const entry = document.createElement("button");
  entry.type = "button";
  entry.className = "entry";
  entry.setAttribute("aria-current", chosen);
  entry.append(text);
  entry.addEventListener("click", press);
  return entry;
}

function item(entry) {
  const element = document.createElement("li");
  element.append(entry);
  return element;
}

function quiet(text) {
  const element = document.createElement("span");
  element.className = "quiet";
  element.textContent = text;
  return element;
}
