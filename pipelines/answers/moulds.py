"""The cavities of a line's machine over a window: mould by mould what was called, what signals explain of it, and how
unusual the rest is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.answers.line_times import ware_in_bins
from pipelines.answers.pareto import check_line, placed_counts, spans_of_line
from pipelines.answers.signals import answer_doubts, kept_signals, ranked, with_notes
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.cavities import (
    CavityState,
    Counts,
    ExpectedCalls,
    by_the_others,
    by_the_past,
    cavity_states,
    cell_counts,
)
from pipelines.measures.pareto.cavities_in_time import CavitiesInTime, cavities_in_time
from pipelines.measures.pareto.explained_calls import Frames, Spot, explained, place_of, that_explain
from pipelines.measures.pareto.kinds_of_call import faults
from pipelines.measures.pareto.ranking import reading_stations
from pipelines.measures.pareto.unread import unread_calls, unread_words
from pipelines.measures.signals.cells import BLOCK_HOURS, cells_between
from pipelines.measures.signals.counts import COARSEST_MIN
from pipelines.measures.statistics.shares import ratio
from pipelines.plant.works import Plant
from pipelines.words import joined, say
from schemas.answers.signals import Signal

LONGEST = timedelta(days=7)
KNOWN_LATER = timedelta(hours=3)  # what began in a window may have been raised this much after its end
HOUR = timedelta(hours=1)
LATELY, STEP_S = timedelta(hours=12), 1800  # what is drawn of each cavity, and its bins
COVERED = 0.95  # of the window's hours must have a past


@dataclass(frozen=True)
class MachineNow:
    """A line's cavities. against: "past" (each mould's own, defect by defect) or "others" (the other cavities in the
    window).

    signals: those whose place lies on this machine, the most harmful first, as they were known up to three hours after
    the window; what ended after it goes on in it. A cavity's `signals` are numbers in it. placed, unread, unfitted:
    shares of the calls whose cavity is known, that came without a number, and with a number that was not fitted in one
    cavity then. doubts: what could not be judged, each a sentence. lately: the last hours up to the end of the window,
    half hour by half hour; None where no count of them came. called: calls of each fault in the window. parts: what sat
    in each cavity when the newest ware of the window was formed.
    """

    line: str
    span: Span
    defect: str | None
    cavities: list[CavityState]
    signals: list[Signal]
    against: str
    calls: int
    placed: float | None
    unread: float | None
    unfitted: float | None
    doubts: list[str]
    lehr: LehrTime
    files: pl.DataFrame
    lately: CavitiesInTime | None = None
    called: Mapping[str, int] = field(default_factory=dict)
    parts: Mapping[Spot, tuple[FittedPart, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class FittedPart:
    """A mould, blank or neck ring in a cavity; age: how long it had sat there."""

    part: str
    number: str
    fitted_at: datetime
    age: timedelta


def _checked(plant: Plant, line: str, span: Span, defect: str | None) -> None:
    check_line(plant, line)
    if defect is not None and defect not in plant.defects:
        raise WrongUse(
            say(
                "there is no defect '{defect}' in works.toml; it has {defects}",
                defect=defect,
                defects=joined(", ", plant.defects),
            )
        )
    if span.end - span.start > LONGEST:
        raise WrongUse(say("a map of cavities looks over {days} days at the most", days=LONGEST.days))


def answer_moulds(reader: Reader, plant: Plant, line: str, span: Span, defect: str | None = None) -> MachineNow:
    """The cavities in [span.start, span.end) by the cold-end clock; WrongUse for an unknown line or defect, or a window
    over a week.
    """
    _checked(plant, line, span, defect)
    calls, ware = placed_counts(reader, plant, line, span)
    lehr = lehr_time(reader, plant, line, span)
    places = _places(plant, line)
    fitted = _fitted(reader, plant, line, span, lehr)
    coarse = _too_coarse(ware, span)
    frames = Frames(*(frame.filter(~pl.col("station").is_in(list(coarse))) for frame in (calls, ware)))
    signals = that_explain(_signals(reader, line, span), line, span.start, span.end)
    states, against = _states(reader, plant, line, span, (places, fitted), frames, signals, defect)
    mine = faults(plant, calls) if defect is None else calls.filter(pl.col("defect") == defect)
    total = int(mine["calls"].sum())
    placed, unread, unfitted = (ratio(number, total) for number in _told_apart(mine))
    shown = [n for n, signal in enumerate(signals) if defect in (None, signal.defect)]
    return MachineNow(
        line,
        span,
        defect,
        [_of_shown(state, shown) for state in states],
        [signals[n] for n in shown],
        against,
        total,
        placed,
        unread,
        unfitted,
        [*_doubts(reader, plant, line, span, coarse, against), *_unread(mine)],
        lehr,
        reader.ask("files_behind", line=line, from_time=span.start, to_time=span.end),
        _lately(reader, plant, line, span, places, defect),
        _by_defect(plant, calls),
        parts_at(reader, line, lehr.formed(span.end)),
    )


def _by_defect(plant: Plant, calls: pl.DataFrame) -> dict[str, int]:
    return dict(faults(plant, calls).group_by("defect").agg(pl.col("calls").sum()).iter_rows())


def parts_at(reader: Reader, line: str, at: datetime) -> dict[Spot, tuple[FittedPart, ...]]:
    """What sits in each cavity at a moment of the forming clock; places of which no fitting is known are left out."""
    parts: dict[Spot, tuple[FittedPart, ...]] = {}
    for section, gob, part, number, fitted_at in reader.ask("parts_at", line=line, at=at).iter_rows():
        here = FittedPart(part, number, fitted_at, at - fitted_at)
        parts[section, gob] = (*parts.get((section, gob), ()), here)
    return parts


def _lately(
    reader: Reader, plant: Plant, line: str, span: Span, places: list[Spot], defect: str | None
) -> CavitiesInTime | None:
    """The cavities' calls of the last hours up to the end of the window; of one defect, or of all faults."""
    last = Span(span.end - LATELY, span.end)
    _, ware = ware_in_bins(reader, plant, line, last, STEP_S)
    if np.isnan(ware).all():
        return None
    calls, _ = placed_counts(reader, plant, line, last)
    mine = faults(plant, calls) if defect is None else calls.filter(pl.col("defect") == defect)
    return cavities_in_time(mine, places, ware, last.start, STEP_S)


def _places(plant: Plant, line: str) -> list[Spot]:
    machine = plant.lines[line]
    return [(section, gob) for section in range(1, machine.sections + 1) for gob in machine.gob_positions]


def _states(
    reader: Reader,
    plant: Plant,
    line: str,
    span: Span,
    machine: tuple[list[Spot], dict[Spot, tuple[str, ...]]],
    frames: Frames,
    signals: list[Signal],
    defect: str | None,
) -> tuple[list[CavityState], str]:
    places, fitted = machine
    codes, critical = list(plant.defects), [code for code, d in plant.defects.items() if d.severity == "critical"]
    counts = cell_counts(frames.calls, frames.ware, places, codes, reading_stations(plant, line, frames.ware))
    past = _past(reader, line, span, dict(_ware_of_moulds(frames.ware)))
    expected: ExpectedCalls
    if past is None:
        inside = np.zeros(counts.calls.shape, bool)
        for signal in signals:
            if signal.defect in codes:
                inside[:, codes.index(signal.defect)] |= place_of(signal, places)
        faulty = np.array([code in plant.faults for code in codes])
        expected = by_the_others(Counts(counts.calls * faulty, counts.ware), inside)
    else:
        expected = by_the_past(past, fitted, places, codes)
    this_explained = explained(signals, places, codes, frames, expected.calls)
    judged, shown = list(plant.faults), list(plant.faults) if defect is None else [defect]
    states = cavity_states(places, codes, counts, fitted, expected, this_explained, judged, critical, shown)
    return states, "others" if past is None else "past"


def _ware_of_moulds(ware: pl.DataFrame) -> list[tuple[str, float]]:
    read = ware.filter(pl.col("mould").is_not_null()).group_by("mould").agg(pl.col("inspected").sum().cast(pl.Float64))
    return list(read.iter_rows())


def _past(reader: Reader, line: str, span: Span, ware: dict[str, float]) -> pl.DataFrame | None:
    """What each mould's own past leads one to expect of each defect; None where it does not cover the window."""
    row = {"line": line, "from_time": span.start - BLOCK_HOURS * HOUR, "to_time": span.end + BLOCK_HOURS * HOUR}
    by_hour = reader.ask("expected_by_hour", **row)
    here = by_hour.filter((pl.col("hour") > span.start - HOUR) & (pl.col("hour") < span.end))
    hours = here["hour"].unique().to_list()
    covered = sum((min(h + HOUR, span.end) - max(h, span.start) for h in hours), timedelta())
    if covered < COVERED * (span.end - span.start):
        return None
    blocks = reader.ask("expected_cells_of_line", line=line, from_time=span.start, to_time=span.end, hours=BLOCK_HOURS)
    past = cells_between(blocks, by_hour, ware, span.start, span.end)
    return past if past.height else None


def _signals(reader: Reader, line: str, span: Span) -> list[Signal]:
    first = span.start.replace(minute=0, second=0, microsecond=0)
    kept = with_notes(reader, kept_signals(reader, first, span.end + KNOWN_LATER, [line]))
    later = {"ended": None, "why_ended": ""}
    return ranked([s.model_copy(update=later) if s.ended is not None and s.ended >= span.end else s for s in kept])


def _of_shown(state: CavityState, shown: list[int]) -> CavityState:
    """The state with the numbers of the signals that are shown; without any of them it is part of none."""
    signals = tuple(shown.index(n) for n in state.signals if n in shown)
    level = "usual" if state.level == "signal" and not signals else state.level
    return CavityState(**{**vars(state), "signals": signals, "level": level})


def _told_apart(calls: pl.DataFrame) -> tuple[int, int, int]:
    """Calls with a known cavity, without a number, and with a number that no single cavity held then."""
    placed, read = pl.col("section").is_not_null(), pl.col("mould").is_not_null()
    return tuple(int(calls.filter(expr)["calls"].sum()) for expr in (placed, ~read, read & ~placed))  # type: ignore[return-value]


def _unread(calls: pl.DataFrame) -> list[str]:
    words = unread_words(unread_calls(calls))
    return [say("{words}: the calls of each cavity are of the others only.", words=words)] if words else []


def _too_coarse(ware: pl.DataFrame, span: Span) -> dict[str, int]:
    """Stations whose windows [min] are longer than the map's or than can be judged."""
    longest = ware.group_by("station").agg(pl.col("window_s").max())
    most = min(COARSEST_MIN * 60, span.seconds)
    return {station: round(seconds / 60) for station, seconds in longest.sort("station").iter_rows() if seconds > most}


def _doubts(reader: Reader, plant: Plant, line: str, span: Span, coarse: dict[str, int], against: str) -> list[str]:
    said = [
        say("{station} sends one count for {minutes} min: too long for this map.", station=station, minutes=minutes)
        for station, minutes in coarse.items()
    ]
    if against == "others":
        said.append(
            say(
                "The past does not cover this time: each cavity is compared with the others, a defect of all "
                "cannot show."
            )
        )
    return [*said, *dict.fromkeys(doubt for _, _, doubt in answer_doubts(reader, plant, span, line))]


def _fitted(reader: Reader, plant: Plant, line: str, span: Span, lehr: LehrTime) -> dict[Spot, tuple[str, ...]]:
    """The numbers fitted in each place while the window's ware was formed, in their order."""
    formed = Span(lehr.formed(span.start), lehr.formed(span.end))
    texts: dict[Spot, tuple[str, ...]] = {}
    for row in spans_of_line(reader, plant, line, span).sort("fitted_at").iter_rows(named=True):
        if (
            row["fitted_at"] < formed.end
            and (row["ended_at"] is None or row["ended_at"] > formed.start)
            and row["number"]
        ):
            place = (row["section"], row["gob"])
            texts[place] = (*texts.get(place, ()), row["number"])
    return texts
