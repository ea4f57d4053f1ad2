"""Any sheet that a person may have typed, line by line with whose line it is, and any edit of its zones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from hypothesis import strategies as st

from qc.sheet.edit import ZoneText
from qc.sheet.spelling import Value, spelled
from qc.sheet.zones import Role

FACTS = ("name", "role", "box", "points", "budget", "reference", "lightness")

TEN_THOUSANDTHS = st.integers(0, 9000).map(lambda n: n / 10000)
PERCENT = st.floats(0, 100) | st.integers(0, 100).map(float)
NAMES = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=8).filter(
    lambda name: name != "frame"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line without its end; `zone` and `key` say whose it is."""

    said: str
    zone: int | None = None
    key: str | None = None


@st.composite
def boxes(draw: st.DrawFn) -> tuple[float, float, float, float]:
    left, top = draw(TEN_THOUSANDTHS), draw(TEN_THOUSANDTHS)
    width, height = (draw(st.floats(0.01, 1)) * (1 - low) for low in (left, top))
    return left, top, width, height


@st.composite
def corners(draw: st.DrawFn) -> tuple[tuple[float, float], ...]:
    (left, top, width, height) = draw(boxes())
    right, bottom = min(1.0, left + width), min(1.0, top + height)
    square = ((left, top), (right, top), (right, bottom), (left, bottom))
    return draw(st.sampled_from([square, square[:3], square[1:], (*square, square[0])]))


@st.composite
def zones(draw: st.DrawFn, name: str, role: Role | None = None) -> ZoneText:
    role = role or draw(st.sampled_from(Role))
    is_box = draw(st.booleans())
    return ZoneText(
        name=name,
        role=role,
        box=draw(boxes()) if is_box else None,
        points=None if is_box else draw(corners()),
        budget=draw(st.none() | PERCENT) if role is Role.ALLOW else None,
        reference=draw(st.sampled_from([None, "neutral", "2014/white 9.5"])) if role is Role.PATCH else None,
        lightness=draw(st.none() | st.floats(1, 100)) if role is Role.PATCH else None,
    )


@st.composite
def several(draw: st.DrawFn, most: int = 4) -> list[ZoneText]:
    return [draw(zones(name)) for name in draw(st.lists(NAMES, unique=True, max_size=most))]


def facts_of(zone: ZoneText) -> dict[str, Value]:
    return {key: getattr(zone, key) for key in FACTS if getattr(zone, key) is not None}


def _number(draw: st.DrawFn, value: float) -> str:
    plain = spelled(value)
    spellings = [plain, f"{value!r}", f"{value:.17e}"]
    if 0.001 < value < 1:
        spellings += [f"{value!r}0", f"+{value!r}"]
    return draw(st.sampled_from(spellings))


def _value(draw: st.DrawFn, value: Value, note: str) -> list[str]:
    """Spell a value in one of the ways that people do, over one line or several."""
    if isinstance(value, str):
        literal = "'" not in value and value.isprintable()
        return [draw(st.sampled_from([f"'{value}'", spelled(value)])) if literal else spelled(value)]
    if isinstance(value, float):
        return [_number(draw, value)]
    inner = [_value(draw, one, note) for one in value]
    if any(len(lines) > 1 for lines in inner) or draw(st.booleans()):
        lines = ["["]
        for number, one in enumerate(inner):
            comma = "," if number + 1 < len(inner) or draw(st.booleans()) else ""
            lines += [*one[:-1], f"\t {one[-1]}{comma}{draw(st.sampled_from(['', f'  # {note} {number}']))}"]
        return [*lines, draw(st.sampled_from(["]", "  ]"]))]
    comma = draw(st.sampled_from([", ", ",", " , "]))
    return [f"[{comma.join(one[0] for one in inner)}{draw(st.sampled_from(['', ',', ' ']))}]"]


@st.composite
def pairs(draw: st.DrawFn, number: int, zone: ZoneText, *, plain: bool) -> list[Line]:
    """Return the lines of a zone's facts; `plain` is how they are written by us."""
    facts = list(facts_of(zone).items())
    found: list[Line] = []
    for key, value in draw(st.permutations(facts)):
        indent = draw(st.sampled_from(["", "  ", "\t"]))
        equals = draw(st.sampled_from([" = ", "=", " =\t"]))
        named = draw(st.sampled_from([key, f'"{key}"', f"'{key}'"]))
        if draw(st.booleans()):
            found.append(Line(said=f"{indent}# inside {number} above {key}", zone=number))
        lines = [spelled(value)] if plain else _value(draw, value, f"in {number} {key}")
        lines[0] = f"{indent}{named}{equals}{lines[0]}"
        lines[-1] += draw(st.sampled_from(["", f" # behind {number} {key}", f"#\u2028behind {number} {key} "]))
        found += [Line(said=line, zone=number, key=key) for line in lines]
    return found


def _gap(draw: st.DrawFn, where: str) -> list[Line]:
    blank, note = Line(said=draw(st.sampled_from(["", " ", "\t"]))), Line(said=f"# free {where} = [")
    return draw(st.sampled_from([[], [blank], [blank, note, blank], [note, blank, blank]]))


def _table(draw: st.DrawFn, number: int, role: Role) -> list[Line]:
    """Return a table of limits of the zone, under a header or empty."""
    bar = {Role.PROTECT: "highlights.headroom", Role.ALLOW: "highlights.intended_area", Role.PATCH: "cast.chroma"}
    if role not in bar or draw(st.booleans()):
        return []
    header = Line(said=f'  [zone.limits."{bar[role]}"] # of {number}', zone=number)
    return [header, Line(said="warn = 0.50 # bar", zone=number), *_gap(draw, f"below the bar of {number}")]


@st.composite
def sheets(draw: st.DrawFn, there: Sequence[ZoneText], *, plain: bool = False) -> list[Line]:
    """Return the lines of a sheet with these zones."""
    about = [Line(said="[set] # about"), Line(said="preset = 'loose'"), *_gap(draw, "behind the set")]
    first = draw(st.booleans())
    lines = [*_gap(draw, "at the top"), *(about if first else [])]
    for number, zone in enumerate(there):
        lines += _gap(draw, f"above {number}")
        lines += [Line(said=f"# glued to {number}", zone=number)] * draw(st.integers(0, 1))
        lines.append(Line(said=draw(st.sampled_from(["[[zone]]", "[[ 'zone' ]] # one"])), zone=number))
        lines += draw(pairs(number, zone, plain=plain))
        lines += _table(draw, number, Role(zone.role))
    return lines + ([] if first else about) + _gap(draw, "at the end")


def text_of(lines: Sequence[Line], end: str = "\n", last: str = "\n") -> str:
    return end.join(line.said for line in lines) + (last and end if lines else "")


@st.composite
def renamed(draw: st.DrawFn, old: Sequence[str]) -> list[str]:
    """Return new names for zones, all different; some keep theirs, some exchange them."""
    names = list(draw(st.permutations(old))) if draw(st.booleans()) else list(old)
    for number in range(len(names)):
        if draw(st.integers(0, 3)) == 0:
            names[number] = draw(NAMES.filter(lambda name: name not in names and name not in old))
    return names


@st.composite
def changed(draw: st.DrawFn, zone: ZoneText, name: str, *, roles: bool = True) -> ZoneText:
    """Return a zone with some facts changed; its role stays where it may have limits of that role."""
    fixed = not roles or zone.role in (Role.PROTECT, Role.ALLOW, Role.PATCH)
    new = draw(zones(name, Role(zone.role) if fixed else None))
    facts = draw(st.sets(st.sampled_from(["place", "budget", "reference", "lightness"])))
    kept: dict[str, object] = {} if "place" in facts else {"box": zone.box, "points": zone.points}
    if fixed:
        kept |= {key: getattr(zone, key) for key in ("budget", "reference", "lightness") if key not in facts}
    return replace(new, was=zone.name, **kept)  # type: ignore[arg-type] # facts by their names


@st.composite
def edits(draw: st.DrawFn, before: Sequence[ZoneText]) -> list[ZoneText]:
    """Return what any list of edits may make of zones: changed, renamed, removed and new ones."""
    left = [zone for zone in before if draw(st.integers(0, 3))]
    names = draw(renamed([zone.name for zone in left]))
    after = [
        draw(changed(zone, name)) if draw(st.booleans()) else replace(zone, was=zone.name, name=name)
        for zone, name in zip(left, names, strict=True)
    ]
    new = draw(st.lists(NAMES.filter(lambda name: name not in names), unique=True, max_size=2))
    return after + [draw(zones(name)) for name in new]
