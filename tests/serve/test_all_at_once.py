"""Intakes and closes by hand while the works is served and its pages are read: each takes its turn, and the site says
what it says after one thing done after the other.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

from filelock import FileLock

from pipelines.jobs.check import check_site
from pipelines.jobs.days import close_day
from pipelines.settings import Settings
from tests.conftest import HEAD, Place, one_furnace
from tests.serve.test_for_real import ROOT, Served, started  # noqa: F401 - a fixture

DAY = date(2026, 3, 10)
CLOCK = "2026-03-11T05:10:00+00:00"
FILES = [
    HEAD
    + "".join(
        f"2026-03-10T{h:02d}:{m:02d}:00Z,K1,K1-side-a,{k},60,{10 + k},{(h + m) % 3}\n"
        for m in range(60)
        for k in (1, 2)
    )
    for h in range(8, 16)
]


def said(place: Place) -> dict[str, object]:
    """Rows in force and answers of the day."""
    with place.opened.ledger.reading() as reader:
        digest = reader.ask("closes_of_day", day=DAY).sort("revision")["digest"].to_list()[-1]
        facts = reader.current("station_counts").sort("window_start", "mould").drop("batch", "file_line")
    return {"rows": facts.rows(), "answers of the close": digest}


def by_hand(root: Path, *words: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", "from pipelines.cli import main; main()", *words, "--site", str(root)]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "COLDLEDGER_NOW": CLOCK}
    return subprocess.Popen(command, env=env, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def all_at_once(place: Place, served: Served) -> None:
    """Files come, are taken in and closed by hand, while the clerk does the same and pages are read; ends when all
    have.
    """
    runs, answers = [], []
    for number, text in enumerate(FILES):
        part = place.put(f".{number}", text)
        part.rename(place.site.inbox / f"station_counts.{number}.csv")
        if number % 3 == 0:
            runs += [by_hand(place.site.root, "intake"), by_hand(place.site.root, "close")]
        answers += [served.get(path)[0] for path in ("/now", "/hour/K1", "/feeds", "/health")]
    for run in runs:
        out, err = run.communicate(timeout=300)
        assert run.returncode in (0, 1) and "Traceback" not in out + err, (out, err)
        assert run.returncode == 0 or "running" in err or "runs" in err, (out, err)
    served.until(lambda: not [p for p in place.site.inbox.iterdir() if p.name[0] != "."], 300, "all taken in")
    served.until(lambda: not [flow for flow, state in served.runs() if state == "running"], 300, "no run")
    assert set(answers) <= {200, 503}, answers


def nothing_held(place: Place) -> None:
    for path in (place.site.root / ".locks").iterdir():
        lock = FileLock(path, timeout=0)
        lock.acquire()
        lock.release()


def test_everything_at_once_is_as_one_after_the_other(tmp_path: Path, started: Callable[..., Served]) -> None:  # noqa: F811
    works = one_furnace(lines=("K1",))
    settings = Settings(fixed_now=datetime.fromisoformat(CLOCK), lock_wait_s=60)
    plain, other = (Place(tmp_path / name / "site", works, settings) for name in ("plain", "other"))
    for number, text in enumerate(FILES):
        plain.put(f"station_counts.{number}.csv", text)
        plain.take()
    other.put("station_counts.first.csv", FILES[0])
    other.take()
    served = started(other.site.root, CLOCK)
    served.until(lambda: served.get("/health")[0] != 0, 120, "pages")
    all_at_once(other, served)
    assert served.stop() == 0 and "Traceback" not in served.log.read_text()
    nothing_held(other)
    for place in (plain, other):
        close_day(place.opened, DAY)
    assert said(other) == said(plain)
    assert check_site(other.opened, rows=True).findings == []
