"""The text of an error is one line that names the file and the cause."""

from __future__ import annotations

import pickle

from qc.errors import LogError, QcError, printable


def test_a_log_error_names_the_file_and_the_cause_in_one_line() -> None:
    error = LogError("/day \udcff.qc/log\n.sqlite3", "the disk is full")
    assert str(error) == "/day \\xff.qc/log\\n.sqlite3: the disk is full"
    assert (error.path, error.cause) == ("/day \udcff.qc/log\n.sqlite3", "the disk is full")
    assert isinstance(error, QcError)


def test_a_log_error_survives_the_way_between_processes() -> None:
    error = pickle.loads(pickle.dumps(LogError("log.sqlite3", "the log is damaged")))
    assert str(error) == "log.sqlite3: the log is damaged"


def test_half_a_character_is_shown_as_its_code() -> None:
    """JSON's text may hold one (RFC 8259, 8.2); no path does."""
    assert printable("neck \ud800") == "neck \\ud800"
