"""The cavities of a line's machine over a window: mould by mould what was called, and how unusual it is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.answers.pareto import check_line, placed_counts, spans_of_line
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.store import Reader
from pipelines.measures.cavities import CavityState, cavity_counts, cavity_states
from pipelines.measures.kinds import faults
from pipelines.measures.pareto import reading_stations
from pipelines.measures.shares import ratio
from pipelines.plant import Plant

LONGEST = timedelta(days=7)


@dataclass(frozen=True)
class Machine:
    """A line's cavities. against: "past" (each mould's own) or "others" (the other cavities in the window). placed: share of the calls whose cavity is known."""

    line: str
    span: Span
    defect: str | None
    cavities: list[CavityState]
    against: str
    calls: int
    placed: float | None
    lehr: LehrTime
    files: pl.DataFrame


def answer_moulds(reader: Reader, plant: Plant, line: str, span: Span, defect: str | None = None) -> Machine:
    """The cavities in [span.start, span.end) by the cold-end clock; WrongUse for an unknown line or defect, or a window over a week."""
    check_line(plant, line)
    if defect is not None and defect not in plant.defects:
        raise WrongUse(f"there is no defect '{defect}' in works.toml; it has {', '.join(plant.defects)}")
    if span.end - span.start > LONGEST:
        raise WrongUse(f"a map of cavities looks over {LONGEST.days} days at the most")
    calls, ware = placed_counts(reader, plant, line, span)
    mine = faults(plant, calls) if defect is None else calls.filter(pl.col("defect") == defect)
    stations = reading_stations(plant, line, ware)
    critical = [code for code, told in plant.defects.items() if told.severity == "critical"]
    counts = cavity_counts(mine, ware, critical, stations)
    machine = plant.lines[line]
    places = [(section, gob) for section in range(1, machine.sections + 1) for gob in machine.gob_positions]
    lehr = lehr_time(reader, plant, line, span)
    past = _past(reader, line, span) if defect is None else None
    total = int(mine["calls"].sum())
    placed = int(mine.filter(pl.col("section").is_not_null())["calls"].sum())
    return Machine(
        line, span, defect, cavity_states(places, counts, _fitted(reader, plant, line, span, lehr), past), "others" if past is None else "past", total,
        ratio(placed, total), lehr, reader.ask("files_behind", line=line, from_time=span.start, to_time=span.end),
    )  # fmt: skip


def _past(reader: Reader, line: str, span: Span) -> dict[str, tuple[float, float, float]] | None:
    """What each mould's own past leads one to expect; None where it does not cover the window."""
    told = reader.ask("expected_of_line", line=line, from_time=span.start, to_time=span.end).filter(
        pl.col("kind") == "mould"
    )
    hours = told["hours"].max() if told.height else 0.0
    if not isinstance(hours, float) or hours < 0.95 * span.seconds / 3600:
        return None
    return {row["key"]: (row["expected"], row["variance"], row["doubt"]) for row in told.iter_rows(named=True)}


def _fitted(
    reader: Reader, plant: Plant, line: str, span: Span, lehr: LehrTime
) -> dict[tuple[int, str], tuple[str, ...]]:
    """The numbers fitted in each place while the window's ware was formed, in their order."""
    formed = Span(lehr.formed(span.start), lehr.formed(span.end))
    told: dict[tuple[int, str], tuple[str, ...]] = {}
    for row in spans_of_line(reader, plant, line, span).sort("fitted_at").iter_rows(named=True):
        if (
            row["fitted_at"] < formed.end
            and (row["ended_at"] is None or row["ended_at"] > formed.start)
            and row["number"]
        ):
            place = (row["section"], row["gob"])
            told[place] = (*told.get(place, ()), row["number"])
    return told
