"""Ware of a rough works: restarts, ware thrown out for no fault, sent through again, misread, on its way to the pallet;
by the written truth.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import binom

from pipelines.intake import take_in
from pipelines.settings import Settings
from pipelines.site.folder import init_site
from sample_feeds.simulator import (
    ROUGH,
    Roughness,
    Simulated,
    make_plan,
    rough_plant,
    rough_works,
    simulate,
    write_feeds,
)
from sample_feeds.simulator.line import run_line

DAY = date(2026, 4, 20)
ASIDES = Roughness(mould_rejection=2.0, samples_every=60.0, diverted=2.0, setting=2.0)


@pytest.fixture(scope="module")
def rough() -> Simulated:
    return simulate(make_plan(rough_plant(21), DAY, 1, 21, faults=0, roughness=ROUGH))


@pytest.fixture(scope="module")
def aside() -> Simulated:
    return simulate(make_plan(rough_plant(22), DAY, 1, 22, faults=0, roughness=ASIDES))


def test_a_section_that_restarts_makes_bad_ware_for_a_while() -> None:
    plan = make_plan(rough_plant(20), DAY, 1, 20, faults=0, roughness=Roughness(mood=0.0, restart=4.0, restart_min=20))
    plan.rates_of = frozenset({"S31"})
    rates, line_plan = run_line(plan, "T1").rates["S31"], plan.lines["T1"]
    usual = np.median(rates, axis=0)
    alone = [
        s
        for s in line_plan.stops
        if s.section and not any(s.end - 180 < o.end < s.end + 1 for o in line_plan.stops if o != s)
    ]
    assert alone
    for stop in alone:
        mine = [n for n, (section, _) in enumerate(line_plan.cavities) if section == stop.section]
        assert rates[stop.end, mine] / usual[mine] == pytest.approx(4.0, rel=0.02)
        # A fall by 1/e in the time constant: 1 + 3 / e.
        later = [o.end for o in line_plan.stops if o.section in (0, stop.section) and stop.end < o.end <= stop.end + 20]
        if not later:
            assert rates[stop.end + 20, mine] / usual[mine] == pytest.approx(1 + 3 / np.e, rel=0.02)


def test_ware_rejected_for_no_fault_stands_where_the_truth_says(aside: Simulated) -> None:
    calls, asides = aside.truth["calls"].filter(pl.col("kind") != "fault"), aside.truth["asides"]
    assert set(asides["kind"]) == {"mould_rejection", "sample", "diverted", "setting"} == set(calls["kind"])
    assert not calls["real"].any()
    frame = calls.join(asides, left_on=["line", "defect"], right_on=["line", "code"])
    inside = (
        (pl.col("called_at") >= pl.col("start"))
        & (pl.col("called_at") < pl.col("end"))
        & pl.col("stations").str.contains(pl.col("station"), literal=True)
        & (pl.col("mould").is_null() | (pl.col("mould") == pl.col("mould_read")))
    )
    keys = ["line", "station", "called_at", "mould_read", "section", "gob", "defect"]
    assert frame.filter(inside).unique(keys).height == calls.unique(keys).height
    assert set(calls["defect"]).isdisjoint(aside.truth["defects"]["defect"])


def test_while_a_mould_is_thrown_out_by_its_number_none_of_it_passes(aside: Simulated) -> None:
    counts, looked = aside.feeds["station_counts"], 0
    for row in aside.truth["asides"].filter(pl.col("kind") == "mould_rejection").iter_rows(named=True):
        inside = (pl.col("window_start") >= row["start"]) & (pl.col("window_start") < row["end"] - timedelta(minutes=1))
        here = pl.col("station").is_in(row["stations"].split(",")) & (pl.col("mould") == row["mould"])
        mine = counts.filter(inside & here)
        assert mine["inspected"].equals(mine["rejected"])
        looked += mine["inspected"].sum()
    assert looked > 100


def test_one_sample_of_each_mould_is_taken_each_hour(aside: Simulated) -> None:
    samples = (
        aside.truth["calls"].filter(pl.col("kind") == "sample").with_columns(hour=pl.col("called_at").dt.truncate("1h"))
    )
    assert samples.group_by("line", "mould_read", "hour").len()["len"].max() == 1
    moulds = aside.feeds["station_counts"].filter(pl.col("mould").is_not_null())
    hours = moulds.with_columns(hour=pl.col("window_start").dt.truncate("1h")).select("line", "mould", "hour").unique()
    assert 0.9 * hours.height < samples.height <= hours.height


def test_ware_sent_through_again_is_counted_again_and_said(rough: Simulated) -> None:
    counts, truth, plant = rough.feeds["station_counts"], rough.truth["refed"], rough.plan.plant
    start = rough.plan.cold_from
    for line in plant.lines:
        firsts = plant.first_stations(line)
        seconds = [rough.plan.rough.window_s(s, 60) for s in firsts]
        if len(firsts) > 1:
            continue  # each lane has its own windows
        until = rough.plan.at(rough.plan.minutes // (seconds[0] // 60) * (seconds[0] // 60))
        due = truth.filter((pl.col("line") == line) & (pl.col("refed_at") >= start) & (pl.col("refed_at") < until))
        number = counts.filter(pl.col("station").is_in(list(firsts)))["refed"].sum()
        assert number == due.height > 50
    assert (counts["refed"] <= counts["inspected"]).all()
    # Ware that was rejected for a false call passes the second time, mostly; what has a defect mostly does not.
    assert 0.1 < truth["passed"].mean() < 0.9  # type: ignore[operator]


def test_a_container_ends_once(rough: Simulated) -> None:
    """However often it was sent through: a defect is on a pallet or was called, and good ware is packed once."""
    defects = rough.truth["defects"]
    assert not (defects["station"].is_not_null() & defects["pallet"].is_not_null()).any()
    run = run_line(rough.plan, "T2")
    assert run.pallets["units"].sum() == (run.packed >= 0).sum()
    assert (run.packed[~run.good] == -1).all()


def test_numbers_go_unread_and_misread_as_the_truth_says(rough: Simulated) -> None:
    counts = rough.feeds["station_counts"]
    for row in rough.truth["unread"].iter_rows(named=True):
        mine = counts.filter(pl.col("station") == row["station"])
        unread = mine.filter(pl.col("mould").is_null())["inspected"].sum()
        assert 0.01 <= row["share"] <= 0.4
        total = mine["inspected"].sum()
        assert binom.cdf(unread, total, row["share"]) > 1e-5 and binom.sf(unread - 1, total, row["share"]) > 1e-5


def test_a_number_is_misread_as_the_one_it_looks_like_and_no_other() -> None:
    plan = make_plan(rough_plant(23), DAY, 1, 23, faults=0, roughness=Roughness(misread=(0.1, 0.3)))
    simulated = simulate(plan)
    pairs = simulated.truth["look_alikes"]
    assert pairs.select("line", "mould").is_unique().all() and pairs["share"].is_between(0.1, 0.3).all()
    wrong = {(r["line"], r["mould"]): r for r in pairs.iter_rows(named=True)}
    seen: dict[tuple[str, str], list[bool]] = {}
    calls = simulated.truth["calls"].filter(pl.col("mould_read").is_not_null())
    for row in calls.iter_rows(named=True):
        true = _mould_at(simulated, row["line"], row["section"], row["gob"], row["formed_at"])
        if row["mould_read"] != true:
            assert wrong[row["line"], true]["read_as"] == row["mould_read"]
        pair = wrong.get((row["line"], true))
        if pair and pair["start"] <= row["formed_at"] < pair["end"]:
            seen.setdefault((row["line"], true), []).append(row["mould_read"] != true)
    for key, hits in seen.items():
        share = wrong[key]["share"]
        assert binom.cdf(sum(hits), len(hits), share) > 1e-5 and binom.sf(sum(hits) - 1, len(hits), share) > 1e-5


def _mould_at(simulated: Simulated, line: str, section: int, gob: str, at: datetime) -> str:
    plan = simulated.plan.lines[line]
    minute = int((at - simulated.plan.start).total_seconds() // 60)
    cavity = plan.cavities.index((section, gob))
    return max((f for f in plan.fittings if f.cavity == cavity and f.minute <= minute), key=lambda f: f.minute).number


def test_ware_waits_on_the_table_while_palletisers_stand() -> None:
    plain = make_plan(rough_plant(24), DAY, 1, 24, faults=0)
    plan = make_plan(
        rough_plant(24), DAY, 1, 24, faults=0, roughness=Roughness(table=55.0, palletisers=2, palletiser_stops=12.0)
    )
    same, line_run = run_line(plain, "T1"), run_line(plan, "T1")
    assert same.good.sum() == line_run.good.sum()  # nothing is lost on the way
    spans = line_run.pallets.sort("from_min")
    assert (
        spans["from_min"].to_numpy()[1:] < spans["to_min"].to_numpy()[:-1]
    ).mean() > 0.5  # two are filled side by side
    both = (same.packed >= 0) & (line_run.packed >= 0)
    last = plan.plant.stations_of("T1")[-1].after_minutes
    ends = line_run.pallets["to_min"].to_numpy()[line_run.packed[both]]
    way = ends - line_run.ware.arrives[both] - last  # to the end of its pallet: the way, and what filling it takes
    filling = (line_run.pallets["to_min"] - line_run.pallets["from_min"]).to_numpy()[line_run.packed[both]]
    assert (way >= 2).all() and (way <= 3 + 55 * 1.15 + filling).all()
    assert np.quantile(way - filling, 0.99) > 10  # some waited long
    stops = simulate(plan).truth["palletiser_stops"].filter(pl.col("line") == "T1")
    assert stops["palletiser"].n_unique() == 2 and 5 < stops.height < 60


def test_weighings_follow_each_other_and_moulds_have_their_own_spread() -> None:
    rough = Roughness(weight_wander_g=1.0, wander_hours=(4.0, 5.0), weight_sd_g=(0.2, 1.6))
    simulated = simulate(replace(make_plan(rough_plant(25), DAY, 2, 25, faults=0, roughness=rough)))
    weights = simulated.feeds["weight_checks"].filter(pl.col("point") == "cold").sort("line", "mould", "sampled_at")
    spread = simulated.truth["weight_sd"]
    assert spread["sd_g"].is_between(0.2, 1.6).all()
    after = pl.col("weight_g").shift(-1).over("line", "mould") - pl.col("weight_g")
    steps = weights.with_columns(step=after).group_by("line", "mould").agg(sd=pl.col("step").std() / 2**0.5, n=pl.len())
    both = steps.filter(pl.col("n") > 60).join(spread, on=["line", "mould"])
    # Half an hour apart, of a course of four hours, what wanders adds sqrt(1 - exp(-0.5/4)) = 0.34 g of its 1 g.
    wanted = (both["sd_g"] ** 2 + 0.34**2).sqrt()
    assert (both["sd"] / wanted).is_between(0.6, 1.5).all()
    total = weights.group_by("line", "mould").agg(pl.col("weight_g").std())["weight_g"].mean()
    assert total > 1.1 * float(both["sd"].mean())  # type: ignore[operator, arg-type]


def test_a_rough_day_is_taken_in_whole(rough: Simulated, tmp_path: Path) -> None:
    site = init_site(tmp_path / "site", rough_works(21))
    write_feeds(rough, site.inbox, dirty=False, every="1d", formats=("csv", "parquet"))
    report = take_in(site, rough.plan.plant, Settings(fixed_now=rough.plan.at(rough.plan.minutes)))
    assert not report.needs_a_person
