"""`python -m tests.faults.killed JOB ROOT MOMENT STEP [DAY]`: one job of a site in this process, killed (SIGKILL)
before its step of that number; 0: not at all.

Steps are counted as in tests/intake/killed.py: each is an event by which Python touches the world (PEP 578), so that
kills fall alike on every computer. Prints how many steps the job had.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
SEEN = ("open", "os.", "shutil.", "subprocess.Popen", "socket.", "import")


def jobs() -> dict[str, Callable[[Any, date], object]]:
    """What can be killed, each given the opened site and a production day."""
    from pipelines.intake import take_in
    from pipelines.intake.retry import retry_quarantine
    from pipelines.jobs.backup import back_up
    from pipelines.jobs.days import close_day
    from pipelines.jobs.from_archive import rebuild_from_archive
    from pipelines.jobs.rebuild import rebuild_days
    from pipelines.jobs.rollup import roll_up
    from pipelines.ledger.keeping import compact

    return {
        "intake": lambda site, _: take_in(site.site, site.plant, site.settings),
        "retry": lambda site, _: retry_quarantine(site.site, site.plant, site.settings),
        "close": close_day,
        "rebuild": lambda site, day: rebuild_days(site, day, day),
        "rollup": roll_up,
        "compact": lambda site, _: compact(site.ledger),
        "from_archive": lambda site, _: rebuild_from_archive(site),
        "backup": lambda site, _: back_up(site, site.site.root.parent / "copies"),
    }


def run(job: str, root: Path, now: datetime, step: int, day: date | None = None) -> tuple[int, int, str]:
    """A job in a process of its own: how it ended (a signal negative), how many steps it had when it was whole, what it
    said of an error.
    """
    command = [sys.executable, "-m", "tests.faults.killed", job, str(root), now.isoformat(), str(step)]
    env = {**os.environ, "POLARS_MAX_THREADS": "1"}
    done = subprocess.run(
        command + ([str(day)] if day else []), cwd=ROOT, env=env, capture_output=True, text=True, timeout=300
    )
    steps = json.loads(done.stdout) if done.returncode == 0 else 0
    return done.returncode, steps, done.stderr[-3000:]


def main() -> None:
    from pipelines.settings import Settings
    from tests.conftest import Place

    job, root, number = sys.argv[1], Path(sys.argv[2]), int(sys.argv[4])
    day = date.fromisoformat(sys.argv[5]) if len(sys.argv) > 5 else date.max
    place = Place.at(root, Settings(fixed_now=datetime.fromisoformat(sys.argv[3]), lock_wait_s=20))
    work, opened, steps = jobs()[job], place.opened, 0

    def step(name: str, _: tuple[object, ...]) -> None:
        nonlocal steps
        if name.startswith(SEEN):
            steps += 1
            if steps == number:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(step)
    work(opened, day)
    answer = steps
    print(json.dumps(answer))


if __name__ == "__main__":
    main()
