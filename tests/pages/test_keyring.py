from __future__ import annotations

import os
import stat
from pathlib import Path

import platformdirs
import pytest

from qc.pages.keyring import Kept, keep, kept, new_key


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    place = tmp_path / "state"
    monkeypatch.setattr(platformdirs, "user_state_path", lambda _: place)
    return place


def test_what_is_kept_of_a_folder_comes_back_and_nobody_else_can_read_it(tmp_path: Path, state: Path) -> None:
    first = kept(tmp_path / "bottles")
    assert first.port == 0
    assert keep(tmp_path / "bottles", Kept(key=first.key, port=8123)) is None
    assert kept(tmp_path / "bottles") == Kept(key=first.key, port=8123)
    assert kept(tmp_path / "other").key != first.key
    (file,) = (state / "pages").iterdir()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


def test_a_folder_under_another_name_has_the_same_link(tmp_path: Path, state: Path) -> None:
    (tmp_path / "bottles").mkdir()
    (tmp_path / "linked").symlink_to(tmp_path / "bottles")
    keep(tmp_path / "bottles", Kept(key=new_key(), port=8123))
    assert kept(tmp_path / "linked") == kept(tmp_path / "bottles")
    assert state.exists()


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", '{"key": "short", "port": 1}', '{"key": 5, "port": 1}', '{"port": 1}']
    + [f'{{"key": "{"k" * 32}", "port": {port}}}' for port in ("-1", "65536", "true", '"1"')],
)
def test_what_is_no_note_of_ours_gives_a_new_key(tmp_path: Path, state: Path, text: str) -> None:
    keep(tmp_path, Kept(key="k" * 32, port=8123))
    (file,) = (state / "pages").iterdir()
    file.write_text(text)
    assert kept(tmp_path).port == 0
    assert kept(tmp_path).key != "k" * 32


def test_where_nothing_can_be_kept_it_says_why(tmp_path: Path, state: Path) -> None:
    state.write_text("in the way")
    why = keep(tmp_path, Kept(key=new_key()))
    assert why is not None
    assert why.startswith(str(state / "pages"))


def test_no_two_keys_are_alike() -> None:
    assert len({new_key() for _ in range(100)}) == 100


def test_what_is_served_beyond_this_machine_has_another_key(tmp_path: Path, state: Path) -> None:
    keep(tmp_path, Kept(key="k" * 32, port=8123))
    keep(tmp_path, Kept(key="b" * 32, port=8124), beyond=True)
    assert kept(tmp_path) == Kept(key="k" * 32, port=8123)
    assert kept(tmp_path, beyond=True) == Kept(key="b" * 32, port=8124)
    assert state.exists()


@pytest.mark.parametrize("mode", [0o666, 0o640, 0o604])
def test_a_note_that_others_could_read_or_write_is_not_believed(tmp_path: Path, state: Path, mode: int) -> None:
    keep(tmp_path, Kept(key="k" * 32, port=8123))
    (file,) = (state / "pages").iterdir()
    file.chmod(mode)
    assert kept(tmp_path).key != "k" * 32


def test_every_folder_of_ours_is_private_whatever_the_umask(tmp_path: Path, state: Path) -> None:
    before = os.umask(0)
    try:
        assert keep(tmp_path, Kept(key="k" * 32)) is None
    finally:
        os.umask(before)
    assert [stat.S_IMODE(place.stat().st_mode) for place in (state, state / "pages")] == [0o700, 0o700]
