"""Whether all that usually comes of a production day has come."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from pipelines.answers.now import stations_alive
from pipelines.ledger.reader import Reader
from pipelines.plant.works import Plant

TOLERANCE = timedelta(minutes=61)  # before the day's end the last rows of an hourly feed may begin
DAYS_BEFORE, USUAL = 3, 2
STOPPED = timedelta(hours=3)  # a station silent for so long before the day's end is not waited for


def missing_of_day(reader: Reader, plant: Plant, day: date, now: datetime) -> list[str]:
    """What has not come yet up to the end of a production day: feeds that did on most of the days before, and stations
    that spoke until shortly before it.
    """
    clock = plant.clock
    end = clock.day(day).end
    ends = [clock.day(day - timedelta(days=back)).end for back in range(1, DAYS_BEFORE + 1)]
    values = {"tolerance_s": TOLERANCE.total_seconds()}
    usual = {
        row["feed"]
        for row in reader.ask("feeds_at_ends", ends=ends, **values).iter_rows(named=True)
        if row["days"] >= USUAL
    }
    came = {row["feed"] for row in reader.ask("feeds_at_ends", ends=[end], **values).iter_rows(named=True)}
    missing = sorted((usual | {"station_counts"}) - came)
    for station in stations_alive(reader, plant, now, end):
        if station.last is not None and end - STOPPED <= station.last < end - timedelta(seconds=1):
            missing.append(f"{station.station} after {clock.show(station.last)}")
    return missing
