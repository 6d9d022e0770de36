"""The tables that are no feeds, worked out or said by people: what a row of each is, its key, what its columns mean."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, get_args

from schemas.answers.meanings import meanings
from schemas.answers.shape import Result
from schemas.answers.signals import Signal
from schemas.quantities import QUANTITIES, Kind, Quantity


@dataclass(frozen=True)
class Table:
    """One table. when: the column of time by which its rows belong to a production day, or None. mart: worked out from
    the feeds, hour by hour. shapes: columns of text that hold an answer as JSON, with its shape; the answer's fields
    stand among the columns under the column's name and their own (`told.onset`)."""

    name: str
    grain: str
    when: str | None
    key: tuple[str, ...]
    columns: tuple[Quantity, ...]
    mart: bool = False
    shapes: tuple[tuple[str, type[Result]], ...] = ()

    def quantity(self, column: str) -> Quantity:
        return next(this_quantity for this_quantity in self.columns if this_quantity.name == column)


def _column(name: str, meaning: str, unit: str = "text", kind: Kind = "text") -> Quantity:
    return Quantity(name, meaning, kind, unit)


def _time(name: str, meaning: str) -> Quantity:
    return Quantity(name, meaning, "time", "RFC 3339 with offset")


def _whole(name: str, meaning: str, unit: str = "-") -> Quantity:
    return Quantity(name, meaning, "count", unit)


def _number(name: str, meaning: str, unit: str) -> Quantity:
    return Quantity(name, meaning, "number", unit)


def _of_shape(column: str, shape: type[Result]) -> tuple[Quantity, ...]:
    """The fields of an answer that a column holds, in the words of the shape."""
    return tuple(_field(column, shape, name) for name in shape.model_fields)


def _field(column: str, shape: type[Result], name: str) -> Quantity:
    said, kinds = meanings(shape)[name], set(_plain(shape.model_fields[name].annotation))
    title = f"{column}.{shape.model_fields[name].alias or name}"
    if datetime in kinds:
        return _time(title, f"{said.words}, by the {said.unit}")
    if bool in kinds:
        return _column(title, said.words, "yes or no")
    if int in kinds:
        return _whole(title, said.words, said.unit)
    return _number(title, said.words, said.unit) if float in kinds else _column(title, said.words, said.unit or "text")


def _plain(annotation: Any) -> Iterator[Any]:
    """The types that a field's values are made of."""
    parts = get_args(annotation)
    if not parts:
        yield annotation
    for part in parts:
        yield from _plain(part)


_LINE, _FURNACE, _MOULD, _DEFECT, _PALLET = (
    QUANTITIES[name] for name in ["line", "furnace", "mould", "defect", "pallet"]
)
_DAY = Quantity("day", "production day", "date", "ISO 8601 date")
_REVISION = _whole("revision", "number of the close of that day; the first is 1")
_BATCH = _whole("batch", "number of the file, in the order of receipt")
_SIGNAL = _column("signal", "name of the signal, which it keeps until it is over")
_EXPECTED = (
    _number("expected", "calls that the line's own past leads one to expect", "calls"),
    _number("variance", "variance of the calls from window to window beyond Poisson", "calls squared"),
    _number("doubt", "standard deviation of `expected` itself", "calls"),
)
LINEAGE = (_BATCH, _whole("file_line", "line of that file which the row came from"))

_ALL = (
    Table(
        "lehr_hours",
        "lehr time of a line in an hour of inspection",
        "hour",
        ("line", "hour"),
        (
            _LINE,
            _time("hour", "start of the hour, by the cold-end clock"),
            _number("minutes", "time from the gob's cut to the first station", "min"),
            _number("low", "lower end of its 95 % interval", "min"),
            _number("high", "upper end of its 95 % interval", "min"),
            _number("spread", "standard deviation of the times of single containers", "min"),
            _column("measured", "whether its interval is narrow enough to call it measured", "yes or no"),
            _column("clear", "whether this hour showed it by itself", "yes or no"),
        ),
        mart=True,
    ),
    Table(
        "expected_hours",
        "calls expected in an hour of a line, of one defect or place",
        "hour",
        ("line", "hour", "kind", "key"),
        (
            _LINE,
            _time("hour", "start of the hour, by the cold-end clock"),
            _column("kind", "what `key` is", "defect | mould | section | gob | station"),
            _column("key", "the defect, mould number, section, gob position or station"),
            *_EXPECTED,
        ),
        mart=True,
    ),
    Table(
        "expected_cells",
        "calls of a defect expected of a mould in a block of hours",
        "hour",
        ("line", "hour", "mould", "defect"),
        (
            _LINE,
            _time("hour", "start of the block of hours, by the cold-end clock"),
            Quantity("mould", "mould number; empty: all moulds of which little is expected, pooled", "text", "text"),
            _DEFECT,
            *_EXPECTED,
        ),
        mart=True,
    ),
    Table(
        "signal_hours",
        "a signal as it stood at the end of an hour",
        "hour",
        ("line", "hour", "signal"),
        (
            _LINE,
            _time("hour", "start of the hour at whose end it stood so, by the cold-end clock"),
            _SIGNAL,
            _column("told", "the signal itself: place, onset, calls against expected calls, probability", "-"),
            *_of_shape("told", Signal),
        ),
        mart=True,
        shapes=(("told", Signal),),
    ),
    Table(
        "hour_doubts",
        "what of an hour of a line could not be judged",
        "hour",
        ("line", "hour", "doubt"),
        (
            _LINE,
            _time("hour", "start of the hour, by the cold-end clock"),
            _column("doubt", "what could not be judged, and why"),
        ),
        mart=True,
    ),
    Table(
        "closes",
        "one close of a production day",
        "day",
        ("day", "revision"),
        (
            _DAY,
            _REVISION,
            _time("closed_at", "when it was closed"),
            _whole("last_batch", "number of the last file that the close has seen"),
            _column("answers", "what was answered of the day: its yield and every line's Pareto", "JSON"),
            _column("digest", "SHA-256 by which a rebuild tells whether it finds the same answers"),
            _column("moved", "what this revision moved and which files moved it; empty for the first", "JSON"),
        ),
    ),
    Table(
        "balance_days",
        "a furnace in one close of a production day",
        "day",
        ("day", "revision", "furnace"),
        (
            _DAY,
            _REVISION,
            _FURNACE,
            _column("reading", "what the furnace's meters read", "JSON: kg, containers, g"),
            _column("usual", "what was expected to be lost unseen at each step", "JSON"),
            _column("told", "the yield told of the furnace and its lines", "JSON: kg, containers"),
        ),
    ),
    Table(
        "acknowledgements",
        "one acknowledgement of a signal",
        None,
        ("signal", "acknowledged_at"),
        (
            _SIGNAL,
            _time("acknowledged_at", "when that was said"),
            _column("by_whom", "who has seen the signal"),
            _column("note", "what they said of it"),
        ),
    ),
    Table(
        "hold_events",
        "one pallet in one decision about a hold",
        None,
        ("event", "pallet"),
        (
            _whole("event", "number of the decision"),
            _column("hold", "name of the hold"),
            _PALLET,
            _column("action", "what was decided, such as proposed, placed, confirmed or released"),
            _time("told_at", "when it was decided"),
            _column("by_whom", "who decided it"),
            _column("why", "for what reason"),
            _column("evidence", "on what evidence"),
        ),
    ),
    Table(
        "batches",
        "one file content under one feed",
        None,
        ("batch",),
        (
            _BATCH,
            _column("feed", "feed as which it was taken in"),
            _column("sha256", "SHA-256 of its bytes"),
            _column("file", "its name as it came"),
            _column("archived_as", "where it lies in the archive; empty for hours rolled out of minutes"),
            _whole("bytes", "its size", "bytes"),
            _time("received_at", "when it was taken in"),
            _whole("rows_read", "rows read", "rows"),
            _whole("rows_kept", "of them kept", "rows"),
            _whole("rows_refused", "of them set aside", "rows"),
            _whole("rows_unchanged", "of those kept, known already", "rows"),
            _whole("rows_replacing", "of those kept, in place of earlier ones", "rows"),
            _time("data_from", "the earliest moment that its rows speak of"),
            _time("data_to", "the latest moment that its rows speak of"),
            _whole("retry_of", "batch whose corrected rows these are; empty for any other file"),
            _column("note", "what else is to be said of it"),
        ),
    ),
    Table(
        "plants",
        "one content of works.toml",
        None,
        ("sha256",),
        (
            _column("sha256", "SHA-256 of the text"),
            _column("content", "the text of works.toml", "TOML"),
            _time("first_used_at", "when it was first worked with"),
        ),
    ),
)

TABLES: dict[str, Table] = {table.name: table for table in _ALL}
