"""Verdicts, tests, readings, breakages, dispatches and returns of an invented works: by the written truth, taken in
whole, and without a change to anything else.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl
import pytest

from sample_feeds.simulator import Simulated, write_feeds
from sample_feeds.simulator.disturbed import of_two_lines, resorted
from sample_feeds.simulator.looked_at import judged, measured, read_out
from sample_feeds.simulator.store import broken_ware, shipped
from tests.conftest import Place

LATER = ("verdicts", "breakages", "process_reads", "test_checks", "dispatches", "returns")


@pytest.fixture(scope="module")
def works(day_of_truth: Simulated) -> Simulated:
    answer = day_of_truth
    for further in (judged, measured, read_out, broken_ware):
        answer = further(answer, 5)
    return shipped(answer, 5, back=0.1)


def test_nothing_else_changes_and_the_same_seed_tells_the_same(works: Simulated, day_of_truth: Simulated) -> None:
    assert set(works.feeds) == {*day_of_truth.feeds, *LATER}
    assert all(works.feeds[name].equals(frame) for name, frame in day_of_truth.feeds.items())
    assert all(works.truth[name].equals(frame) for name, frame in day_of_truth.truth.items())
    assert judged(day_of_truth, 5).feeds["verdicts"].equals(works.feeds["verdicts"])
    assert all(works.feeds[name].height for name in LATER)


def test_verdicts_of_a_person_who_sees_all_are_the_truth(day_of_truth: Simulated) -> None:
    simulated = judged(day_of_truth, 5, blind=0.0)
    rejected = simulated.feeds["verdicts"].filter(pl.col("stream") == "rejected")
    by = ["looked_at", "station", "called"]
    confirmed = pl.col("units").filter(pl.col("found").is_not_null()).sum().alias("real")
    good = pl.col("units").filter(pl.col("found").is_null()).sum().alias("false")
    seen = rejected.group_by(by).agg(confirmed, good).sort(by)
    assert seen.equals(simulated.truth["verdicts"].group_by(by).agg(pl.col("real", "false").sum()).sort(by))
    assert seen["real"].sum() > 0 and seen["false"].sum() > 0
    assert rejected.filter(pl.col("found").is_not_null() & (pl.col("found") != pl.col("called"))).is_empty()


def test_somebody_who_overlooks_half_confirms_half(day_of_truth: Simulated) -> None:
    simulated = judged(day_of_truth, 5, blind=0.5)
    found = simulated.feeds["verdicts"].filter((pl.col("stream") == "rejected") & pl.col("found").is_not_null())
    real = simulated.truth["verdicts"]["real"].sum()
    assert abs(found["units"].sum() - real / 2) < 4 * (real / 4) ** 0.5


def test_struck_pallets_were_being_packed_at_that_moment(works: Simulated) -> None:
    struck = works.truth["breakages"].drop_nulls("pallet").join(works.feeds["pallets"], on=["pallet", "line"])
    assert struck.height and struck.filter(~pl.col("broke_at").is_between("packed_from", "packed_to")).is_empty()
    assert set(struck["place"]) == {"packing"}


def test_what_leaves_was_packed_and_what_comes_back_had_left(works: Simulated) -> None:
    gone = works.feeds["dispatches"].join(works.feeds["pallets"], on="pallet")
    assert gone.height == works.feeds["dispatches"].height == works.truth["whereabouts"].height
    assert gone.filter(pl.col("dispatched_at") <= pl.col("packed_to")).is_empty()
    back = works.feeds["returns"].join(works.feeds["dispatches"], on=["pallet", "delivery"])
    assert back.height == works.feeds["returns"].height
    assert back.filter(pl.col("returned_at") <= pl.col("dispatched_at")).is_empty()
    customers = {customer.id: customer.items for customer in works.plan.plant.customer}
    assert all(item in customers.get(customer, (item,)) for customer, item in gone.select("customer", "item").rows())


def test_measured_values_lie_about_the_mould_and_readings_about_the_truth(works: Simulated) -> None:
    values = works.feeds["test_checks"].join(works.truth["test_moulds"], on=["line", "mould", "test"])
    assert values.height == works.feeds["test_checks"].height
    heights = values.filter(pl.col("test") == "height").with_columns(off=pl.col("value") - pl.col("mean"))
    assert heights["off"].abs().max() < 1.0 and heights["off"].std() > 0  # type: ignore[operator]
    read = works.feeds["process_reads"].join(works.truth["readings"], on=["at", "quantity", "read_at"], suffix="_true")
    assert read.height == works.feeds["process_reads"].height
    assert (read["value"] - read["value_true"]).abs().max() <= 0.0501  # type: ignore[operator]


def test_all_of_it_is_taken_in(works: Simulated, new_place: Callable[[], Place]) -> None:
    simulated, place = of_two_lines(resorted(works, 6, 0.1), 7, 0.05), new_place()
    further = (*LATER, "pallet_links", "pallet_parts")
    few = {name: frame if name in further else frame.clear() for name, frame in simulated.feeds.items()}
    write_feeds(Simulated(simulated.plan, few, simulated.truth), place.site.inbox, dirty=False)
    report = place.take()
    assert (report.rows_refused, report.files_refused, report.messages) == (0, 0, [])
    for name in further:
        assert place.facts(name).height == simulated.feeds[name].height > 0, name
