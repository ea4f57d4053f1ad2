"""Ambient light: how far under the flash everything else is, where, what colour, and what to do.

`arrange` tells lit from dark frames; `SPEC` then measures the lit one with the others as companions. The
arithmetic is in `light`, colour in `colour`, mirrored things in `structure`, words in
`source`, `says` and `advice`.

A rendered file is refused: its tone curve bends the deep shadows, where ambient light lies, by an unknown amount
that is larger than what is to be told apart, and black is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from qc.errors import UsageError
from qc.frame import Frame
from qc.measure._tiles import grid
from qc.measure.ambient import readings as make
from qc.measure.ambient import says
from qc.measure.ambient.bright import with_bright_doubt
from qc.measure.ambient.colour import Hue, Ratio, flash_neutral, hue, shift
from qc.measure.ambient.fired import like_flash
from qc.measure.ambient.light import Light
from qc.measure.ambient.pair import Arrangement, arrange, check_comparable
from qc.measure.ambient.prepare import Prepared, equal_light, prepare
from qc.measure.ambient.source import mirrored_findings, source_findings, worst_place
from qc.measure.ambient.spec import ALARMS, FINDINGS, READINGS, REASONS, ZONES
from qc.measure.ambient.structure import structure
from qc.measure.ambient.tiles import Tiles
from qc.reading import Finding, Measured, Rank, Reading, Reason, Spec, TileMap
from qc.sheet.brief import Brief
from qc.sheet.zones import Zone, with_role

__all__ = ["SPEC", "Arrangement", "arrange", "measure"]

FEWEST_CELLS = 16
"""Cells that a zone must have."""

ENOUGH_BRIGHT = 0.01
"""Part of the usable tiles that must count for colour: a few glints do not speak for the room."""

OVER_FLOOR = 10.0
"""A tile counts for colour where its ambient light exceeds this many times its ±."""


def measure(frame: Frame, *, zones: Sequence[Zone], brief: Brief, companions: Sequence[Frame]) -> Measured:
    """Measure the ambient light of a lit frame.

    Parameters
    ----------
    frame : Frame
        With flash.
    zones : sequence of Zone
        Those with a role in `ZONES` are measured.
    brief : Brief
        Kind of light, the flash's white, the sync limit.
    companions : sequence of Frame
        Frames without flash, at least one, and further frames with flash, in any order.

    Returns
    -------
    Measured
        Every reading of `SPEC`, for the frame and for zones; maps ``ambient.stops_under`` and
        ``ambient.colour_shift``; regions ``"ambient"`` for mirrored things.

    Raises
    ------
    UsageError
        Without companions, or with ones that cannot be compared.
    """
    if not companions:
        raise UsageError("the ambient test needs a dark frame: the same picture with the flash trigger off")
    for companion in companions:
        check_comparable(frame, companion, "the lit frame")
    measured_zones = with_role(zones, *ZONES)
    if brief.light == "continuous":
        return _refused(Reason("continuous_light", REASONS["continuous_light"]), measured_zones)
    if min(frame.cells.shape[1:]) < 4:
        return _refused(Reason("too_small", "the frame has fewer than 4 × 4 cells"), measured_zones)
    prepared = prepare(frame, companions)
    if isinstance(prepared, Reason):
        return _refused(prepared, measured_zones)
    return _Test(prepared, measured_zones, brief).run()


class _Test:
    """One ambient test while it is being measured."""

    def __init__(self, prepared: Prepared, zones: tuple[Zone, ...], brief: Brief) -> None:
        self.prepared, self.zones, self.brief = prepared, zones, brief
        self.pair = prepared.pair
        self.tiles = prepared.tiles
        self.shape = (self.tiles.cells.shape[0], self.tiles.cells.shape[1])
        self.where = self.tiles.usable(self.pair.colour)
        self.neutral = flash_neutral(self.pair.lit.colour, brief.flash_white, len(self.pair.lit.colours))

    def run(self) -> Measured:
        findings = list(self.prepared.findings)
        equal = equal_light(self.pair, self.tiles)
        if equal is not None:
            findings.append(equal.finding)
            if equal.useless:
                refused = _refused(Reason(equal.finding.code, equal.finding.text), self.zones)
                return replace(refused, findings=tuple(findings))
        elif (fired := like_flash(self.pair, self.tiles, self.neutral)) is not None:
            findings.append(fired)
        if not self.where.any():
            return replace(_refused(self._why_unusable(self.tiles), self.zones), findings=tuple(findings))
        found, spread = says.dark_findings(self.pair, self.where, self.shape)
        self.pair = replace(self.pair, doubt=self.pair.doubt + spread / 2)
        repeats, spread_of_flash = says.repeatability(self.pair, self.tiles, self.prepared.further)
        findings += found + repeats
        return self._measured(findings, make.flash_spread(spread_of_flash))

    def _measured(self, findings: list[Finding], flash_spread: Reading) -> Measured:
        groups = self._groups()
        whole = self._light(None, self.tiles, self.where)
        mirrored = structure(self.pair, self.prepared.fine, self.zones)
        readings = self._place(None, whole, self.tiles, groups, np.ones(self.shape, dtype=bool))
        readings.append(
            make.structured(mirrored, stated=self.pair.stated, clipped=any(d.clip.any() for d in self.pair.darks))
        )
        readings.append(flash_spread)
        lights: dict[str, Light] = {}
        for zone in self.zones:
            readings += self._zone(zone, groups, lights)
        if not {"flash_in_dark", "dark_like_flash"} & {finding.code for finding in findings}:
            # what is flash is not spoken of as the room's light
            findings += source_findings(self.pair, self.tiles, self.where, lights, self._hue)
            findings += worst_place(self.pair, groups, whole, self.zones)
            findings += mirrored_findings(self.pair, mirrored, self.neutral, self._hue)
            findings += says.prediction(whole, self.pair, self.brief.sync_limit_s)
        return Measured(
            readings=tuple(readings),
            findings=tuple(findings),
            regions=mirrored.regions if mirrored else (),
            maps=self._maps(groups),
        )

    def _light(self, zone: Zone | None, tiles: Tiles, where: NDArray[np.bool_]) -> Light:
        light = self.pair.light(tiles, where)
        return with_bright_doubt(light, self.pair, zone, float(tiles.cells[where].sum()))

    def _hue(self, ratio: Ratio) -> Hue | Reason:
        return hue(ratio, self.pair.lit.colour, self.neutral, self.brief.flash_white)

    def _groups(self) -> make.Groups:
        colour = self.pair.colour
        light, enough = self.pair.groups(self.tiles, self.where)
        seen = enough & make.visible(light, colour)
        every = np.logical_and.reduce([self.tiles.usable(c) for c in range(len(self.tiles.lit))])
        shifts, errors = np.full(self.shape, np.nan), np.full(self.shape, np.nan)
        none = self.neutral if isinstance(self.neutral, Reason) else None
        if none is None and not isinstance(self.neutral, Reason) and every.any():
            at = Ratio.of(light)
            flat = Ratio(at.value[:, every], at.error[:, every], at.black[:, every])
            answer = shift(flat, self.pair.lit.colour, self.neutral)
            if isinstance(answer, Reason):
                none = answer
            else:
                shifts[every], errors[every] = answer
        return make.Groups(light, seen, seen & every, shifts if none is None else none, errors)

    def _zone(self, zone: Zone, groups: make.Groups, lights: dict[str, Light]) -> list[Reading]:
        rows, columns = self.pair.lit.cells.shape[1:]
        window = zone.window((rows, columns), self.pair.lit.orientation)
        size = (window[0].stop - window[0].start, window[1].stop - window[1].start)
        inside = int(zone.mask_in_window((rows, columns), self.pair.lit.orientation).sum())
        if inside < FEWEST_CELLS:
            reason = (
                Reason("too_small", f"the zone has {inside} cells")
                if inside
                else Reason("outside_frame", "no part of the zone lies in the frame")
            )
            return _zone_refused(zone, reason)
        side = max(rows, columns) / max(self.shape)
        tiles = self.pair.tiles(grid(size, long_side=max(1, round(max(size) / side)), smallest=1), zone)
        where = tiles.usable(self.pair.colour)
        if not where.any():
            return _zone_refused(zone, self._why_unusable(tiles))
        lights[zone.name] = self._light(zone, tiles, where)
        return self._place(
            zone, lights[zone.name], tiles, groups, zone.mask(self.shape, self.pair.lit.orientation)
        )

    def _place(
        self, zone: Zone | None, light: Light, tiles: Tiles, groups: make.Groups, held: NDArray[np.bool_]
    ) -> list[Reading]:
        """Return every reading but structure, of the frame or of a zone that holds some of the groups."""
        pair, name = self.pair, zone.name if zone else None
        return [
            *make.pooled(light, pair.colour, name, stated=pair.stated),
            self._worst(light, groups, held & groups.where, name),
            self._shift(light, groups, held & groups.coloured, name),
            *make.coloured(self._hue_of_bright(tiles), name, stated=pair.stated),
        ]

    def _worst(self, light: Light, groups: make.Groups, where: NDArray[np.bool_], zone: str | None) -> Reading:
        name, colour, stated = "ambient.worst_stops_under", self.pair.colour, self.pair.stated
        if where.any():
            return make.worst(groups.light, colour, where, zone, stated=stated)
        if zone is None or not make.visible(light, colour):
            return make.missing(name, zone, Reason("too_dark", "nothing usable is above L* 10 in the lit frame"))
        one = _as_group(light)
        return make.worst(one, colour, np.ones((1, 1), dtype=bool), zone, stated=stated)

    def _shift(self, light: Light, groups: make.Groups, where: NDArray[np.bool_], zone: str | None) -> Reading:
        name, stated = "ambient.colour_shift", self.pair.stated
        if isinstance(groups.shift, Reason):
            return make.missing(name, zone, groups.shift)
        if where.any():
            return make.worst_shift(groups.shift, groups.shift_pm, where, zone, stated=stated)
        if zone is None or not make.visible(light, self.pair.colour) or light.flash.min() <= 0:
            text = "nothing above L* 10 in the lit frame is usable in every colour"
            return make.missing(name, zone, Reason("too_dark", text))
        assert not isinstance(self.neutral, Reason)
        answer = shift(Ratio.of(_as_group(light)).flat(), self.pair.lit.colour, self.neutral)
        if isinstance(answer, Reason):
            return make.missing(name, zone, answer)
        return make.worst_shift(answer[0], answer[1], np.ones(1, dtype=bool), zone, stated=stated)

    def _hue_of_bright(self, tiles: Tiles) -> Hue | Reason:
        """Colour of the ambient light over the tiles in which it is well above the floor."""
        pair, colour = self.pair, self.pair.colour
        error = 2.0 * np.hypot(np.sqrt(tiles.dark_variance[colour]), pair.black_error)
        bright = tiles.usable(colour) & (tiles.dark[colour] > OVER_FLOOR * error)
        if bright.sum() < max(1.0, ENOUGH_BRIGHT * tiles.usable(colour).sum()):
            return Reason("at_floor", "too little ambient light to tell its colour")
        light = pair.light(tiles, bright)
        if light.flash.min() <= 0:
            return Reason("too_dark", "the flash does not stand clear of the noise in every colour")
        return self._hue(Ratio.of(light))

    def _why_unusable(self, tiles: Tiles) -> Reason:
        if not tiles.open().any():
            return Reason("clipped", "every cell is clipped in one of the frames")
        return Reason("too_dark", "the light of the flash does not stand clear of the noise anywhere")

    def _maps(self, groups: make.Groups) -> tuple[TileMap, ...]:
        units = {spec.name: spec.unit for spec in READINGS}
        each = self.pair.each(self.tiles)
        stops = np.where(self.where, each.stops()[self.pair.colour], np.nan).astype(np.float32)
        maps = [TileMap(name="ambient.stops_under", unit=units["ambient.stops_under"], values=stops)]
        if not isinstance(groups.shift, Reason):
            values = groups.shift.astype(np.float32)
            maps.append(
                TileMap(name="ambient.colour_shift", unit=units["ambient.colour_shift"], values=values, low=0.0)
            )
        return tuple(maps)


def _as_group(light: Light) -> Light:
    """One place as a picture of one group."""
    return replace(
        light,
        flash=light.flash.reshape(-1, 1, 1),
        ambient=light.ambient.reshape(-1, 1, 1),
        flash_error=light.flash_error.reshape(-1, 1, 1),
        ambient_error=light.ambient_error.reshape(-1, 1, 1),
    )


def _refused(reason: Reason, zones: Sequence[Zone]) -> Measured:
    readings = [make.missing(spec.name, None, reason) for spec in READINGS]
    for zone in zones:
        readings += _zone_refused(zone, reason)
    return Measured(readings=tuple(readings))


def _zone_refused(zone: Zone, reason: Reason) -> list[Reading]:
    return [make.missing(spec.name, zone.name, reason) for spec in READINGS if zone.role in spec.per_zone]


SPEC = Spec(
    name="ambient",
    version=2,
    measure=measure,
    readings=READINGS,
    findings=FINDINGS,
    reasons=REASONS,
    kinds=frozenset({"mosaic", "linear"}),
    companions=True,
    alarms=ALARMS,
    rank=Rank.COLOUR,
    drawing="tiles",
)
