"""The ambient tests of a day's check: which dark frames have none as the sheet says now, and filing them."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from qc.batch.book import Book
from qc.batch.work import Answer, Task
from qc.errors import printable
from qc.event import Event, now
from qc.intake.desk import Desk
from qc.intake.placing import Used
from qc.log.keys import Key, limits_digest, methods_text, zones_digest
from qc.log.log import Log
from qc.log.rows import Judged
from qc.measure.ambient import SPEC
from qc.pipeline import rejudge
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.pairs import pairs


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """One ambient test.

    Attributes
    ----------
    dark, lit : str
        Contents of the two frames.
    paths : (str, str)
        Where they are, relative to the folder, in that order.
    used : Used
        What it is measured and judged by.
    """

    __test__ = False  # no test of this program, whatever a collector of those thinks of its name

    dark: str
    lit: str
    paths: tuple[str, str]
    used: Used


class Tests:
    """The ambient tests of a day.

    Parameters
    ----------
    log : Log
        Open, with all captures in it.
    book : Book
        Of the folder.
    specs : sequence of Spec
        The measurements.
    task : callable
        Makes the piece of work for two paths and what they are measured by.

    Attributes
    ----------
    finished : int
        How many are logged, or told why not.
    """

    __test__ = False

    def __init__(
        self, log: Log, book: Book, specs: Sequence[Spec], task: Callable[[Sequence[str], Used], Task]
    ) -> None:
        self.finished = 0
        self._log = log
        self._book = book
        self._specs = specs
        self._task = task
        self._figures = Desk(specs).figures
        self._todo = deque(self._to_run())

    def __len__(self) -> int:
        return len(self._todo)

    def take(self) -> tuple[Test, Task] | None:
        """Return the next test to be measured with its piece of work; None when there is none."""
        if not self._todo:
            return None
        test = self._todo.popleft()
        return test, self._task(test.paths, test.used)

    def _to_run(self) -> Iterator[Test]:
        """Yield the tests to be measured; those that only other limits ask for are judged from the log here."""
        for dark, lit in pairs(self._log.entries(self._specs)).items():
            test = self._test(dark, lit)
            if test is not None and not self._is_settled(test):
                yield test

    def done(self, test: Test, answer: Answer) -> Iterator[Event]:
        """Log a test that was measured; yields what has to be told."""
        self.finished += 1
        if answer.result is not None:
            yield from self._add(test, answer.result, answer.took_s)
            return
        name = Path(test.paths[0]).name
        text = f"ambient test of {printable(name)}: {answer.lost}"
        event = Event(kind="worker_lost", at=now(), text=text, name=name, content=test.dark, level=Level.NOTE)
        self._log.event(event)
        yield event

    def _test(self, dark: str, lit: str) -> Test | None:
        paths = self._book.present(dark), self._book.present(lit)
        if paths[0] is None or paths[1] is None:
            return None
        used = self._book.used(paths[1])
        if used.sheet is not None and used.sheet.light == "continuous":
            return None  # there is no flash to test against
        return Test(dark=dark, lit=lit, paths=(paths[0], paths[1]), used=used)

    def _is_settled(self, test: Test) -> bool:
        """Tell whether nothing has to be measured."""
        key = Key(
            content=test.dark,
            methods=methods_text({SPEC.name: SPEC.version}),
            zones=zones_digest(test.used.sheet),
        )
        wanted = Judged(key=key, limits=self._limits(test.used), lit=test.lit)
        if self._log.judged(test.dark, test="ambient") == wanted:
            return True
        measured = self._log.measured(key, lit=test.lit)
        if measured is None:
            return False
        self._add(test, rejudge(measured, test.used.sheet, preset=test.used.preset))
        return True

    def _add(self, test: Test, result: Result, took_s: float = 0.0) -> Sequence[Event]:
        return self._log.add_ambient(
            result,
            dark=test.dark,
            lit=test.lit,
            limits=self._limits(test.used),
            sheet=test.used.sheet,
            sheet_text=test.used.text,
            text=self._figures(result, Path(test.paths[1]).name),
            took_s=took_s,
        )

    def _limits(self, used: Used) -> str:
        return limits_digest(used.sheet, used.preset, self._specs)
