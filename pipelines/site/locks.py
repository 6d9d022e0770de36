"""Who is running: locks that the kernel frees when their holder dies."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from filelock import FileLock, Timeout

from pipelines.errors import LedgerBusy, SiteError
from pipelines.ledger.sentences import unwritable
from pipelines.settings import Site

FLOWS = ("intake", "follow", "close", "rebuild")


@contextmanager
def held(site: Site, name: str, wait_s: float, busy: str) -> Iterator[None]:
    """Hold `.locks/<name>`; LedgerBusy with the sentence `busy` where another process keeps it longer than `wait_s`."""
    try:
        site.locks.mkdir(parents=True, exist_ok=True)
        with FileLock(site.locks / name, timeout=wait_s):
            yield
    except Timeout:
        raise LedgerBusy(busy) from None
    except PermissionError as error:
        raise SiteError(unwritable(site, error)) from error


@contextmanager
def one_run_at_a_time(site: Site, flow: str, wait_s: float) -> Iterator[None]:
    """Hold a flow's own lock; LedgerBusy where the same flow runs already and does not end in time."""
    busy = f"another {flow} of this site is still running; this one ended, and the next takes up what that one leaves"
    with held(site, f"run-{flow}", wait_s, busy):
        yield


def is_held(site: Site, name: str) -> bool:
    """Whether a process holds a lock now."""
    path = site.locks / name
    if not path.exists():
        return False
    try:
        with FileLock(path, timeout=0):
            return False
    except Timeout:
        return True
    except OSError:
        return False


def running_flows(site: Site) -> tuple[str, ...]:
    """The flows that run at this moment."""
    return tuple(flow for flow in FLOWS if is_held(site, f"run-{flow}"))
