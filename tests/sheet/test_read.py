from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.errors import SheetError
from qc.reading import Preset
from qc.sheet.brief import Brief
from qc.sheet.read import parse_sheet, read_sheet
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role

GOOD = """\
[set]
name = "Stoneware bottles, front"
preset = "series"
light = "flash"
baseline = "SB_0007.dng"
captures = "SB_00*"
sync_limit = "1/200"
needs = ["dark", "patch", "clean plate"]
flash_white = [0.34, 0.35]
magnification = 0.1
pixel_pitch_um = 3.76
circle_px = 3

[limits."highlights.unintended_area"]
halt = 3

[[zone]]
name = "label"
role = "protect"
box = [0.41, 0.38, 0.18, 0.22]
[zone.limits."highlights.unintended_area"]
warn = 0.05
halt = 0.2

[[zone]]
name = "rim"
role = "allow"
points = [[0.1, 0.1], [0.3, 0.1], [0.2, 0.3]]
budget = 0.5

[[zone]]
name = "card"
role = "patch"
box = [0.7, 0.7, 0.3, 0.3]
reference = "neutral"
lightness = 50
"""


def problems(text: str) -> list[str]:
    with pytest.raises(SheetError) as caught:
        parse_sheet(text)
    return list(caught.value.problems)


def zone(body: str) -> str:
    return f'[[zone]]\nname = "label"\nrole = "protect"\n{body}\n'


def test_every_field_reaches_the_sheet() -> None:
    sheet = parse_sheet(GOOD, path="s.set.toml", digest="blake2b:00")
    assert (sheet.path, sheet.digest) == ("s.set.toml", "blake2b:00")
    assert (sheet.name, sheet.preset, sheet.light) == ("Stoneware bottles, front", "series", "flash")
    assert (sheet.baseline, sheet.captures) == ("SB_0007.dng", "SB_00*")
    assert sheet.needs == ("dark", "patch", "clean plate")
    assert sheet.limits == {"highlights.unintended_area": Preset(halt=3)}
    assert sheet.zone_limits == {"label": {"highlights.unintended_area": Preset(warn=0.05, halt=0.2)}}
    label, rim, card = sheet.zones
    assert (label.name, label.role, label.points[0]) == ("label", Role.PROTECT, (0.41, 0.38))
    assert (rim.role, rim.points, rim.budget) == (Role.ALLOW, ((0.1, 0.1), (0.3, 0.1), (0.2, 0.3)), 0.5)
    assert (card.role, card.reference, card.lightness) == (Role.PATCH, "neutral", 50)
    assert sheet.brief() == Brief(
        sync_limit_s=1 / 200, flash_white=(0.34, 0.35), magnification=0.1, pixel_pitch_um=3.76, circle_px=3
    )


def test_an_empty_sheet_judges_nothing_and_leaves_the_usual_brief() -> None:
    assert parse_sheet("") == Sheet(path="sheet")
    assert parse_sheet("").brief() == Brief()


def test_a_sync_limit_of_the_command_goes_before_the_sheet() -> None:
    assert parse_sheet(GOOD).brief(sync_limit_s=0.01).sync_limit_s == 0.01


@pytest.mark.parametrize(("written", "seconds"), [('"1/200"', 0.005), ('"1/160 s"', 0.00625), ("0.01", 0.01)])
def test_a_sync_limit_is_a_fraction_or_seconds(written: str, seconds: float) -> None:
    assert parse_sheet(f"[set]\nsync_limit = {written}\n").sync_limit_s == pytest.approx(seconds)


def test_a_sheet_with_five_mistakes_names_five_with_line_and_field() -> None:
    text = """\
[set]
preset = "serious"
sync_limit = 200
neds = ["dark"]

[[zone]]
name = "label"
role = "protct"
box = [0.41, 0.38, 0.78, 0.22]
"""
    assert problems(text) == [
        'line 2, set, preset: "serious" is none of "loose", "series" or "strict"; did you mean "series"?',
        "line 3, set, sync_limit: 200 is no time at which a flash is in step: must be a shutter time such as"
        ' "1/200", or seconds',
        'line 4, set, neds: unknown key; did you mean "needs"?',
        'line 8, zone "label", role: "protct" is none of "protect", "allow", "sharp", "moving", "witness", "patch"'
        ' or "backdrop"; did you mean "protect"?',
        'line 9, zone "label", box: lies partly outside the picture: places are fractions of the picture, 0 to 1',
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[set]\nname = 3\n", "line 2, set, name: must be text, not 3"),
        ("[set]\nmagnification = 0\n", "line 2, set, magnification: must be greater than 0"),
        ("[set]\nmagnification = nan\n", "line 2, set, magnification: must be a number, not nan"),
        ('[set]\nmagnification = "0.1"\n', 'line 2, set, magnification: must be a number, not "0.1"'),
        ("[set]\nmagnification = true\n", "line 2, set, magnification: must be a number, not True"),
        ("[set]\nneeds = 'dark'\n", 'line 2, set, needs: must be a list, not "dark"'),
        ("[set]\nflash_white = [0.3]\n", "line 2, set, flash_white: has too few numbers"),
        ("[set]\nflash_white = [0.3, 0.3, 0.3]\n", "line 2, set, flash_white: has too many numbers"),
        (
            "[set]\nneeds = ['dark', 'clean-plate']\n",
            'line 2, set, needs: "clean-plate" is none of "dark", "patch", "clean plate", "baseline"; did you mean'
            ' "clean plate"?',
        ),
        (
            "[set]\nneeds = ['coffee']\n",
            'line 2, set, needs: "coffee" is none of "dark", "patch", "clean plate", "baseline"',
        ),
        (
            zone("box = [0,0,1,1]").replace("label", "frame"),
            'line 2, zone "frame", name: "frame" is the whole picture; call the zone something else',
        ),
        ("set = 3\n", "line 1, set: must be a table, not 3"),
        ("[sett]\nname = 'a'\n", 'line 1, sett: unknown key; did you mean "set"?'),
        ("zone = 3\n", "line 1, zone: must be a list, not 3"),
        ("zone = [3]\n", "line 1, zone 1: must be a table, not 3"),
        ("[[zone]]\nrole = 'sharp'\nbox = [0,0,1,1]\n", 'line 1, zone 1: has no "name"'),
        (zone(""), 'line 1, zone "label": needs a box or points'),
        (
            zone("box = [0,0,1,1]\npoints = [[0,0],[1,0],[1,1]]"),
            'line 1, zone "label": has both a box and points; keep one',
        ),
        (zone("box = [0, 0, 1]"), 'line 4, zone "label", box: has too few numbers'),
        (zone("box = [0, 0, 0, 1]"), 'line 4, zone "label", box: width and height must be above 0'),
        (
            zone("box = [1.2, 0, 0.1, 1]"),
            'line 4, zone "label", box: lies outside the picture: places are fractions of the picture, 0 to 1',
        ),
        (zone("points = [[0, 0], [1, 1]]"), 'line 4, zone "label", points: needs at least three points'),
        (
            zone("points = [[0, 0], [0.5, 0.5], [1, 1]]"),
            'line 4, zone "label", points: the points enclose no area',
        ),
        (
            zone("box = [0,0,1,1]\nbudget = 1"),
            'line 5, zone "label", budget: only an "allow" zone has a budget, and this one is "protect"',
        ),
        (
            zone("box = [0,0,1,1]\nlightness = 50"),
            'line 5, zone "label", lightness: only a "patch" zone has a lightness, and this one is "protect"',
        ),
        (
            zone("box = [0,0,1,1]") + zone("box = [0,0,1,1]"),
            'line 6, zone "label", name: another zone has this name already',
        ),
        (
            "[[zone]]\nname='c'\nrole='patch'\nbox=[0,0,1,1]\nreference='grey'\n",
            'line 5, zone "c", reference: must be "neutral" or "EDITION/patch"',
        ),
        (
            '[limits."highlights.unintended"]\nwarn = 1\n',
            "line 1, limits, highlights.unintended: no reading has this name; did you mean"
            ' "highlights.unintended_area"?',
        ),
        (
            "[limits.highlights.unintended_area]\nwarn = 1\n",
            'line 1, limits, highlights: put the whole name of the reading in quotes: "highlights.…"',
        ),
        (
            '[limits."highlights.clipped_area"]\nwarn = 1\n',
            "line 1, limits, highlights.clipped_area: is a bare fact that has no limit; limits hang on"
            " highlights.unintended_area, highlights.headroom",
        ),
        (
            '[limits."highlights.unintended_area"]\nwarn = 1\nhalt = 0.5\n',
            "line 2, limits, highlights.unintended_area, warn: warn 1 would come after halt 0.5",
        ),
        (
            '[limits."highlights.headroom"]\nnote = 0.1\nwarn = 0.5\n',
            "line 2, limits, highlights.headroom, note: note 0.1 would come after warn 0.5",
        ),
        (
            '[limits."highlights.unintended_area"]\nhold = 0.5\n',
            "line 2, limits, highlights.unintended_area, hold: unknown key; there are note, warn, halt",
        ),
        ("name = \n", "line 1: not TOML: invalid value"),
        ("[set\n", "line 1: not TOML: expected ']' at the end of a table declaration"),
    ],
)
def test_a_mistake_is_named_with_its_line_and_field(text: str, said: str) -> None:
    assert problems(text) == [said]


def test_a_reading_that_a_role_does_not_have_cannot_be_limited_there() -> None:
    text = "[[zone]]\nname='c'\nrole='patch'\nbox=[0,0,1,1]\n[zone.limits.\"highlights.headroom\"]\nwarn = 1\n"
    assert problems(text) == [
        'line 5, zone "c", limits, highlights.headroom: is not measured in a "patch" zone, only in protect zones'
    ]


def test_edges_that_add_up_to_1_but_for_rounding_are_inside() -> None:
    assert 0.7 + 0.2 + 0.1 != 1.0
    assert parse_sheet(zone("box = [0.7, 0.1, 0.3, 0.9]")).zones[0].name == "label"


def test_windows_line_ends_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    path = tmp_path / "s.set.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_sheet(path).name == "Stoneware bottles, front"


def test_the_digest_is_that_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "s.set.toml"
    path.write_text("[set]\n")
    first = read_sheet(path).digest
    path.write_text("[set]\n\n")
    assert first is not None
    assert first.startswith("blake2b:")
    assert read_sheet(path).digest != first


@pytest.mark.parametrize(
    ("data", "said"),
    [(None, "cannot be read: No such file or directory"), (b"[set]\n\xff\n", "line 2: not UTF-8 text")],
)
def test_a_sheet_that_cannot_be_read_is_one_problem(tmp_path: Path, data: bytes | None, said: str) -> None:
    path = tmp_path / "s.set.toml"
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(SheetError) as caught:
        read_sheet(path)
    assert caught.value.problems == (said,)
    assert str(caught.value) == f"{path}: {said}"


VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-3, 300), st.floats(allow_nan=True), st.text("abz/1.", max_size=6)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(
            st.sampled_from(
                ["name", "role", "box", "points", "limits", "budget", "warn", "highlights.headroom", "x"]
            ),
            inner,
            max_size=4,
        ),
    ),
    max_leaves=8,
)


@given(st.dictionaries(st.sampled_from(["set", "zone", "limits", "x"]), VALUES, max_size=3))
def test_any_toml_gives_a_sheet_or_a_sheet_error(raw: dict[str, object]) -> None:
    text = "".join(f"{key} = {written(value)}\n" for key, value in raw.items())
    said: tuple[str, ...] = ()
    try:
        parse_sheet(text)
    except SheetError as error:
        said = error.problems
    assert all(problem.startswith("line ") for problem in said)


def written(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, list):
        return "[" + ", ".join(map(written, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f'"{key}" = {written(inner)}' for key, inner in value.items()) + "}"
    return repr(value)
