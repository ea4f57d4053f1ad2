from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import qc.show.draw
from qc import measure
from qc.errors import UsageError
from qc.reading import Drawing, Level, Measured, Reading, ReadingSpec, Reason, Region, Spec, TileMap, Unit
from qc.result import CameraFacts, Cause, FileFacts, MadeBy, Result, Verdict
from qc.sheet.zones import Zone
from qc.show import pictures
from qc.show.pictures import caption_of, check_folder, jobs_of, safe_name, save_pictures, value_text
from tests.show.pictures_of import digest_of


def reading_spec(name: str, worse: str | None = None, unit: Unit = Unit.PIXELS) -> ReadingSpec:
    return ReadingSpec(
        name=name,
        unit=unit,
        phrase="{value}",
        meaning=f"What {name.partition('.')[2]} is.",
        low_end="none",
        high_end="all",
        method="made up",
        source="made up",
        worse="low" if worse == "low" else "high",
    )


def spec_of(name: str, *quantities: str, drawing: Drawing = "none", worse: str | None = None) -> Spec:
    return Spec(
        name=name,
        version=1,
        measure=lambda *_, **__: Measured(),
        readings=tuple(reading_spec(f"{name}.{q}", worse) for q in quantities),
        findings={f"{name}_found": "made up"},
        drawing=drawing,
    )


SPECS = (
    spec_of("spots", "area", "largest", drawing="outlines"),
    spec_of("softness", "spread", "amount", drawing="tiles"),
    spec_of("words", "only"),
)


def tile_map(name: str, drawing: Drawing = "tiles") -> TileMap:
    values = np.linspace(0, 1, 24, dtype=np.float32).reshape(4, 6)
    return TileMap(name=name, unit=Unit.PIXELS, values=values, drawing=drawing, angles=values * 90)


def result_of(path: Path | str, **facts: object) -> Result:
    digest = digest_of(
        shape=(40, 60),
        regions=(Region(what="bright", box=(0.2, 0.2, 0.3, 0.3), area=9.0, colours="RGB"),),
        maps=(tile_map("softness.spread", "arrows"), tile_map("softness.amount")),
    )
    defaults: dict[str, object] = {
        "file": FileFacts(path=str(path), name=Path(path).name, content="blake2b:00"),
        "camera": CameraFacts(),
        "readings": (
            Reading(name="spots.area", unit=Unit.PERCENT_OF_CELLS, value=0.4213, plus_minus=0.01),
            Reading(name="softness.amount", unit=Unit.PIXELS, value=1.25, bound="at least"),
            Reading(name="softness.amount", unit=Unit.PIXELS, zone="label", reason=Reason("too_dark", "too dark")),
        ),
        "verdict": Verdict(level=Level.CLEAR),
        "made_by": MadeBy(tool="framegauge", decoder=None, methods={}),
        "measured_at": "2026-11-25T10:00:00",
        "digest": replace(digest, region_readings=("spots.area",)),
    }
    return Result(**defaults | facts)  # type: ignore[arg-type]  # facts are chosen by each test


def test_each_measurement_with_something_to_show_has_its_picture(tmp_path: Path) -> None:
    paths = save_pictures(result_of("/set/SB_0001.dng"), tmp_path / "new" / "pictures", specs=SPECS)
    assert [path.name for path in paths] == [
        "SB_0001.dng.spots.png",
        "SB_0001.dng.softness.png",
        "SB_0001.dng.softness.spread.png",
    ]
    assert sorted(paths) == sorted((tmp_path / "new" / "pictures").iterdir())
    for path in paths:
        with Image.open(path) as image:
            assert (image.mode, image.format) == ("RGB", "PNG")


def test_the_main_picture_is_of_the_kind_the_measurement_names() -> None:
    kinds = {job.part: job.kind for job in jobs_of(result_of("/set/a.dng"), SPECS)}
    assert kinds == {"spots": "outlines", "softness": "tiles", "softness.spread": "arrows"}


def test_a_result_without_a_digest_has_no_pictures(tmp_path: Path) -> None:
    assert save_pictures(result_of("/set/a.dng", digest=None), tmp_path / "new", specs=SPECS) == ()
    assert not (tmp_path / "new").exists()


def test_a_map_without_any_value_is_nothing_to_show() -> None:
    result = result_of("/set/a.dng")
    assert result.digest is not None
    maps = tuple(replace(m, values=np.full_like(m.values, np.nan)) for m in result.digest.maps)
    empty = replace(result, digest=replace(result.digest, maps=maps))
    assert [job.part for job in jobs_of(empty, SPECS)] == ["spots"]


def test_nothing_to_show_leaves_no_folder(tmp_path: Path) -> None:
    assert save_pictures(result_of("/set/a.dng"), tmp_path / "new", specs=SPECS[2:]) == ()
    assert not (tmp_path / "new").exists()


def test_pictures_do_not_lie_among_the_captures_unless_asked(tmp_path: Path) -> None:
    result = result_of(tmp_path / "a.dng")
    with pytest.raises(UsageError, match="among the captures"):
        save_pictures(result, tmp_path, specs=SPECS)
    assert list(tmp_path.iterdir()) == []
    link = tmp_path.parent / f"{tmp_path.name}_link"
    link.symlink_to(tmp_path)
    with pytest.raises(UsageError, match="among the captures"):
        save_pictures(result, link, specs=SPECS)
    assert len(save_pictures(result, tmp_path, specs=SPECS, beside_capture=True)) == 3


def test_pictures_do_not_lie_in_a_folder_among_the_captures(tmp_path: Path) -> None:
    captures = tmp_path / "set"
    captures.mkdir()
    for inside in (captures / "pictures", captures / "a" / "b", captures / ".." / "set" / "c"):
        with pytest.raises(UsageError, match=r"set\.qc/pictures"):
            check_folder(inside, [captures / "SB_0001.dng"])
        with pytest.raises(UsageError, match=r"report would lie among .*\.qc/report"):
            check_folder(inside, [captures / "SB_0001.dng"], what="report")
    check_folder(tmp_path / "set.qc", [captures / "SB_0001.dng"])
    check_folder(tmp_path / "pictures", [Path("/SB_0001.dng")])


def test_the_same_capture_measured_again_replaces_its_pictures(tmp_path: Path) -> None:
    first = save_pictures(result_of("/set/a.dng"), tmp_path, specs=SPECS)
    before = first[0].read_bytes()
    changed = result_of("/set/a.dng", readings=())
    assert save_pictures(changed, tmp_path, specs=SPECS) == first
    assert first[0].read_bytes() != before
    assert len(list(tmp_path.iterdir())) == 3


def test_another_capture_of_the_same_name_keeps_its_pictures(tmp_path: Path) -> None:
    first = save_pictures(result_of("/monday/a.dng"), tmp_path, specs=SPECS)
    kept = [path.read_bytes() for path in first]
    second = save_pictures(result_of("/tuesday/a.dng"), tmp_path, specs=SPECS)
    assert set(first).isdisjoint(second)
    assert [path.read_bytes() for path in first] == kept
    assert all(path.name.startswith("a.dng~") for path in second)
    assert save_pictures(result_of("/tuesday/a.dng"), tmp_path, specs=SPECS) == second


@pytest.mark.parametrize("content", [b"", b"mine", b"\x89PNG\r\n\x1a\n"])
def test_a_file_that_was_not_made_here_is_left_alone(tmp_path: Path, content: bytes) -> None:
    mine = tmp_path / "a.dng.softness.png"
    mine.write_bytes(content)
    with pytest.raises(UsageError, match=r"a\.dng\.softness\.png: there is such a file"):
        save_pictures(result_of("/set/a.dng"), tmp_path, specs=SPECS)
    assert mine.read_bytes() == content
    assert list(tmp_path.iterdir()) == [mine]


def test_a_picture_by_another_hand_is_left_alone(tmp_path: Path) -> None:
    Image.new("RGB", (4, 4)).save(tmp_path / "a.dng.spots.png")
    with pytest.raises(UsageError, match="not made by framegauge"):
        save_pictures(result_of("/set/a.dng"), tmp_path, specs=SPECS)


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError, match="pictures cannot be written"):
        save_pictures(result_of("/set/a.dng"), tmp_path / "file", specs=SPECS)


def test_a_failed_write_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Image.Image, "save", full)
    with pytest.raises(UsageError, match="No space left"):
        save_pictures(result_of("/set/a.dng"), tmp_path, specs=SPECS)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("SB_0001.dng", "SB_0001.dng"),
        ("bottle (2) front.tif", "bottle (2) front.tif"),
        ("../../up.dng", "_.._up.dng"),
        ("a\\b:c*d?.dng", "a_b_c_d_.dng"),
        (".hidden", "hidden"),
        ("", "_"),
        ("...", "_"),
        ("con.dng", "_con.dng"),
        ("LPT1", "_LPT1"),
        ("common.dng", "common.dng"),
        ("\\xff\\xfe.dng", "_xff_xfe.dng"),
        ("瓶.dng", "瓶.dng"),
    ],
)
def test_names_are_made_safe_for_any_file_system(name: str, safe: str) -> None:
    assert safe_name(name) == safe


def test_a_very_long_name_still_makes_a_file(tmp_path: Path) -> None:
    paths = save_pictures(result_of(f"/set/{'瓶' * 80}.dng"), tmp_path, specs=SPECS)
    assert all(len(path.name.encode()) < 255 for path in paths)


def test_the_caption_says_what_is_shown_and_what_was_read() -> None:
    result = result_of("/set/a.dng")
    spots, softness, _ = (caption_of(result, job) for job in jobs_of(result, SPECS))
    assert (spots.name, spots.shown) == ("a.dng", "What area is.")
    assert spots.values == "area 0.42 ± 0.01 % of cells"
    assert softness.values == "In px: frame at least 1.25, label not measured (too dark)"
    assert softness.level is None


def test_the_caption_carries_the_worst_cause_of_its_own_measurement() -> None:
    def cause(reading: str, level: Level) -> Cause:
        return Cause(reading=reading, zone=None, level=level, limit=1.0, origin="sheet", text=f"{reading} {level}")

    causes = (
        cause("other.thing", Level.HALT),
        cause("spots.area", Level.NOTE),
        cause("spots_found", Level.WARN),
        cause("softness.amount", Level.NOTE),
    )
    result = result_of("/set/a.dng", verdict=Verdict(level=Level.HALT, causes=causes))
    captions = [caption_of(result, job) for job in jobs_of(result, SPECS)]
    assert [(c.level, c.cause) for c in captions[:2]] == [
        (Level.WARN, "spots_found warn"),
        (Level.NOTE, "softness.amount note"),
    ]


@pytest.mark.parametrize(
    ("plus_minus", "said"), [(0.2, "± 0.20"), (0.001, "± <0.01"), (0.0, "± 0.00"), (None, ""), (0.0051, "± 0.01")]
)
def test_a_bound_and_an_uncertainty_are_said(plus_minus: float | None, said: str) -> None:
    reading = Reading(name="a.b", unit=Unit.STOPS, value=5.014, plus_minus=plus_minus, bound="at most")
    assert value_text(reading, reading_spec("a.b")) == f"at most 5.01 {said}".strip()


def test_the_worse_end_is_the_light_one() -> None:
    result = result_of("/set/a.dng")
    usual, turned = SPECS[1], spec_of("softness", "spread", "amount", drawing="tiles", worse="low")
    drawn = [pictures.draw(result, next(jobs_of(result, (spec,)))) for spec in (usual, turned)]
    middle = drawn[0].shape[0] // 2
    left, right = (slice(60, 200), slice(-200, -60))
    assert drawn[0][middle, left].mean() < drawn[0][middle, right].mean()
    assert drawn[1][middle, left].mean() > drawn[1][middle, right].mean()


def test_pictures_are_the_same_each_time_they_are_drawn(tmp_path: Path) -> None:
    zones = [Zone.from_box("label", "protect", (0.1, 0.1, 0.3, 0.3))]
    first, second = (
        save_pictures(result_of("/set/a.dng"), tmp_path / name, zones, specs=SPECS) for name in ("one", "two")
    )
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]


def test_no_drawing_knows_a_measurement_by_name() -> None:
    folder = Path(qc.show.draw.__file__).parent
    files = [*folder.glob("*.py"), Path(pictures.__file__)]
    assert len(files) > 6
    names = re.compile(rf"""["']({"|".join(measure.NAMES)})\b""")
    assert not [file.name for file in files if names.search(file.read_text(encoding="utf-8"))]


def test_the_same_map_under_another_name_is_the_same_picture() -> None:
    result = result_of("/set/a.dng")
    assert result.digest is not None
    from qc.show.draw.tiles import draw_tiles
    from tests.show.pictures_of import CAPTION

    one, other = (draw_tiles(result.digest, tile_map(name), caption=CAPTION) for name in ("a.b", "sharpness.blur"))
    assert np.array_equal(one, other)
