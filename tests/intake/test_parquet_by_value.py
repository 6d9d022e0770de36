"""Parquet is read by value: what a cell means counts, not the type it is kept in."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.conftest import Place


def reasons(place: Place) -> list[tuple[int, str]]:
    return [(line, reason) for _, line, _, reason in place.refusals()]


def parquet(**columns: Any) -> bytes:
    row = {
        "window_start": pa.array([datetime(2026, 3, 2, 8, tzinfo=UTC)], pa.timestamp("us", "UTC")),
        "line": ["K1"],
        "station": ["K1-side-a"],
        "inspected": [12],
        "rejected": [1],
        **columns,
    }
    out = io.BytesIO()
    pq.write_table(pa.table(row), out)
    return out.getvalue()


FAR = {
    unit: pa.array([400_000_000_000 * 1000**n], pa.timestamp(unit, "UTC")) for n, unit in enumerate(("s", "ms", "us"))
}


@pytest.mark.parametrize("column", [*FAR.values(), pa.array([-(2**62)], pa.timestamp("us", "UTC"))])
def test_a_time_beyond_the_year_9999_costs_its_row_alone(place: Place, column: pa.Array) -> None:
    place.put("station_counts.x.parquet", parquet(window_start=column))
    place.put("station_counts.y.parquet", parquet())
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (1, 1) and reasons(place) == [(1, "not_a_time")]


def test_moments_of_nanoseconds_are_read_as_exactly_as_the_ledger_keeps_them(place: Place) -> None:
    place.put(
        "station_counts.x.parquet",
        parquet(window_start=pa.array([1_772_438_400_123_456_789], pa.timestamp("ns", "UTC"))),
    )
    assert place.take().messages == []
    assert place.facts("station_counts")["window_start"].to_list() == [
        datetime(2026, 3, 2, 8, 0, 0, 123_456, tzinfo=UTC)
    ]


@pytest.mark.parametrize(
    ("column", "value", "read"),
    [
        ("inspected", pa.array([Decimal("12.00")], pa.decimal128(10, 2)), 12),
        ("inspected", pa.array([12.0]), 12),
        ("inspected", pa.array([12.0], pa.float32()), 12),
        ("mould", pa.array([11.0, None][:1]), "11"),
        ("mould", pa.array([Decimal(11)], pa.decimal128(5, 0)), "11"),
        ("mould", pa.array([b"11"], pa.binary()), "11"),
        ("station", pa.array([b"K1-side-b"], pa.binary(9)), "K1-side-b"),
        ("line", pa.array(["K1"], pa.string_view()), "K1"),
        ("line", pa.array([b"K1"], pa.large_binary()).dictionary_encode(), "K1"),
    ],
)
def test_parquet_is_read_by_value(place: Place, column: str, value: pa.Array, read: object) -> None:
    place.put("station_counts.x.parquet", parquet(**{column: value}))
    report = place.take()
    assert (report.rows_kept, report.rows_refused, report.messages) == (1, 0, [])
    assert place.facts("station_counts")[column].to_list() == [read]


@pytest.mark.parametrize(
    ("column", "value", "where"),
    [
        ("inspected", pa.array([12.5]), (1, "not_a_count")),
        ("inspected", pa.array([float("nan")]), (1, "not_a_count")),
        ("inspected", pa.array([float("inf")]), (1, "not_a_count")),
        ("inspected", pa.array([Decimal("1.50")], pa.decimal128(10, 2)), (1, "not_a_count")),
        ("mould", pa.array([11.5]), (0, "parquet_type")),
        ("mould", pa.array([b"\xff\xfe"], pa.binary()), (1, "not_text")),
        ("mould", pa.array([["11"]]), (0, "parquet_type")),
        ("mould", pa.array([{"a": 1}]), (0, "parquet_type")),
        ("inspected", pa.array([True]), (0, "parquet_type")),
    ],
)
def test_what_parquet_cannot_mean_is_refused(
    place: Place, column: str, value: pa.Array, where: tuple[int, str]
) -> None:
    place.put("station_counts.x.parquet", parquet(**{column: value}))
    assert place.take().rows_kept == 0
    assert reasons(place) == [where]


def test_a_decimal_number_of_grams_is_read_by_value(place: Place) -> None:
    row = {
        "sampled_at": pa.array([datetime(2026, 3, 2, 8, tzinfo=UTC)], pa.timestamp("ms", "UTC")),
        "line": ["K1"],
        "point": ["cold"],
    }
    row |= {"mould": ["11"], "sample": [1.0], "weight_g": pa.array([Decimal("341.25")], pa.decimal128(38, 2))}
    out = io.BytesIO()
    pq.write_table(pa.table(row), out)
    place.put("weight_checks.x.parquet", out.getvalue())
    assert place.take().messages == []
    assert place.facts("weight_checks")["weight_g"].to_list() == [341.25]
