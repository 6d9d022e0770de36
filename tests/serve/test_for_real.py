"""`coldledger serve` as a works starts it: processes of their own, killed at any moment, stopped cleanly, started
again.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import date
from pathlib import Path

import pytest

from pipelines.settings import Settings
from sample_feeds.simulator import Simulated, make_plan, write_feeds
from tests.conftest import Place, one_furnace
from tests.shared import Shared

ROOT = Path(__file__).parent.parent.parent
PATIENCE_S = 120  # ends a test that hangs; how long things take is told by tests/benchmarks (kills, soak, crowd)
DAY = date(2026, 3, 10)
START = "2026-03-11T05:10:00+00:00"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Served:
    """A started `coldledger serve` and what it says."""

    def __init__(self, root: Path, clock: str = START, *more: str, port: int = 0, **environment: str):
        self.root, self.port = root, port or free_port()
        self.log = root.parent / f"log{self.port}.txt"
        code = [
            sys.executable,
            "-c",
            "from pipelines.cli import main; main()",
            "serve",
            "--site",
            str(root),
            "--port",
            str(self.port),
            "--log",
            "json",
            *more,
        ]
        texts = {**os.environ, "PYTHONPATH": str(ROOT), "COLDLEDGER_CLOCK": clock, **environment}
        self.began = time.monotonic()
        with self.log.open("w") as out:
            self.process = subprocess.Popen(code, env=texts, stderr=out, stdout=out)

    def get(self, path: str) -> tuple[int, str]:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=10) as answer:
                return int(answer.status), answer.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode()
        except OSError:
            return 0, ""

    def until(self, true: Callable[[], bool], seconds: float, what: str) -> float:
        """Wait until something is true; the seconds since the start."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if true():
                return time.monotonic() - self.began
            time.sleep(0.1)
        raise AssertionError(f"not within {seconds} s: {what}\n{self.log.read_text()[-3000:]}")

    def runs(self) -> list[tuple[str, str]]:
        """Flow and state of every run, the oldest first."""
        path = self.root / ".serve" / "serve.db"
        if not path.exists():
            return []
        with sqlite3.connect(path, timeout=10) as con, suppress(sqlite3.OperationalError):  # it may be only just made
            return list(con.execute("select flow, state from runs order by number"))
        return []

    def stop(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        return self.process.wait(60)

    def children(self) -> list[int]:
        texts = subprocess.run(["ps", "-eo", "pid,args"], capture_output=True, text=True).stdout.splitlines()
        mine = [
            line.split(None, 1) for line in texts if "pipelines.serve.child" in line or "pipelines.flows.child" in line
        ]
        return [int(pid) for pid, _ in mine if self._is_mine(int(pid))]

    def _is_mine(self, pid: int) -> bool:
        try:
            return str(self.root) in Path(f"/proc/{pid}/environ").read_text(errors="replace") or str(self.root) in Path(
                f"/proc/{pid}/cmdline"
            ).read_text(errors="replace")
        except OSError:
            return False


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Callable[..., Served]]:
    every: list[Served] = []

    def start(root: Path, clock: str = START, *more: str) -> Served:
        every.append(Served(root, clock, *more))
        return every[-1]

    yield start
    for served in every:
        if served.process.poll() is None:
            served.process.kill()
            served.process.wait(10)


def feed(place: Place, simulated: Simulated) -> Place:
    """The last hours of a day of feeds into the inbox."""
    write_feeds(simulated, place.site.inbox)
    for path in place.site.inbox.iterdir():
        stamp = re.search(r"\.(\d{8}T\d{4}Z)\.", path.name)
        if stamp and ".works." not in path.name and stamp[1] < "20260310T2100Z":
            path.unlink()
    return place


@pytest.fixture
def fed(day_of_truth: Simulated, tmp_path: Path) -> Place:
    """A site with the last hours of a day of feeds in its inbox and nothing taken in."""
    return feed(Place(tmp_path / "site", settings=Settings()), day_of_truth)


@pytest.fixture
def fed_again(shared: Shared, tmp_path: Path) -> Place:
    """The same of a works with one furnace."""
    place = Place(tmp_path / "site", one_furnace(), Settings())
    simulated = shared.simulated(make_plan(place.plant, DAY, 1, seed=41_078, lag_offset=0.0))
    return feed(place, simulated)


def contents(folder: Path) -> set[str]:
    """The files of a folder by their bytes."""
    return {hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()}


def test_started_once_it_takes_in_closes_shows_pages_and_stops_cleanly(
    fed: Place, started: Callable[..., Served]
) -> None:
    served = started(fed.site.root)
    served.until(lambda: served.get("/health")[0] in (200, 503), PATIENCE_S, "pages")
    served.until(lambda: ("close", "done") in served.runs(), 600, "the day closed")
    flows = [flow for flow, _ in served.runs()]
    assert flows == ["intake", "close"] and served.runs()[0][1] in ("done", "needs a person")
    assert not [path for path in fed.site.inbox.iterdir() if not path.name.startswith(".")]
    assert (
        "Tuesday 10 March 2026" in served.get("/day/2026-03-10.html")[1] and "Every line now" in served.get("/now")[1]
    )
    again = Served(fed.site.root)
    assert again.process.wait(30) == 1 and "runs already" in again.log.read_text(), (
        "a second one for the same site refuses"
    )
    children = served.children()
    assert len(children) == 2
    assert served.stop() == 0
    assert not served.children(), "nothing is left running"
    for line in served.log.read_text().splitlines():
        assert {"at", "level", "from", "message"} <= json.loads(line).keys()


def test_killed_while_it_takes_in_nothing_is_lost_and_pages_are_back(
    fed_again: Place, started: Callable[..., Served]
) -> None:
    """SIGKILL to all of it in the middle of an intake, as a power cut does it; then started again."""
    fed = fed_again
    files = contents(fed.site.inbox)
    served = started(fed.site.root)
    served.until(fed.site.ledger.exists, 600, "an intake that has begun to write")
    assert served.runs() == [("intake", "running")] and list(fed.site.inbox.iterdir())
    for pid in (served.process.pid, *served.children()):
        os.kill(pid, signal.SIGKILL)
    served.process.wait(10)
    two = started(fed.site.root)
    two.until(lambda: two.get("/now")[0] in (200, 503), PATIENCE_S, "pages back")
    two.until(lambda: ("close", "done") in two.runs(), 600, "the day closed")
    assert two.runs()[0] == ("intake", "cut off") and not [state for _, state in two.runs() if state == "running"]
    assert two.stop() == 0
    assert contents(fed.site.archive) >= files
    with fed.opened.ledger.reading() as reader:
        counts = reader.current("station_counts")
    assert counts.height == counts.unique(["window_start", "line", "station", "mould"]).height > 20_000


def test_a_supervisor_that_is_killed_takes_its_parts_with_it_and_a_part_that_dies_is_begun_again(
    day_taken: Place, tmp_path: Path, started: Callable[..., Served]
) -> None:
    root = tmp_path / "site"
    shutil.copytree(day_taken.site.root, root)
    served = started(root)
    served.until(lambda: served.get("/now")[0] == 200, 20, "pages")
    served.until(lambda: len(served.children()) >= 2, PATIENCE_S, "all parts")
    pages = next(
        pid
        for pid in served.children()
        if Path(f"/proc/{pid}/cmdline").read_text(errors="replace").rstrip("\0").endswith("pages")
    )
    os.kill(pages, signal.SIGKILL)
    served.until(lambda: served.get("/now")[0] == 0, 5, "pages gone") if served.get("/now")[0] else None
    served.until(lambda: served.get("/now")[0] == 200, PATIENCE_S, "pages begun again")
    served.process.kill()
    served.process.wait(10)
    served.until(lambda: not served.children(), PATIENCE_S, "the parts to end with their supervisor")


def test_six_hours_off_are_caught_up_once_and_in_order(fed_again: Place, started: Callable[..., Served]) -> None:
    """Off over the end of the day: the newest hours lie in the inbox; started again, one intake takes all, then one
    close.
    """
    fed = fed_again
    late = {
        path
        for path in fed.site.inbox.iterdir()
        if path.name.split(".")[0] == "station_counts" and path.name.startswith("station_counts.K1")
    }
    aside = fed.site.root / "aside"
    aside.mkdir()
    moved = [path.rename(aside / path.name) for path in sorted(late)[-3:]]
    served = started(fed.site.root, "2026-03-11T04:30:00+00:00")
    served.until(
        lambda: any(flow == "intake" and state != "running" for flow, state in served.runs()), 600, "an intake"
    )
    assert served.stop() == 0
    for path in moved:
        path.rename(fed.site.inbox / path.name)
    two = started(fed.site.root, "2026-03-11T11:00:00+00:00")
    two.until(lambda: ("close", "done") in two.runs(), 600, "the close")
    time.sleep(3)
    assert [flow for flow, _ in two.runs()] == ["intake", "intake", "close"]
    assert two.stop() == 0


def test_beyond_this_computer_it_refuses_without_sign_in_and_says_how_tls_is_done(
    day_taken: Place, tmp_path: Path, started: Callable[..., Served]
) -> None:
    root = tmp_path / "site"
    shutil.copytree(day_taken.site.root, root)
    for more in (("--host", "0.0.0.0"), ("--address", "https://ledger.works.example")):
        served = started(root, START, *more)
        assert served.process.wait(60) == 2
        said = served.log.read_text()
        assert "nobody can sign in" in said and "reverse proxy" in said and "TLS" in said and "people add" in said
    taken = socket.socket()
    taken.bind(("127.0.0.1", 0))
    taken.listen()
    served = started(root, START, "--port", str(taken.getsockname()[1]))
    assert served.process.wait(60) == 2 and "cannot be listened on" in served.log.read_text()
    taken.close()
