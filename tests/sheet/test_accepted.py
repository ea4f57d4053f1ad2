"""What an acceptance widens, and how it is kept."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.errors import SheetError
from qc.judge import passed
from qc.measure import specs
from qc.reading import Level, Preset, ReadingSpec, Worse
from qc.sheet.accepted import Acceptance, accepted_path, bar_for, spoken_bar, widened
from qc.sheet.accepted_file import parse_accepted, read_accepted, with_accepted, without_accepted
from qc.sheet.limits import Limit, resolve
from qc.sheet.sheet import Sheet
from tests.sheet.toys import LABEL, NECK, SPECS, reading_spec

AT = "2026-11-25T10:12:03.250+01:00"


def accepted(value: float = 0.7, bar: float = 0.77, **more: object) -> Acceptance:
    facts: dict[str, object] = {"reading": "burnt.area", "zone": "label", "was": 0.2, "content": "blake2b:42"}
    facts |= {"value": value, "bar": bar, "capture": "SB_0042.dng", "at": AT} | more
    return Acceptance(**facts)  # type: ignore[arg-type]  # a test names any field


REAL = accepted(reading="highlights.unintended_area")


# how far


@pytest.mark.parametrize(
    ("value", "worse", "decimals", "bar"),
    [
        (0.70, "high", 2, 0.77),
        (0.7123, "high", 2, 0.79),  # 0.78353, rounded outward
        (0.03, "high", 2, 0.04),  # a tenth is less than one unit of the last decimal
        (0.0, "high", 2, 0.01),
        (3.8, "low", 1, 3.4),  # 3.42, rounded outward
        (0.0, "low", 1, -0.1),
        (0.05, "low", 1, -0.1),
        (-7.0, "either", 0, 8.0),
        (50.0, "either", 0, 55.0),
        (-1.0, "high", 1, -0.9),
    ],
)
def test_the_bar_lies_a_tenth_beyond_the_value_and_at_least_one_unit_of_the_last_decimal(
    value: float, worse: Worse, decimals: int, bar: float
) -> None:
    assert bar_for(value, reading_spec("a.b", worse=worse, decimals=decimals)) == bar


# what it moves


@pytest.mark.parametrize(
    ("limit", "value", "bar", "worse", "after", "moved"),
    [
        (
            Preset(note=0.1, warn=0.5, halt=2.0),
            0.7,
            0.77,
            "high",
            Preset(note=0.77, warn=0.77, halt=2.0),
            "note warn",
        ),
        (Preset(note=0.1, warn=0.5, halt=2.0), 0.3, 0.33, "high", Preset(note=0.33, warn=0.5, halt=2.0), "note"),
        (Preset(note=0.1, warn=0.5, halt=2.0), 3.0, 3.3, "high", Preset(note=3.3, warn=3.3, halt=3.3), "all"),
        (Preset(warn=0.5, halt=0.72), 0.7, 0.77, "high", Preset(warn=0.72, halt=0.72), "warn"),
        (Preset(note=6.6, warn=5.6, halt=4.3), 5.0, 4.5, "low", Preset(note=4.5, warn=4.5, halt=4.3), "note warn"),
        (Preset(note=6.6, warn=5.6, halt=4.3), 4.4, 3.9, "low", Preset(note=4.3, warn=4.3, halt=4.3), "note warn"),
        (Preset(warn=5.0, halt=20.0), -8.0, 9.0, "either", Preset(warn=9.0, halt=20.0), "warn"),
        (Preset(halt=2.0), 1.0, 1.1, "high", Preset(halt=2.0), ""),
        (Preset(note=1.0, warn=3.0), 2.0, 2.2, "high", Preset(note=2.2, warn=3.0), "note"),
    ],
)
def test_bars_that_the_value_passed_move_and_those_it_keeps_within_stay(
    limit: Preset, value: float, bar: float, worse: Worse, after: Preset, moved: str
) -> None:
    severities = "note warn halt" if moved == "all" else moved
    assert widened(limit, accepted(value, bar), worse) == (after, frozenset(map(Level, severities.split())))


BARS = st.floats(-50, 50).map(lambda x: round(x, 2))


@given(st.lists(BARS, min_size=3, max_size=3), BARS, st.sampled_from(["high", "low", "either"]), BARS)
def test_the_accepted_value_passes_nothing_afterwards_and_no_other_value_fares_worse(
    bars: list[float], value: float, worse: Worse, other: float
) -> None:
    if worse == "either":
        bars = [abs(bar) for bar in bars]
    note, warn, halt = sorted(bars, reverse=worse == "low")
    limit = Preset(note=note, warn=warn, halt=halt)
    acceptance = accepted(value, bar_for(value, reading_spec("a.b", worse=worse)))
    after, moved = widened(limit, acceptance, worse)
    assert passed(value, after, worse) is None
    assert rank(passed(other, after, worse)) <= rank(passed(other, limit, worse))
    values = [after.note, after.warn, after.halt]
    assert values == sorted(values, key=lambda v: v or 0.0, reverse=worse == "low")
    assert (after == limit) == (not moved)


def rank(over: tuple[Level, float] | None) -> int:
    return 0 if over is None else [Level.NOTE, Level.WARN, Level.HALT].index(over[0]) + 1


# how it is said

EITHER = reading_spec("a.b", worse="either", decimals=0, phrase="warm by {value} mired")
COOL = replace(EITHER, phrase_below="cool by {value} mired")
UNDER = replace(
    reading_spec("a.b", worse="low", decimals=1, phrase="{value} {stops} under the flash"),
    phrase_below="{value} {stops} brighter than the flash",
)
AREA = reading_spec("a.b", worse="high", phrase="burnt {value} %")


@pytest.mark.parametrize(
    ("spec", "value", "zone", "said"),
    [
        (AREA, 0.7, "label", "label burnt up to 0.77 %"),
        (AREA, 0.7, None, "burnt up to 0.77 %"),
        (UNDER, 3.8, "label", "label down to 3.4 stops under the flash"),
        (UNDER, 1.1, None, "down to 0.9 stop under the flash"),
        (UNDER, 0.05, None, "up to 0.1 stop brighter than the flash"),
        (UNDER, -2.0, None, "up to 2.2 stops brighter than the flash"),
        (COOL, 7.0, None, "warm by up to 8 mired either way"),
        (COOL, -7.0, None, "cool by up to 8 mired either way"),
        (EITHER, -7.0, None, "warm by up to 8 mired either way"),
    ],
)
def test_what_is_accepted_is_said_as_a_photographer_would(
    spec: ReadingSpec, value: float, zone: str | None, said: str
) -> None:
    assert spoken_bar(accepted(value, bar_for(value, spec), zone=zone), spec) == said


@pytest.mark.parametrize("spec", [r for spec in specs() for r in spec.readings if r.worse], ids=lambda r: r.name)
@pytest.mark.parametrize("value", [0.7, -0.7, 0.0])
def test_every_reading_that_may_have_a_limit_can_be_said(spec: ReadingSpec, value: float) -> None:
    said = spoken_bar(accepted(value, bar_for(value, spec)), spec)
    assert "label" in said
    assert " to " in said
    assert "{" not in said


# where it holds


def test_an_acceptance_holds_for_its_reading_at_its_place_only_and_says_so() -> None:
    sheet = Sheet(preset="series", zones=(LABEL, NECK))
    before, after = (
        resolve(SPECS, sheet),
        resolve(SPECS, Sheet(preset="series", zones=(LABEL, NECK), accepted=(accepted(),))),
    )
    place = ("burnt.area", "label")
    assert {p: limit for p, limit in after.items() if p != place} == {
        p: x for p, x in before.items() if p != place
    }
    assert after[place].values == Preset(note=0.77, warn=0.77, halt=0.77)
    assert after[place].origin_of(Level.HALT) == "accepted at SB_0042.dng, 10:12"


def test_a_bar_that_was_not_moved_keeps_where_it_comes_from() -> None:
    sheet = Sheet(zones=(LABEL,), limits={}, zone_limits={"label": {"burnt.area": Preset(warn=0.5, halt=2.0)}})
    limit = resolve(SPECS, Sheet(zones=(LABEL,), zone_limits=sheet.zone_limits, accepted=(accepted(),)))
    assert limit["burnt.area", "label"].values == Preset(warn=0.77, halt=2.0)
    assert limit["burnt.area", "label"].origin_of(Level.WARN) == "accepted at SB_0042.dng, 10:12"
    assert limit["burnt.area", "label"].origin_of(Level.HALT) == "sheet, zone label"


def test_a_later_acceptance_goes_on_from_an_earlier_one() -> None:
    later = accepted(1.0, 1.1, capture="SB_0050.dng", at="2026-11-25T11:00:00.000+01:00")
    limits = resolve(SPECS, Sheet(preset="series", zones=(LABEL,), accepted=(accepted(), later)))
    limit = limits["burnt.area", "label"]
    assert limit.values == Preset(note=1.1, warn=1.1, halt=1.1)
    assert limit.origin_of(Level.WARN) == "accepted at SB_0050.dng, 11:00"


def test_an_acceptance_works_without_a_sheet_on_a_presets_limits() -> None:
    sheet = Sheet(accepted=(accepted(3.0, 3.3, zone=None),))
    assert resolve(SPECS, sheet, "series")["burnt.area", None].values == Preset(warn=3.3)


def test_an_acceptance_makes_no_limit_where_there_is_none() -> None:
    assert resolve(SPECS, Sheet(zones=(LABEL,), accepted=(accepted(),))) == {}
    gone = Sheet(preset="series", accepted=(accepted(),))
    assert ("burnt.area", "label") not in resolve(SPECS, gone)


def test_a_limit_without_acceptances_is_as_before() -> None:
    assert Limit(Preset(warn=1.0), "sheet").origin_of(Level.WARN) == "sheet"


# how it is kept


@pytest.mark.parametrize(
    ("sheet", "name"),
    [
        (None, "set.accepted.toml"),
        (Path("/a/bottles.set.toml"), "bottles.accepted.toml"),
        (Path("other.toml"), "other.accepted.toml"),
        (Path("blue.v2.set.toml"), "blue.v2.accepted.toml"),
    ],
)
def test_the_file_has_the_name_of_the_sheet(sheet: Path | None, name: str) -> None:
    assert accepted_path(Path("/out"), sheet) == Path("/out") / name


@pytest.mark.parametrize(
    ("sheet", "name"),
    [
        ("/day/a.set.toml", "a.accepted.toml"),
        ("/day.qc/a.set.toml", "a.accepted.toml"),
        ("/day/front/a.set.toml", "front+a.accepted.toml"),
        ("/day/back/left/a.set.toml", "back+left+a.accepted.toml"),
        ("/day/set.set.toml", "set.set.accepted.toml"),
    ],
)
def test_sheets_of_one_name_in_other_folders_inside_have_files_of_their_own(sheet: str, name: str) -> None:
    assert accepted_path(Path("/day.qc"), Path(sheet), folder=Path("/day")) == Path("/day.qc") / name


def test_what_is_written_is_read_back_and_can_be_read_by_people() -> None:
    other = accepted(2.0, 2.2, reading="sharpness.blur", zone="neck", was=None, content=None)
    text = with_accepted(with_accepted("", REAL), other)
    assert parse_accepted(text) == (REAL, other)
    assert text.startswith("# What captures of this set showed")
    assert (
        'bar = 0.77\nwas = 0.2\ncapture = "SB_0042.dng"\ncontent = "blake2b:42"\nat = 2026-11-25T10:12:03' in text
    )


def test_where_there_is_no_file_nothing_was_accepted(tmp_path: Path) -> None:
    assert read_accepted(tmp_path / "bottles.accepted.toml") == ()


def test_taking_one_back_leaves_the_others_and_every_note_a_person_wrote() -> None:
    other = accepted(2.0, 2.2, reading="sharpness.blur", zone="neck")
    first = "# asked by the art director\n" + with_accepted("", REAL) + "# for the neck\n"
    text = with_accepted(first, other) + "# last note\n"
    left = without_accepted(text, REAL)
    assert parse_accepted(left) == (other,)
    none = without_accepted(left, other)
    assert parse_accepted(none) == ()
    for note in ("# asked by the art director\n", "# for the neck\n", "# last note\n"):
        assert note in left
        assert note in none
    assert without_accepted(left, REAL) == left


def test_tables_that_a_person_wrote_on_one_line_are_taken_back_as_well() -> None:
    one = "{reading = 'sharpness.blur', value = 1, bar = 2, capture = 'SB_1.dng', at = 2026-11-25T10:12:0%d+01:00}"
    text = f"accepted = [{one % 1}, {one % 2}]\n"
    first, second = parse_accepted(text)
    assert parse_accepted(without_accepted(text, second)) == (first,)
    assert parse_accepted(without_accepted(without_accepted(text, second), first)) == ()


def test_of_two_that_are_alike_the_later_one_is_taken_back() -> None:
    text = with_accepted(with_accepted("", REAL), REAL)
    assert parse_accepted(without_accepted(text, REAL)) == (REAL,)


def test_an_emptied_file_takes_a_new_acceptance() -> None:
    text = without_accepted(with_accepted("", REAL), REAL)
    assert parse_accepted(with_accepted(text, REAL)) == (REAL,)


NAMES = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=12)
NUMBERS = st.floats(-1e6, 1e6)


@given(NAMES, NAMES, NUMBERS, NUMBERS, st.integers(0, 5))
def test_any_name_and_number_is_read_back_as_it_was_written(
    zone: str, capture: str, value: float, bar: float, before: int
) -> None:
    text = ""
    for _ in range(before):
        text = with_accepted(text, REAL)
    one = accepted(value, bar, reading="sharpness.blur", zone=zone, capture=capture)
    assert parse_accepted(with_accepted(text, one)) == (*(REAL,) * before, one)
    assert parse_accepted(without_accepted(with_accepted(text, one), one)) == (REAL,) * before


GOOD = """\
[[accepted]]
reading = "highlights.unintended_area"
value = 0.7
bar = 0.77
capture = "SB_0042.dng"
at = 2026-11-25T10:12:03+01:00
"""


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("bar = 0.77", "bar = 'a lot'", 'line 4, accepted 1, bar: must be a number, not "a lot"'),
        ("bar = 0.77\n", "", 'line 1, accepted 1: has no "bar"'),
        ("value", "valu", 'line 3, accepted 1, valu: unknown key; did you mean "value"?'),
        (
            "unintended_area",
            "unintended",
            'line 2, accepted 1, reading: no reading is called "highlights.unintended"; did you mean'
            ' "highlights.unintended_area"?',
        ),
        (
            "unintended_area",
            "clipped_area",
            'line 2, accepted 1, reading: "highlights.clipped_area" is a bare fact that has no limit',
        ),
        ("2026-11-25T10:12:03+01:00", "'today'", 'line 6, accepted 1, at: must be a date and time, not "today"'),
        ("[[accepted]]", "[[acepted]]", 'line 1, acepted: unknown key; did you mean "accepted"?'),
        ("bar = 0.77", "bar = ", "line 4: not TOML: invalid value"),
    ],
)
def test_a_mistake_is_named_with_its_line_and_field(old: str, new: str, said: str) -> None:
    with pytest.raises(SheetError) as caught:
        parse_accepted(GOOD.replace(old, new))
    assert said in caught.value.problems


def test_every_mistake_of_a_file_is_in_one_message_that_names_it(tmp_path: Path) -> None:
    path = tmp_path / "bottles.accepted.toml"
    path.write_text(GOOD.replace("0.77", "'x'") + "\n" + GOOD.replace("reading", "redaing"))
    with pytest.raises(SheetError) as caught:
        read_accepted(path)
    assert len(caught.value.problems) == 3
    assert all(line.startswith(f"{path}: line ") for line in str(caught.value).splitlines())
