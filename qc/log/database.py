"""`Database`: the log's file, opened when it is needed and again after trouble; its transactions and errors."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from qc.errors import LogError
from qc.log.connect import DEFECTS, cause_of, connect


class Database:
    """One SQLite file, for any thread.

    Parameters
    ----------
    path : Path
        Of the file.
    create : bool
        Whether it is made where it is missing.
    read_only : bool
        Whether nothing of it is changed.
    """

    def __init__(self, path: Path, *, create: bool, read_only: bool) -> None:
        self.path = path
        self.lock = threading.RLock()
        self._create = create
        self._read_only = read_only
        self._db: sqlite3.Connection | None = None
        self._file: tuple[int, int] | None = None
        self._closed = False

    def close(self) -> None:
        """Let go of the file; what was added is on the disk already."""
        with self.lock:
            self._closed = True
            self._let_go()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Run one transaction; whatever happens in it, it is there wholly or not at all.

        Raises
        ------
        LogError
            As `asked`.
        """
        with self.asked() as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):  # where the disk is gone, closing the connection rolls back
                    db.execute("ROLLBACK")
                raise

    @contextmanager
    def asked(self) -> Iterator[sqlite3.Connection]:
        """Lend the connection, in autocommit mode, whose rows go by name.

        Raises
        ------
        LogError
            For the disk's troubles, another process's lock, a file that is no log. The next call opens the file
            anew.
        """
        with self.lock:
            try:
                yield self._connected()
            except DEFECTS:
                raise
            except (sqlite3.DatabaseError, OSError) as error:
                self._let_go()
                raise LogError(self.path, cause_of(error)) from error

    def _connected(self) -> sqlite3.Connection:
        if self._closed:
            raise LogError(self.path, "was closed and cannot be asked any more")
        if self._db is not None and self._identity() != self._file:
            self._let_go()  # the file was replaced: what is written to the old one would be lost
        if self._db is None:
            self._db = connect(self.path, create=self._create, read_only=self._read_only)
            self._file = self._identity()
        return self._db

    def _identity(self) -> tuple[int, int]:
        try:
            found = self.path.stat()
        except FileNotFoundError as error:
            self._let_go()
            raise LogError(self.path, "was removed while it was in use") from error
        return found.st_dev, found.st_ino

    def _let_go(self) -> None:
        if self._db is not None:
            with suppress(sqlite3.Error):  # the caller is told of the trouble behind it
                self._db.close()
            self._db = None
