"""Laboratory results in words, the same on pages and on the terminal."""

from __future__ import annotations

from pipelines.measures.laboratory.annealing_sentences import temper_sentences
from pipelines.measures.laboratory.density_sentences import density_warnings, no_density
from pipelines.measures.laboratory.sample_sentences import refused_sentences
from pipelines.measures.laboratory.words import clock_words
from pipelines.plant.works import Plant
from pipelines.words import joined, numeral, say, worded
from schemas.answers.laboratory import (
    Capacity,
    DueChecks,
    FurnaceLaboratory,
    InferredCapacity,
    LaboratoryDay,
    LineLaboratory,
)


def capacity_sentences(plant: Plant, line: str, capacity: Capacity) -> list[str]:
    """One item's capacity: checks, verdict for a measuring container, moulds that the weight shows beyond a limit."""
    item = capacity.item or say("unknown item")
    said = []
    if capacity.n and capacity.mean_ml is not None:
        said.append(
            say(
                "{line} {item}: {n} checks {fill}, mean {mean} ml{between}, {limits}.",
                line=line,
                item=item,
                n=capacity.n,
                fill=worded(capacity.fill.replace("_", " ")),
                mean=numeral(capacity.mean_ml, ".1f"),
                between=_between(capacity),
                limits=_limits(capacity),
            )
        )
    if capacity.measuring is not None:
        said.append(
            say(
                "{line} {item}, measuring container of {nominal} ml: {meaning}",
                line=line,
                item=capacity.item,
                nominal=numeral(capacity.measuring.nominal_ml, "g"),
                meaning=capacity.measuring.meaning,
            )
        )
    said += [alarm_sentence(plant, line, capacity, alarm) for alarm in capacity.alarms]
    return said + [say("{line} {item}: {note}.", line=line, item=item, note=note) for note in capacity.notes]


def _between(capacity: Capacity) -> str:
    if capacity.low is None or capacity.high is None:
        return ""
    return say(" (95 %: {low} to {high})", low=numeral(capacity.low, ".1f"), high=numeral(capacity.high, ".1f"))


def _limits(capacity: Capacity) -> str:
    if capacity.capacity_min_ml is None and capacity.capacity_max_ml is None:
        return say("no limits given")
    low, high = (
        numeral(value, "g") if value is not None else "–"
        for value in (capacity.capacity_min_ml, capacity.capacity_max_ml)
    )
    return say("{outside} outside {low} to {high} ml", outside=capacity.outside, low=low, high=high)


def alarm_sentence(plant: Plant, line: str, capacity: Capacity, inferred: InferredCapacity) -> str:
    """A mould whose capacity must be beyond a limit by its weight, before a check shows it."""
    return say(
        "{line} {item}, mould {mould}: by its weight ({weight} g) its capacity is {capacity} ml (95 %: {low} to "
        "{high}), {side} with {beyond} % probability, at {at}{known}{later}. Have it checked.",
        line=line,
        item=capacity.item,
        mould=inferred.mould,
        weight=numeral(inferred.weight_g, ".1f"),
        capacity=numeral(inferred.capacity_ml, ".1f"),
        low=numeral(inferred.low, ".1f"),
        high=numeral(inferred.high, ".1f"),
        side=_side(capacity, inferred),
        beyond=f"{100 * inferred.beyond:.0f}",
        at=clock_words(plant, inferred.at),
        known="" if inferred.checked else say(", a mould whose volume was not checked yet"),
        later=_next_check(plant, capacity, inferred),
    )


def _side(capacity: Capacity, inferred: InferredCapacity) -> str:
    least, most = capacity.capacity_min_ml, capacity.capacity_max_ml
    if most is not None and inferred.capacity_ml > (most + (least or 0)) / 2:
        return say("above {most} ml", most=numeral(most, "g"))
    return say("below {least} ml", least=numeral(least or 0.0, "g"))


def _next_check(plant: Plant, capacity: Capacity, inferred: InferredCapacity) -> str:
    if not inferred.next_check:
        return ""
    at = clock_words(plant, inferred.next_check)
    if inferred.next_check in {check.at for check in capacity.checks}:
        return say("; the next check was at {at}", at=at)
    return say("; the next check is due at {at}", at=at)


def missed_sentences(plant: Plant, checks: tuple[DueChecks, ...]) -> list[str]:
    """Checks that were due and not done."""
    return [_missed(plant, check) for check in checks if check.missed]


def _missed(plant: Plant, check: DueChecks) -> str:
    gaps = (
        say("{start} to {end}", start=clock_words(plant, start), end=clock_words(plant, end))
        for start, end in check.gaps[:4]
    )
    return say(
        "{of}: {kind}, due each {every}, {made} made of {due} due; none {gaps}.",
        of=check.of,
        kind=worded(check.kind),
        every=every_words(check),
        made=check.made,
        due=check.due,
        gaps=joined("; ", gaps),
    )


def every_words(check: DueChecks) -> str:
    """After how much running time a check is due."""
    if check.every_min < 120:
        return say("{minutes} min", minutes=numeral(check.every_min, "g"))
    return say("{hours} h", hours=numeral(check.every_min / 60, "g"))


def all_due(furnace: FurnaceLaboratory) -> tuple[DueChecks, ...]:
    """What was due at a furnace and on its lines."""
    return (*furnace.due, *(due for line in furnace.lines for due in line.due))


def laboratory_sentences(plant: Plant, laboratory: LaboratoryDay) -> list[str]:
    """What of a laboratory day asks for somebody: beyond limits, changes, samples not accepted; the missed checks in
    one sentence a kind.
    """
    said: list[str] = []
    for furnace in laboratory.furnaces:
        none = [] if furnace.density.readings else [no_density(furnace.furnace)]
        said += none + density_warnings(plant, furnace.furnace, furnace.density)[:1]
        for line in furnace.lines:
            said += line_warnings(plant, line)
    return said


def line_warnings(plant: Plant, line: LineLaboratory) -> list[str]:
    """What of one line asks for somebody."""
    said = []
    for capacity in line.capacity:
        refused = capacity.measuring is not None and any(
            not verdict.accepted for verdict in capacity.measuring.verdicts
        )
        if capacity.outside or capacity.alarms or refused:
            said += capacity_sentences(plant, line.line, capacity)
    if line.temper.beyond:
        said += temper_sentences(plant, line.line, line.temper)
    return said + refused_sentences(plant, line.line, line.visual)
