"""A check on a real dask.distributed cluster, with workers killed in the middle."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any

import pytest

from qc.batch.check import check_day
from qc.batch.cluster import connected
from qc.errors import UsageError
from qc.intake.updates import Judged
from tests.batch.counting import Counting, decodes
from tests.watch.running import capture

distributed = pytest.importorskip("distributed", reason="the extra cluster is not installed")

pytestmark = pytest.mark.timeout(300)

NAMES = [f"SB_{number:04d}.dng" for number in range(12)]


@pytest.fixture(scope="module")
def cluster() -> Iterator[Any]:
    """Two worker processes of one thread each; the scheduler has no pages for browsers."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as made:
        yield made


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "bottles"
    made.mkdir()
    for number, name in enumerate(NAMES):
        (made / name).write_bytes(capture(number))
    return made


def names(folder: Path, executor: Executor) -> list[str]:
    return [t.result.file.name for t in check_day(folder, executor=executor, jobs=2) if isinstance(t, Judged)]


def test_a_cluster_measures_each_capture_once(cluster: Any, folder: Path, tmp_path: Path) -> None:
    with connected(cluster.scheduler_address) as (executor, jobs):
        assert jobs == 2
        assert names(folder, Counting(executor, tmp_path / "decodes")) == NAMES
        assert names(folder, Counting(executor, tmp_path / "decodes")) == NAMES
    assert decodes(tmp_path / "decodes") == Counter(NAMES)


def test_a_worker_killed_in_the_middle_loses_nothing(cluster: Any, folder: Path, tmp_path: Path) -> None:
    (folder / "dies_1.dng").write_bytes(capture(50))
    with connected(cluster.scheduler_address) as (executor, _):
        told = list(check_day(folder, executor=Counting(executor, tmp_path / "decodes"), jobs=2))
    measured = [t for t in told if isinstance(t, Judged)]
    assert len(told) == len(measured) == 13
    assert {t.result.file.state for t in measured} == {"whole"}
    assert decodes(tmp_path / "decodes")["dies_1.dng"] == 2


def test_a_capture_that_kills_every_worker_is_told_as_lost(cluster: Any, folder: Path, tmp_path: Path) -> None:
    (folder / "dies_9.dng").write_bytes(capture(50))
    with connected(cluster.scheduler_address) as (executor, _):
        told = list(check_day(folder, executor=Counting(executor, tmp_path / "decodes"), jobs=2))
    states = {t.result.file.name: t.result.file.state for t in told if isinstance(t, Judged)}
    assert states == dict.fromkeys(NAMES, "whole") | {"dies_9.dng": "unreadable"}


def test_a_scheduler_that_is_not_there_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("qc.batch.cluster.ANSWERS_S", 0.5)
    with pytest.raises(UsageError, match=r"127\.0\.0\.1:9: no scheduler answers"), connected("tcp://127.0.0.1:9"):
        pass


def test_an_address_that_is_none_is_one_line() -> None:
    with pytest.raises(UsageError, match="no scheduler answers"), connected("no address"):
        pass


def test_without_the_extra_it_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"framegauge\[cluster\]"), connected("tcp://127.0.0.1:9"):
        pass


def test_a_scheduler_that_goes_away_ends_the_check_with_one_line(folder: Path) -> None:
    class Gone(Executor):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            del fn, args, kwargs
            future: Future[Any] = Future()
            future.cancel()
            future.set_running_or_notify_cancel()
            return future

    with pytest.raises(UsageError, match="the workers are gone"):
        names(folder, Gone())
