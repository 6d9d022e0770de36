"""A production day on one sheet: of all that is known of it, what a works manager reads in two minutes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from pipelines.answers.actions import action_words
from pipelines.answers.day import Day
from pipelines.answers.day_checks import checks_made, checks_outside
from pipelines.answers.day_doubts import doubts_of
from pipelines.measures.signals.acts import most_harmful
from pipelines.measures.statistics.shares import share
from pipelines.measures.yields.change import Against, YieldChange
from pipelines.measures.yields.losses import summed
from pipelines.measures.yields.names import NOT_MADE, broad_cause, plain_word
from pipelines.measures.yields.together import together
from pipelines.plant.works import Plant
from pipelines.words import joined, say, say_n
from schemas.answers.day import (
    DayAction,
    DayFurnace,
    DayLine,
    DayLoss,
    DaySheet,
    DayShift,
    RejectChange,
)
from schemas.answers.holds import HeldPallet
from schemas.answers.pareto import Pareto
from schemas.answers.signals import Signal
from schemas.answers.yields import FurnaceYield, LineYield

REJECTS = "rejected / inspected"  # as `changes` calls it
_STAGES = {"stoppage": say("stopped"), "station": say("cold end"), "cycles": say("slower cycles, gobs not counted")}
LEAST_LOSS = 1.0  # containers, or a kilogram before the shears: less than that is no loss of a day


def sheet_of(plant: Plant, day: Day) -> DaySheet:
    """The sheet of a day that is over, of all that was answered of it."""
    came = [line for line in day.yields.lines if not line.silent]
    ware, rejected = sum(line.inspected for line in came), sum(_for_faults(line) for line in came)
    signals = still_open(day.signals)
    furnaces = [_furnace(furnace) for furnace in day.yields.furnaces]
    return DaySheet(
        day=day.day,
        from_=day.span.start,
        to=day.span.end,
        as_of=None,
        closed=True,
        ware=ware,
        rejected=rejected,
        rejected_share=share(rejected, ware),
        pallets_held=pallets_held(day.held["pallet"].filter(day.held["state"] == "held"), day.holds),
        furnaces=tuple(furnaces),
        together=_together(furnaces),
        lines=tuple(_line(day, line_yield, signals) for line_yield in day.yields.lines),
        shifts=tuple(shift for line in day.yields.lines for shift in shifts_of(day.shifts[line.line], line)),
        losses=tuple(losses_of(plant, day.yields.lines, day.yields.furnaces)),
        signals=tuple(signals),
        actions=actions_of(day.actions.iter_rows(named=True)),
        doubts=tuple(doubts_of(plant, day)),
        checks=tuple(checks_outside(day.unvouched, day.weights, day.laboratory, over=True)),
        checks_made=checks_made(day.weights, day.laboratory),
    )


def _for_faults(line: LineYield) -> int:
    return line.rejected - line.rejected_apart


def pallets_held(by_warehouse: Iterable[str], holds: Iterable[HeldPallet]) -> int:
    """Pallets held by the warehouse or by a decision, each once."""
    return len({*by_warehouse, *(hold.pallet for hold in holds if hold.state == "held")})


def still_open(signals: Sequence[Signal]) -> list[Signal]:
    """What is still to act on, critical first, then by loss; those of one cause on a furnace's lines together."""
    return [signal for act in most_harmful(signals) for signal in act.signals]


def _furnace(furnace: FurnaceYield) -> DayFurnace:
    return DayFurnace(
        furnace=furnace.furnace,
        pack_to_melt=furnace.pack_to_melt,
        low=furnace.low,
        high=furnace.high,
        packed_kg=furnace.packed_kg,
        melted_kg=furnace.melted_kg,
        why=furnace.why,
    )


def _together(furnaces: Sequence[DayFurnace]) -> DayFurnace | None:
    """All furnaces as one, where each is known."""
    parts = [
        (each.melted_kg, each.pack_to_melt, each.low, each.high)
        for each in furnaces
        if None not in (each.melted_kg, each.pack_to_melt, each.low, each.high, each.packed_kg)
    ]
    share = together(parts) if 1 < len(parts) == len(furnaces) else None  # type: ignore[arg-type]
    if share is None:
        return None
    return DayFurnace(
        furnace=joined(", ", (each.furnace for each in furnaces)),
        pack_to_melt=share[0],
        low=share[1],
        high=share[2],
        packed_kg=sum(each.packed_kg or 0.0 for each in furnaces),
        melted_kg=sum(each.melted_kg or 0.0 for each in furnaces),
    )


def _line(day: Day, line: LineYield, signals: Sequence[Signal]) -> DayLine:
    changes = [change for change in day.changes if change.of == line.line and change.name == REJECTS]
    return DayLine(
        packed=line.packed_units,
        pack_to_melt=line.pack_to_melt,
        low=line.low,
        high=line.high,
        efficiency=line.efficiency,
        why=line.why,
        efficiency_why=line.efficiency_why,
        change=_change(changes[0]) if changes else None,
        items=day.items[line.line] or tuple(line.weights),
        signal=worst_of(line.line, signals),
        line=line.line,
        ware=None if line.silent else line.inspected,
        rejected=None if line.silent else _for_faults(line),
        rejected_share=None if line.silent else share(_for_faults(line), line.inspected),
        critical_calls=None if line.silent else critical_of(day.paretos[line.line]),
        judged=line.line in day.judged,
    )


def critical_of(pareto: Pareto) -> int:
    """Calls of critical defects."""
    return sum(row.critical_calls for row in pareto.rows)


def worst_of(line: str, signals: Sequence[Signal]) -> str:
    """The name of the first signal that is at a line, or at all lines of its furnace."""
    mine = [signal.id for signal in signals if line == signal.line or line in signal.members]
    return mine[0] if mine else ""


def _change(change: YieldChange) -> RejectChange | None:
    past: Against | None = change.week
    if past is None:
        return None
    return RejectChange(
        against=say_n("{n} closed day of the last 7", "{n} closed days of the last 7", past.days),
        before=past.mean,
        difference=past.difference,
        margin=(past.high - past.low) / 2 if past.low is not None and past.high is not None else None,
    )


def shifts_of(shifts: Sequence[tuple[str, Pareto]], line: LineYield | None = None) -> list[DayShift]:
    """A line shift by shift. line: its yield, where the day is closed."""
    worked = {each.name: each.efficiency for each in line.by_shift} if line is not None else {}
    return [
        DayShift(
            line=pareto.line,
            shift=name,
            ware=pareto.ware,
            rejected=pareto.rejected_for_faults,
            rejected_share=share(pareto.rejected_for_faults, pareto.ware),
            critical_calls=critical_of(pareto),
            efficiency=worked.get(name),
        )
        for name, pareto in shifts
    ]


def losses_of(plant: Plant, lines: Sequence[LineYield], furnaces: Sequence[FurnaceYield] = ()) -> list[DayLoss]:
    """What lines lost, and what is gone before the shears, by stage and cause: the greatest mass first."""
    sums: dict[tuple[str, str], dict[str, tuple[float, float]]] = {}
    for line in lines:
        for key, lost in summed(line.causes, lambda cause: (cause.kind, broad_cause(plant, cause))).items():
            sums.setdefault(key, {})[line.line] = lost
    for furnace in furnaces:
        if furnace.unaccounted_kg:
            key = ("unaccounted", say("unaccounted before the shears"))
            sums.setdefault(key, {})[furnace.furnace] = (math.nan, furnace.unaccounted_kg)
    losses = [_loss(*key, of) for key, of in sums.items()]
    large = [loss for loss in losses if (loss.kg if loss.units is None else loss.units) >= LEAST_LOSS]
    return sorted(large, key=lambda loss: -loss.kg)


def _loss(kind: str, cause: str, of: dict[str, tuple[float, float]]) -> DayLoss:
    units = sum(each for each, _ in of.values())
    return DayLoss(
        stage=_STAGES.get(kind) or plain_word(kind),
        cause=cause,
        lines=tuple(sorted(of, key=lambda name: -of[name][1])),
        units=None if math.isnan(units) else units,
        kg=sum(kg for _, kg in of.values()),
        made=kind not in NOT_MADE,
    )


def actions_of(rows: Iterable[dict[str, Any]]) -> tuple[DayAction, ...]:
    """What was done, as a person would say it."""
    return tuple(
        DayAction(at=row["acted_at"], line=row["line"], what=action_words(row), signal=row["signal"] or "")
        for row in rows
    )
