"""What people said of captures: a pure fold over the events, in which what was taken back had never been."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from qc.event import Event
from qc.series.entry import Purpose
from qc.sheet.limits import Place

ACTS = ("role", "answered", "accepted")
"""Kinds of events by which a person says something of a capture; ``undone`` takes one back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What people said, as it holds now.

    Attributes
    ----------
    purposes : mapping of str to Purpose
        The role of each capture that was given one, by content.
    answered : mapping of str to frozenset of (reading or code, zone)
        Causes that were answered for their capture only, by content.
    accepted : mapping of str to frozenset of (reading or code, zone)
        Causes that were accepted at their capture, by content: a limit was raised, or allows it already.
    acts : tuple of (int, Event)
        Roles, answers and acceptances that were not taken back, oldest first: the last one is what would be
        undone next.
    """

    purposes: Mapping[str, Purpose] = field(default_factory=dict)
    answered: Mapping[str, frozenset[Place]] = field(default_factory=dict)
    accepted: Mapping[str, frozenset[Place]] = field(default_factory=dict)
    acts: tuple[tuple[int, Event], ...] = ()

    @property
    def contents(self) -> set[str]:
        """The captures that something was said of."""
        return {*self.purposes, *self.answered, *self.accepted}

    def of(self, content: str) -> dict[str, Any]:
        """Return what was said of a capture, as fields of its `qc.series.entry.Entry`."""
        return {
            "purpose": self.purposes.get(content),
            "answered": self.answered.get(content, frozenset()),
            "accepted": self.accepted.get(content, frozenset()),
        }


def said(events: Iterable[tuple[int, Event]]) -> Said:
    """Fold events with their numbers, in any order, into what holds now.

    A later role of a capture stands over an earlier one, and a role of None takes it away; an acceptance settles
    its cause on the capture it was made at. What an ``undone`` event names counts as if it had not been; an
    ``undone`` can itself be undone.
    """
    acts = _standing(events)
    purposes: dict[str, Purpose | None] = {}
    settled: dict[str, dict[str, set[Place]]] = {kind: defaultdict(set) for kind in ("answered", "accepted")}
    for _, event in acts:
        if event.content is None:
            continue
        if event.kind == "role":
            purpose = event.data["purpose"]
            purposes[event.content] = None if purpose is None else Purpose(purpose)
        else:
            kind = "accepted" if event.data.get("intended") else event.kind
            settled[kind][event.content].add((event.data["reading"], event.data.get("zone")))
    return Said(
        purposes={content: purpose for content, purpose in purposes.items() if purpose is not None},
        answered=_frozen(settled["answered"]),
        accepted=_frozen(settled["accepted"]),
        acts=acts,
    )


def _frozen(settled: Mapping[str, set[Place]]) -> dict[str, frozenset[Place]]:
    return {content: frozenset(places) for content, places in settled.items()}


def _standing(events: Iterable[tuple[int, Event]]) -> tuple[tuple[int, Event], ...]:
    undone: set[int] = set()
    standing = []
    for number, event in sorted(events, key=lambda one: one[0], reverse=True):  # an undoing comes after its act
        if number in undone:
            continue
        if event.kind == "undone":
            undone.add(int(event.data["of"]))
        elif event.kind in ACTS:
            standing.append((number, event))
    return tuple(reversed(standing))
