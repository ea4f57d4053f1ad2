from __future__ import annotations

from qc.reading import Preset
from qc.sheet.limits import Limit, resolve
from qc.sheet.sheet import Sheet
from tests.sheet.toys import LABEL, NECK, SPECS

ZONES = (LABEL, NECK)


def test_without_sheet_and_preset_nothing_has_a_limit() -> None:
    assert resolve(SPECS, None) == {}


def test_a_sheet_that_names_no_limits_and_no_preset_limits_nothing() -> None:
    assert resolve(SPECS, Sheet(zones=ZONES)) == {}


def test_a_preset_alone_holds_for_the_frame_and_says_where_it_comes_from() -> None:
    assert resolve(SPECS, None, "series") == {
        ("burnt.area", None): Limit(Preset(warn=2.0), "preset series"),
        ("tint.under", None): Limit(Preset(warn=6.0), "preset series"),
        ("tint.shift", None): Limit(Preset(warn=5.0), "preset series"),
    }


def test_a_preset_holds_in_the_zones_whose_role_the_reading_names() -> None:
    limits = resolve(SPECS, Sheet(preset="series", zones=ZONES))
    assert limits["burnt.area", "label"] == Limit(Preset(note=0.01, warn=0.05, halt=0.2), "preset series")
    assert limits["blur.width", "neck"].values.warn == 1.5


def test_a_limit_for_the_frame_never_falls_onto_a_zone() -> None:
    sheet = Sheet(preset="series", zones=ZONES, limits={"burnt.area": Preset(halt=9.0)})
    limits = resolve(SPECS, sheet)
    assert limits["burnt.area", None] == Limit(Preset(halt=9.0), "sheet")
    assert limits["burnt.area", "label"].origin == "preset series"
    assert ("burnt.area", "neck") not in limits
    assert ("tint.under", "label") not in limits


def test_a_limit_of_a_reading_that_the_frame_does_not_have_is_for_its_zones() -> None:
    limits = resolve(SPECS, Sheet(zones=ZONES, limits={"blur.width": Preset(warn=3.0)}))
    assert limits == {("blur.width", "neck"): Limit(Preset(warn=3.0), "sheet")}


def test_a_zone_goes_before_the_sheet_and_the_sheet_before_the_preset() -> None:
    sheet = Sheet(
        preset="series",
        zones=ZONES,
        limits={"blur.width": Preset(warn=3.0)},
        zone_limits={"neck": {"blur.width": Preset(halt=4.0), "burnt.area": Preset(warn=1.0)}},
    )
    limits = resolve(SPECS, sheet)
    assert limits["blur.width", "neck"] == Limit(Preset(halt=4.0), "sheet, zone neck")
    assert limits["burnt.area", "neck"] == Limit(Preset(warn=1.0), "sheet, zone neck")


def test_a_table_of_the_sheet_replaces_the_whole_table_of_the_preset() -> None:
    limits = resolve(SPECS, Sheet(preset="series", limits={"tint.shift": Preset(halt=20.0)}))
    assert limits["tint.shift", None].values == Preset(halt=20.0)


def test_an_empty_table_takes_the_limits_away() -> None:
    limits = resolve(SPECS, Sheet(preset="series", limits={"tint.shift": Preset()}))
    assert ("tint.shift", None) not in limits


def test_a_limit_of_0_is_a_limit() -> None:
    limits = resolve(SPECS, Sheet(zones=ZONES), "strict")
    assert limits["burnt.area", "label"].values == Preset(halt=0.0)


def test_the_preset_of_the_call_goes_before_that_of_the_sheet() -> None:
    limits = resolve(SPECS, Sheet(preset="series", zones=ZONES), "strict")
    assert {limit.origin for limit in limits.values()} == {"preset strict"}
