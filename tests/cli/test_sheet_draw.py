"""`qc sheet draw` as a person starts it: a process that serves one page until it is done."""

from __future__ import annotations

import http.client
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO
from urllib.parse import parse_qs, urlsplit

import pytest

from qc.intake.place import announce
from qc.sheet.read import read_sheet
from tests.cli.conftest import SHEET, Run, environment, scene, subprocess_of, write
from tests.intake.logged import Day
from tests.pages.asking import Answer, Asker

WAIT_S = 120.0
LABEL = {"was": "label", "name": "label", "role": "protect", "box": [0.4, 0.4, 0.3, 0.3]}
CAP = {"was": None, "name": "cap", "role": "sharp", "points": [[0.1, 0.1], [0.3, 0.1], [0.2, 0.3]]}


@dataclass
class Drawing:
    process: subprocess.Popen[bytes]
    link: str
    ask: Asker

    def end(self) -> tuple[int, str, str]:
        out, told = self.process.communicate(timeout=WAIT_S)
        return self.process.returncode, out.decode(), told.decode()


@contextmanager
def drawing(*words: str | Path, **more: str) -> Iterator[Drawing]:
    env = {"DISPLAY": "", "WAYLAND_DISPLAY": ""} | more
    process = subprocess_of("sheet", "draw", *map(str, words), env=env)
    late = threading.Timer(WAIT_S, process.kill)
    late.start()
    try:
        assert process.stdout is not None
        link = _line(process.stdout).removeprefix("page: ")
        assert link, process.stderr.read().decode() if process.stderr else ""
        parts = urlsplit(link)
        assert parts.port is not None
        yield Drawing(process, link, Asker(parts.port, key=parse_qs(parts.query)["key"][0]))
    finally:
        late.cancel()
        process.kill()
        process.communicate()


def _line(stream: IO[bytes]) -> str:
    return stream.readline().decode().rstrip("\n")


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    (tmp_path / "bottles").mkdir()
    return write(tmp_path / "bottles" / "SB_0001.dng", scene(burnt=True))


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "front.set.toml"
    path.write_text(f"# by hand\n{SHEET}")
    return path


def test_a_page_on_this_machine_draws_saves_and_is_done(capture: Path, sheet: Path) -> None:
    with drawing(capture, "--sheet", sheet) as page:
        assert page.link.startswith("http://127.0.0.1:")
        start = page.ask("/start").json
        assert (start["name"], start["sheet"]) == ("SB_0001.dng", "front.set.toml")
        assert page.ask("/picture.jpg").body[:3] == b"\xff\xd8\xff"
        lines = page.ask.post("/measure", {"zone": LABEL, "others": [CAP]}).json["lines"]
        assert lines[0]["said"].endswith("%")
        assert (
            page.ask.post("/save", {"zones": [LABEL, CAP], "seen": page.ask("/start").json["zones"]}).json["said"]
            == "2 zones saved in front.set.toml"
        )
        assert page.ask.post("/done", {}).status == 200
        assert page.end() == (0, "2 zones saved in front.set.toml\n", "")
    assert sheet.read_text().startswith("# by hand\n")
    assert [zone.name for zone in read_sheet(sheet).zones] == ["label", "cap"]
    assert [one.name for one in capture.parent.iterdir()] == [capture.name]


def test_started_again_it_has_the_link_of_before_so_that_a_page_still_open_can_save(
    capture: Path, sheet: Path, tmp_path: Path
) -> None:
    with drawing(capture, "--sheet", sheet) as first:
        first.process.kill()
        first.process.wait(WAIT_S)
    with drawing(capture, "--sheet", sheet) as again:
        assert again.link == first.link
        with (
            drawing(capture, "--sheet", sheet) as beside,
            drawing(capture, "--sheet", tmp_path / "other") as other,
        ):
            links = {again.link, beside.link, other.link}
            keys = {page.ask.key for page in (again, beside, other)}
        assert len(links) == len(keys) == 3
        assert again.ask.post("/save", {"zones": [LABEL], "seen": again.ask("/start").json["zones"]}).status == 200


def test_what_was_typed_between_two_starts_stays_when_the_page_of_the_first_saves(
    capture: Path, sheet: Path
) -> None:
    with drawing(capture, "--sheet", sheet) as first:
        seen = first.ask("/start").json["zones"]
        first.ask.post("/done", {})
        assert first.end()[0] == 0
    sheet.write_text(f'{sheet.read_text()}\n[[zone]]\nname = "by hand"\nrole = "sharp"\nbox = [0, 0, 0.1, 0.1]\n')
    with drawing(capture, "--sheet", sheet) as again:
        assert again.link == first.link
        answer = again.ask.post("/save", {"zones": [LABEL, CAP], "seen": seen})
        assert answer.json["said"] == "3 zones saved in front.set.toml"
    assert [zone.name for zone in read_sheet(sheet).zones] == ["label", "by hand", "cap"]


def test_two_pages_make_one_new_sheet(capture: Path, tmp_path: Path) -> None:
    with drawing(capture) as one, drawing(capture) as other:
        assert one.ask.post("/save", {"zones": [LABEL | {"was": None}], "seen": []}).status == 200
        assert other.ask.post("/save", {"zones": [CAP], "seen": []}).status == 200
    made = read_sheet(tmp_path / "bottles.qc" / "bottles.set.toml")
    assert [zone.name for zone in made.zones] == ["label", "cap"]


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ("linked.set.toml", "linked.set.toml: is a link to what is not there"),
        ("linked", "linked.set.toml: is a link to what is not there"),
        ("round.set.toml", "round.set.toml: is a link to what is not there"),
        ("no/folder/front.set.toml", "front.set.toml: there is no folder for it"),
        ("front.set.toml/other.set.toml", "other.set.toml: there is no folder for it"),
    ],
)
def test_a_sheet_that_the_first_save_could_not_make_is_refused_at_once(
    run: Run, capture: Path, sheet: Path, named: str, said: str
) -> None:
    (sheet.parent / "linked.set.toml").symlink_to(sheet.parent / "gone" / "there.set.toml")
    (sheet.parent / "round.set.toml").symlink_to(sheet.parent / "round.set.toml")
    done = run("sheet", "draw", capture, "--sheet", sheet.parent / named)
    assert (done.exit_code, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert said in done.stderr


def test_without_the_key_of_the_link_nothing_is_answered(capture: Path, sheet: Path) -> None:
    with drawing(capture, "--sheet", sheet) as page:
        stranger = Asker(page.ask.port, key="x" * 32)
        answers: list[Answer] = [stranger("/start"), stranger("/picture.jpg"), stranger.post("/done", {})]
        assert [answer.status for answer in answers] == [403, 403, 403]
        assert page.process.poll() is None


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_the_terminal_ends_it_and_is_told_that_nothing_was_saved(
    capture: Path, tmp_path: Path, number: signal.Signals
) -> None:
    with drawing(capture) as page:
        assert page.ask("/start").json["new"] is True
        page.process.send_signal(number)
        assert page.end() == (0, "nothing saved\n", "")
        with pytest.raises((OSError, http.client.HTTPException)):
            page.ask("/start")
    assert [one.name for one in tmp_path.iterdir()] == ["bottles"]


def test_a_sheet_that_others_change_meanwhile_is_not_overwritten(capture: Path, sheet: Path) -> None:
    with drawing(capture, "--sheet", sheet) as page:
        seen = page.ask("/start").json["zones"]
        typed = sheet.read_text().replace("[0.5, 0.5, 0.4, 0.4]", "[0.5, 0.5, 0.2, 0.2]")
        sheet.write_text(typed)
        answer = page.ask.post("/save", {"zones": [LABEL], "seen": seen})
        assert answer.status == 409
        assert answer.json["said"] == 'zone "label" was changed in the sheet meanwhile; nothing was saved'
        assert sheet.read_text() == typed
        page.ask.post("/done", {})
        assert page.end() == (0, "nothing saved\n", "")


def test_the_last_capture_of_the_watch_is_drawn_on_and_its_sheet_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = str(tmp_path / "state")
    monkeypatch.setenv("XDG_STATE_HOME", state)
    day = Day(tmp_path / "vases")
    day.shoot("SB_0001.dng")
    day.shoot("SB_0002.dng")
    with announce(day.folder, day.out), drawing(XDG_STATE_HOME=state) as page:
        start = page.ask("/start").json
        assert (start["name"], start["sheet"], start["new"]) == ("SB_0002.dng", "vases.set.toml", True)
        page.ask.post("/save", {"zones": [CAP], "seen": []})
        page.ask.post("/done", {})
        assert page.end() == (0, "1 zone saved in vases.set.toml\n", "")
    sheet = read_sheet(day.out / "vases.set.toml")
    assert (sheet.baseline, [zone.name for zone in sheet.zones]) == ("SB_0002.dng", ["cap"])


def test_the_sheet_that_holds_for_the_capture_is_found(capture: Path, tmp_path: Path) -> None:
    (tmp_path / "bottles.qc").mkdir()
    (tmp_path / "bottles.qc" / "typed.set.toml").write_text(SHEET)
    with drawing(capture) as page:
        start = page.ask("/start").json
        assert (start["sheet"], start["new"], len(start["zones"])) == ("typed.set.toml", False, 1)


def test_a_mosaic_in_an_unmarked_tiff_is_drawn_on_when_it_is_told_how(captures: Path, tmp_path: Path) -> None:
    path = captures / "mv_chart_550nm_500ms.tif"
    words = ("--sheet", tmp_path / "none", "--mosaic", "mono", "--black", "0")
    with drawing(path, *words) as page:
        start = page.ask("/start").json
        assert start["name"] == path.name
        assert min(start["size"]) > 100


def cut(folder: Path) -> None:
    (folder / "SB_0001.dng").write_bytes((folder / "SB_0001.dng").read_bytes()[:-9000])


def no_picture(folder: Path) -> None:
    (folder / "SB_0001.dng").write_text("no picture")


@pytest.mark.parametrize(("spoil", "said"), [(cut, "SB_0001.dng: truncated: "), (no_picture, "SB_0001.dng: ")])
def test_a_capture_that_cannot_be_read_is_one_line_with_the_cause(
    run: Run, capture: Path, sheet: Path, spoil: object, said: str
) -> None:
    assert callable(spoil)
    spoil(capture.parent)
    done = run("sheet", "draw", capture, "--sheet", sheet)
    assert (done.exit_code, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert said in done.stderr


def test_wrong_use_is_one_line_and_nothing_is_opened(run: Run, capture: Path, sheet: Path, tmp_path: Path) -> None:
    sheet.write_text(SHEET.replace('"protect"', '"protct"'))
    for words, said in (
        ((capture, "--sheet", sheet), "front.set.toml: line 6"),
        (("nowhere.dng",), "nowhere.dng: no such capture"),
        ((tmp_path / "bottles" / "SB_0009.dng", "--sheet", tmp_path / "none"), "SB_0009.dng: no such"),
        ((capture,), "front.set.toml: line 6"),  # it would hold for the capture
        ((capture, "--sheet", tmp_path / "none", "--black", "3"), "--black and --white go with --mosaic"),
    ):
        done = run("sheet", "draw", *words)
        assert (done.exit_code, done.stdout) == (2, "")
        assert said in done.stderr


def test_a_sheet_for_other_captures_is_neither_drawn_in_nor_joined_by_a_second(run: Run, capture: Path) -> None:
    other = capture.parent.with_name("bottles.qc")
    other.mkdir()
    (other / "other.set.toml").write_text('[set]\ncaptures = "XX_*"\n')
    done = run("sheet", "draw", capture)
    assert (done.exit_code, done.stdout) == (2, "")
    assert "other.set.toml: is not for SB_0001.dng; name a sheet with --sheet" in done.stderr
    assert [one.name for one in other.iterdir()] == ["other.set.toml"]


def test_a_port_that_is_taken_is_told(run: Run, capture: Path, sheet: Path) -> None:
    with drawing(capture, "--sheet", sheet) as page:
        done = run("sheet", "draw", capture, "--sheet", sheet, "--port", page.ask.port)
    assert (done.exit_code, done.stdout) == (2, "")
    assert f"port {page.ask.port}" in done.stderr


def test_the_help_needs_no_web_server() -> None:
    code = (
        "import sys; from typer.testing import CliRunner; from qc_cli.app import app;"
        "CliRunner().invoke(app, ['sheet', 'draw', '--help']);"
        "print(sorted({'starlette', 'uvicorn', 'rawpy'} & set(sys.modules)))"
    )
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, env=environment(), capture_output=True, text=True, check=True, timeout=WAIT_S)
    assert done.stdout == "[]\n"
