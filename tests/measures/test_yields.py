"""A line's and a furnace's day by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from pipelines.clock import Span
from pipelines.measures.lehr import LehrTime
from pipelines.measures.yields import (
    LineDay,
    furnace_yield,
    held_back_kg,
    line_yield,
    melted_kg,
    packed_units,
)
from pipelines.plant import Plant

START = datetime(2026, 3, 2, 5, tzinfo=UTC)
SPAN = Span(START, START + timedelta(hours=24))
HOUR = timedelta(hours=1)


def pallets(*rows: tuple) -> pl.DataFrame:
    moment = pl.Datetime("us", "UTC")
    return pl.DataFrame(
        rows, {"item": pl.String, "units": pl.Int64, "packed_from": moment, "packed_to": moment}, orient="row"
    )


def day(gobs: list[tuple], weights: list[tuple] = []) -> LineDay:  # noqa: B006
    stops = pl.DataFrame(
        schema={
            "section": pl.Int64,
            "stopped_at": pl.Datetime("us", "UTC"),
            "restarted_at": pl.Datetime("us", "UTC"),
        }
    )
    ware = pl.DataFrame({"station": ["K2-side", "K2-foot"], "inspected": [970, 950], "rejected": [20, 5]})
    end = SPAN.end + timedelta(minutes=1)
    return LineDay(
        line="K2",
        span=SPAN,
        gobs=pl.DataFrame(gobs, {"item": pl.String, "gobs_cut": pl.Float64, "hot_rejected": pl.Float64}, orient="row"),
        ware=ware,
        pallets=pallets(("P100", 900, START + HOUR, START + 2 * HOUR), ("P100", 100, end - HOUR, end + HOUR)),
        weights=pl.DataFrame(weights, {"item": pl.String, "weight_g": pl.Float64}, orient="row"),
        stoppages=stops,
        lehr=LehrTime(118.0, 15.0, "test"),
    )


def test_a_pallet_over_the_limit_counts_by_its_time_inside() -> None:
    assert packed_units(pallets(("P100", 100, SPAN.end - HOUR, SPAN.end + 3 * HOUR)), SPAN) == {
        "P100": pytest.approx(25)
    }


def test_losses_add_up_to_the_gobs_cut(plant: Plant) -> None:
    told = line_yield(plant, day([("P100", 1000.0, 25.0)]))
    assert [(loss.step, round(loss.units, 6), loss.measured) for loss in told.losses] == [
        ("hot end rejects", 25.0, True),
        ("unaccounted, lehr", 5.0, False),
        ("rejects of K2-side", 20.0, True),
        ("unaccounted, before K2-foot", 0.0, False),
        ("rejects of K2-foot", 5.0, True),
        ("unaccounted, packing", -5.0, False),
    ]
    assert told.packed_units == 950 and sum(loss.units for loss in told.losses) == pytest.approx(50)
    assert told.quality_ratio == pytest.approx(0.95) and told.scrap_ratio == pytest.approx(0.05)
    assert told.pack_to_melt == pytest.approx(0.95)


def test_weighed_items_use_their_mean_and_others_their_nominal_weight_and_it_is_said(plant: Plant) -> None:
    told = line_yield(plant, day([("P100", 500.0, 0.0), ("P200", 500.0, 0.0)], [("P100", 97.0), ("P100", 99.0)]))
    assert told.weights == {"P100": 98.0, "P200": 148.0}
    assert told.formed_kg == pytest.approx((500 * 98 + 500 * 148) / 1000)
    assert "no weighing of P200: its nominal weight was used" in told.notes


def test_without_forming_counts_nothing_is_made_up(plant: Plant) -> None:
    told = line_yield(plant, day([]))
    assert (told.gobs_cut, told.pack_to_melt, told.unaccounted_units) == (None, None, None)
    assert any("no forming counts" in note for note in told.notes)


MELT = {
    "part": pl.Float64,
    "window_s": pl.Int64,
    "batch_kg": pl.Float64,
    "moisture_pct": pl.Float64,
    "loss_pct": pl.Float64,
    "cullet_kg": pl.Float64,
    "level_change_mm": pl.Float64,
}


def test_melted_mass_and_level_by_the_contract(plant: Plant) -> None:
    """Both formulas are the feed contract's; the numbers are worked by hand: 1000 x 0.97 x 0.83 + 500 = 1305.1 kg."""
    assert melted_kg(1000, 3, 17, 500) == pytest.approx(1305.1)
    assert held_back_kg(2.0, 60.0, 2.498) == pytest.approx(299.76)
    line = line_yield(plant, day([("P100", 1000.0, 25.0)]))
    melt = pl.DataFrame(
        [(1.0, 3600, 10.0, 0.0, 20.0, 2.0, 0.0)] * 23 + [(0.5, 7200, 20.0, 0.0, 20.0, 4.0, None)],
        MELT,
        orient="row",
    )
    told = furnace_yield(plant, plant.furnaces["F1"], melt, SPAN, [line])
    assert told.melted_kg == pytest.approx(24 * 10) and told.pull_kg == pytest.approx(240)
    assert told.pack_to_melt == pytest.approx(line.packed_kg / 240)
    assert told.low is not None and told.pack_to_melt - told.low == pytest.approx(
        1.96 * (1.5**2 + 0.1**2 + 0.2**2) ** 0.5 / 100 * told.pack_to_melt
    )


def test_a_day_without_melt_log_says_so(plant: Plant) -> None:
    told = furnace_yield(
        plant,
        plant.furnaces["F1"],
        pl.DataFrame(schema=MELT),
        SPAN,
        [line_yield(plant, day([("P100", 1000.0, 25.0)]))],
    )
    assert told.pack_to_melt is None and any("gob counts alone" in note for note in told.notes)
