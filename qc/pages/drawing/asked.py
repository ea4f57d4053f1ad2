"""What the page of drawing may send: checked here, and nowhere else."""

from __future__ import annotations

from typing import Annotated, Final, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from qc.reading import Box
from qc.sheet.edit import ZoneText
from qc.sheet.model import SLACK
from qc.sheet.zones import Role, Zone

MOST_ZONES: Final = 200
MOST_CORNERS: Final = 400
LONGEST: Final = 200
LONGEST_TAB: Final = 40
"""Most zones of a page, corners of a zone, signs of a name, signs of what a tab calls itself. Our own
choice, far beyond what is drawn by hand."""

Place = Annotated[float, Field(ge=-SLACK, le=1 + SLACK, allow_inf_nan=False)]
Number = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
Text = Annotated[str, Field(max_length=LONGEST)]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class DrawnZone(_Body):
    """A zone as it is drawn; places are fractions of the upright picture."""

    was: Text | None = None
    name: Text
    role: Role
    box: tuple[Place, Place, Place, Place] | None = None
    points: Annotated[tuple[tuple[Place, Place], ...], Field(min_length=3, max_length=MOST_CORNERS)] | None = None
    budget: Number | None = None
    reference: Text | None = None
    lightness: Number | None = None

    @model_validator(mode="after")
    def _one_place(self) -> DrawnZone:
        if (self.box is None) == (self.points is None):
            raise ValueError("a zone has either a box or points")
        return self

    def text(self) -> ZoneText:
        """Return it as it is to stand in a sheet."""
        facts = {name: getattr(self, name) for name in DrawnZone.model_fields}
        return ZoneText(**facts)

    def zone(self, name: str) -> Zone:
        """Return it as it is measured, under the given name; what its role has no use for is left aside."""
        allow, patch = self.role is Role.ALLOW, self.role is Role.PATCH
        return Zone(
            name=name,
            role=self.role,
            points=self.points or _corners(self.box or (0.0, 0.0, 0.0, 0.0)),
            budget=self.budget if allow else None,
            reference=self.reference or None if patch else None,
            lightness=self.lightness or None if patch else None,
        )


class SeenZone(DrawnZone):
    """A zone as the page saw it in the sheet; `limits` as it was told of them (`qc.pages.drawing.target`)."""

    limits: Text = ""


class Measure(_Body):
    """Body of ``/measure``; `tab` tells pages apart, so that they do not overtake each other."""

    zone: DrawnZone
    others: Annotated[tuple[DrawnZone, ...], Field(max_length=MOST_ZONES)] = ()
    rest: bool = False
    tab: Annotated[str, Field(max_length=LONGEST_TAB)] = ""


class Save(_Body):
    """Body of ``/save``: the zones, and those that the page saw in the sheet last, as it was told of them."""

    zones: Annotated[tuple[DrawnZone, ...], Field(max_length=MOST_ZONES)]
    seen: Annotated[tuple[SeenZone, ...], Field(max_length=MOST_ZONES)]


class Done(_Body):
    """Body of ``/done``."""


Body = TypeVar("Body", bound=_Body)


def parsed(body: bytes, model: type[Body]) -> Body | str:
    """Return a body of the page as `model`, or in words why it is none."""
    try:
        return model.model_validate_json(body)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(map(str, first["loc"]))
        return f"{where}: {first['msg']}" if where else first["msg"]


def _corners(box: Box) -> tuple[tuple[float, float], ...]:
    return Zone.from_box("", Role.WITNESS, box).points
