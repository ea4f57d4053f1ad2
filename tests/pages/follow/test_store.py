"""Pictures of the captures that a page shows: of these, of the watched folder, and of nothing else."""

from __future__ import annotations

import io
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from qc.intake.updates import Judged
from qc.log.log import Log
from qc.pages.follow.store import CHANGED, NO_PICTURE, NOT_KEPT, OUTSIDE, Store, key_of
from qc.reading import Level
from qc.result import CameraFacts, FileFacts
from tests.log.made import captured, lay
from tests.pages.follow.pictured_day import digest
from tests.sheet.toys import LABEL, SPECS
from tests.show.scripted_day import BURNT, cause, measured, shot, standing
from tests.watch.running import capture, watching

ROWS, COLUMNS = 133, 200


def judged(number: int, path: Path | str | None = None, **changes: Any) -> Judged:
    of = shot(number, causes=[cause(BURNT, Level.HALT)])
    file = replace(of.file, path=str(path)) if path is not None else of.file
    return measured(replace(of, digest=digest(ROWS, COLUMNS), file=file, **changes))


def store_of(tmp_path: Path) -> Store:
    folder = tmp_path / "bottles"
    folder.mkdir(exist_ok=True)
    return Store(folder, tmp_path / "bottles.qc", SPECS)


def put(store: Store, one: Judged) -> str:
    store.put(one.result, one.standing, (LABEL,))
    return key_of(one.standing.content)


def size_of(picture: bytes) -> tuple[int, int]:
    with Image.open(io.BytesIO(picture)) as image:
        assert image.format == "JPEG"
        return image.size


def test_the_picture_is_the_digests_preview_as_a_jpeg(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    key = put(store, judged(1, tmp_path / "bottles" / "SB_0001.dng"))
    picture, held = store.picture(key), store.held(key)
    assert picture is not None
    assert held is not None
    assert size_of(picture) == held.size == (COLUMNS, ROWS)
    assert held.without == ""


def test_the_result_comes_back_with_its_digest_and_regions(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    held = store.held(put(store, judged(1)))
    assert held is not None
    whole = held.whole
    assert whole is not None
    assert whole.digest is not None
    assert whole.digest.preview.shape == (ROWS, COLUMNS)
    assert [region.zone for region in whole.regions] == ["label"]


def test_a_key_of_nothing_that_is_shown_gives_nothing(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    put(store, judged(1))
    for key in ("00", "../0001", "", key_of("blake2b:0002")):
        assert (store.picture(key), store.mark(key), store.held(key)) == (None, None, None)


def test_300_frames_leave_the_bytes_of_the_last_twelve(tmp_path: Path) -> None:
    store, sizes = store_of(tmp_path), []
    for number in range(1, 301):
        put(store, judged(number))
        store.keep_only(f"blake2b:{one:04}" for one in range(number - 11, number + 1))
        sizes.append(store.size)
    assert sizes[-1] == sizes[11]
    assert max(sizes) <= 13 * sizes[0]
    assert store.picture("0300") is not None
    assert store.picture("0288") is None


def test_a_capture_that_a_link_leads_out_to_has_no_picture(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    outside = tmp_path / "private.dng"
    outside.write_bytes(b"x")
    link = tmp_path / "bottles" / "SB_0001.dng"
    link.symlink_to(outside)
    key = put(store, judged(1, link))
    held = store.held(key)
    assert held is not None
    assert (held.without, held.stored, store.picture(key)) == (OUTSIDE, None, None)
    assert store.make_mark(held.standing) is None


def test_a_link_that_stays_inside_and_a_folder_that_is_itself_linked_have_pictures(tmp_path: Path) -> None:
    store_of(tmp_path)
    real = tmp_path / "bottles" / "SB_0001.dng"
    real.write_bytes(b"x")
    (tmp_path / "bottles" / "SB_0002.dng").symlink_to(real)
    (tmp_path / "linked").symlink_to(tmp_path / "bottles")
    store = Store(tmp_path / "linked", tmp_path / "bottles.qc")
    for number, path in ((1, "linked/SB_0001.dng"), (2, "linked/SB_0002.dng")):
        assert store.picture(put(store, judged(number, tmp_path / path))) is not None


def test_a_real_watch_measures_what_a_link_leads_to_and_the_store_does_not_show_it(tmp_path: Path) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    (tmp_path / "private.dng").write_bytes(capture(1))
    (folder / "SB_0001.dng").symlink_to(tmp_path / "private.dng")
    (folder / "SB_0002.dng").write_bytes(capture(2))
    with watching(folder) as running:
        running.wait_for("SB_0001.dng", "SB_0002.dng")
        store = Store(folder, running.watch.out, running.watch.specs)
        keys = {one.result.file.name: put(store, one) for one in running.measured()}
        assert store.picture(keys["SB_0001.dng"]) is None
        assert store.picture(keys["SB_0002.dng"]) is not None
    again = Store(folder, tmp_path / "bottles.qc")
    for one in running.measured():
        again.recall(one.standing)
    assert again.picture(keys["SB_0001.dng"]) is None
    held = again.held(keys["SB_0001.dng"])
    assert held is not None
    assert held.without == OUTSIDE
    assert again.picture(keys["SB_0002.dng"]) is not None


def test_a_capture_of_an_earlier_watch_has_its_picture_from_the_log_and_only_when_it_is_shown(
    tmp_path: Path,
) -> None:
    store = store_of(tmp_path)
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(captured(7))
    content = captured(7).content
    assert store.picture(key_of(content)) is None
    lay(store.folder, captured(7))
    store.recall(replace(standing(shot(7)), content=content), (LABEL,))
    picture = store.picture(key_of(content))
    assert picture is not None
    assert size_of(picture) == (36, 24)
    held = store.held(key_of(content))
    assert held is not None
    assert held.zones == (LABEL,)
    store.keep_only(())
    assert store.picture(key_of(content)) is None


def test_what_the_log_does_not_have_is_a_reason(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    store.recall(standing(shot(7)))
    held = store.held("0007")
    assert held is not None
    assert held.without.startswith("its picture cannot be read: ")  # there is no log
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(captured(7))
    store.recall(standing(shot(8)))
    held = store.held("0008")
    assert held is not None
    assert held.without == NOT_KEPT
    content = captured(7).content
    lay(store.folder, captured(7))
    shutil.rmtree(tmp_path / "bottles.qc" / "digests")
    store.recall(replace(standing(shot(7)), content=content))
    held = store.held(key_of(content))
    assert held is not None
    assert held.without == NOT_KEPT


def test_what_could_not_be_read_is_read_again_when_the_log_is_back(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    own = replace(standing(shot(7)), content=captured(7).content)
    store.recall(own)
    assert store.picture(key_of(own.content)) is None
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(captured(7))
    lay(store.folder, captured(7))
    assert store.picture(key_of(own.content)) is None  # not asked for at each update: a log may be slow to fail
    store.retry()
    assert store.picture(key_of(own.content)) is not None


def test_a_file_without_a_picture_is_a_reason(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    file = FileFacts(path="SB_0001.dng", name="SB_0001.dng", content=None, state="empty")
    of = replace(shot(1), file=file, camera=CameraFacts())
    store.put(of, replace(standing(shot(1)), content="path:SB_0001.dng"))
    held = store.held(key_of("path:SB_0001.dng"))
    assert held is not None
    assert (held.without, store.picture(key_of("path:SB_0001.dng"))) == (NO_PICTURE, None)


def test_a_standing_that_changes_is_the_one_that_is_held(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    one = judged(1)
    key = put(store, one)
    now = replace(one.standing, causes=(), level=Level.CLEAR)
    store.restate(now)
    held = store.held(key)
    assert held is not None
    assert held.standing == now


def test_the_mark_is_made_for_what_is_said_and_made_anew_when_that_changes(tmp_path: Path) -> None:
    store = store_of(tmp_path)
    one = judged(1)
    key = put(store, one)
    assert store.mark(key) is None
    mark = store.make_mark(one.standing)
    assert mark is not None
    assert mark.lstrip().startswith(b"<svg")
    assert store.mark(key) == mark
    assert store.make_mark(replace(one.standing, causes=())) is None
    assert store.mark(key) is None


def test_what_is_let_go_of_meanwhile_stays_gone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = store_of(tmp_path)
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(captured(1))
    own = replace(standing(shot(1)), content=captured(1).content)
    store.recall(own)
    read = Log.digest

    def slow(log: Log, content: str) -> Any:
        store.keep_only(())
        return read(log, content)

    monkeypatch.setattr(Log, "digest", slow)
    store.held(key_of(own.content))
    assert store.size == 0


def test_a_file_of_the_name_that_is_not_the_one_measured_shows_nothing_of_that(tmp_path: Path) -> None:
    """A link to elsewhere that was measured and is a file of the folder by now, or nothing any more."""
    store = store_of(tmp_path)
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(captured(7))
    content = captured(7).content
    key = key_of(content)
    store.recall(replace(standing(shot(7)), content=content))
    held = store.held(key)
    assert held is not None
    assert held.without == CHANGED  # it is not there
    assert not store.may_show(content)
    path = lay(store.folder, captured(7))
    path.write_bytes(b"something else")
    store.retry()
    assert store.picture(key) is None
    lay(store.folder, captured(7))
    store.retry()
    assert store.picture(key) is not None
    assert store.may_show(content)
