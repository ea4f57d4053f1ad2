// Mouse, pen and finger. A press and a move draws a box, or changes the zone in hand where it began on that zone;
// a press alone chooses what lies there.

const REACH = { mouse: 7, pen: 9, touch: 16 }; // CSS pixels
const STILL = 4; // CSS pixels that a press may slip and still be one

export function pointing(svg, desk, view) {
  let hand = null; // what the press does: {from, move, end}
  let space = false;

  const reach = (event) => (REACH[event.pointerType] ?? REACH.mouse) * view.unit;

  svg.addEventListener("pointerdown", (event) => {
    if (event.button > 1 || hand) return;
    svg.focus({ preventScroll: true });
    event.preventDefault();
    svg.setPointerCapture(event.pointerId);
    const from = view.place(event);
    hand = { id: event.pointerId, from, seen: [event.clientX, event.clientY], moved: false, ...begin(event, from) };
  });

  svg.addEventListener("pointermove", (event) => {
    if (!hand) return hover(event);
    if (event.pointerId !== hand.id) return undefined;
    hand.moved ||= Math.hypot(event.clientX - hand.seen[0], event.clientY - hand.seen[1]) > STILL;
    if (hand.moved) hand.move?.(view.place(event), event);
    return undefined;
  });

  svg.addEventListener("pointerup", (event) => {
    if (!hand || event.pointerId !== hand.id) return;
    const { moved, from, press, end } = hand;
    hand = null;
    if (moved) end?.(view.place(event));
    else press?.(from);
  });

  svg.addEventListener("pointercancel", () => {
    hand = null;
    desk.drop();
  });

  svg.addEventListener("dblclick", (event) => {
    const under = desk.zone && desk.grid.under(desk.zone, view.place(event), reach(event));
    if (under?.what === "side" && desk.zone.points) desk.addCorner(under.index, view.place(event));
  });

  svg.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    view.zoom(2 ** (-event.deltaY / 300), view.place(event));
  }, { passive: false });

  window.addEventListener("keydown", (event) => {
    if (event.key === " " && !event.target.matches("input, select, button")) {
      space = true;
      event.preventDefault();
    }
  });
  window.addEventListener("blur", () => {
    space = false;
  });
  window.addEventListener("keyup", (event) => {
    if (event.key === " ") space = false;
  });

  function begin(event, from) {
    if (space || event.button === 1) return panning(event);
    desk.crossShows = false;
    if (desk.tool === "points") return pointing(event);
    if (desk.tool === null && desk.zone) {
      const under = desk.grid.under(desk.zone, from, reach(event));
      if (under) return { ...changing(under, from), press: () => press(under, from, reach(event)) };
    }
    return { ...boxing(from), press: () => press(null, from, reach(event)) };
  }

  function panning(event) {
    let last = [event.clientX, event.clientY];
    return {
      move: (_, { clientX, clientY }) => {
        const { unit } = view;
        view.pan((last[0] - clientX) * unit, (last[1] - clientY) * unit);
        last = [clientX, clientY];
      },
    };
  }

  function boxing(from) {
    return {
      move: (place) => {
        if (!desk.drawn) {
          if (desk.chosen !== null || desk.offered !== null) desk.choose(null);
          desk.startBox(from);
        }
        desk.moveCross(place);
      },
      end: () => {
        if (desk.drawn) desk.finish();
        desk.drawn = null;
        desk.changed();
      },
    };
  }

  /** A press sets a point at once; the first one again closes. */
  function pointing(event) {
    const place = view.place(event);
    const first = desk.drawn?.points[0];
    const far = first ? Math.hypot(first[0] - place[0], first[1] - place[1]) : Number.POSITIVE_INFINITY;
    if (desk.drawn?.points.length > 2 && far <= reach(event) * 1.5) return both(() => desk.close());
    return { ...both((at) => desk.addPoint(at)), move: (at) => desk.moveCross(at) };
  }

  /** The same for a press that moved and one that did not. */
  function both(act) {
    return { press: act, end: act };
  }

  function changing({ what, index }, from) {
    const zone = desk.book.zone(desk.chosen);
    const dragging = (shape, said) => ({ move: (place) => desk.hold(shape(place)), end: () => desk.letGo(said) });
    if (what === "corner") return dragging((place) => desk.cornered(index, place), "corner moved");
    if (what === "side" && zone.box) return dragging((place) => desk.sided(index, place), "resized");
    const moved = ([x, y]) => desk.grid.moved(zone, Math.round(x - from[0]), Math.round(y - from[1]));
    return dragging(moved, "moved");
  }

  function press(under, place, near) {
    if (under?.what === "side") return undefined;
    if (under?.what === "corner") {
      desk.corner = under.index;
      return desk.changed();
    }
    if (desk.drawn?.kind === "box") {
      desk.moveCross(place);
      return desk.finish();
    }
    const there = desk.at(place, near);
    if (there && "index" in there) return desk.take(there.index);
    return desk.choose(there?.id ?? null);
  }

  function hover(event) {
    const place = view.place(event);
    if (desk.drawn) desk.moveCross(place);
    svg.style.cursor = cursor(event, place);
  }

  function cursor(event, place) {
    if (space) return "grab";
    if (desk.tool !== null || desk.drawn) return "crosshair";
    const zone = desk.zone;
    const under = zone && desk.grid.under(zone, place, reach(event));
    if (under?.what === "corner") return zone.box ? ["nwse-resize", "nesw-resize"][under.index % 2] : "pointer";
    if (under?.what === "side" && zone.box) return ["ns-resize", "ew-resize"][under.index % 2];
    return under ? "move" : "crosshair";
  }
}
