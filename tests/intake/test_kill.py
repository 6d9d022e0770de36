"""A real process killed at random instants of an intake, then run again: the ledger equals an undisturbed one."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from sample_feeds.simulator import Simulated, write_feeds
from schemas.feeds import ALL_FEEDS
from tests.conftest import Place

SCRIPT = """
import sys
from dataclasses import replace
from pathlib import Path
from tests.conftest import Place, NOW
from pipelines.settings import Settings, Site
from pipelines.intake import take_in
from pipelines.plant import read_plant
site = Site(Path(sys.argv[1]))
print("begin", flush=True)
take_in(site, read_plant(site.works_toml.read_text()), Settings(fixed_now=NOW, rows_at_once=4000))
"""


def fill(place: Place, simulated: Simulated) -> None:
    small = Simulated(simulated.plan, {name: frame.head(6000) for name, frame in simulated.feeds.items()}, {})
    write_feeds(small, place.site.inbox)


def start(place: Place) -> subprocess.Popen[str]:
    root = Path(__file__).parents[2]
    process = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(place.site.root)], cwd=root, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None and process.stdout.readline() == "begin\n"
    return process


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
    undisturbed = start(plain)
    began = time.monotonic()
    assert undisturbed.wait() == 0
    whole = time.monotonic() - began
    chance, kills = random.Random(seed), 0
    for _ in range(4):
        process = start(killed)
        time.sleep(chance.uniform(0, 0.6 * whole))
        process.send_signal(signal.SIGKILL)
        kills += process.wait() == -signal.SIGKILL
    assert kills, "no run was still going when it was to be killed"
    assert start(killed).wait() == 0
    for feed in ALL_FEEDS:
        assert killed.facts(feed).equals(plain.facts(feed)), feed
    assert killed.refusals() == plain.refusals()
    assert not list(killed.site.inbox.iterdir())
    assert files_below(killed.site.archive) == files_below(plain.site.archive)
    assert len(files_below(killed.site.quarantine)) == len(files_below(plain.site.quarantine))
