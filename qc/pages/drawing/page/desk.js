// What is being done: which zone is in hand, what is being drawn, where the cross stands. All acts of mouse and keys.

import { area, edgeOf, sameShape } from "./shapes.js";

const hundredth = (length) => Math.max(1, length / 100);
const STEPS = [
  ["1 pixel", () => [1, 1]],
  ["10 pixels", () => [10, 10]],
  ["1 %", (grid) => [hundredth(grid.width), hundredth(grid.height)]],
];
const PLAIN = { budget: null, reference: null, lightness: null };

export class Desk {
  constructor({ grid, book, roles, found, changed, say, toPicture }) {
    Object.assign(this, { grid, book, roles, found, changed, say, toPicture });
    this.chosen = null; // id of a zone
    this.corner = null; // index of one of its corners
    this.offered = null; // index of a found place
    this.showsFound = false;
    this.tool = null; // "box", "points"
    this.drawn = null; // {kind: "box", from}, {kind: "points", points}
    this.held = null; // a zone as it is being dragged: {id, box, points}
    this.growing = null; // a zone as it is being resized by keys: {id, from, to, dx, dy}
    this.cross = [grid.width / 2, grid.height / 2].map(Math.round);
    this.crossShows = false;
    this.stepIndex = 0;
    this.light = false; // whether the picture is lighter for a moment, to see into its shadows
  }

  get zone() {
    const zone = this.book.zone(this.chosen);
    return zone && this.held?.id === zone.id ? { ...zone, ...this.held } : zone;
  }

  /** What is drawn just now, as a zone that could be measured; null while it has no area. */
  get sketch() {
    const shape = this.#sketched();
    if (!shape || area(shape) === 0) return null;
    return { ...PLAIN, ...shape, id: null, role: this.#first, name: this.book.ready(this.#first) };
  }

  /** What there is to read of: the zone in hand, what is being drawn, a found place. */
  get inHand() {
    return this.zone ?? this.sketch ?? (this.offered === null ? null : this.#asZone(this.found[this.offered]));
  }

  /** The role of a new zone. */
  get #first() {
    return this.roles[0].role;
  }

  roleOf(zone) {
    return this.roles.find((one) => one.role === zone.role);
  }

  /** A zone as it is told to the sheet. */
  told(zone) {
    return this.book.told(zone, this.roleOf(zone));
  }

  get stepName() {
    return STEPS[this.stepIndex][0];
  }

  get places() {
    const taken = new Set(this.book.zones.map((zone) => zone.found));
    return this.found.map((place, index) => ({ ...place, index })).filter((place) => !taken.has(place.index));
  }

  // Choosing

  choose(id) {
    [this.chosen, this.corner, this.offered, this.tool, this.drawn, this.held] = [id, null, null, null, null, null];
    if (id !== null) this.crossShows = false;
    this.changed();
  }

  offer(index) {
    this.choose(null);
    this.offered = index;
    this.showsFound = true;
    this.changed();
  }

  /** The next zone, or the one before; after the zones the found places, where they are shown. */
  next(by) {
    const places = this.showsFound ? this.places.map((place) => ({ place: place.index })) : [];
    const all = [...this.book.zones.map(({ id }) => ({ id })), ...places];
    if (!all.length) return;
    const now = all.findIndex((one) => ("id" in one ? one.id === this.chosen : one.place === this.offered));
    const one = all[now < 0 ? (by > 0 ? 0 : all.length - 1) : (now + by + all.length) % all.length];
    if ("id" in one) this.choose(one.id);
    else this.offer(one.place);
  }

  /** What lies under a place: smallest first, since a small zone may lie on a large one. */
  at(place, reach) {
    const all = [...this.book.zones, ...(this.showsFound ? this.places : [])];
    return all.filter((one) => this.grid.under(one, place, reach)).sort((a, b) => area(a) - area(b))[0] ?? null;
  }

  nextCorner(by) {
    const zone = this.zone;
    if (!zone) return;
    const many = this.grid.corners(zone).length;
    this.corner = this.corner === null ? (by > 0 ? 0 : many - 1) : (this.corner + by + many) % many;
    this.changed();
  }

  toggleFound() {
    this.showsFound = !this.showsFound;
    if (!this.showsFound) this.offered = null;
    this.changed();
  }

  take(index) {
    const { name, role, box = null, points = null, budget = null } = this.found[index];
    const free = this.book.free(name);
    this.choose(this.book.add({ name: free, role, box, points, budget, found: index }, `${free} taken`));
  }

  // Drawing

  begin(tool) {
    this.choose(null);
    this.tool = tool;
    this.crossShows = true;
    this.changed();
  }

  startBox(place) {
    this.drawn = { kind: "box", from: this.grid.snap(place) };
    this.cross = this.drawn.from;
    this.changed();
  }

  moveCross(place) {
    this.cross = this.grid.snap(place);
    this.changed();
  }

  stepCross(dx, dy, times = 1) {
    const [x, y] = this.#stride();
    if (this.offered !== null) this.choose(null);
    this.crossShows = true;
    this.moveCross([this.cross[0] + dx * x * times, this.cross[1] + dy * y * times]);
  }

  /** A corner or point at the cross. */
  set() {
    this.crossShows = true;
    if (this.tool === "points") this.addPoint(this.cross);
    else if (this.drawn) this.finish();
    else this.startBox(this.cross);
  }

  addPoint(place) {
    const at = this.grid.snap(place);
    const points = this.drawn?.points ?? [];
    this.cross = at;
    if (points.length && same(points[0], at)) return this.close();
    if (!points.length || !same(points.at(-1), at)) this.drawn = { kind: "points", points: [...points, at] };
    return this.changed();
  }

  takeBackPoint() {
    const points = this.drawn?.points?.slice(0, -1) ?? [];
    this.drawn = points.length ? { kind: "points", points } : null;
    this.changed();
  }

  close() {
    const shape = this.drawn?.points?.length > 2 ? this.grid.points(this.drawn.points) : null;
    if (!shape || area(shape) === 0) this.say("points make a zone from three on that are not in one line");
    else this.#added(shape);
  }

  finish() {
    const { from } = this.drawn;
    if (same(from, this.cross)) this.say("the other corner of the box lies elsewhere");
    else this.#added(this.grid.box(from, this.cross));
  }

  /** Drop what was begun last: a drag, a drawing, a corner, the choice. */
  drop() {
    if (this.held) this.held = null;
    else if (this.drawn) this.drawn = null;
    else if (this.tool) this.tool = null;
    else if (this.corner !== null) this.corner = null;
    else if (this.chosen !== null || this.offered !== null) return this.choose(null);
    else this.crossShows = false;
    return this.changed();
  }

  // Changing the zone in hand

  hold(shape) {
    this.held = { id: this.chosen, ...shape };
    this.changed();
  }

  letGo(said) {
    const { held } = this;
    this.held = null;
    if (held) this.reshape(held, said);
  }

  reshape({ box, points }, said, joined = false) {
    const zone = this.book.zone(this.chosen);
    const changes = zone && !sameShape(zone, { box, points });
    if (changes) this.book.change(zone.id, { box, points }, `${zone.name} ${said}`, joined);
    this.changed();
  }

  /** By an arrow key: the picked corner, else the whole zone. */
  stepZone(dx, dy, joined) {
    const [x, y] = this.#stride();
    const [across, down] = [Math.round(dx * x), Math.round(dy * y)];
    if (this.corner === null) return this.reshape(this.grid.moved(this.zone, across, down), "moved", joined);
    const at = this.grid.snap(this.grid.corners(this.zone)[this.corner]);
    return this.moveCorner(this.corner, [at[0] + across, at[1] + down], joined);
  }

  moveCorner(index, place, joined) {
    this.reshape(this.cornered(index, place), "corner moved", joined);
  }

  /** The zone in hand with a corner elsewhere, as it was where no area were left. */
  cornered(index, place) {
    const shape = this.grid.withCorner(this.book.zone(this.chosen), index, this.grid.snap(place));
    return area(shape) > 0 ? shape : this.zone;
  }

  sided(index, place) {
    const at = this.grid.snap(place);
    return this.grid.withEdges(this.book.zone(this.chosen), { [edgeOf(index)]: at[index % 2 ? 0 : 1] });
  }

  /** By an arrow key. Every step is one from the shape at the first: rounded again and again it would drift. */
  grow(dx, dy, joined) {
    const { zone, growing } = this;
    const goesOn = growing?.id === zone.id && sameShape(growing.to, zone);
    const { from, dx: across, dy: down } = goesOn ? growing : { from: zone, dx: 0, dy: 0 };
    const [x, y] = this.#stride();
    const by = this.grid.room(from, across + Math.round(dx * x), down + Math.round(dy * y));
    const to = by.some(Boolean) ? this.grid.grown(from, ...by) : from;
    this.growing = { id: zone.id, from, to, dx: by[0], dy: by[1] };
    this.reshape(to, "resized", joined);
  }

  addCorner(side, place) {
    const { points } = this.zone;
    if (!points) return this.say("a box has four corners; draw points for another shape");
    const corners = this.grid.corners(this.zone);
    const [[x0, y0], [x1, y1]] = [corners[side], corners[(side + 1) % corners.length]];
    const [at] = this.grid.points([this.grid.snap(place ?? [(x0 + x1) / 2, (y0 + y1) / 2])]).points;
    this.corner = side + 1;
    return this.reshape({ box: null, points: points.toSpliced(side + 1, 0, at) }, "point added");
  }

  /** Take up what the sheet holds after a save; returns in words what of it came from elsewhere. */
  wasSaved(before, sent, there) {
    const said = this.book.wasSaved(before, sent, there);
    if (this.chosen !== null && !this.book.zone(this.chosen)) this.choose(null);
    return said;
  }

  change(facts, said) {
    const zone = this.zone;
    if (!zone || Object.entries(facts).every(([key, value]) => zone[key] === value)) return;
    this.book.change(zone.id, facts, said);
    this.changed();
  }

  rename(name) {
    const { name: before } = this.zone;
    this.change({ name, ready: false }, `${before} is called ${name}`);
  }

  setRole(role) {
    const zone = this.zone;
    const name = zone.ready ? this.book.ready(role, zone.id) : zone.name;
    this.change({ role, name }, `${name} is ${role}`);
  }

  nextRole(by) {
    if (!this.zone) return;
    const now = this.roles.findIndex((one) => one.role === this.zone.role);
    this.setRole(this.roles[(now + by + this.roles.length) % this.roles.length].role);
  }

  remove() {
    const zone = this.zone;
    if (!zone) return;
    if (this.corner !== null && zone.points?.length > 3) return this.#removeCorner(zone);
    this.book.remove(zone.id, `${zone.name} deleted`);
    this.say(`${zone.name} deleted`);
    return this.choose(null);
  }

  undo() {
    this.#turn(() => this.book.undo(), "undone", "nothing to undo");
  }

  redo() {
    this.#turn(() => this.book.redo(), "done again", "nothing to do again");
  }

  toggleLight() {
    this.light = !this.light;
    this.changed();
  }

  nextStep() {
    this.stepIndex = (this.stepIndex + 1) % STEPS.length;
    this.changed();
  }

  #stride() {
    return STEPS[this.stepIndex][1](this.grid);
  }

  #asZone(place) {
    return { ...PLAIN, ...place, id: `found ${this.offered}`, name: this.book.free(place.name) };
  }

  #sketched() {
    const { grid, cross, drawn } = this;
    if (drawn?.kind === "box") return same(drawn.from, cross) ? null : grid.box(drawn.from, cross);
    return this.drawn?.points.length > 2 ? this.grid.points(this.drawn.points) : null;
  }

  #added(shape) {
    const name = this.book.ready(this.#first);
    this.choose(this.book.add({ ...shape, name, role: this.#first, ready: true }, `${name} drawn`));
  }

  #removeCorner(zone) {
    const shape = { box: null, points: zone.points.toSpliced(this.corner, 1) };
    if (area(shape) === 0) return this.say("the points left would enclose no area");
    this.corner = null;
    return this.reshape(shape, "point deleted");
  }

  /** A step back or forth; the zone that it is about is in hand then. */
  #turn(turn, how, nothing) {
    const before = new Set(this.book.zones);
    const said = turn();
    const about = this.book.zones.find((zone) => !before.has(zone)) ?? this.book.zone(this.chosen);
    this.say(said === null ? nothing : `${how}: ${said}`);
    this.choose(about?.id ?? null);
  }
}

const same = ([x0, y0], [x1, y1]) => x0 === x1 && y0 === y1;
