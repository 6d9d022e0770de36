"""Paretos by hand: keys, both denominators, order, unread ware, critical defects."""

from __future__ import annotations

from datetime import UTC, datetime

import polars as pl
import pytest

from pipelines.measures.pareto.mould_places import with_cavity
from pipelines.measures.pareto.ranking import pareto
from pipelines.plant.works import Plant
from pipelines.reports.pareto import pareto_sheet
from schemas.answers.pareto import Pareto

SPAN = (datetime(2026, 3, 2, 8, tzinfo=UTC), datetime(2026, 3, 2, 9, tzinfo=UTC))
CALLS = {"station": pl.String, "mould": pl.String, "defect": pl.String, "calls": pl.Int64}
WARE = {"station": pl.String, "mould": pl.String, "inspected": pl.Int64, "rejected": pl.Int64}


def told(plant: Plant, by: str, calls: list[tuple], ware: list[tuple]) -> Pareto:
    return pareto(
        plant,
        "K1",
        SPAN,
        by,
        pl.DataFrame(calls, CALLS, orient="row"),
        pl.DataFrame(ware, WARE, orient="row"),
    )


ONE = [
    ("K1-side-a", "11", "SCF", 6),
    ("K1-side-a", None, "SCF", 2),
    ("K1-side-b", "12", "STN", 3),
    ("K1-foot", None, "SPK", 1),
]
HAND = [
    ("K1-side-a", "11", 60, 6),
    ("K1-side-a", None, 20, 2),
    ("K1-side-b", "12", 120, 3),
    ("K1-mouth", None, 189, 0),
    ("K1-foot", None, 188, 1),
]


def test_a_critical_defect_stands_first_however_rare(plant: Plant) -> None:
    answer = told(plant, "defect", ONE, HAND)
    assert [(row.key, row.calls, row.severity) for row in answer.rows] == [
        ("SPK", 1, "critical"),
        ("SCF", 8, "minor"),
        ("STN", 3, "major"),
    ]
    assert (answer.ware, answer.rejected, answer.calls) == (200, 12, 12)


def test_a_window_of_which_nothing_came_says_so_and_one_of_which_zeros_came_does_not(plant: Plant) -> None:
    assert "Nothing came" in told(plant, "defect", [], []).why
    assert "Nothing came" in pareto_sheet(told(plant, "defect", [], []), "x", "x").caption
    assert told(plant, "defect", [], [("K1-side-a", None, 0, 0)]).why == ""
    assert told(plant, "defect", [("K1-side-a", "11", "SCF", 6)], []).why == ""


def test_both_denominators(plant: Plant) -> None:
    rows = {row.key: row for row in told(plant, "defect", ONE, HAND).rows}
    assert rows["SPK"].rate == pytest.approx(1 / 200) and rows["SPK"].own_rate == pytest.approx(1 / 188)
    assert rows["STN"].own_ware == 80 + 120  # both side lanes; the foot behind them sees the same ware again
    stations = {row.key: row for row in told(plant, "station", ONE, HAND).rows}
    assert (stations["K1-side-a"].own_ware, stations["K1-side-a"].own_rate) == (80, pytest.approx(0.1))


def test_unread_ware_is_shared_out_in_proportion(plant: Plant) -> None:
    answer = told(plant, "mould", ONE, HAND)
    rows = {row.key: row for row in answer.rows}
    assert list(rows) == ["11", "12", "unread"]
    assert rows["11"].own_ware == pytest.approx(60 * 200 / 180) and rows["12"].own_ware == pytest.approx(
        120 * 200 / 180
    )
    assert rows["unread"].own_ware is None and answer.unread_share == pytest.approx(3 / 12)
    assert rows["unread"].critical_calls == 1


def test_shares_cumulate_to_one(plant: Plant) -> None:
    for by in ("defect", "mould", "station", "zone", "severity"):
        rows = told(plant, by, ONE, HAND).rows
        assert rows[-1].cumulative == pytest.approx(1) and sum(row.share for row in rows) == pytest.approx(1)


def test_severities_stand_in_their_own_order(plant: Plant) -> None:
    assert [row.key for row in told(plant, "severity", ONE, HAND).rows] == ["critical", "major", "minor"]


def test_nothing_called_and_nothing_inspected(plant: Plant) -> None:
    answer = told(plant, "defect", [], [])
    assert (answer.rows, answer.ware, answer.calls) == ((), 0, 0)
    assert told(plant, "defect", [("K1-side-a", "11", "SCF", 2)], []).rows[0].rate is None


def test_json_has_the_names_of_the_contract(plant: Plant) -> None:
    answer = told(plant, "defect", ONE, HAND).told()
    assert {"line", "from", "to", "ware", "rejected", "calls", "rows"} <= answer.keys()
    assert {"key", "name", "severity", "calls", "share", "cumulative", "rate", "baseline", "q"} <= answer["rows"][
        0
    ].keys()
    assert answer["from"] == "2026-03-02T08:00:00Z"


def test_a_mould_number_in_two_cavities_at_once_is_placed_in_neither() -> None:
    at = [datetime(2026, 3, 2, hour, tzinfo=UTC) for hour in range(6)]
    spans = pl.DataFrame(
        [
            (1, "A", "7", at[0], at[3]),
            (2, "A", "7", at[2], None),
            (3, "A", "8", at[0], at[2]),
            (4, "B", "8", at[4], None),
        ],
        schema={
            "section": pl.Int64,
            "gob": pl.String,
            "number": pl.String,
            "fitted_at": pl.Datetime("us", "UTC"),
            "ended_at": pl.Datetime("us", "UTC"),
        },
        orient="row",
    )
    asked = pl.DataFrame(
        {"mould": ["7", "8", "8", "8", "9", None], "formed_at": [at[1], at[1], at[3], at[5], at[1], at[1]]}
    )
    assert with_cavity(asked, spans).select("section", "gob").rows() == [
        (None, None),
        (3, "A"),
        (None, None),
        (4, "B"),
        (None, None),
        (None, None),
    ]


def test_a_station_with_calls_and_no_counts_is_named_beside_the_rejects(plant: Plant) -> None:
    """What it threw out stands in no count of containers; its calls do."""
    calls = pl.DataFrame(
        {"station": ["K2-side", "K2-foot"], "mould": ["", ""], "defect": ["CHS", "STN"], "calls": [5, 7]}
    )
    ware = pl.DataFrame({"station": ["K2-side"], "mould": [""], "inspected": [1_000], "rejected": [5], "refed": [0]})
    answer = pareto(
        plant, "K2", (datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 3, tzinfo=UTC)), "defect", calls, ware
    )
    assert (answer.rejected, answer.calls, answer.uncounted) == (5, 12, ("K2-foot",))
    assert "Without K2-foot, which sent calls and no counts." in pareto_sheet(answer, "p", "P").caption
