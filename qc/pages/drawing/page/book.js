// The zones as they are now, every step back and forth, and what of it is in the sheet.

import { Elsewhere, free } from "./elsewhere.js";

/** Ready names by role, so that nobody has to type. */
const READY = { protect: "label", allow: "highlight", sharp: "focus", backdrop: "backdrop" };
const WHOLE_PICTURE = "frame";

export class Book {
  constructor(zones) {
    this.zones = zones.map((zone) => Object.freeze({ ...zone, id: `sheet ${zone.name}` }));
    this.saved = this.zones;
    this.seen = zones; // in the sheet, as it was told last
    this.inSheet = new Map(this.zones.map((zone) => [zone.id, zone.was ?? null]));
    this.past = [];
    this.future = [];
    this.made = 0;
  }

  get unsaved() {
    return this.zones !== this.saved;
  }

  zone(id) {
    return this.zones.find((zone) => zone.id === id) ?? null;
  }

  /** Take a step. A held key is one step: `joined` steps add to the last one. */
  step(zones, said, joined = false) {
    if (!(joined && this.past.at(-1)?.said === said)) this.past.push({ zones: this.zones, said });
    this.zones = zones;
    this.future = [];
  }

  add(facts, said) {
    const id = `drawn ${++this.made}`;
    const zone = Object.freeze({ budget: null, reference: null, lightness: null, ...facts, id });
    this.step([...this.zones, zone], said);
    return zone.id;
  }

  change(id, facts, said, joined) {
    const changed = (zone) => (zone.id === id ? Object.freeze({ ...zone, ...facts }) : zone);
    this.step(this.zones.map(changed), said, joined);
  }

  remove(id, said) {
    this.step(this.zones.filter((zone) => zone.id !== id), said);
  }

  /** Go a step back; returns what it was, null where there is none. */
  undo() {
    return this.#turn(this.past, this.future);
  }

  redo() {
    return this.#turn(this.future, this.past);
  }

  #turn(from, to) {
    const step = from.pop();
    if (!step) return null;
    to.push({ zones: this.zones, said: step.said });
    this.zones = step.zones;
    return step.said;
  }

  /** A zone as it is told to the sheet: with what its role has a use for. `role` is as the page was told of it. */
  told(zone, role) {
    const { name, box, points } = zone;
    return {
      was: this.inSheet.get(zone.id) ?? null,
      name,
      role: zone.role,
      box,
      points,
      budget: role.budget ? zone.budget : null,
      reference: role.reference ? zone.reference : null,
      lightness: role.reference ? zone.lightness : null,
    };
  }

  /**
   * Remember what is in the sheet now that `sent` was saved, each as `{zone, told}`; `before` is the state that was
   * sent. What came from elsewhere is taken up. Returns that in words.
   */
  wasSaved(before, sent, there) {
    const elsewhere = new Elsewhere(sent, there, () => `elsewhere ${++this.made}`);
    const turned = new Map([[this.zones, elsewhere.in(this.zones, this.zones !== before)]]);
    const turn = (zones) => {
      if (!turned.has(zones)) turned.set(zones, elsewhere.in(zones, false));
      return turned.get(zones);
    };
    const steps = (all) => all.map((step) => ({ ...step, zones: turn(step.zones) }));
    [this.past, this.future] = [steps(this.past), steps(this.future)];
    [this.saved, this.zones] = [turn(before), turn(this.zones)];
    [this.seen, this.inSheet] = [there, elsewhere.inSheet];
    return elsewhere.said;
  }

  /** A name that no zone has: the one wished for, or it with a number. */
  free(wish, but = null) {
    return free(wish, this.#names(but));
  }

  ready(role, but = null) {
    return this.free(READY[role] ?? role, but);
  }

  /** Why a zone cannot be called so, null when it can. */
  mistakeIn(name, but) {
    if (!name) return "a zone needs a name";
    if (name === WHOLE_PICTURE) return `“${name}” is the whole picture`;
    return this.#names(but).has(name) ? `another zone is called ${name}` : null;
  }

  #names(but) {
    return new Set(this.zones.filter((zone) => zone.id !== but).map((zone) => zone.name)).add(WHOLE_PICTURE);
  }
}
