"""The pool loses a file where it must, and never a job, a worker, a descriptor or the terminal."""

from __future__ import annotations

import ast
import os
import pickle
import signal
import subprocess
import sys
import textwrap
import time
from multiprocessing import Pipe
from pathlib import Path

import numpy as np
import pytest

from qc.errors import UsageError
from qc.intake import worker_process
from qc.intake.updates import Done, FirstLook, Job
from qc.intake.worker import NICE
from qc.intake.worker_process import COMPLAINTS_LIMIT, WorkerProcess, environment, how_ended
from qc.intake.workers import Pool
from qc.pipeline import measure_capture
from qc.rehearse.dng import write_dng
from tests.intake.worker_tasks import obey, obey_with_a_lambda

pytestmark = pytest.mark.skipif(os.name != "posix", reason="uses signals and /proc")

PATIENCE_S = 60.0
"""Longest wait for what must come; a test that reaches it has found a hang."""


class Numbers:
    """Jobs, numbered."""

    def __init__(self) -> None:
        self.last = 0

    def job(self, *paths: str) -> Job:
        self.last += 1
        return Job(number=self.last, task="capture", paths=paths)


@pytest.fixture
def numbers() -> Numbers:
    return Numbers()


def until_done(pool: Pool, count: int = 1) -> list[Done]:
    """Poll until so many jobs have ended; first looks are left out."""
    return [m for m in all_said(pool, count) if isinstance(m, Done)]


def all_said(pool: Pool, count: int = 1) -> list[FirstLook | Done]:
    said: list[FirstLook | Done] = []
    end = time.monotonic() + PATIENCE_S
    while sum(isinstance(m, Done) for m in said) < count:
        assert time.monotonic() < end, f"only {said} in {PATIENCE_S:g} s"
        said += pool.poll(1.0)
    return said


def do(pool: Pool, job: Job) -> Done:
    pool.submit(job)
    return until_done(pool)[0]


def answer(done: Done) -> str:
    assert done.lost is None, done
    assert done.result is not None
    return str(done.result.file.detail)


def alive(pid: int) -> bool:
    """Tell whether a process runs; a zombie does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def children() -> set[int]:
    """Processes of ours, but for those of other tests, such as a browser that waits for the next of its own."""
    return all_children() - BEFORE


def all_children() -> set[int]:
    return {int(p) for t in Path("/proc/self/task").iterdir() for p in (t / "children").read_text().split()}


BEFORE: set[int] = set()


@pytest.fixture(autouse=True)
def _what_runs_already() -> None:
    BEFORE.clear()
    BEFORE.update(all_children())


def descriptors() -> int:
    return sum(1 for _ in Path("/proc/self/fd").iterdir())


def wait_for_note(note: Path) -> int:
    end = time.monotonic() + PATIENCE_S
    while not (note.exists() and note.read_text()):
        assert time.monotonic() < end
        time.sleep(0.05)
    return int(note.read_text())


def wait_for_death(pid: int) -> bool:
    end = time.monotonic() + PATIENCE_S
    while alive(pid) and time.monotonic() < end:
        time.sleep(0.05)
    return not alive(pid)


def raw(path: Path, *, seed: int = 1) -> Path:
    mosaic = np.random.default_rng(seed).normal(4000, 50, (512, 512)).astype(np.uint16)
    return write_dng(path, mosaic, cfa="RGGB", black=512, white=16383, compression="ljpeg")


class TestMeasuring:
    def test_a_capture_is_told_first_in_part_and_then_whole(self, tmp_path: Path, numbers: Numbers) -> None:
        job = numbers.job(str(raw(tmp_path / "a.dng")))
        with Pool(1) as pool:
            pool.submit(job)
            first, done = all_said(pool)
        assert isinstance(first, FirstLook)
        assert isinstance(done, Done)
        assert first.job is job
        assert done.job is job
        assert first.result.digest is None
        assert first.result.reading("highlights.clipped_area") is not None
        assert first.result.reading("sharpness.best_blur") is None
        assert done.result is not None
        assert done.result.digest is not None
        assert done.result.reading("sharpness.best_blur") is not None
        assert 0 < first.took_s <= done.took_s

    def test_a_file_that_cannot_be_measured_has_one_result_and_no_first_look(
        self, tmp_path: Path, numbers: Numbers
    ) -> None:
        with Pool(1) as pool:
            pool.submit(numbers.job(str(tmp_path / "gone.dng")))
            (done,) = all_said(pool)
        assert isinstance(done, Done)
        assert done.lost is None
        assert done.result is not None
        assert done.result.file.state == "vanished"

    def test_a_name_that_is_no_text_reaches_the_worker_as_it_is(self, tmp_path: Path, numbers: Numbers) -> None:
        path = os.fsdecode(os.fsencode(tmp_path) + b"/gl\xe4ze.dng")
        raw(Path(path))
        with Pool(1) as pool:
            done = do(pool, numbers.job(path))
        assert done.result is not None
        assert done.result.file.path == path
        assert done.result.file.state == "whole"

    def test_the_ambient_test_takes_the_dark_frame_first(self, tmp_path: Path) -> None:
        rng = np.random.default_rng(5)
        for name, level in (("dark", 530), ("lit", 4000)):
            mosaic = rng.normal(level, 8, (512, 512)).astype(np.uint16)
            write_dng(tmp_path / f"{name}.dng", mosaic, cfa="RGGB", black=512, white=16383)
        paths = tuple(str(tmp_path / f"{name}.dng") for name in ("dark", "lit"))
        with Pool(1) as pool:
            done = do(pool, Job(number=1, task="ambient", paths=paths))
        assert done.result is not None
        assert done.result.schema == "qc.ambient/1"
        assert [file.name for file, _ in done.result.dark] == ["dark.dng"]
        assert [file.name for file, _ in done.result.lit] == ["lit.dng"]

    def test_frames_that_cannot_be_compared_are_told_in_the_words_of_the_error(self, tmp_path: Path) -> None:
        path = str(raw(tmp_path / "a.dng"))
        with Pool(1) as pool:
            done = do(pool, Job(number=1, task="ambient", paths=(path, path)))
        assert done.result is None
        assert done.lost == "the ambient test needs two frames: one with the flash, one without"
        assert not done.retry

    def test_what_a_decoder_says_of_a_damaged_raw_is_kept_with_the_job(self, tmp_path: Path) -> None:
        data = bytearray(raw(tmp_path / "good.dng").read_bytes())
        inside = len(data) * 2 // 5  # well inside a tile, where only a decoder can tell
        data[inside : inside + 3000] = b"\x55" * 3000
        (tmp_path / "bad.dng").write_bytes(data)
        job = Job(number=1, task="capture", paths=(str(tmp_path / "bad.dng"),), decoder="rawpy")
        with Pool(1) as pool:
            done = do(pool, job)
            after = do(pool, Job(number=2, task="capture", paths=(str(tmp_path / "good.dng"),), decoder="rawpy"))
        assert done.result is not None
        assert done.result.file.state != "whole"
        assert "data corrupted" in done.complaints.lower()
        assert after.complaints == ""


class TestModesty:
    def test_a_worker_gives_way_and_keeps_quiet(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            state = ast.literal_eval(answer(do(pool, numbers.job("state"))))
        assert state["nice"] >= os.nice(0) + NICE
        assert state["core"] == 0
        assert state["threads"] == "1"
        assert state["keys"] == [True, True]
        assert state["input"] == b""
        assert state["main"] is None

    def test_a_capture_waits_for_no_import_and_opencv_has_one_thread(self, tmp_path: Path) -> None:
        script = f"""
import sys
from qc.intake.updates import Job
from qc.intake.worker import measure, warm
warm()
import cv2
before = set(sys.modules)
print(measure(Job(number=1, task="capture", paths=({str(raw(tmp_path / "a.dng"))!r},)), print).file.state)
print(cv2.getNumThreads(), sorted(set(sys.modules) - before))
"""
        done = subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=PATIENCE_S
        )
        assert done.stdout.splitlines()[-2:] == ["whole", "1 []"]

    def test_what_is_printed_is_kept_with_its_job_and_never_shown(
        self, numbers: Numbers, capfd: pytest.CaptureFixture[str]
    ) -> None:
        with Pool(1, task=obey) as pool:
            first = do(pool, numbers.job("say", "a"))
            second = do(pool, numbers.job("say", "b"))
            third = do(pool, numbers.job("pid"))
        assert first.complaints.splitlines() == ["1 a", "2 a", "out a", "err a"]
        assert second.complaints.splitlines() == ["1 b", "2 b", "out b", "err b"]
        assert third.complaints == ""
        assert capfd.readouterr() == ("", "")

    def test_printing_without_end_fills_neither_memory_nor_disk(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            done = do(pool, numbers.job("flood"))
            after = do(pool, numbers.job("say", "a"))
        assert int(answer(done)) <= 8_000_000
        assert len(done.complaints) < COMPLAINTS_LIMIT + 100
        assert done.complaints.startswith("first words\nscan line is broken\n")
        assert " bytes left out]\n" in done.complaints
        assert after.complaints.startswith("1 a\n")

    def test_ctrl_c_in_a_terminal_does_not_reach_a_worker(self, tmp_path: Path) -> None:
        note = tmp_path / "note"
        with Pool(1, task=obey) as pool:
            pool.submit(Job(number=1, task="capture", paths=("sleep", "0.5", str(note))))
            worker = wait_for_note(note)
            assert os.getpgid(worker) != os.getpgid(0)
            for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
                os.kill(worker, number)
            assert answer(until_done(pool)[0]) == "slept"


class TestLosses:
    @pytest.mark.parametrize("how", [("sleep", "1000"), ("hold",), ("stopped",)])
    def test_a_job_that_hangs_is_lost_at_the_limit_and_another_is_not(
        self, how: tuple[str, ...], numbers: Numbers
    ) -> None:
        with Pool(2, limit_s=1.0, task=obey) as pool:
            hung = numbers.job(*how)
            pool.submit(hung)
            pids = {answer(do(pool, numbers.job("pid")))}
            (done,) = until_done(pool)
            assert done.job is hung
            assert done.lost == "took longer than 1 s and was stopped"
            assert not done.retry
            assert done.took_s >= 1.0
            assert pool.free == 2
            for _ in range(2):
                pool.submit(numbers.job("pid"))
            now = {answer(one) for one in until_done(pool, 2)}
        assert pids < now
        assert len(now) == 2

    def test_a_job_that_hangs_says_where(self, numbers: Numbers) -> None:
        with Pool(1, limit_s=0.5, task=obey) as pool:
            done = do(pool, numbers.job("hold"))
        assert "in hold" in done.complaints

    @pytest.mark.parametrize(
        ("how", "words"),
        [
            (("crash",), "segmentation fault"),
            (("die_by", "SIGABRT"), "it gave up by itself"),
            (("die_by", "SIGKILL"), "killed from outside, perhaps for want of memory"),
            (("leave", "7"), "exit status 7"),
            (("exit_politely",), "exit status 3"),
        ],
    )
    def test_a_worker_that_dies_costs_its_job_only(
        self, how: tuple[str, ...], words: str, numbers: Numbers
    ) -> None:
        with Pool(2, task=obey) as pool:
            slow, dying = numbers.job("sleep", "0.5"), numbers.job(*how)
            pool.submit(slow)
            pool.submit(dying)
            ended = {done.job.number: done for done in until_done(pool, 2)}
            assert ended[dying.number].lost == f"the decoder crashed ({words})"
            assert answer(ended[slow.number]) == "slept"
            assert pool.free == 2
            assert answer(do(pool, numbers.job("say", "a"))) == "said"

    def test_a_crash_says_where_and_what_was_said_before_it(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            done = do(pool, numbers.job("say_in_decoder_and_crash"))
        assert done.complaints.startswith("data corrupted at 17\n")
        assert "in say_in_decoder_and_crash" in done.complaints

    def test_another_try_could_help_only_where_the_worker_had_other_work_before(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            fresh = do(pool, numbers.job("crash"))
            do(pool, numbers.job("pid"))
            used = do(pool, numbers.job("crash"))
            killed = do(pool, numbers.job("die_by", "SIGKILL"))
        assert (fresh.retry, used.retry, killed.retry) == (False, True, True)

    def test_wrong_use_is_told_in_its_own_words(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            done = do(pool, numbers.job("misuse"))
        assert (done.lost, done.complaints) == ("these frames cannot be compared", "")

    def test_a_fault_of_ours_is_told_with_its_traceback_and_the_worker_goes_on(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            before = answer(do(pool, numbers.job("pid")))
            done = do(pool, numbers.job("fault"))
            assert answer(do(pool, numbers.job("pid"))) == before
        assert done.lost == "internal fault: ZeroDivisionError: one over none"
        assert done.complaints.startswith("Traceback")
        assert "worker_tasks.py" in done.complaints

    def test_memory_that_runs_out_costs_the_job_and_may_be_tried_again(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            done = do(pool, numbers.job("no_memory"))
        assert (done.lost, done.retry) == ("memory ran out while it was measured", True)

    def test_a_result_that_cannot_be_sent_is_a_fault_that_is_told(self, numbers: Numbers) -> None:
        with Pool(1, task=obey_with_a_lambda) as pool:
            done = do(pool, numbers.job("anything"))
        assert str(done.lost).startswith("internal fault: ")
        assert "lambda" in str(done.lost)

    def test_a_worker_killed_while_idle_is_replaced_without_loss(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            first = int(answer(do(pool, numbers.job("pid"))))
            os.kill(first, signal.SIGKILL)
            assert wait_for_death(first)
            assert int(answer(do(pool, numbers.job("pid")))) != first

    def test_a_job_that_a_dying_worker_had_not_begun_goes_to_the_next(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            first = int(answer(do(pool, numbers.job("pid"))))
            os.kill(first, signal.SIGSTOP)
            pool.submit(numbers.job("pid"))
            os.kill(first, signal.SIGKILL)
            assert int(answer(until_done(pool)[0])) != first

    def test_a_worker_that_cannot_start_costs_its_job_and_says_why(
        self, numbers: Numbers, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(worker_process, "_START", "raise SystemExit('the library is missing')")
        with Pool(1, task=obey) as pool:
            done = do(pool, numbers.job("pid"))
            assert done.lost == "no worker could be started (exit status 1)"
            assert done.complaints == "the library is missing"
            monkeypatch.undo()
            assert answer(do(pool, numbers.job("say", "a"))) == "said"

    def test_a_process_that_the_system_refuses_costs_its_job_and_says_why(
        self, numbers: Numbers, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with Pool(1, task=obey) as pool:
            do(pool, numbers.job("pid"))

            def refuse(*_: object, **__: object) -> None:
                raise BlockingIOError(11, "Resource temporarily unavailable")

            with monkeypatch.context() as patch:
                patch.setattr(subprocess, "Popen", refuse)
                assert do(pool, numbers.job("crash")).lost == "the decoder crashed (segmentation fault)"
                refused = do(pool, numbers.job("pid"))
            assert refused.lost == "no worker could be started (Resource temporarily unavailable)"
            assert refused.retry
            assert answer(do(pool, numbers.job("say", "a"))) == "said"

    def test_signals_without_words_of_ours_keep_their_names(self) -> None:
        assert how_ended(-signal.SIGUSR1) == "SIGUSR1"
        assert how_ended(-99) == "signal 99"
        assert how_ended(0xC0000005) == "exit status 0xc0000005"


class TestPool:
    def test_free_counts_the_idle_and_a_job_too_many_is_refused(self, numbers: Numbers) -> None:
        with Pool(2, task=obey) as pool:
            assert pool.free == 2
            jobs = [numbers.job("sleep", "0.3") for _ in range(2)]
            for left, job in zip((1, 0), jobs, strict=True):
                pool.submit(job)
                assert pool.free == left
            assert pool.running == tuple(jobs)
            with pytest.raises(UsageError, match="no free worker"):
                pool.submit(numbers.job("pid"))
            until_done(pool, 2)
            assert pool.free == 2
        with pytest.raises(UsageError, match="no free worker"):
            pool.submit(numbers.job("pid"))

    def test_polling_ends_at_once_when_something_else_is_ready(self, numbers: Numbers) -> None:
        here, there = Pipe()
        with here, there, Pool(1, task=obey) as pool:
            pool.submit(numbers.job("sleep", "1000"))
            there.send_bytes(b"!")
            began = time.monotonic()
            assert pool.poll(PATIENCE_S, also=(here,)) == []
            assert time.monotonic() - began < PATIENCE_S / 2
            assert here.recv_bytes() == b"!"
            assert pool.poll(0.01, also=(here,)) == []

    def test_a_watch_that_looks_late_loses_nothing(self, numbers: Numbers) -> None:
        with Pool(1, limit_s=0.5, task=obey) as pool:
            do(pool, numbers.job("pid"))
            for _ in range(2):
                pool.submit(numbers.job("huge", "3"))
                time.sleep(2.5)  # longer than limit and grace; the result waits in the connection
                assert len(answer(until_done(pool)[0])) == 3_000_000

    def test_a_first_look_that_is_read_late_costs_no_time(self, numbers: Numbers) -> None:
        with Pool(1, limit_s=0.5, task=obey) as pool:
            do(pool, numbers.job("pid"))
            pool.submit(numbers.job("big_first"))
            time.sleep(2.5)  # the worker cannot go on before it is read
            first, done = all_said(pool)
            assert isinstance(first, FirstLook)
            assert isinstance(done, Done)
            assert answer(done) == "the rest"

    def test_a_huge_result_arrives_whole(self, numbers: Numbers) -> None:
        with Pool(1, task=obey) as pool:
            assert len(answer(do(pool, numbers.job("huge", "100")))) == 100_000_000

    def test_closing_lets_running_jobs_end(self, numbers: Numbers) -> None:
        pool = Pool(2, task=obey)
        pool.submit(numbers.job("sleep", "0.5"))
        (done,) = pool.close(wait_s=PATIENCE_S)
        assert isinstance(done, Done)
        assert answer(done) == "slept"
        assert pool.close() == []
        assert children() == set()

    def test_closing_tells_of_a_job_that_it_did_not_wait_for(self, numbers: Numbers) -> None:
        pool = Pool(1, task=obey)
        job = numbers.job("sleep", "1000")
        pool.submit(job)
        (done,) = pool.close(wait_s=0.2)
        assert isinstance(done, Done)
        assert done.job is job
        assert (done.lost, done.retry) == ("the watch ended before it was measured", True)
        assert children() == set()

    def test_a_worker_is_replaced_after_its_share_by_one_that_is_warm(self, numbers: Numbers) -> None:
        pids: list[str] = []
        with Pool(1, task=obey, recycle=5) as pool:
            end = time.monotonic() + PATIENCE_S
            while len(set(pids)) < 3:
                assert time.monotonic() < end
                done = do(pool, numbers.job("pid"))
                pids.append(answer(done))
                time.sleep(0.01)
            assert pids[:5] == pids[:1] * 5
            assert pids == sorted(pids, key=pids.index)  # one after the other, never back
            assert len(children()) <= 2

    def test_a_successor_that_cannot_start_leaves_the_old_worker_at_work(
        self, numbers: Numbers, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        with Pool(1, task=obey, recycle=2) as pool:
            first = answer(do(pool, numbers.job("pid")))
            monkeypatch.setattr(worker_process, "_START", "raise SystemExit(1)")
            started = []
            start = WorkerProcess.__init__

            def counted(self: WorkerProcess, limit_s: float, task: str, env: dict[str, str]) -> None:
                started.append(limit_s)
                start(self, limit_s, task, env)

            monkeypatch.setattr(WorkerProcess, "__init__", counted)
            for _ in range(9):
                assert answer(do(pool, numbers.job("pid"))) == first
                pool.poll(0.3)
            assert 1 <= len(started) <= 5

    def test_a_task_without_a_name_is_refused(self) -> None:
        with pytest.raises(UsageError, match="cannot be imported by name"):
            Pool(1, task=lambda job, _: measure_capture(job.paths[0]))

    def test_two_hundred_jobs_and_twenty_killed_workers_leak_nothing(self, numbers: Numbers) -> None:
        outside = descriptors()
        with Pool(2, task=obey, recycle=50) as pool:
            do(pool, numbers.job("pid"))
            before = descriptors()
            orders = [("die_by", "SIGKILL") if number % 10 == 9 else ("pid",) for number in range(200)]
            lost = [done for order in orders if (done := do(pool, numbers.job(*order))).lost]
            assert len(lost) == 20
            assert descriptors() <= before + 2  # one successor may be on its way
        assert children() == set()
        assert descriptors() == outside


SCRIPT = """
import sys
print("main runs")
from qc.intake.updates import Job
from qc.intake.workers import Pool
pool = Pool(1)
pool.submit(Job(number=1, task="capture", paths=(sys.argv[1],)))
(*_, done) = pool.close(wait_s=60)
print(done.lost, done.result.file.state)
"""


class TestCallers:
    @pytest.mark.parametrize("how", ["script", "command"])
    def test_the_callers_main_module_runs_once(self, how: str, tmp_path: Path) -> None:
        path = raw(tmp_path / "a.dng")
        (tmp_path / "script.py").write_text(SCRIPT)
        elsewhere = tmp_path / "elsewhere"
        elsewhere.mkdir()
        (elsewhere / "numpy.py").write_text("raise SystemExit('a file of the user was taken for a library')")
        (elsewhere / "qc").mkdir()
        first = ["../script.py"] if how == "script" else ["-P", "-c", SCRIPT]
        done = subprocess.run(
            [sys.executable, *first, str(path)], cwd=elsewhere, capture_output=True, text=True, timeout=PATIENCE_S
        )
        assert (done.stdout, done.stderr) == ("main runs\nNone whole\n", "")
        assert sorted(p.name for p in elsewhere.iterdir()) == ["numpy.py", "qc"]

    def test_a_caller_that_found_the_library_by_its_own_path_has_workers_that_find_it(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(sys, "path", ["", "/elsewhere"])
        assert environment()["PYTHONPATH"] == f"{Path.cwd()}:/elsewhere"

    @pytest.mark.parametrize(("order", "limit_s"), [("sleep", 1000.0), ("hold", 3.0)])
    def test_workers_die_with_a_watch_that_is_killed(self, order: str, limit_s: float, tmp_path: Path) -> None:
        note = tmp_path / "note"
        more = ("1000", str(note)) if order == "sleep" else (str(note),)
        script = textwrap.dedent(f"""
            from qc.intake.updates import Job
            from qc.intake.workers import Pool
            from tests.intake.worker_tasks import obey
            pool = Pool(1, limit_s={limit_s}, task=obey)
            pool.submit(Job(number=1, task="capture", paths={(order, *more)!r}))
            pool.poll(1000)
        """)
        root = str(Path(__file__).parents[2])
        with subprocess.Popen(
            [sys.executable, "-c", script], env=os.environ | {"PYTHONPATH": root}, cwd=tmp_path
        ) as watch:
            worker = wait_for_note(note)
            watch.kill()
        assert wait_for_death(worker)


def test_a_digest_is_cheap_to_send(tmp_path: Path, numbers: Numbers) -> None:
    with Pool(1) as pool:
        done = do(pool, numbers.job(str(raw(tmp_path / "a.dng"))))
    assert done.result is not None
    assert done.result.digest is not None
    assert len(pickle.dumps(done.result)) < 3_000_000
