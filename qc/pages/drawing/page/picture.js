// Zones, found places and what is being drawn, on the picture. Drawn anew after every change: nothing is left over.

const SVG = "http://www.w3.org/2000/svg";

export class Picture {
  constructor(svg, grid, view) {
    Object.assign(this, { svg, grid, view });
    this.layers = Object.fromEntries(["places", "zones", "hand"].map((id) => [id, svg.querySelector(`#${id}`)]));
    const grey = svg.querySelector("#grey");
    grey.setAttribute("width", grid.width);
    grey.setAttribute("height", grid.height);
    grey.setAttribute("href", "/picture.jpg");
    svg.style.setProperty("--shape", grid.width / grid.height);
  }

  draw(desk) {
    const { unit } = this.view;
    this.seen = this.view.seen;
    this.svg.style.setProperty("--unit", unit);
    this.letter = 0.875 * Number.parseFloat(getComputedStyle(document.documentElement).fontSize);
    this.svg.classList.toggle("light", desk.light);
    this.svg.classList.toggle("close", unit < 0.34);
    this.svg.classList.toggle("drawing", desk.tool !== null || desk.drawn !== null);
    this.names = [];
    const zones = desk.book.zones.map((zone) => (zone.id === desk.chosen ? desk.zone : zone));
    const places = desk.showsFound ? desk.places : [];
    this.layers.places.replaceChildren(...places.flatMap((place) => this.#place(place, desk)));
    this.layers.zones.replaceChildren(...zones.flatMap((zone) => this.#zone(zone, desk)));
    this.layers.hand.replaceChildren(...this.#hand(desk));
  }

  #zone(zone, desk) {
    const chosen = zone.id === desk.chosen;
    const d = outline(this.grid.corners(zone));
    const group = make("g", { class: `zone ${zone.role}${chosen ? " chosen" : ""}` });
    group.append(...line(d), ...this.#name(zone, zone.name, zone.role));
    return [group];
  }

  #place(place, desk) {
    const d = outline(this.grid.corners(place));
    const group = make("g", { class: `place${place.index === desk.offered ? " chosen" : ""}` });
    const title = make("title", {});
    title.textContent = place.why;
    group.append(title, ...line(d), ...this.#name(place, place.name, "found"));
    return [group];
  }

  /** A name over the top left corner that is seen, moved down where another name stands already. */
  #name(shape, name, word) {
    const { seen } = this;
    const em = this.letter * this.view.unit;
    const line = 1.25 * em;
    const [left, top, right, bottom] = this.grid.bounds(shape);
    if (right < seen[0] || left > seen[2] || bottom < seen[1] || top > seen[3]) return [];
    const wide = (name.length + word.length + 2) * 0.6 * em;
    const x = Math.max(Math.min(Math.max(left, seen[0] + 0.4 * em), seen[2] - wide), seen[0]);
    const over = top - 0.4 * em;
    let y = over > seen[1] + em ? over : Math.max(top, seen[1]) + line;
    while (this.names.some((one) => Math.abs(one.y - y) < line && x < one.right && one.left < x + wide)) y += line;
    this.names.push({ y, left: x, right: x + wide });
    const text = make("text", { x, y });
    const [called, role] = [make("tspan", { class: "called" }), make("tspan", { class: "word", dx: 0.4 * em })];
    called.textContent = name;
    role.textContent = word === name ? "" : word;
    text.append(called, role);
    return [text];
  }

  #hand(desk) {
    const { unit } = this.view;
    const parts = [];
    const corners = desk.zone ? this.grid.corners(desk.zone) : [];
    parts.push(...corners.map((corner, i) => this.#knob(corner, i === desk.corner ? "knob picked" : "knob")));
    if (desk.drawn) parts.push(...this.#begun(desk));
    if (desk.crossShows) {
      const [x, y] = desk.cross;
      const arm = 14 * unit;
      const d = `M${x - arm} ${y}H${x + arm}M${x} ${y - arm}V${y + arm}`;
      parts.push(...line(d, "line cross"));
    }
    return parts;
  }

  #begun({ drawn, cross, sketch }) {
    const box = drawn.kind === "box";
    const corners = box ? sketch && this.grid.corners(sketch) : [...drawn.points, cross];
    const d = corners && (box ? outline(corners) : through(corners));
    const lines = d ? line(d, "line begun") : [];
    const knobs = (box ? [drawn.from] : drawn.points).map((at) => this.#knob(at, "knob"));
    return [...lines, ...knobs];
  }

  /** A ring around a corner: the pixel in it stays in sight. */
  #knob([cx, cy], kind) {
    const r = (kind === "knob" ? 4.5 : 7.5) * this.view.unit;
    const ring = make("g", { class: kind });
    ring.append(make("circle", { class: "under", cx, cy, r }), make("circle", { class: "line", cx, cy, r }));
    return ring;
  }
}

const through = (corners) => `M${corners.map((corner) => corner.join(" ")).join("L")}`;
const outline = (corners) => `${through(corners)}Z`;

/** A light line on a broader dark one: seen on every grey. */
const line = (d, kind = "line") => [make("path", { class: "under", d }), make("path", { class: kind, d })];

function make(name, attributes) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}
