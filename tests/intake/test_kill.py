"""Real processes killed at random steps of an intake, then run again: the ledger equals an undisturbed one."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from sample_feeds.simulator import Simulated, write_feeds
from schemas.feeds import ALL_FEEDS
from tests.conftest import Place


def fill(place: Place, simulated: Simulated) -> None:
    small = Simulated(simulated.plan, {name: frame.head(6000) for name, frame in simulated.feeds.items()}, {})
    write_feeds(small, place.site.inbox)


def killed_and_not(killed: Place, plain: Place, seed: int) -> list[int]:
    """Four intakes of one site killed on their way, a fifth left alone; the other site's never disturbed. How the five
    ended.
    """
    command = [sys.executable, "-m", "tests.intake.killed", str(plain.site.root), str(killed.site.root), str(seed)]
    env = {**os.environ, "POLARS_MAX_THREADS": "1"}
    done = subprocess.run(command, cwd=Path(__file__).parents[2], env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-3000:]
    ended: list[int] = json.loads(done.stdout)["ended"]
    return ended


def files_below(folder: Path) -> list[str]:
    return sorted(
        str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file() and not path.name.startswith(".")
    )


@pytest.mark.parametrize("seed", range(4))
def test_killed_and_run_again_it_is_as_if_nothing_had_happened(
    seed: int, day_of_truth: Simulated, new_place: Callable[[], Place]
) -> None:
    plain, killed = new_place(), new_place()
    for place in (plain, killed):
        fill(place, day_of_truth)
    *killed_ones, last = killed_and_not(killed, plain, seed)
    assert killed_ones.count(-signal.SIGKILL) >= 1 and len(killed_ones) == 4, (
        "no run was still going when it was to be killed"
    )
    assert last == 0
    for feed in ALL_FEEDS:
        assert killed.facts(feed).equals(plain.facts(feed)), feed
    assert killed.refusals() == plain.refusals()
    assert not list(killed.site.inbox.iterdir())
    assert files_below(killed.site.archive) == files_below(plain.site.archive)
    assert len(files_below(killed.site.quarantine)) == len(files_below(plain.site.quarantine))
