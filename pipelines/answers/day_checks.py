"""The checks of a production day that are outside their limits: weights, capacity, density, temper, samples,
challenges.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from pipelines.measures.laboratory.tell import all_due
from pipelines.numbers import decimals
from pipelines.words import joined, numeral, say, worded
from schemas.answers.day import DayCheck
from schemas.answers.laboratory import Density, FurnaceLaboratory, LaboratoryDay, LineLaboratory, Temper
from schemas.answers.trust import StationDoubt
from schemas.answers.weights import Weights


def checks_outside(
    unvouched: Sequence[StationDoubt], weights: Mapping[str, Sequence[Weights]], laboratory: LaboratoryDay, over: bool
) -> Iterator[DayCheck]:
    """All of them, what got past first. weights: by line. over: the day is, so that what was not checked is missed."""
    yield from _challenges_failed(unvouched)
    for line, many in weights.items():
        yield from (_weights(line, each) for each in many if each.outside)
    for furnace in laboratory.furnaces:
        yield from _density(furnace.furnace, furnace.density)
        for line_day in furnace.lines:
            yield from _capacity(line_day)
            yield from _temper(line_day.line, line_day.temper)
            yield from _samples(line_day)
        yield from _missed(furnace) if over else ()


def checks_made(weights: Mapping[str, Sequence[Weights]], laboratory: LaboratoryDay) -> int:
    """Weighings, capacities, densities and temper numbers of the day."""
    weighed = sum(each.n for many in weights.values() for each in many)
    read = sum(len(furnace.density.readings) for furnace in laboratory.furnaces)
    of_lines = [line for furnace in laboratory.furnaces for line in furnace.lines]
    return weighed + read + sum(line.temper.n + sum(each.n for each in line.capacity) for line in of_lines)


def _challenges_failed(doubts: Sequence[StationDoubt]) -> Iterator[DayCheck]:
    """Stations that let marked samples pass, more than they usually do."""
    for doubt in doubts:
        if doubt.failed_at is not None:
            yield DayCheck(
                of=doubt.station,
                what=say("challenge with {defect}", defect=doubt.defect),
                found=say("{missed} of {passes} not caught", missed=doubt.passes - doubt.caught, passes=doubt.passes),
                got_past=doubt.severity == "critical",
            )


def _weights(line: str, weights: Weights) -> DayCheck:
    return DayCheck(
        of=line,
        what=say("weight of {item}, {point}", item=weights.item or say("unknown"), point=worded(weights.point)),
        found=say(
            "{outside} of {n} outside {low} to {high} g",
            outside=weights.outside,
            n=weights.n,
            low=limit_words(weights.weight_min_g),
            high=limit_words(weights.weight_max_g),
        ),
    )


def limit_words(value: float | None) -> str:
    """A limit as works.toml has it; a dash for none."""
    return "–" if value is None else numeral(value, "g")


def _density(furnace: str, density: Density) -> Iterator[DayCheck]:
    if density.beyond and density.readings:
        yield DayCheck(
            of=furnace,
            what=say("density of the glass"),
            found=say(
                "{density} g/cm³, usual {low} to {high}",
                density=decimals(density.readings[-1].density_g_cm3, 4),
                low=decimals(density.low, 4),
                high=decimals(density.high, 4),
            ),
        )


def _capacity(line: LineLaboratory) -> Iterator[DayCheck]:
    for capacity in line.capacity:
        item = capacity.item or say("unknown")
        if capacity.outside:
            yield DayCheck(
                of=line.line,
                what=say("capacity of {item}", item=item),
                found=say(
                    "{outside} of {n} outside {low} to {high} ml",
                    outside=capacity.outside,
                    n=capacity.n,
                    low=limit_words(capacity.capacity_min_ml),
                    high=limit_words(capacity.capacity_max_ml),
                ),
            )
        if capacity.alarms:
            moulds = dict.fromkeys(alarm.mould for alarm in capacity.alarms)
            yield DayCheck(
                of=line.line,
                what=say("capacity of {item}, by weight", item=item),
                found=say("beyond: mould {moulds}", moulds=joined(", ", moulds)),
            )


def _temper(line: str, temper: Temper) -> Iterator[DayCheck]:
    if temper.beyond:
        yield DayCheck(
            of=line,
            what=say("temper number"),
            found=say(
                "{beyond} of {n} beyond {limits}, worst {worst}",
                beyond=len(temper.beyond),
                n=temper.n,
                limits=temper_limits(temper),
                worst=limit_words(max(each.temper for each in temper.beyond)),
            ),
        )


def temper_limits(temper: Temper) -> str:
    """The limits of temper numbers, as read and real."""
    known = (limit for limit in (temper.limit, temper.real_limit) if limit is not None)
    return joined(say(" or "), (limit_words(limit) for limit in known))


def _samples(line: LineLaboratory) -> Iterator[DayCheck]:
    refused = [sample for sample in line.visual.samples if sample.accepted is False]
    if refused:
        yield DayCheck(
            of=line.line,
            what=say("samples by eye"),
            found=say("{n} not accepted", n=len(refused)),
        )


def _missed(furnace: FurnaceLaboratory) -> Iterator[DayCheck]:
    missed = sum(due.missed for due in all_due(furnace))
    if missed:
        yield DayCheck(
            of=furnace.furnace,
            what=say("checks that were due"),
            found=say("{n} missed", n=missed),
        )
