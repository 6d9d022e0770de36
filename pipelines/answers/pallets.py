"""A line's pallets with the time in which each was filled; inferred where only its label was noted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines.ledger.reader import Reader
from pipelines.measures.trace.packing import BY_FLOW, BY_LABEL, INSTANT, begun, instant
from pipelines.plant.works import Plant
from pipelines.words import say

ASSUMED_BEGIN = {True: say(" (inferred)"), False: ""}
REACH = timedelta(hours=12)  # about a window: labels before it, and of pallets that were begun in it


def pallets_of_line(reader: Reader, plant: Plant, line: str, from_time: datetime, to_time: datetime) -> pl.DataFrame:
    """The pallets that a line filled at any time of a window, with `begin`: how their beginnings are known
    (`measures.packing.begun`).
    """
    rows = reader.ask("pallets_of_line", line=line, from_time=from_time - REACH, to_time=to_time + REACH)
    marked = rows.filter(instant())
    passed = _passed(reader, plant, line, marked, rows)
    inside = (pl.col("packed_from") < to_time) & (pl.col("packed_to") >= from_time)
    return begun(rows, passed).filter(inside).sort("packed_from", "pallet")


def _passed(reader: Reader, plant: Plant, line: str, marked: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """What passed the last station up to the labels that say nothing of a beginning; nothing is read where every pallet
    has one.
    """
    stations = plant.stations_of(line)
    if marked.is_empty() or not stations:
        return pl.DataFrame(schema={"window_start": rows["packed_to"].dtype, "window_s": pl.Int64, "passed": pl.Int64})
    last = [s.id for s in stations if s.order == stations[-1].order]
    start, end = marked["packed_to"].min(), marked["packed_to"].max()
    return reader.ask("passed_by_window", line=line, stations=last, from_time=start - REACH, to_time=end)  # type: ignore[operator]


def with_begin(reader: Reader, plant: Plant, row: dict[str, Any]) -> dict[str, Any]:
    """A pallet's row with its beginning inferred where it was stamped at one instant."""
    if row["packed_to"] - row["packed_from"] > INSTANT or row["line"] not in plant.lines:
        return row
    at = row["packed_to"]
    same = pallets_of_line(reader, plant, row["line"], at, at + timedelta(seconds=1)).filter(
        pl.col("pallet") == row["pallet"]
    )
    return {**row, "packed_from": same["packed_from"][0], "begin": same["begin"][0]} if same.height else row


def inferred_words(line: str, ways: Sequence[str]) -> list[str]:
    """How many of some pallets have a beginning that nobody noted, and where it was taken from."""
    labels, flow = ways.count(BY_LABEL), ways.count(BY_FLOW)
    if not labels + flow:
        return []
    return [
        say(
            "line {line}: {inferred} of {every} pallets came with the moment of their label alone; when they were "
            "begun is inferred: {labels} from the label of the same item before them, {flow} from their containers "
            "and what passed the last station",
            line=line,
            inferred=labels + flow,
            every=len(ways),
            labels=labels,
            flow=flow,
        )
    ]


def is_inferred(row: dict[str, Any]) -> bool:
    """Whether the beginning of a pallet's row is inferred."""
    return row.get("begin") in (BY_LABEL, BY_FLOW)
