"""The Python way in, as a notebook uses it."""

from __future__ import annotations

from datetime import UTC, datetime

import polars as pl
import pytest

from pipelines import open_site
from pipelines.errors import SiteError, WrongUse
from schemas.answers.pareto import Pareto
from schemas.feeds import ALL_FEEDS
from tests.conftest import Place

START, END = "2026-03-10T06:00", "2026-03-10T14:00"


def test_a_table_is_every_row_in_force(day_taken: Place) -> None:
    site = open_site(day_taken.site.root)
    assert set(site.tables) == set(ALL_FEEDS) and all(site.tables.values())
    pallets = site.table("pallets")
    assert pallets.height == day_taken.facts("pallets").height > 0
    assert set(ALL_FEEDS["pallets"].columns) <= set(pallets.columns) and {"batch", "file_line"} <= set(pallets.columns)
    units = site.columns("pallets").filter(pl.col("column") == "units")
    assert units.height == 1 and units["meaning"].item()


def test_a_pareto_counts_what_its_table_holds(day_taken: Place) -> None:
    site = open_site(str(day_taken.site.root))
    pareto = site.pareto("K1", START, END)
    assert isinstance(pareto, Pareto)
    rows = site.table("reject_counts").filter(
        pl.col("station").str.starts_with("K1"),
        pl.col("window_start") >= datetime(2026, 3, 10, 5, tzinfo=UTC),
        pl.col("window_start") < datetime(2026, 3, 10, 13, tzinfo=UTC),
    )
    by_hand = dict(rows.group_by("defect").agg(pl.col("rejected").sum()).iter_rows())
    faults = {row.key: row.calls for row in pareto.rows}
    assert faults == {code: by_hand[code] for code in faults} and sum(faults.values()) > 0
    assert site.frame(pareto.rows)["calls"].sum() == sum(faults.values())


def test_times_are_texts_or_aware_moments(day_taken: Place) -> None:
    site = open_site(day_taken.site.root)
    local = site.pareto("K1", START, END)
    assert local == site.pareto("K1", datetime(2026, 3, 10, 5, tzinfo=UTC), datetime(2026, 3, 10, 13, tzinfo=UTC))


def test_a_pallet_is_traced_and_a_day_has_its_yield_weights_and_laboratory(day_taken: Place) -> None:
    site = open_site(day_taken.site.root)
    pallet = site.table("pallets").filter(pl.col("line") == "K1")["pallet"].sort()[5]
    trace = site.trace(pallet=pallet)
    assert trace.cavities and "out/pallet" in trace.queries
    assert {line.line for line in site.yields("2026-03-10").lines} == set(site.lines)
    assert site.weights("K1", START, END).n > 0
    assert [furnace.furnace for furnace in site.laboratory("2026-03-10").furnaces]
    assert isinstance(site.signals(START, END, "K1"), list) and isinstance(site.holds(), list)


def test_what_does_not_exist_is_one_sentence(day_taken: Place, tmp_path: object) -> None:
    site = open_site(day_taken.site.root)
    with pytest.raises(WrongUse, match="no table 'rejects'"):
        site.table("rejects")
    with pytest.raises(WrongUse, match="no line 'K9'"):
        site.pareto("K9", START, END)
    with pytest.raises(WrongUse, match="is not a day"):
        site.yields("yesterday")
    with pytest.raises(WrongUse, match=r"start .* must lie before end"):
        site.pareto("K1", END, START)
    with pytest.raises(WrongUse, match=r"made_from .* must lie before made_to"):
        site.trace(item="B500", made_from=END, made_to=START)
    with pytest.raises(SiteError, match="is no site"):
        open_site(str(tmp_path))
