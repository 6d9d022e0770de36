"""Feeds that stop, come late or never, pallets packed anew, mixed or doubtful, meters that lie: by the written
truth.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from sample_feeds.simulator import PlannedLie, Roughness, Simulated, make_plan, misread, rough_plant, simulate
from sample_feeds.simulator.disturbed import (
    challenged_at,
    deliveries,
    doubtful,
    fallen_silent,
    of_two_lines,
    resorted,
    without,
)

DAY = date(2026, 5, 11)


@pytest.fixture(scope="module")
def works() -> Simulated:
    return simulate(make_plan(rough_plant(31), DAY, 2, 31, faults=0, roughness=Roughness(windows=(300,))))


def test_a_feed_that_never_comes_has_no_row_and_no_file(works: Simulated) -> None:
    simulated = without(works, "melt_log", "forming_counts")
    assert simulated.feeds["melt_log"].is_empty() and simulated.feeds["forming_counts"].is_empty()
    assert set(simulated.truth["absent"]["feed"]) == {"melt_log", "forming_counts"}
    names = {delivery.name.split(".")[0] for delivery in deliveries(simulated, 1)}
    assert names.isdisjoint({"melt_log", "forming_counts"}) and "station_counts" in names


def test_challenges_at_some_stations_only(works: Simulated) -> None:
    simulated = challenged_at(works, ["T1-mouth"])
    assert (
        set(simulated.feeds["challenge_checks"]["station"])
        == {"T1-mouth"}
        == set(simulated.truth["challenged"]["station"])
    )


def test_a_silent_station_sends_nothing_in_its_time_and_everything_else(works: Simulated) -> None:
    simulated = fallen_silent(works, 3, often=0.5)
    silent = simulated.truth["silent"]
    assert 3 < silent.height < 40
    for feed in ("station_counts", "reject_counts"):
        lost = works.feeds[feed].join(simulated.feeds[feed], on=works.feeds[feed].columns, how="anti", nulls_equal=True)
        joined = lost.join(silent, on="station")
        inside = (pl.col("window_start") >= pl.col("start")) & (pl.col("window_start") < pl.col("end"))
        assert joined.filter(inside).select(lost.columns).unique().height == lost.unique().height > 0
        still = simulated.feeds[feed].join(silent, on="station").filter(inside)
        assert still.is_empty()


def test_files_come_late_and_in_any_order_and_none_is_lost(works: Simulated) -> None:
    disturbed_deliveries = deliveries(works, 5, late=0.2, hours=(2.0, 9.0))
    counts = [
        disturbed_delivery
        for disturbed_delivery in disturbed_deliveries
        if disturbed_delivery.name.startswith("station_counts.T1")
    ]
    assert (
        len(counts)
        == works.feeds["station_counts"].filter(pl.col("line") == "T1")["window_start"].dt.truncate("1h").n_unique()
    )
    assert [count.name for count in counts] != sorted(count.name for count in counts)
    late = [
        count
        for count in counts
        if count.arrives_at.hour != 0 and _after(count.name, count.arrives_at) > timedelta(hours=2.5)
    ]
    assert 0.08 < len(late) / len(counts) < 0.4
    assert [disturbed_delivery.arrives_at for disturbed_delivery in disturbed_deliveries] == sorted(
        each.arrives_at for each in disturbed_deliveries
    )


def _after(name: str, arrives: object) -> timedelta:
    from datetime import UTC, datetime

    assert isinstance(arrives, datetime)
    return arrives - datetime.strptime(name.split(".")[2], "%Y%m%dT%H%MZ").replace(tzinfo=UTC)


def test_resorted_ware_stands_on_new_pallets_and_the_old_are_empty(works: Simulated) -> None:
    simulated, links = resorted(works, 6, 0.1), None
    links = simulated.truth["resorted"]
    assert links.height > 5 and links.equals(simulated.feeds["pallet_links"])
    pallets = simulated.feeds["pallets"]
    state = {r["pallet"]: r["state"] for r in pallets.iter_rows(named=True)}
    units = {r["pallet"]: r["units"] for r in pallets.iter_rows(named=True)}
    for row in links.iter_rows(named=True):
        assert state[row["from_pallet"]] == "emptied" and state[row["to_pallet"]] == "packed"
        assert 0.96 * units[row["from_pallet"]] <= row["units"] == units[row["to_pallet"]] <= units[row["from_pallet"]]


def test_pallets_of_two_lines_bear_what_each_line_packed(works: Simulated) -> None:
    simulated = of_two_lines(works, 7, 0.2)
    parts = simulated.feeds["pallet_parts"]
    pallets = {r["pallet"]: r for r in simulated.feeds["pallets"].iter_rows(named=True)}
    assert parts["pallet"].n_unique() > 4
    for (pallet,), rows in parts.group_by(["pallet"]):
        assert rows["units"].sum() == pallets[pallet]["units"] and rows["line"].n_unique() == 2
        largest = rows.sort("units")["line"][-1]
        assert pallets[pallet]["line"] == largest
    # What each line packed is what it packed before.
    ids = parts["pallet"].unique().to_list()
    before = works.feeds["pallets"].filter(pl.col("pallet").is_in(ids)).group_by("line").agg(pl.col("units").sum())
    after = parts.group_by("line").agg(pl.col("units").sum())
    assert dict(before.iter_rows()) == dict(after.iter_rows())


def test_doubtful_pallets_bear_the_share_that_was_asked(works: Simulated) -> None:
    start = works.plan.plant.clock.day(DAY).start
    simulated = doubtful(works, 8, "T1", start, 0.013)
    day = (pl.col("packed_to") >= start) & (pl.col("packed_to") < start + timedelta(days=1)) & (pl.col("line") == "T1")
    before = works.feeds["pallets"].filter(day)["units"].sum()
    assert simulated.truth["doubtful"]["units"].sum() / before == pytest.approx(0.013, rel=0.01)
    assert simulated.feeds["pallets"].height == works.feeds["pallets"].height + 2


def test_a_meter_lies_by_what_was_said_from_the_day_that_was_said(works: Simulated) -> None:
    second = DAY + timedelta(days=1)
    answer = misread(works, 9, [PlannedLie("T1 gobs cut", 0, second, date.max, percent=1.5)])
    clock = works.plan.plant.clock
    for day, wanted in ((DAY, 0.0), (second, 0.015)):
        span = clock.day(day)
        inside = (pl.col("window_start") >= span.start) & (pl.col("window_start") < span.end) & (pl.col("line") == "T1")
        cut = [simulated.feeds["forming_counts"].filter(inside)["gobs_cut"].sum() for simulated in (works, answer)]
        assert cut[1] / cut[0] - 1 == pytest.approx(wanted, abs=0.002)


def test_a_meter_that_lies_now_and_then_errs_honestly_between(works: Simulated) -> None:
    lie = PlannedLie("T2 packed", 0, date.min, date.max, percent=20.0, now_and_then=0.5)
    seen = set()
    for seed in range(12):
        off = misread(works, seed, [lie]).truth["meters"].filter(pl.col("meter") == "T2 packed")["off"]
        assert all(each == 0.2 or abs(each) < 0.01 for each in off)
        seen |= {each == 0.2 for each in off}
    assert seen == {True, False}


def test_a_meter_that_counts_too_few_still_counts_what_was_rejected_or_sent_through_again() -> None:
    simulated = simulate(make_plan(rough_plant(32), DAY, 1, 32, faults=0, roughness=Roughness(refed=0.5)))
    lies = [
        PlannedLie(f"{station} inspected", 0, date.min, date.max, percent=-30.0)
        for station in simulated.plan.plant.stations
    ]
    frame = misread(simulated, 10, lies).feeds["station_counts"]
    assert (frame["refed"] <= frame["inspected"]).all() and (frame["rejected"] <= frame["inspected"]).all()
    assert frame["inspected"].sum() < 0.8 * simulated.feeds["station_counts"]["inspected"].sum()
