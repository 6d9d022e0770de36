"""What a machine made, one figure for one thing, and its shifts: closed or so far."""

from __future__ import annotations

from collections.abc import Sequence

from pipelines.measures.laboratory.words import signed_whole
from pipelines.measures.yields.names import state_name
from pipelines.numbers import count, decimals, percent
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.pareto import pareto_chart
from pipelines.words import joined, say
from schemas.answers.day import DayShift
from schemas.answers.pareto import Pareto
from schemas.answers.yields import LineYield


def made_section(line: LineYield) -> Section:
    """The way of a machine's ware: each thing with its one figure; its meters stand on the page of all figures."""
    rows = [{"what": what, "figure": figure} for what, figure in (*_way(line), *_packed(line), *_glass(line))]
    columns = (Column("what", say("What")), Column("figure", say("Figure"), "id"))
    caption = say("As read, but for unaccounted, which is reconciled. All meters stand with all figures of the day.")
    return Section(say("What it made"), sheet=Sheet("made", say("What it made"), columns, rows, caption))


def _way(line: LineYield) -> list[tuple[str, str]]:
    known = {"low": count(line.unaccounted_low), "high": count(line.unaccounted_high)}
    unaccounted = (
        say("{units} ({low} to {high})", units=count(line.unaccounted_units), **known)
        if line.unaccounted_units is not None
        else say("not known")
    )
    return [
        (say("gobs cut"), count(line.gobs_cut)),
        (say("rejected hot"), count(line.hot_rejected)),
        (say("in the lehr, begin and end"), f"{count(line.in_lehr_start)}, {count(line.in_lehr_end)}"),
        (say("met the first station"), "–" if line.silent else count(line.inspected)),
        (say("rejected at stations, all causes"), "–" if line.silent else count(line.rejected)),
        (say("unaccounted, 95 %"), unaccounted),
    ]


def _packed(line: LineYield) -> list[tuple[str, str]]:
    packed = count(line.packed_units) if line.packed_units is not None else say("not known: no pallet came")
    found = [(say("packed"), packed)]
    found += [
        (say("of it {state}", state=state_name(state)), count(units)) for state, units in sorted(line.states.items())
    ]
    if line.open_units:
        found.append((say("of it estimated, not reported yet"), count(line.open_units)))
    ratios = [
        (say("quality ratio"), line.quality_ratio),
        (say("scrap ratio"), line.scrap_ratio),
        (say("availability"), line.availability),
    ]
    return found + [(name, percent(value, 1)) for name, value in ratios]


def _glass(line: LineYield) -> list[tuple[str, str]]:
    if line.giveaway_kg is None:
        giveaway = line.giveaway_why or say("not known")
    else:
        giveaway = say(
            "{kg} kg ({low} to {high})",
            kg=signed_whole(line.giveaway_kg),
            low=signed_whole(line.giveaway_low),
            high=signed_whole(line.giveaway_high),
        )
    weights = joined(
        ", ", (say("{item} {grams} g", item=item, grams=decimals(grams, 1)) for item, grams in line.weights.items())
    )
    return [(say("giveaway"), giveaway), (say("mean weight"), weights or say("not known"))]


def shift_sheet(shifts: Sequence[DayShift]) -> Sheet:
    """A machine shift by shift, by the works' own shifts."""
    rows = [shift.model_dump() for shift in shifts]
    columns = (
        Column("shift", say("Shift from"), "id"),
        Column("ware", say("Ware"), "count"),
        Column("rejected", say("Rejected"), "count"),
        Column("rejected_share", say("Rejected / ware"), "percent"),
        Column("critical_calls", say("Critical calls"), "count"),
        Column("efficiency", say("Efficiency"), "percent1"),
    )
    caption = say("By the cold-end clock: what a shift saw was partly formed in the one before.")
    return Sheet("shifts", say("Shifts"), columns, rows, caption)


def pareto_section(pareto: Pareto) -> Section:
    """What was thrown away, as bars."""
    calls = (say("{name} {calls}", name=row.name, calls=row.calls) for row in pareto.rows[:8])
    words = say("{line}, calls by defect: {calls}", line=pareto.line, calls=joined("; ", calls))
    note = say(
        "{calls} calls in {ware} containers. Ticks: expected from the line's own past in the job, where there is any.",
        calls=count(pareto.calls),
        ware=count(pareto.ware),
    )
    return Section(say("What was thrown away"), chart=pareto_chart(pareto, words), chart_words=note)
