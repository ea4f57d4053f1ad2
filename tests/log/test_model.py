"""Whatever is added, again, under other names, by other limits or zones: the log ends as a plain dict would."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from qc.event import Event
from qc.log.log import Log
from qc.log.rows import Captured
from qc.log.said import said
from qc.reading import Level
from qc.result import Verdict
from qc.series.entry import Purpose
from tests.log.made import captured, content, key, stamp
from tests.log.test_log import at
from tests.sheet.toys import SPECS

LEVELS = (Level.CLEAR, Level.WARN, Level.HALT)


@dataclass(frozen=True)
class Add:
    number: int
    path: str
    state: int
    zones: int
    limits: int


@dataclass(frozen=True)
class Say:
    number: int
    purpose: Purpose | None


@dataclass(frozen=True)
class Undo:
    back: int


@dataclass(frozen=True)
class Reopen:
    pass


FEW = st.integers(0, 2)
ADDS = st.builds(Add, FEW, st.sampled_from(["a.dng", "b\udcff.dng", "sub/a.dng"]), FEW, FEW, FEW)
SAYS = st.builds(Say, FEW, st.none() | st.sampled_from(Purpose))
STEPS = st.lists(ADDS | SAYS | st.builds(Undo, FEW) | st.builds(Reopen), max_size=25)


@dataclass
class Model:
    arrivals: dict[tuple[str, int, str], None] = field(default_factory=dict)
    measured: set[tuple[str, int]] = field(default_factory=set)
    verdicts: dict[tuple[str, int, int], Level] = field(default_factory=dict)
    current: dict[str, tuple[int, int]] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    def add(self, step: Add, level: Level, event: Event) -> None:
        known = content(step.number)
        before = (len(self.arrivals), len(self.measured), self.current.get(known))
        self.arrivals.setdefault((step.path, step.state, known))
        self.measured.add((known, step.zones))
        self.verdicts.setdefault((known, step.zones, step.limits), level)
        self.current[known] = (step.zones, step.limits)
        if before != (len(self.arrivals), len(self.measured), self.current[known]):
            self.events.append(event)

    def level(self, known: str) -> Level:
        return self.verdicts[(known, *self.current[known])]

    def standing(self) -> set[str]:
        return set({path: known for path, _, known in self.arrivals}.values())

    def first_arrivals(self) -> list[str]:
        return list(dict.fromkeys(known for _, _, known in self.arrivals))


def capture_of(step: Add, level: Level, event: Event) -> Captured:
    one = captured(step.number, step.path.rpartition("/")[2], path=step.path)
    return replace(
        one,
        result=replace(one.result, verdict=Verdict(level=level)),
        stamp=stamp(step.state) if step.state else None,
        key=key(step.number, zones=f"blake2b:{step.zones}"),
        limits=f"blake2b:{step.limits}",
        events=(event,),
    )


def check(log: Log, model: Model) -> None:
    assert log.arrivals() == [
        (path, stamp(state) if state else None, known) for path, state, known in model.arrivals
    ]
    assert [event for _, event in log.events()] == model.events
    standing = model.standing()
    assert [(c.content, c.result.verdict.level, c.replaced) for c in log.captures()] == [
        (known, model.level(known), known not in standing) for known in model.first_arrivals()
    ]
    purposes = said(list(enumerate(model.events, 1))).purposes
    assert [(e.content, e.purpose) for e in log.entries(SPECS)] == [
        (known, purposes.get(known)) for known in model.first_arrivals() if known in standing
    ]
    for number in range(3):
        known = content(number)
        assert log.by_content(known) == list(dict.fromkeys(p for p, _, c in model.arrivals if c == known))
        for zones in range(3):
            found = log.measured(key(number, zones=f"blake2b:{zones}"))
            assert (found is not None) == ((known, zones) in model.measured)


@settings(max_examples=60, deadline=None)
@given(STEPS)
def test_any_sequence_ends_as_a_plain_dict_would(steps: list[Add | Say | Undo | Reopen]) -> None:
    model = Model()
    with tempfile.TemporaryDirectory() as folder:
        log = Log.open(Path(folder) / "day.qc")
        for number, step in enumerate(steps):
            event = at(f"step {number}")
            if isinstance(step, Add):
                level = LEVELS[number % 3]
                log.add(capture_of(step, level, event))
                model.add(step, level, event)
            elif isinstance(step, Reopen):
                log.close()
                log = Log.open(Path(folder) / "day.qc")
            else:
                spoken = _spoken(step, len(model.events))
                assert log.event(spoken) == len(model.events) + 1
                model.events.append(spoken)
        check(log, model)
        log.close()


def _spoken(step: Say | Undo, so_far: int) -> Event:
    if isinstance(step, Undo):
        return at("taken back", "undone", data={"of": max(1, so_far - step.back)})
    return at("a role", "role", content=content(step.number), data={"purpose": step.purpose})
