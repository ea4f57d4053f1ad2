"""A day from its folder to what people get: each planted fault is named once, and nothing else stands at halt.

What a check does of a single capture, an event or a death stands in `test_check`; here is one whole day of 40
files as a technician has it at wrap, through the commands.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from shutil import which

import pytest
from typer.testing import CliRunner, Result

from qc.log.log import Log
from qc.rehearse.day import Planned
from qc.rehearse.faults import Fault
from qc_cli.app import app
from tests.batch.counting import Checked
from tests.batch.struck import (
    FRAMES,
    SHEET,
    Drive,
    asked,
    copy_to_drive,
    fill,
    found,
    names_of,
    plan_day,
    rows,
    sections,
    to_decide,
)
from tests.cli.conftest import subprocess_of
from tests.intake.writers import traces
from tests.watch.running import PATIENCE_S

pytestmark = pytest.mark.timeout(600)


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck:
    """The day after `qc batch`, the word that one frame is a dark one, and `qc batch` again."""

    day: tuple[Planned, ...]
    folder: Path
    drive: Drive
    untouched: bool
    first: str
    last: Result

    @property
    def out(self) -> Path:
        return self.folder.with_name(f"{self.folder.name}.qc")

    @property
    def report(self) -> Path:
        return self.out / "report"

    def of(self, fault: Fault) -> tuple[str, ...]:
        return names_of(self.day, fault)

    @property
    def dark(self) -> str:
        return self.of(Fault.AMBIENT)[0]

    @property
    def copied(self) -> tuple[str, str]:
        """The copy, and what it is a copy of."""
        (copy,) = self.of(Fault.COPY)
        names = [frame.name for frame in self.day]
        return copy, names[names.index(copy) - 1]


def qc(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def struck(tmp_path_factory: pytest.TempPathFactory) -> Struck:
    folder, day = tmp_path_factory.mktemp("struck") / "bottles", plan_day()
    fill(folder, day)
    drive = copy_to_drive(folder, day)
    before = traces(folder)
    process = subprocess_of("batch", str(folder), "--jobs", "2")
    first, errors = process.communicate(timeout=300)
    assert process.returncode == 1, errors.decode()
    declared = qc("role", names_of(day, Fault.AMBIENT)[0], "dark", "--folder", folder)
    assert declared.exit_code == 0, declared.stderr
    last = qc("batch", folder)
    assert last.exit_code == 1, last.stderr
    untouched = traces(folder) == before
    return Struck(day=day, folder=folder, drive=drive, untouched=untouched, first=first.decode(), last=last)


@pytest.fixture
def again(struck: Struck, tmp_path: Path) -> Path:
    """The folder of the day with a copy of its log beside it; what is done there touches no other test."""
    shutil.copytree(struck.out, tmp_path / "bottles.qc")
    (tmp_path / "bottles").symlink_to(struck.folder)
    return tmp_path / "bottles"


# -- what people get


def test_the_day_is_the_one_that_was_asked_for(struck: Struck) -> None:
    names = [frame.name for frame in struck.day]
    assert len(names) == len(list(struck.folder.iterdir())) == FRAMES
    assert names[names.index("SB_9999.dng") + 1] == "SB_0001.dng"
    assert "SB_9990.dng" not in names
    assert len(struck.of(Fault.BURNT)) == 3


def test_captures_are_as_they_were(struck: Struck) -> None:
    assert struck.untouched


def test_the_report_names_each_planted_fault_once_and_nothing_else(struck: Struck) -> None:
    told = to_decide(struck.report / "index.html")
    assert [(level, sorted(frames)) for level, _, frames in told] == [
        ("halt", sorted(struck.of(Fault.CUT))),
        ("halt", sorted(struck.of(Fault.BURNT))),
        ("halt", [struck.dark]),
        ("warn", sorted(struck.of(Fault.SETTING_STAYS))),
        ("warn", sorted(struck.of(Fault.MISFIRE))),
        ("warn", sorted(struck.of(Fault.SOFT))),
    ]
    words = ["truncated", "label burnt", "stops under", "aperture f/11 to f/13", "no flash", "seal blur"]
    for word, (_, title, _) in zip(words, told, strict=True):
        assert word in title


def test_the_report_says_what_is_missing_and_what_came_twice_and_nothing_of_the_rollover(struck: Struck) -> None:
    copy, original = struck.copied
    missing, twice, plate = found(struck.report / "index.html")
    assert missing == ("warn", "SB_9990 missing: 1 frame")
    assert twice[0] == "warn"
    assert twice[1].startswith(f"{copy} is {original} once more")
    assert plate[0] == "warn"
    assert plate[1].endswith("still needs a clean plate: the set without the product")


def test_the_command_names_the_same_frames_and_findings(struck: Struck) -> None:
    frames = [line for line in struck.last.stdout.splitlines() if not line.startswith("the day")]
    decided = [name for _, _, names in to_decide(struck.report / "index.html") for name in names]
    assert sorted(line.split()[1] for line in frames) == sorted(decided)
    assert len(struck.last.stdout.splitlines()) == len(frames) + 3
    assert struck.last.exit_code == 1
    assert f"0 measured, {FRAMES} known from before" in struck.last.stderr
    undeclared = next(line for line in struck.first.splitlines() if struck.dark in line)
    assert "no flash in this frame" in undeclared


def test_the_photographer_is_asked_for_each_frame_once(struck: Struck) -> None:
    again, look, missing = asked(struck.report / "photographer.html").items()
    assert (again[0], look[0]) == ("Shoot again", "Look at these before the set is struck")
    assert [frames for _, frames in again[1]] == [struck.of(Fault.CUT), struck.of(Fault.BURNT), (struck.dark,)]
    kinds = (Fault.SETTING_STAYS, Fault.MISFIRE, Fault.SOFT)
    assert [frames for _, frames in look[1]] == [struck.of(kind) for kind in kinds]
    words = ["truncated", "label burnt", "ambient test", "aperture f/11 to f/13", "no flash", "seal blur"]
    for word, (text, _) in zip(words, [*again[1], *look[1]], strict=True):
        assert word in text
    assert [text for text, _ in missing[1]] == [text for _, text in found(struck.report / "index.html")]


def test_the_retoucher_reads_where_labels_burn_what_the_room_gave_and_what_is_cut(struck: Struck) -> None:
    text = (struck.report / "retouch.md").read_text()
    told = sections(text)
    burnt = {name for name, said in told.items() if "**label**: burnt in every colour" in said}
    assert burnt == set(struck.of(Fault.BURNT))
    assert {name for name, said in told.items() if "truncated" in said} == set(struck.of(Fault.CUT))
    tested = {name for name, said in told.items() if f"measured with `{struck.dark}`" in said}
    assert len(tested) == 1
    assert f"Shot without flash, for the ambient test: `{struck.dark}`" in text
    assert "make it neutral" in text


def test_the_table_has_a_row_a_frame_and_a_level_of_its_own_for_each_fault(struck: Struck) -> None:
    table = rows(struck.report / "frames.csv")
    copy, _ = struck.copied
    assert {row["name"] for row in table} == {frame.name for frame in struck.day} - {copy}
    assert len(table) == FRAMES - 1
    decided = {n: level for level, _, names in to_decide(struck.report / "index.html") for n in names}
    levels = {row["name"]: row["level"] for row in table if row["level"] != "clear"}
    assert levels == decided
    assert {row["name"]: row["state"] for row in table if row["state"] != "whole"} == {
        struck.of(Fault.CUT)[0]: "truncated"
    }
    assert [row["name"] for row in table if row["role"] == "dark"] == [struck.dark]


def test_the_counts_explain_every_number(struck: Struck) -> None:
    (one,) = rows(struck.report / "counts.csv")
    (cut,) = struck.of(Fault.CUT)
    counted = [one[key] for key in ("captures", "whole", "not whole", "further copies")]
    assert counted == [str(FRAMES - 1), str(FRAMES - 2), "1", "1"]
    assert (one["first"], one["last"]) == (struck.day[0].name, struck.day[-1].name)
    assert one["numbers missing without a reason"] == "1"
    assert one["gaps and what explains them"] == f"SB_9990 missing: 1 frame; {cut} is truncated"


def test_the_contract_has_a_line_a_capture_with_its_standing(struck: Struck) -> None:
    lines = [json.loads(line) for line in (struck.report / "frames.jsonl").read_bytes().splitlines()]
    assert {one["schema"] for one in lines} == {"qc.capture/1"}
    table = rows(struck.report / "frames.csv")
    assert [(one["file"]["name"], one["standing"]["level"]) for one in lines] == [
        (row["name"], row["level"]) for row in table
    ]


@pytest.mark.skipif(which("sha256sum") is None, reason="sha256sum is not installed here")
def test_the_checksums_hold_for_the_captures_and_tell_the_second_drive(struck: Struck) -> None:
    sums = struck.report / "sha256sums.txt"

    def check(folder: Path) -> subprocess.CompletedProcess[str]:
        words = ["sha256sum", "--check", str(sums)]
        return subprocess.run(
            words, cwd=folder, capture_output=True, text=True, check=False, env=os.environ | {"LC_ALL": "C"}
        )

    here, there = check(struck.folder), check(struck.drive.folder)
    assert here.returncode == 0, here.stderr
    assert Counter(line.rpartition(": ")[2] for line in here.stdout.splitlines()) == {"OK": FRAMES}
    bad = [line for line in there.stdout.splitlines() if not line.endswith(": OK")]
    assert sorted(bad) == sorted(
        [f"{struck.drive.flipped}: FAILED", f"{struck.drive.missing}: FAILED open or read"]
    )


def test_the_second_drive_is_told_by_what_differs_what_is_missing_and_what_is_more(struck: Struck) -> None:
    before = traces(struck.drive.folder)
    done = qc("copies", struck.folder, struck.drive.folder)
    assert done.exit_code == 1
    missing, differs, extra, total = done.stdout.splitlines()
    assert missing.split() == ["missing", struck.drive.missing]
    assert differs.split()[:2] == ["differs", f"{struck.drive.flipped}:"]
    assert extra.startswith("extra")
    assert extra.endswith(f": {struck.drive.extra}")
    assert total.startswith(f"{FRAMES - 2} files equal, 1 missing, 1 differing")
    assert traces(struck.drive.folder) == before


def test_the_report_made_again_without_captures_says_the_same(again: Path) -> None:
    report = again.with_name("bottles.qc") / "report"
    before = {path.name: path.read_bytes() for path in report.iterdir() if path.is_file()}
    shutil.rmtree(report)
    again.unlink()
    assert qc("report", report.parent).exit_code == 1
    assert {path.name: path.read_bytes() for path in report.iterdir() if path.is_file()} == before


# -- again, and after a death


def test_a_second_check_decodes_nothing(again: Path, tmp_path: Path) -> None:
    checked = Checked(again, tmp_path / "decodes")
    assert checked.executor.submitted == []
    assert len(checked.measured) == FRAMES - 1


def test_after_one_limit_changed_verdicts_follow_and_nothing_is_decoded(
    struck: Struck, again: Path, tmp_path: Path
) -> None:
    sheet = again.with_name("bottles.qc") / SHEET
    text, seal = sheet.read_text(), 'name = "seal"\n'
    bar = '[zone.limits."highlights.unintended_area"]\nwarn = 90\nhalt = 95\n\n[[zone]]\n'
    assert text.count(f"[[zone]]\n{seal}") == 1
    sheet.write_text(text.replace(f"[[zone]]\n{seal}", bar + seal))
    checked = Checked(again, tmp_path / "decodes")
    assert checked.executor.submitted == []
    done = qc("batch", again)
    assert f"0 measured, {FRAMES} known from before" in done.stderr
    told = to_decide(again.with_name("bottles.qc") / "report" / "index.html")
    halts = [frames for level, _, frames in told if level == "halt"]
    assert halts == [struck.of(Fault.CUT), (struck.dark,)]


def test_after_one_zone_changed_only_captures_of_its_set_are_decoded(again: Path, tmp_path: Path) -> None:
    out = again.with_name("bottles.qc")
    text = (out / SHEET).read_text()
    (out / SHEET).unlink()

    def write(number: str, text: str) -> None:
        own = text.replace("[set]\n", f'[set]\ncaptures = "SB_{number}*"\n').replace("rehearsed", f"card {number}")
        (out / f"{number}.set.toml").write_text(own)

    write("99", text)
    write("00", text)
    assert Checked(again, tmp_path / "decodes").executor.submitted == []
    box = text.partition('name = "seal"')[2].partition("box = ")[2].partition("\n")[0]
    write("99", text.replace(box, "[0.375, 0.471, 0.118, 0.065]"))
    decoded = Checked(again, tmp_path / "decodes").decoded
    names = [path.name for path in again.iterdir() if path.name.startswith("SB_99")]
    tested = {name: times for name, times in decoded.items() if times > 1}
    assert set(decoded) == set(names)
    assert set(tested.values()) == {2}, "the frame without flash and its lit one, for the ambient test"
    assert len(tested) == 2


def test_killed_half_way_the_next_run_completes_it_and_measures_nothing_twice(
    struck: Struck, tmp_path: Path
) -> None:
    day, out = tmp_path / "bottles", tmp_path / "bottles.qc"
    day.symlink_to(struck.folder)
    out.mkdir()
    shutil.copy(struck.out / SHEET, out)
    process = subprocess_of("batch", str(day), "--jobs", "2")
    until = time.monotonic() + PATIENCE_S
    while len(before := logged(out)) < FRAMES // 2:
        assert process.poll() is None, "it ended before it was half way"
        assert time.monotonic() < until, "it never came half way"
        time.sleep(0.05)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    before = logged(out)
    assert FRAMES // 2 <= len(before) < FRAMES
    decoded = Checked(day, tmp_path / "decodes").decoded
    tested = {name for name in decoded if decoded[name] > (name not in before)}
    assert {name for name in decoded if name not in tested} | (tested - before) == all_names(struck) - before
    assert len(tested) == 4, "two frames without flash and their lit ones, once each for their ambient tests"
    assert all(decoded[name] == 1 + (name not in before) for name in tested)
    assert qc("role", struck.dark, "dark", "--folder", day).exit_code == 0
    done = qc("batch", day)
    assert f"0 measured, {FRAMES} known from before" in done.stderr
    assert done.stdout == struck.last.stdout
    assert to_decide(out / "report" / "index.html") == to_decide(struck.report / "index.html")


def logged(out: Path) -> set[str]:
    """Return the names of the files that a log knows; none where there is no log yet."""
    if not (out / "log.sqlite3").exists():
        return set()
    with Log.open(out, create=False, read_only=True) as log:
        return {name for one in log.captures() for name in one.held}


def all_names(struck: Struck) -> set[str]:
    return {frame.name for frame in struck.day}
