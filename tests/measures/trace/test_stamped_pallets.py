"""Pallets of which only the moment of the label was noted: when they were begun."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from pipelines.clock import Span
from pipelines.measures.trace.exposure import Passing, Stay, line_exposure
from pipelines.measures.trace.packing import ASSUMED, BY_FLOW, BY_LABEL, TOLD, PackingTime, begun, packing_time
from pipelines.measures.yields.line_flows import packed_in
from pipelines.measures.yields.overpacked import above_what_passed

AT = datetime(2026, 3, 2, 6, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
PER_MIN = 100


def at(minute: float) -> datetime:
    return AT + minute * MINUTE


def pallets(*rows: tuple[str, float, float, int]) -> pl.DataFrame:
    """Rows of item, begin, label [min] and units."""
    these_rows = [(f"P{n}", item, at(a), at(b), units, "packed") for n, (item, a, b, units) in enumerate(rows)]
    moment = pl.Datetime("us", "UTC")
    schema = {
        "pallet": pl.String,
        "item": pl.String,
        "packed_from": moment,
        "packed_to": moment,
        "units": pl.Int64,
        "state": pl.String,
    }
    return pl.DataFrame(these_rows, schema=schema, orient="row")


def stamped(*rows: tuple[str, float, int]) -> pl.DataFrame:
    return pallets(*((item, label, label, units) for item, label, units in rows))


def ware(first: int, last: int, stop: tuple[int, int] = (0, 0)) -> pl.DataFrame:
    """PER_MIN containers a minute past the last station, none while it stood."""
    counts = [0 if stop[0] <= m < stop[1] else PER_MIN for m in range(first, last)]
    starts = [at(m) for m in range(first, last)]
    schema = {"window_start": pl.Datetime("us", "UTC"), "window_s": pl.Int64, "passed": pl.Int64}
    return pl.DataFrame({"window_start": starts, "window_s": [60] * len(counts), "passed": counts}, schema=schema)


NOTHING = ware(0, 0)


def begins(frame: pl.DataFrame) -> list[float]:
    return [(moment - AT) / MINUTE for moment in frame["packed_from"]]


def test_a_pallet_is_begun_at_the_label_before_it() -> None:
    """20 min of 100 containers fill a pallet of 2000; the first one, without a label before it, had 25 min: units and a
    quarter.
    """
    frame = begun(stamped(("J", 60, 2000), ("J", 80, 2000), ("J", 101, 2000)), ware(-60, 120))
    assert frame["begin"].to_list() == [BY_FLOW, BY_LABEL, BY_LABEL]
    assert begins(frame) == pytest.approx([35, 60, 80], abs=0.01)
    assert frame["packed_to"].to_list() == [at(60), at(80), at(101)]


def test_a_stop_lengthens_the_time_in_which_a_pallet_was_filled() -> None:
    """By hand: 10 min of ware, a stop of two hours, 10 min of ware; and backwards over the same stop where no label
    tells.
    """
    frame = begun(stamped(("J", 60, 2000), ("J", 200, 2000)), ware(-60, 240, (70, 190)))
    assert begins(frame)[1] == pytest.approx(60, abs=0.01) and frame["begin"][1] == BY_LABEL
    alone = begun(stamped(("J", 200, 2000)), ware(-60, 240, (70, 190)))
    assert begins(alone) == pytest.approx([55], abs=0.01)


def test_a_label_far_back_does_not_tell_and_a_label_beside_it_neither() -> None:
    """Hours later, after another job or pallets nobody reported; and two palletisers whose labels come a minute
    apart.
    """
    frame = begun(stamped(("J", 0, 2000), ("O", 100, 2000), ("J", 300, 2000)), ware(-60, 400))
    assert frame["begin"].to_list() == [BY_FLOW] * 3 and begins(frame) == pytest.approx([-25, 75, 275], abs=0.01)
    beside = begun(stamped(("J", 60, 2000), ("J", 61, 2000)), ware(-60, 120))
    assert begins(beside)[1] == pytest.approx(36, abs=0.01)


def test_labels_of_one_instant_share_their_time() -> None:
    frame = begun(stamped(("J", 0, 2000), ("J", 60, 2000), ("J", 60, 2000), ("J", 60, 2000)), ware(-60, 120))
    assert begins(frame)[1:] == pytest.approx([0, 0, 0], abs=0.01)


def test_a_beginning_that_was_told_is_left_and_tells_the_next_label() -> None:
    rows = pallets(("J", 0, 20, 2000), ("J", 40, 40, 2000), ("J", 45, 60, 2000))
    frame = begun(rows, ware(-60, 120))
    assert frame["begin"].to_list() == [TOLD, BY_LABEL, TOLD] and begins(frame) == pytest.approx([0, 20, 45], abs=0.01)
    assert begun(rows.head(1), NOTHING).drop("begin").equals(rows.head(1))
    assert begun(rows.head(0), NOTHING).height == 0


def test_without_counts_the_labels_tell_how_fast_pallets_fill() -> None:
    """Labels every 20 min; the first one's 25 min by that; a single one without anything: an hour, assumed."""
    frame = begun(stamped(("J", 60, 2000), ("J", 80, 2000), ("J", 100, 2000)), NOTHING)
    assert begins(frame) == pytest.approx([35, 60, 80], abs=0.01)
    assert begins(begun(stamped(("J", 60, 2000)), NOTHING)) == pytest.approx([0], abs=0.01)


def test_what_a_stamped_pallet_carries_is_counted_once() -> None:
    """A mould makes 5 of 100 containers a minute: 100 of a pallet filled in 20 min, as many as if its beginning had
    been noted.
    """
    passing = Passing("K1", at(-100), 1.0, ("7",), np.full((1, 400), 5.0), None, np.full(400, 0.0), np.full(400, 0.1))
    stay = Stay("K1", 1, "A", "7", "J", Span(at(-90), at(280)))
    way = PackingTime(0.0, 0.3, "")
    marked, noted = stamped(("J", 40, 2000), ("J", 60, 2000)), pallets(("J", 20, 40, 2000), ("J", 40, 60, 2000))
    exposure = line_exposure(passing, [stay], begun(marked, ware(-60, 120)), 0.0, way, None)
    known = line_exposure(passing, [stay], noted, 0.0, way, None)
    assert known.ware[0] == pytest.approx([100, 100], rel=0.01)
    assert exposure.ware[0, 1] == pytest.approx(known.ware[0, 1], rel=0.01) and 100 <= exposure.ware[0, 0] <= 126
    assert line_exposure(passing, [stay], marked, 0.0, way, None).ware[0].sum() < 1, "that was the fault"


def test_the_way_to_the_pallet_is_not_learnt_from_begins_made_of_the_flow() -> None:
    """Labels after stops of the flow tell the way as noted times do; begins that were worked out from that flow tell
    nothing.
    """
    rng = np.random.default_rng(5)
    counts = np.full(1200, 100.0)
    for start in rng.integers(0, 1170, 12):
        counts[start : start + int(rng.integers(5, 30))] *= 0.3
    whole = np.concatenate([[0.0], np.cumsum(counts)])
    labels = np.interp(np.arange(2000, whole[-1], 2000), whole, np.arange(len(whole))) + 7.0
    noted = pallets(*(("J", a, b, 2000) for a, b in pairwise(labels)))
    marked = noted.with_columns(packed_from="packed_to")
    starts = [at(m) for m in range(1200)]
    passed = pl.DataFrame({"window_start": starts, "window_s": [60] * 1200, "passed": counts.astype(int)})
    by_labels = packing_time({"J": counts}, AT, begun(marked, passed))
    assert by_labels.minutes == pytest.approx(7.0, abs=0.6) and "estimated" in by_labels.source
    apart = begun(marked, passed).with_columns(begin=pl.lit(BY_FLOW))
    assert packing_time({"J": counts}, AT, apart) == ASSUMED


def test_stamped_pallets_are_packed_units_and_no_surplus() -> None:
    """By hand: six hours, a pallet every 20 min; the first, 25 min by its units, has 20 of them in the time asked, the
    last 10 of its 20.
    Taken at an instant each counted on one side, and 2000 containers in a second were above what passed."""
    marked = begun(stamped(*(("J", m, 2000) for m in range(20, 400, 20))), ware(-60, 400))
    span = Span(at(0), at(370))
    assert packed_in(marked, ware(-60, 400), span).by_item["J"] == pytest.approx(
        0.8 * 2000 + 17 * 2000 + 0.5 * 2000, rel=1e-3
    )
    doubted = above_what_passed(marked, ware(-60, 400), span)
    assert doubted.pallets == () and doubted.above == 0


def test_the_label_of_another_item_begins_no_pallet() -> None:
    """Two items side by side: 2000 containers pass between the labels of the first, 1500 of them its own."""
    frame = begun(stamped(("J", 60, 1500), ("L", 70, 500), ("J", 80, 1500)), ware(-60, 120))
    assert frame["begin"][2] == BY_LABEL and begins(frame)[2] == pytest.approx(60, abs=0.01)
