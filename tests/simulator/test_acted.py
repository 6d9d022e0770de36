"""Actions that help or do not and moulds that take what they do with them: by the written truth."""

from __future__ import annotations

from datetime import date

import numpy as np
import polars as pl
import pytest

from pipelines.plant.works import Plant, read_plant
from sample_feeds.simulator import Simulated, make_plan, simulate, write_feeds
from sample_feeds.simulator.acted import with_actions, with_moving_moulds
from sample_feeds.simulator.plan import PartEffect, PlannedFault
from tests.conftest import WORKS, Place, one_furnace

DAY = date(2026, 3, 10)
FAULT = PlannedFault("mould", "K2", "BLI", ("K2/2A",), 500, 1600, 60.0)


@pytest.fixture(scope="module")
def small() -> Plant:
    """One line of six sections: quick to simulate."""
    return read_plant(one_furnace(WORKS, lines=("K2",)))


def faulty(simulated: Simulated, section: int, code: str) -> pl.DataFrame:
    """True defects of a cavity with their forming minute."""
    mine = (pl.col("section") == section) & (pl.col("defect") == code)
    minute = (pl.col("formed_at") - simulated.plan.start).dt.total_seconds() / 60
    return simulated.truth["defects"].filter(mine).with_columns(minute=minute)


@pytest.mark.parametrize(("cured", "worse", "outcome"), [(1.0, 0.0, "cured"), (0.0, 1.0, "worse"), (0.0, 0.0, "none")])
def test_after_an_action_the_fault_is_what_the_truth_says(
    small: Plant, cured: float, worse: float, outcome: str
) -> None:
    plan = make_plan(small, DAY, 1, 11, faults=0)
    plan.faults.append(FAULT)
    acted = with_actions(plan, 3, cured=cured, worse=worse)
    action = acted.actions[0]
    assert (action.outcome, action.section, action.gob, action.defect) == (outcome, 2, "A", "BLI")
    simulated = simulate(acted)
    assert simulated.truth["actions"]["outcome"].to_list() == [outcome]
    assert simulated.feeds["actions"].select("line", "section", "gob", "defect").row(0) == ("K2", 2, "A", "BLI")
    minutes = faulty(simulated, 2, "BLI")["minute"].to_numpy()
    cut = simulated.plan.minutes
    before = np.sum((minutes >= FAULT.start) & (minutes < action.minute)) / (action.minute - FAULT.start)
    until = min(FAULT.end, cut)
    after = np.sum((minutes >= action.minute) & (minutes < until)) / (until - action.minute)
    low, high = {"cured": (0.0, 0.1), "none": (0.6, 1.6), "worse": (1.2, 2.4)}[outcome]
    assert before > 0.05 and low <= after / before <= high


def test_a_plan_without_actions_and_effects_is_as_it_was(small: Plant) -> None:
    plain = simulate(make_plan(small, DAY, 1, 12, faults=0))
    assert {"actions", "part_events"}.isdisjoint(plain.feeds) and "part_effects" not in plain.truth
    with_none = simulate(with_actions(make_plan(small, DAY, 1, 12, faults=0), 4))
    assert all(with_none.feeds[name].equals(frame) for name, frame in plain.feeds.items())


def test_what_a_mould_does_goes_with_it_to_its_next_cavity(small: Plant) -> None:
    plan = with_moving_moulds(make_plan(small, DAY, 1, 13, faults=0), 8, exchanges=2, effects=0)
    exchange = plan.exchanges[0]
    plan.part_effects.append(PartEffect("K2", exchange.numbers[1], "BLI", 80.0))
    simulated = simulate(plan)
    (old, new), cavities = exchange.cavities, plan.lines["K2"].cavities
    there, then = (faulty(simulated, cavities[cavity][0], "BLI")["minute"].to_numpy() for cavity in (old, new))
    assert np.sum(there < exchange.minute) > 8 * max(1, np.sum(then < exchange.minute))
    assert np.sum(then >= exchange.minute) > 8 * max(1, np.sum(there >= exchange.minute))
    assert simulated.truth["exchanges"]["numbers"].to_list()[0] == list(exchange.numbers)
    assert set(simulated.feeds["part_events"]["number"]) >= set(exchange.numbers)


def test_a_number_that_is_fitted_twice_is_one_number_to_the_station(small: Plant, place: Place) -> None:
    plan = with_moving_moulds(make_plan(small, DAY, 1, 13, faults=0), 8, exchanges=2, effects=1)
    simulated = simulate(plan)
    key = ["window_start", "station", "mould"]
    counts, calls = simulated.feeds["station_counts"], simulated.feeds["reject_counts"]
    assert counts.group_by(key).len()["len"].max() == 1 and calls.group_by(*key, "defect").len()["len"].max() == 1
    place.site.works_toml.write_text(one_furnace(WORKS, lines=("K2",)), encoding="utf-8")
    write_feeds(simulated, place.site.inbox, dirty=False, every="1d")
    report = place.take()
    assert (report.rows_refused, report.files_refused) == (0, 0)
    for feed in ("station_counts", "reject_counts", "mould_log", "part_events"):
        assert place.facts(feed).height == simulated.feeds[feed].height > 0, feed
