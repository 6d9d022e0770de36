"""Calls without a mould number are told where there are more than a few, by station where they differ."""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.measures.pareto.unread import unread_calls, unread_caption, unread_words


def calls(*rows: tuple[str, str | None, int]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema={"station": pl.String, "mould": pl.String, "calls": pl.Int64}, orient="row")


def test_the_share_is_told_with_stations_that_differ() -> None:
    """By hand: A 10 of 100 unread, B 90 of 100: half of all."""
    unread = unread_calls(calls(("A", "7", 90), ("A", None, 10), ("B", "8", 10), ("B", None, 90)))
    assert unread.share == pytest.approx(0.5) and unread.stations == {"A": pytest.approx(0.1), "B": pytest.approx(0.9)}
    assert unread_words(unread) == "50.0 % of the calls had no mould number (B 90 %, A 10 %)"
    assert unread_words(unread, "the calls of CHS").startswith("50.0 % of the calls of CHS had")
    assert "what is told by mould is of the others only" in unread_caption(unread)


def test_stations_alike_are_not_named_and_a_few_calls_are_no_matter() -> None:
    alike = unread_calls(calls(("A", "7", 90), ("A", None, 10), ("B", "8", 88), ("B", None, 12)))
    assert unread_words(alike) == "11.0 % of the calls had no mould number"
    few = unread_calls(calls(("A", "7", 99), ("A", None, 1), ("B", None, 0)))
    assert few.share == pytest.approx(0.01) and unread_words(few) == "" and list(few.stations) == ["A"]
    assert "1.0 % of the calls had no mould number" in unread_caption(few)


def test_without_calls_nothing_is_said() -> None:
    assert unread_calls(calls()).share is None and unread_words(unread_calls(calls())) == ""
