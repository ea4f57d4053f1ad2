"""A batch on a dask.distributed scheduler, for studios with many sets on storage that all machines share.

The captures must have the same path on every machine; only the machine that checks writes the log. One thread a
worker process is best (``dask worker ADDRESS --nthreads 1``): decoders share a standard error in one process.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import NamedTuple

from qc.errors import UsageError

ANSWERS_S = 10
"""Seconds that a scheduler has to answer."""


class Cluster(NamedTuple):
    """What `qc.batch.check.DayCheck` needs of a cluster."""

    executor: Executor
    jobs: int


@contextmanager
def connected(address: str) -> Iterator[Cluster]:
    """Give the executor of a scheduler, and how many pieces of work its workers do at a time.

    A worker that dies costs nothing: the scheduler gives its work to another one, a few times.

    Parameters
    ----------
    address : str
        As dask writes it: ``tcp://192.0.2.7:8786``.

    Raises
    ------
    UsageError
        When the extra ``cluster`` is not installed, no scheduler answers, or it has no workers.
    """
    try:
        from distributed import Client
    except ImportError:
        raise UsageError("--scheduler needs the extra cluster: pip install 'framegauge[cluster]'") from None
    try:
        client = Client(address, timeout=ANSWERS_S)
    except (OSError, ValueError, TypeError) as error:  # nobody there, or no address
        raise UsageError(f"{address}: no scheduler answers there") from error
    with client:
        threads = sum(client.nthreads().values())
        if not threads:
            raise UsageError(f"{address}: that scheduler has no workers")
        yield Cluster(client.get_executor(pure=False), threads)
