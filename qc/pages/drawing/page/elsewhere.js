// What a sheet holds after a save that this page does not know of: typed by hand, or drawn on another page. It is
// taken into every step back and forth, so that no step takes a zone out of the sheet that was never drawn here.

const FACTS = ["name", "role", "box", "points", "budget", "reference", "lightness"];
const facts = (zone) => Object.fromEntries(FACTS.map((key) => [key, zone[key] ?? null]));
const written = (zone) => JSON.stringify(facts(zone));

/** A name that is none of `names`: the one wished for, or it with a number. */
export function free(wish, names) {
  if (!names.has(wish)) return wish;
  let number = 2;
  while (names.has(`${wish} ${number}`)) number += 1;
  return `${wish} ${number}`;
}

/**
 * Compare what was sent with what is in the sheet. `sent` are zones as `{zone, told}`, `there` those of the sheet,
 * `fresh` makes an id.
 */
export class Elsewhere {
  constructor(sent, there, fresh) {
    const mine = new Map(sent.map((one) => [one.told.name, one]));
    this.inSheet = new Map(); // names by id
    this.come = [];
    this.changed = new Map(); // a zone as it was sent, and as it is there
    for (const one of there) {
      const { zone, told } = mine.get(one.name) ?? {};
      mine.delete(one.name);
      if (!zone) this.come.push(Object.freeze({ ...facts(one), id: fresh() }));
      else if (written(told) !== written(one)) this.changed.set(zone, Object.freeze({ ...zone, ...facts(one) }));
      this.inSheet.set((zone ?? this.come.at(-1)).id, one.name);
    }
    this.gone = new Map([...mine.values()].map(({ zone }) => [zone.id, zone]));
  }

  /** In words; empty for nothing. */
  get said() {
    const told = (zones, what) => zones.map(({ name }) => `; ${name} ${what}`).join("");
    const { come, changed, gone } = this;
    const anew = told([...changed.values()], "was changed in the sheet meanwhile");
    return `${told(come, "came from the sheet")}${anew}${told([...gone.values()], "is gone from the sheet")}`;
  }

  /** A state of the page with it. What was changed here since it was sent stays: in the state of now. */
  in(zones, isNow) {
    if (!this.said) return zones;
    const stays = (zone) => !this.gone.has(zone.id) || (isNow && this.gone.get(zone.id) !== zone);
    const own = zones.filter(stays).map((zone) => this.changed.get(zone) ?? zone);
    const names = new Set([...own, ...this.come].map(({ name }) => name));
    const taken = new Set(this.come.map(({ name }) => name));
    const apart = (zone) => (taken.has(zone.name) ? Object.freeze({ ...zone, name: free(zone.name, names) }) : zone);
    return [...own.map(apart), ...this.come];
  }
}
