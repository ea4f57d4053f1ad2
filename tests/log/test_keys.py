"""Keys say what a number or a verdict depends on: all of it, nothing else, the same in every process."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from qc.decode import MosaicHint
from qc.log.keys import Key, key_of, known_as, limits_digest, pair_known_as, stamp_of, stamp_text
from qc.reading import Alarm, Level, Preset, Rank
from qc.sheet.accepted import Acceptance
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role, Zone
from tests.log.made import content, stamp
from tests.sheet.toys import BURNT, LABEL, SPECS
from tests.show.results import SHEET

ACCEPTED = Acceptance(
    reading="burnt.area",
    zone="label",
    value=0.31,
    bar=0.4,
    was=0.2,
    capture="SB_0042.dng",
    at="2026-11-25T10:12:00.000+01:00",
)

ROOT = Path(__file__).parents[2]


def test_a_key_is_the_same_in_another_process_whatever_the_seed_of_its_hashes() -> None:
    code = (
        "from tests.log.test_keys import SHEET, SPECS, key_of, limits_digest\n"
        "print(key_of('blake2b:01', SHEET, SPECS), limits_digest(SHEET, None, SPECS))"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
        ).stdout.strip()
        for seed in ("0", "7")
    }
    assert said == {f"{key_of('blake2b:01', SHEET, SPECS)} {limits_digest(SHEET, None, SPECS)}"}


def test_the_order_in_which_measurements_are_named_does_not_matter() -> None:
    assert key_of("c", SHEET, SPECS) == key_of("c", SHEET, tuple(reversed(SPECS)))
    assert limits_digest(SHEET, None, SPECS) == limits_digest(SHEET, None, tuple(reversed(SPECS)))


@pytest.mark.parametrize(
    "sheet",
    [
        replace(SHEET, preset="strict", name="another", digest="blake2b:22", path="b.set.toml"),
        replace(SHEET, limits={"burnt.area": Preset(halt=5.0)}),
        replace(SHEET, zone_limits={"label": {"burnt.area": Preset(halt=5.0)}}),
        replace(SHEET, needs=("dark",), captures="SB*", baseline="SB_0001.dng"),
    ],
)
def test_what_is_only_judged_leaves_the_key_as_it_is(sheet: Sheet) -> None:
    assert key_of("c", sheet, SPECS) == key_of("c", SHEET, SPECS)


@pytest.mark.parametrize(
    "sheet",
    [
        replace(SHEET, zones=SHEET.zones[:1]),
        replace(SHEET, zones=SHEET.zones[::-1]),
        replace(SHEET, zones=(replace(LABEL, name="neck label"), *SHEET.zones[1:])),
        replace(SHEET, zones=(replace(LABEL, role=Role.SHARP), *SHEET.zones[1:])),
        replace(SHEET, zones=(replace(LABEL, points=((0.0, 0.0), (0.5, 0.0), (0.5, 0.5))), *SHEET.zones[1:])),
        replace(SHEET, zones=(replace(LABEL, reference="neutral"), *SHEET.zones[1:])),
        replace(SHEET, zones=(replace(LABEL, lightness=60.0), *SHEET.zones[1:])),
        replace(SHEET, magnification=0.1),
        replace(SHEET, flash_white=(0.34, 0.35)),
        replace(SHEET, circle_px=3.0),
        replace(SHEET, light="continuous"),
        replace(SHEET, sync_limit_s=1 / 200),
    ],
)
def test_what_a_measurement_may_know_is_part_of_the_key(sheet: Sheet) -> None:
    assert key_of("c", sheet, SPECS).zones != key_of("c", SHEET, SPECS).zones


def test_the_budget_of_a_zone_is_a_limit_and_measures_nothing_again() -> None:
    sheet = replace(SHEET, zones=(replace(LABEL, budget=0.5), *SHEET.zones[1:]))
    assert key_of("c", sheet, SPECS) == key_of("c", SHEET, SPECS)


def test_a_sheet_that_states_nothing_measurable_is_as_good_as_none() -> None:
    assert key_of("c", Sheet(name="bottles", preset="series"), SPECS) == key_of("c", None, SPECS)


def test_how_a_mosaic_is_read_is_part_of_the_key() -> None:
    keys = {
        key_of("c", None, SPECS, mosaic=hint) for hint in (None, MosaicHint(cfa="RGGB"), MosaicHint(cfa="GRBG"))
    }
    assert len(keys) == 3


def test_a_new_version_of_a_method_is_another_key() -> None:
    assert key_of("c", SHEET, [replace(BURNT, version=4)]).methods != key_of("c", SHEET, [BURNT]).methods


def test_the_baseline_is_part_of_the_key_only_where_a_measurement_depends_on_it() -> None:
    assert key_of("c", SHEET, SPECS, "blake2b:0b") == key_of("c", SHEET, SPECS)
    moved = [replace(BURNT, baseline=True)]
    assert key_of("c", SHEET, moved, "blake2b:0b") == replace(key_of("c", SHEET, moved), baseline="blake2b:0b")


def test_limits_are_known_by_their_numbers_and_by_where_they_come_from() -> None:
    own = replace(SHEET, preset=None, limits={"burnt.area": Preset(halt=5.0)})
    digests = [
        limits_digest(SHEET, None, SPECS),
        limits_digest(SHEET, "strict", SPECS),
        limits_digest(own, None, SPECS),
        limits_digest(replace(own, limits={"burnt.area": Preset(halt=5.5)}), None, SPECS),
        limits_digest(replace(own, limits={"burnt.area": Preset(warn=5.0)}), None, SPECS),
        limits_digest(None, None, SPECS),
        limits_digest(replace(SHEET, accepted=(ACCEPTED,)), None, SPECS),
        limits_digest(None, None, [replace(BURNT, alarms={"glint": Alarm(Level.NOTE, Rank.REST)})]),
    ]
    assert len(set(digests)) == len(digests)
    assert limits_digest(replace(SHEET, digest="blake2b:22"), "series", SPECS) == digests[0]


def test_a_file_that_could_not_be_read_is_known_by_path_and_state() -> None:
    known = [
        known_as(None, "SB_0001.dng", stamp(1)),
        known_as(None, "SB_0001.dng", stamp(2)),
        known_as(None, "SB_0002.dng", stamp(1)),
        known_as(None, "SB_0001.dng", None),
        known_as(None, "SB_\udcff.dng", None),
    ]
    assert len(set(known)) == len(known)
    assert all(one.startswith("unread:") for one in known)
    assert known_as(content(1), "SB_0001.dng", stamp(1)) == content(1)


def test_a_pair_is_known_by_both_frames_in_their_places() -> None:
    assert len({pair_known_as("a", "b"), pair_known_as("b", "a"), pair_known_as("ab", "")}) == 3


def test_a_stamp_comes_back_whole_whatever_number_the_disk_gives_its_files() -> None:
    far = replace(stamp(1), inode=2**64 - 1, mtime_ns=-1)
    assert stamp_of(stamp_text(far)) == far
    assert stamp_of(stamp_text(None)) is None


def test_a_zone_with_a_name_in_any_script_has_a_key() -> None:
    zone = Zone.from_box("Étikett – 標", "protect", (0.1, 0.1, 0.2, 0.2))
    assert isinstance(key_of(None, Sheet(zones=(zone,)), SPECS), Key)
