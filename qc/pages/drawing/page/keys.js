// Keys: everything that the mouse can do. Letters and arrows count while no field is being typed in.

const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const CLOSER = 1.5;

/** `acts` are what the page itself does: edit, save, keys. */
export function keys(svg, desk, view, acts) {
  const plain = {
    d: () => desk.begin("box"),
    p: () => desk.begin("points"),
    c: () => desk.drawn?.kind === "points" && desk.close(),
    n: () => desk.next(1),
    b: () => desk.next(-1),
    v: () => desk.nextCorner(1),
    V: () => desk.nextCorner(-1),
    i: () => desk.corner !== null && desk.addCorner(desk.corner),
    r: () => desk.nextRole(1),
    R: () => desk.nextRole(-1),
    e: () => acts.edit(),
    F2: () => acts.edit(),
    f: () => desk.toggleFound(),
    s: () => desk.nextStep(),
    l: () => desk.toggleLight(),
    Delete: () => desk.remove(),
    Backspace: () => desk.drawn?.kind === "points" && desk.takeBackPoint(),
    Escape: () => desk.drop(),
    "?": () => acts.keys(),
    "+": () => view.zoom(CLOSER, middle()),
    "=": () => view.zoom(CLOSER, middle()),
    "-": () => view.zoom(1 / CLOSER, middle()),
    0: () => view.whole(),
  };
  const withCtrl = { s: () => acts.save(), z: () => desk.undo(), Z: () => desk.redo() };

  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.isComposing || acts.busy(event)) return;
    const typed = event.target.matches("input, select");
    const act = event.ctrlKey || event.metaKey ? ordered(event, typed) : !typed && named(event);
    if (!act) return;
    event.preventDefault();
    act();
  });

  /** In a field its own undo holds. */
  function ordered({ key, shiftKey }, typed) {
    const name = shiftKey ? key.toUpperCase() : key.toLowerCase();
    return typed && name !== "s" ? null : withCtrl[name];
  }

  function named(event) {
    if (event.key in ARROWS) return () => arrow(event);
    if (event.key === "Enter") return event.target.matches("button, a") ? null : enter;
    return plain[event.key] ?? plain[event.key.toLowerCase()];
  }

  function arrow({ key, shiftKey, repeat }) {
    const [dx, dy] = ARROWS[key];
    if (!desk.zone) desk.stepCross(dx, dy, shiftKey ? 10 : 1);
    else if (shiftKey && desk.corner === null) desk.grow(dx, dy, repeat);
    else desk.stepZone(dx, dy, repeat);
    view.follow(middle());
  }

  function enter() {
    if (desk.offered !== null) desk.take(desk.offered);
    else if (desk.zone) acts.edit();
    else desk.set();
  }

  /** Where the work is: what is zoomed into. */
  function middle() {
    if (desk.zone && desk.corner !== null) return desk.grid.corners(desk.zone)[desk.corner];
    if (desk.zone && !desk.crossShows) {
      const [left, top, right, bottom] = desk.grid.bounds(desk.zone);
      return [(left + right) / 2, (top + bottom) / 2];
    }
    return desk.cross;
  }

  svg.focus({ preventScroll: true });
}
