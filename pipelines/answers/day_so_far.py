"""A production day that is not closed: running figures, as far as its counts reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pipelines.answers.day import answer_day, has_past, items_made, signals_of_day
from pipelines.answers.day_checks import checks_made, checks_outside
from pipelines.answers.day_doubts import held_words, unvouched_words, waiting_words
from pipelines.answers.day_sheet import actions_of, critical_of, pallets_held, sheet_of, shifts_of, still_open, worst_of
from pipelines.answers.holds import answer_holds
from pipelines.answers.laboratory.answer import answer_laboratory
from pipelines.answers.now import stations_alive
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.trace.trust import doubts_in
from pipelines.answers.weights.answer import study_weights
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.statistics.shares import share
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.day import DayCheck, DayLine, DaySheet, DayShift, RejectChange
from schemas.answers.pareto import Pareto
from schemas.answers.signals import Signal
from schemas.answers.trust import StationDoubt

AT_CLOSE = say("told at the close")
NOTHING = say("no count came")


@dataclass(frozen=True)
class SoFar:
    """What is known of a day that is not closed. paretos: of the lines of which counts came, as far as those reach.

    before: of the same hours of the day before. shifts: by line, as far as they have begun.
    """

    day: date
    span: Span
    until: dict[str, datetime]
    paretos: dict[str, Pareto]
    before: dict[str, Pareto]
    shifts: dict[str, list[tuple[str, Pareto]]]

    @property
    def as_of(self) -> datetime | None:
        """How far the counts of the line reach that is farthest."""
        return max(self.until.values(), default=None)


def answer_day_sheet(reader: Reader, plant: Plant, day: date, now: datetime) -> DaySheet:
    """The sheet of a production day: whole where it is closed, else so far."""
    if reader.ask("closes_of_day", day=day).is_empty():
        return sheet_so_far(reader, plant, day, now)
    return sheet_of(plant, answer_day(reader, plant, day))


def answer_so_far(reader: Reader, plant: Plant, day: date, now: datetime, lines: Sequence[str] = ()) -> SoFar:
    """The counts of a day that is not closed. lines: those asked for, else all."""
    span = plant.clock.day(day)
    until = _until(reader, plant, span, now)
    until = {line: at for line, at in until.items() if not lines or line in lines}
    earlier = plant.clock.day(day - timedelta(days=1)).start
    spans = {line: Span(span.start, at) for line, at in until.items()}
    shifts = {
        line: [
            (shift.name, answer_pareto(reader, plant, line, Span(shift.span.start, min(shift.span.end, at))))
            for shift in plant.clock.shifts_of(day)
            if shift.span.start < at
        ]
        for line, at in until.items()
    }
    then = {line: Span(earlier, earlier + (at - span.start)) for line, at in until.items()}
    return SoFar(
        day,
        span,
        until,
        {line: answer_pareto(reader, plant, line, each) for line, each in spans.items()},
        {line: answer_pareto(reader, plant, line, each) for line, each in then.items()},
        shifts,
    )


def _until(reader: Reader, plant: Plant, span: Span, now: datetime) -> dict[str, datetime]:
    """By line how far its counts reach in a day; lines of which none came in it are left out."""
    reached: dict[str, datetime] = {}
    for station in stations_alive(reader, plant, now, min(now, span.end)):
        if station.last is not None and min(station.last, now) > span.start:
            at = min(station.last, span.end, now)
            reached[station.line] = max(at, reached.get(station.line, at))
    return {line: reached[line] for line in plant.lines if line in reached}


def sheet_so_far(reader: Reader, plant: Plant, day: date, now: datetime) -> DaySheet:
    """The sheet of a day that is not closed: what is counted, open, held and outside limits until now."""
    so_far = answer_so_far(reader, plant, day, now)
    as_of = so_far.as_of
    seen = Span(so_far.span.start, as_of) if as_of is not None else so_far.span
    signals = still_open(signals_of_day(reader, seen)) if as_of is not None else []
    held, holds = reader.ask("pallets_held"), [hold for hold in answer_holds(reader) if hold.hold]
    unvouched = doubts_in(reader, plant, seen)[0] if as_of is not None else []
    waiting = reader.ask("open_refusals_count").row(0)
    came = so_far.paretos.values()
    ware, rejected = sum(p.ware for p in came), sum(p.rejected_for_faults for p in came)
    checks, made = _checks(reader, plant, so_far, unvouched)
    rows = reader.ask("actions_between", from_time=so_far.span.start, to_time=so_far.span.end)
    return DaySheet(
        day=day,
        from_=so_far.span.start,
        to=so_far.span.end,
        as_of=as_of,
        closed=False,
        ware=ware,
        rejected=rejected,
        rejected_share=share(rejected, ware),
        pallets_held=pallets_held(held["pallet"].filter(held["state"] == "held"), holds),
        furnaces=(),
        lines=tuple(_line(reader, plant, so_far, line, signals) for line in plant.lines),
        shifts=tuple(shift for line in so_far.shifts for shift in shifts_so_far(so_far, line)),
        losses=(),
        signals=tuple(signals),
        actions=actions_of(rows.iter_rows(named=True)),
        doubts=(
            *held_words(held, holds),
            *unvouched_words(unvouched),
            *waiting_words((int(waiting[0]), int(waiting[1]))),
        ),
        checks=tuple(checks),
        checks_made=made,
    )


def shifts_so_far(so_far: SoFar, line: str) -> list[DayShift]:
    """A line shift by shift, as far as they have begun."""
    return shifts_of(so_far.shifts.get(line, ()))


def _checks(
    reader: Reader, plant: Plant, so_far: SoFar, unvouched: Sequence[StationDoubt]
) -> tuple[list[DayCheck], int]:
    weights = {
        line: [each.weights for each in study_weights(reader, plant, line, Span(so_far.span.start, at))]
        for line, at in so_far.until.items()
    }
    laboratory = answer_laboratory(reader, plant, so_far.day)
    return list(checks_outside(unvouched, weights, laboratory, over=False)), checks_made(weights, laboratory)


def _line(reader: Reader, plant: Plant, so_far: SoFar, line: str, signals: Sequence[Signal]) -> DayLine:
    pareto, at = so_far.paretos.get(line), so_far.until.get(line)
    known = pareto is not None and at is not None and not pareto.why
    seen = share(pareto.rejected_for_faults, pareto.ware) if pareto is not None and known else None
    span = Span(so_far.span.start, at) if at is not None else so_far.span
    return DayLine(
        line=line,
        items=items_made(reader, plant, line, span),
        ware=pareto.ware if pareto is not None and known else None,
        rejected=pareto.rejected_for_faults if pareto is not None and known else None,
        rejected_share=seen,
        critical_calls=critical_of(pareto) if pareto is not None and known else None,
        packed=_packed(reader, line, span),
        pack_to_melt=None,
        low=None,
        high=None,
        efficiency=None,
        change=_change(so_far.before.get(line), seen),
        signal=worst_of(line, signals),
        until=at,
        judged=has_past(reader, line, span),
        why=AT_CLOSE,
        efficiency_why=AT_CLOSE,
    )


def _packed(reader: Reader, line: str, span: Span) -> float | None:
    """Containers on the pallets that were finished in a time."""
    rows = reader.ask("pallets_of_line", line=line, from_time=span.start, to_time=span.end)
    finished = rows.filter((rows["packed_to"] > span.start) & (rows["packed_to"] <= span.end))
    return float(finished["units"].sum()) if finished.height else None


def _change(before: Pareto | None, seen: float | None) -> RejectChange | None:
    then = share(before.rejected_for_faults, before.ware) if before is not None and not before.why else None
    if then is None or seen is None:
        return None
    return RejectChange(
        against=say("the same hours of the day before"), before=then, difference=seen - then, margin=None
    )
