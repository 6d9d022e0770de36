"""A close, a rebuild and a roll-up killed at steps drawn by chance, then done again: the site says what an undisturbed
one says.
"""

from __future__ import annotations

import random
import signal
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest

from pipelines.jobs.check import check_site
from pipelines.jobs.days import close_day, rebuild_day
from tests.conftest import HEAD, NOW, Place, one_furnace
from tests.faults.killed import run

DAY = date(2026, 1, 5)
BEFORE = DAY + timedelta(days=1)
KILLS = 1


def fill(place: Place) -> None:
    """A production day of one line, closed."""
    rows = (
        f"2026-01-05T{h:02d}:{m:02d}:00Z,K1,K1-side-a,{k},60,{9 + k},{(h + m) % 3}\n"
        for h in (10, 11)
        for m in range(30)
        for k in (1, 2)
    )
    place.put("station_counts.a.csv", HEAD + "".join(rows))
    place.take()
    close_day(place.opened, DAY)


def later(place: Place) -> None:
    """A correction after the close, that the next close must tell of."""
    place.put("station_counts.b.csv", HEAD + "2026-01-05T10:00:00Z,K1,K1-side-a,1,60,10,7\n")
    place.take()


def told(place: Place) -> dict[str, object]:
    """What the site says: rows in force, closes, rolled days, pages, what is whole."""
    with place.opened.ledger.reading() as reader:
        closes = reader.ask("last_closes").drop("last_batch").rows()
        rolled = reader.ask("rolled_days_all")["day"].to_list()
    pages = sorted(path.name for path in place.site.reports.rglob("*.html"))
    again = rebuild_day(place.opened, DAY)
    return {
        "rows": place.facts("station_counts").rows(),
        "closes": closes,
        "rolled": rolled,
        "pages": pages,
        "same": again.same,
        "findings": [finding.what for finding in check_site(place.opened, rows=True).findings],
    }


@pytest.mark.parametrize("job", ["close", "rebuild", "rollup"])
def test_killed_and_done_again_the_site_says_the_same(job: str, new_site: Callable[..., Place]) -> None:
    works, day = one_furnace(lines=("K1",)), BEFORE if job == "rollup" else DAY
    plain, killed = (new_site("day-closed", fill, works) for _ in range(2))
    for place in (plain, killed):
        if job == "close":
            later(place)
    code, steps, said = run(job, plain.site.root, NOW, 0, day)
    assert code == 0 and steps > 20, said
    chance = random.Random(job)
    ended = [run(job, killed.site.root, NOW, chance.randint(1, steps * 3 // 4), day)[0] for _ in range(KILLS)]
    assert ended.count(-signal.SIGKILL) >= 1, ended
    code, _, said = run(job, killed.site.root, NOW, 0, day)
    assert code == 0, said
    assert told(killed) == told(plain)


def test_the_moment_of_a_kill_is_counted(new_site: Callable[..., Place]) -> None:
    place = new_site("day-closed", fill, one_furnace(lines=("K1",)))
    before = place.facts("station_counts")
    code, _, _ = run("rollup", place.site.root, datetime(2026, 4, 1, tzinfo=UTC), 1, BEFORE)
    assert code == -signal.SIGKILL and place.facts("station_counts").equals(before)
