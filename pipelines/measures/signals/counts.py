"""One line's calls and ware on a grid of minutes, by defect, station and mould: what signals are looked for in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.plant.works import Plant

RARE = 0.003  # a mould number outside the mould log counts as one when it has this share of the line's read ware
STEP_S = 60  # the grid's step [s]
COARSEST_MIN = 240  # counts of longer windows are not judged: nothing in them can be dated or placed
BLURRED_MIN = 5  # a longer window in which a job began mixes two items and is not judged


@dataclass(frozen=True)
class CountColumn:
    """A mould in one cavity; section and gob are None where the mould log does not tell."""

    mould: str
    section: int | None = None
    gob: str | None = None


@dataclass(frozen=True)
class LineCounts:
    """Counts of a line. Bin t covers [start + t x step, + step) by the first station's clock: rows of later stations
    are moved back by their way, so that one container stands in one bin. Each station keeps its own windows: a window
    longer than a bin stands, ware and calls, in its last bin, because only then is it known; a fine station beside it
    loses nothing.

    ware: [stations, columns + 1, bins] containers inspected; the last column is unread ware.
    Calls are sparse and in order of time: at (bin), defect, station, column, calls. Calls of a station that told no
    ware beside them
    have no rate and are left out: they stand in the Paretos.
    sent: [stations, bins] whether the station sent counts at all, over the whole of each window.
    window: [stations] the longest window of each, in bins. unjudged: [stations, bins] counts that were left out,
    because their window is longer than COARSEST_MIN or a job began inside it. too_long: [stations] the longest window
    of the first kind, else 0.
    jobs: [bins] number of the job whose ware passes; items of those jobs by number.
    """

    line: str
    start: datetime
    step_s: int
    defects: tuple[str, ...]
    stations: tuple[str, ...]
    columns: tuple[CountColumn, ...]
    ware: np.ndarray
    sent: np.ndarray
    at: np.ndarray
    defect: np.ndarray
    station: np.ndarray
    column: np.ndarray
    calls: np.ndarray
    jobs: np.ndarray
    items: tuple[str | None, ...]
    window: np.ndarray
    unjudged: np.ndarray
    too_long: np.ndarray

    @property
    def bins(self) -> int:
        return int(self.ware.shape[2])

    @property
    def unread(self) -> int:
        return len(self.columns)

    def moment(self, at: float) -> datetime:
        """The moment of a (part of a) bin by the first station's clock."""
        return self.start + timedelta(seconds=float(at) * self.step_s)

    def bin_of(self, moment: datetime) -> int:
        return int(np.floor((moment - self.start).total_seconds() / self.step_s))


def line_counts(
    plant: Plant,
    line: str,
    span: tuple[datetime, datetime],
    calls: pl.DataFrame,
    ware: pl.DataFrame,
    spans: pl.DataFrame,
    jobs: pl.DataFrame,
    lehr_minutes: float,
) -> LineCounts:
    """The counts of [span) on a grid of minutes, each station's windows as it sends them.

    calls: window_start, window_s, station, mould, defect, calls. ware: window_start, station, mould, inspected,
    window_s.
    spans: section, gob, number, fitted_at, ended_at. jobs: started_at, item; both by the forming clock.
    """
    bins = max(1, int(np.ceil((span[1] - span[0]).total_seconds() / STEP_S)))
    stations = tuple(s.id for s in plant.stations_of(line))
    named, columns = _columns(ware, spans, span, lehr_minutes)
    number, items = _jobs(jobs, span[0], STEP_S, bins, lehr_minutes)
    grid = _Grid(plant, span[0], bins, stations, named, number)
    placed = grid.placed(ware)
    frame = placed.filter(~pl.col("blurred"))
    shape = (len(stations), len(columns) + 1, bins)
    flat = np.ravel_multi_index((frame["station_no"], frame["column_no"], frame["at"]), shape)
    counted = np.bincount(flat, frame["inspected"].to_numpy(), minlength=int(np.prod(shape))).reshape(shape)
    codes = {code: n for n, code in enumerate(plant.faults)}
    sent = _covered(placed, len(stations), bins)
    called = grid.placed(calls.filter(pl.col("defect").is_in(list(codes)))).filter(~pl.col("blurred")).sort("at")
    with_ware = sent[called["station_no"].to_numpy(), called["at"].to_numpy()]
    called = called.filter(pl.Series(with_ware, dtype=pl.Boolean))
    return LineCounts(
        line,
        span[0],
        STEP_S,
        tuple(codes),
        stations,
        columns,
        counted,
        sent,
        called["at"].to_numpy(),
        called["defect"].replace_strict(codes, return_dtype=pl.Int64).to_numpy(),
        called["station_no"].to_numpy(),
        called["column_no"].to_numpy(),
        called["calls"].to_numpy(),
        number,
        items,
        np.maximum(1, _longest(frame, len(stations))),
        _covered(placed.filter("blurred"), len(stations), bins),
        _longest(placed.filter(pl.col("long") > COARSEST_MIN), len(stations)),
    )


def _covered(placed: pl.DataFrame, stations: int, bins: int) -> np.ndarray:
    """[stations, bins] whether a window of these rows covers the bin."""
    windows = placed.select("station_no", "at", "long").unique()
    station, last, length = (windows[name].to_numpy() for name in ("station_no", "at", "long"))
    edges = np.zeros((stations, bins + 1), np.int64)
    np.add.at(edges, (station, np.maximum(0, last - length + 1)), 1)
    np.add.at(edges, (station, last + 1), -1)
    values: np.ndarray = np.cumsum(edges, axis=1)[:, :-1] > 0
    return values


def _longest(placed: pl.DataFrame, stations: int) -> np.ndarray:
    values = np.zeros(stations, np.int64)
    np.maximum.at(values, placed["station_no"].to_numpy(), placed["long"].to_numpy())
    return values


@dataclass(frozen=True)
class _Grid:
    plant: Plant
    start: datetime
    bins: int
    stations: tuple[str, ...]
    named: pl.DataFrame  # mould, from_at, column_no: from when (inspected) a number stands for a column
    jobs: np.ndarray

    def placed(self, frame: pl.DataFrame) -> pl.DataFrame:
        """The rows inside the grid with station_no, column_no, at (the last bin of their window), long (bins of it) and
        blurred.
        """
        after = {s: int(self.plant.stations[s].after_minutes * 60) for s in self.stations}
        numbers = {s: n for n, s in enumerate(self.stations)}
        here = frame.filter(pl.col("station").is_in(self.stations))
        moved = (pl.col("window_start") - self.start).dt.total_seconds() - pl.col("station").replace_strict(
            after, default=0, return_dtype=pl.Int64
        )
        half = STEP_S // 2 if any(after.values()) else 0
        here = here.with_columns(
            long=((pl.col("window_s") + STEP_S // 2) // STEP_S).clip(1),
            at=(moved + half).floordiv(STEP_S),
            station_no=pl.col("station").replace_strict(numbers, default=0, return_dtype=pl.Int64),
        ).with_columns(at=pl.col("at") + pl.col("long") - 1)
        here = here.filter(pl.col("at").is_between(0, self.bins - 1))
        return self._with_column(here.with_columns(blurred=pl.Series(self._blurred(here), dtype=pl.Boolean)))

    def _blurred(self, here: pl.DataFrame) -> np.ndarray:
        """Rows whose window is too long to be judged, or mixes the ware of two jobs."""
        last, length = here["at"].to_numpy(), here["long"].to_numpy()
        mixed = self.jobs[last] != self.jobs[np.maximum(0, last - length + 1)]
        values: np.ndarray = (length > COARSEST_MIN) | (mixed & (length > BLURRED_MIN))
        return values

    def _with_column(self, frame: pl.DataFrame) -> pl.DataFrame:
        once = self.named.filter(pl.len().over("mould") == 1)
        often = self.named.filter(pl.len().over("mould") > 1)
        unread = 1 + max(self.named["column_no"].to_list(), default=-1)
        answer = frame.join(once.select("mould", "column_no"), on="mould", how="left", maintain_order="left")
        for row in often.sort("from_at").iter_rows(named=True):
            mine = (pl.col("mould") == row["mould"]) & (
                (pl.col("window_start") >= row["from_at"]) | pl.col("column_no").is_null()
            )
            answer = answer.with_columns(column_no=pl.when(mine).then(row["column_no"]).otherwise(pl.col("column_no")))
        return answer.with_columns(pl.col("column_no").fill_null(unread).cast(pl.Int64))


def _columns(
    ware: pl.DataFrame, spans: pl.DataFrame, span: tuple[datetime, datetime], lehr_minutes: float
) -> tuple[pl.DataFrame, tuple[CountColumn, ...]]:
    read = ware.filter(pl.col("mould").is_not_null()).group_by("mould").agg(pl.col("inspected").sum()).sort("mould")
    total = int(read["inspected"].sum())
    seen = {row[0]: row[1] for row in read.iter_rows()}
    lehr = timedelta(minutes=lehr_minutes)
    columns: list[CountColumn] = []
    rows: list[tuple[str, datetime, int]] = []
    known = spans.filter(pl.col("number").is_in(list(seen))).sort("fitted_at")
    for row in known.iter_rows(named=True):
        column = CountColumn(row["number"], row["section"], row["gob"])
        if column not in columns:
            columns.append(column)
        rows.append((row["number"], row["fitted_at"] + lehr, columns.index(column)))
    fitted = {column.mould for column in columns}
    for mould, inspected in seen.items():
        if mould not in fitted and inspected >= RARE * total:
            columns.append(CountColumn(mould))
            rows.append((mould, span[0], len(columns) - 1))
    schema: dict[str, pl.DataType | type[pl.DataType]] = {
        "mould": pl.String,
        "from_at": pl.Datetime("us", "UTC"),
        "column_no": pl.Int64,
    }
    return pl.DataFrame(rows, schema=schema, orient="row"), tuple(columns)


def _jobs(
    jobs: pl.DataFrame, start: datetime, step: int, bins: int, lehr_minutes: float
) -> tuple[np.ndarray, tuple[str | None, ...]]:
    number = np.zeros(bins, np.int64)
    frame = jobs.sort("started_at")
    for n, began in enumerate(frame["started_at"]):
        first = int(((began + timedelta(minutes=lehr_minutes)) - start).total_seconds() // step)
        number[max(0, first) :] = n if first < bins else number[max(0, first) :]
    return number, tuple(frame["item"].to_list()) if frame.height else (None,)


def cavities_of(columns: Sequence[CountColumn]) -> dict[tuple[int, str], list[int]]:
    """Column numbers by cavity: several where moulds were changed."""
    numbers: dict[tuple[int, str], list[int]] = {}
    for number, column in enumerate(columns):
        if column.section is not None and column.gob is not None:
            numbers.setdefault((column.section, column.gob), []).append(number)
    return numbers


def groups_of(columns: Sequence[CountColumn]) -> tuple[dict[int, list[int]], dict[str, list[int]]]:
    """Column numbers by section and by gob position."""
    sections: dict[int, list[int]] = {}
    gobs: dict[str, list[int]] = {}
    for number, column in enumerate(columns):
        if column.section is not None and column.gob is not None:
            sections.setdefault(column.section, []).append(number)
            gobs.setdefault(column.gob, []).append(number)
    return sections, gobs
