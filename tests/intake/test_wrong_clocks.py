"""A station's clock that was wrong: the intake puts its rows at the true time, by a person's word in works.toml."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipelines.errors import PlantError
from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.check import check_site
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.plant.works import read_plant
from tests.conftest import HEAD, WORKS, Place

CLOCK = """
[[clock]]
station = "K1-side-a"
minutes = 60
from = 2026-03-02T09:00:00+01:00
to = 2026-03-02T10:00:00+01:00
"""


def row(time: str, station: str = "K1-side-a", rejected: int = 1) -> str:
    return f"2026-03-02T{time}:00+01:00,K1,{station},11,60,12,{rejected}\n"


def test_rows_of_that_station_and_time_are_moved_and_no_others(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", WORKS + CLOCK)
    rows = row("08:59") + row("09:30") + row("10:00") + row("09:30", "K1-side-b")
    place.put("station_counts.K1.csv", HEAD + rows)
    assert place.take().rows_refused == 0
    answer = place.facts("station_counts").sort("station", "window_start")
    assert [f"{at:%H:%M}" for at in answer["window_start"]] == ["07:30", "07:59", "09:00", "08:30"]


def test_two_times_that_become_one_replace_each_other(tmp_path: Path) -> None:
    place = Place(tmp_path / "site", WORKS + CLOCK)
    place.put("station_counts.K1.csv", HEAD + row("08:30", rejected=1) + row("09:30", rejected=2))
    place.take()
    assert place.facts("station_counts")["rejected"].to_list() == [2]


def test_a_row_set_aside_for_its_window_is_moved_once_when_it_is_offered_again(tmp_path: Path) -> None:
    """10:30 by a clock that is an hour late is 09:30, which that clock says was wrong too: moved twice it would be
    08:30.
    """
    place = Place(tmp_path / "site", WORKS + CLOCK.replace("10:00:00", "12:00:00"))
    place.put("station_counts.a.csv", HEAD + row("09:40", rejected=3).replace(",60,", ",3600,"))  # 08:40 to 09:40
    place.put("station_counts.b.csv", HEAD + row("10:30", rejected=2))
    assert place.take().rows_refused == 1
    assert place.refusals() == [("station_counts.b.csv", 2, "window_start", "window_overlaps")]
    (waits,) = place.site.quarantine.iterdir()
    assert "\n2026-03-02T09:30:00" in waits.read_text(), "as the station told it, in UTC"
    place.put("station_counts.c.csv", HEAD + row("09:40", rejected=3))  # a minute takes the hour's place
    place.take()
    assert retry_quarantine(place.site, place.plant, place.settings).rows_kept == 1
    frame = place.facts("station_counts").sort("window_start")
    assert [(f"{at:%H:%M}", n) for at, n in frame.select("window_start", "rejected").iter_rows()] == [
        ("07:40", 3),
        ("08:30", 2),
    ]
    rebuild_from_archive(place.opened)
    assert place.facts("station_counts").sort("window_start").equals(frame)
    assert check_site(place.opened, rows=True).findings == []


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ('station = "K1-side-a"', "is not a station here"),
        ("minutes = 60", "minutes"),
        ("from = 2026-03-02T09:00:00+01:00", "from"),
    ],
)
def test_a_mistake_in_it_is_named(wrong: str, said: str) -> None:
    new = {"station": 'station = "K9"', "minutes": "minutes = 5000", "from": "from = 2026-03-02T09:00:00"}[
        wrong.split(" ")[0]
    ]
    with pytest.raises(PlantError, match=said):
        read_plant(WORKS + CLOCK.replace(wrong, new))
