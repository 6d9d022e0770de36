"""Two processes that answer from the ledger side by side; one process writes."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from pathlib import Path
from typing import Generic, TypeVar

from pipelines.plant.works import Plant
from pipelines.settings import Settings
from pipelines.site.folder import OpenSite, open_site

PROCESSES = 2
Job = TypeVar("Job")
Done = TypeVar("Done")


def side_by_side(
    opened: OpenSite, work: Callable[[OpenSite, Plant, Job], Done], jobs: Sequence[Job], many: int = 2
) -> Iterator[Done]:
    """What `work` gives for each job, in their order; in processes of their own where there are `many` or more.

    `work` is a function of a module, reads the ledger and never writes it. When the caller stops, jobs not begun are
    dropped.
    """
    if len(jobs) < many:
        plant = opened.known
        yield from (work(opened, plant, job) for job in jobs)
        return
    os.environ.setdefault("POLARS_MAX_THREADS", "1")  # read by the workers as they start; each has one core
    pool = ProcessPoolExecutor(
        PROCESSES, mp_context=get_context("spawn"), initializer=_begin, initargs=(opened.site.root, opened.settings)
    )
    try:
        yield from pool.map(_Call(work), jobs)
    finally:
        pool.shutdown(cancel_futures=True)


class _Call(Generic[Job, Done]):
    """A call that a worker can be sent."""

    def __init__(self, work: Callable[[OpenSite, Plant, Job], Done]):
        self.work = work

    def __call__(self, job: Job) -> Done:
        return self.work(*_worker[0], job)


def _end_with_parent() -> None:
    """A worker whose parent was killed has nobody to work for, and would wait for ever."""
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


_worker: list[tuple[OpenSite, Plant]] = []


def _begin(root: Path, settings: Settings) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asked; it ends its workers
    threading.Thread(target=_end_with_parent, daemon=True).start()
    opened = open_site(root, settings)
    _worker.append((opened, opened.known))
