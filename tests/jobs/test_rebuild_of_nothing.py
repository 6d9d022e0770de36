"""Days of which nothing was ever heard are not rebuilt: their pages would look as if the works had stood."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from pipelines.errors import WrongUse
from pipelines.jobs.rebuild import rebuild_days
from tests.conftest import HEAD, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"


@pytest.fixture
def fed(place: Place) -> Place:
    place.put("station_counts.K1.csv", HEAD + ROW)
    place.take()
    return place


def test_days_on_which_nothing_came_are_said_and_nothing_is_written(fed: Place) -> None:
    for first, last, says in (
        (date(2025, 1, 1), date(2025, 1, 3), "nothing came on these days, 2025-01-01 to 2025-01-03: "),
        (date(2026, 3, 3), date(2026, 3, 3), "nothing came on production day 2026-03-03: "),
    ):
        with pytest.raises(WrongUse, match=says) as exception_info:
            rebuild_days(fed.opened, first, last)
        assert str(exception_info.value).endswith("nothing was written")
    left = [path for path in fed.site.root.rglob("*") if "reports" in path.parts or path.name == ".rebuild.json"]
    assert [path for path in left if path.is_file()] == []


def test_a_day_with_one_row_is_rebuilt_and_so_are_its_neighbours_if_asked_with_it(fed: Place) -> None:
    days = rebuild_days(fed.opened, date(2026, 3, 1), date(2026, 3, 2))
    assert [(rebuilt.day.day, rebuilt.same) for rebuilt in days] == [(1, None), (2, None)]
    assert all(Path(rebuilt.page).exists() for rebuilt in days)
