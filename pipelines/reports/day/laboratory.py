"""The laboratory of a production day, behind its sheet: what asks for somebody, a line each, weights against limits."""

from __future__ import annotations

from pipelines.answers.day import Day
from pipelines.measures.laboratory.tell import all_due, laboratory_sentences
from pipelines.measures.laboratory.weight_sentences import gob_sentences
from pipelines.plant.works import Plant
from pipelines.reports.day.tables import laboratory_sheet, weights_sheet
from pipelines.reports.frame.page import Section
from pipelines.words import say, say_n
from schemas.answers.weights import Weights


def laboratory_sections(plant: Plant, day: Day) -> list[Section]:
    """All that the laboratory has of the day."""
    return [
        _laboratory(plant, day),
        Section(say("Weights against limits"), sheet=weights_sheet(day), wide=True),
    ]


def _laboratory(plant: Plant, day: Day) -> Section:
    """Weights, capacity, density, annealing and samples: what asks for somebody in sentences, then a line each with the
    ways to the pages.
    """
    said = [
        say("{line}: {text}", line=line, text=text)
        for line, many in day.weights.items()
        for text in _weight_words(plant, many)
    ]
    said += laboratory_sentences(plant, day.laboratory)
    head = (
        ()
        if said
        else (say("Nothing the laboratory weighed or checked is beyond its limits, and no gob position drifts."),)
    )
    missed = sum(due.missed for furnace in day.laboratory.furnaces for due in all_due(furnace))
    if missed:
        said.append(
            say_n(
                "{n} check that was due was missed; the laboratory pages list it.",
                "{n} checks that were due were missed; the laboratory pages list them.",
                missed,
            )
        )
    sheet = laboratory_sheet(plant, day)
    return Section(say("Laboratory"), head, items=tuple(dict.fromkeys(said)), sheet=sheet, warn=bool(said), wide=True)


def _weight_words(plant: Plant, many: list[Weights]) -> list[str]:
    """Drifting gob positions and weighings outside the limits."""
    said = [text for weights in many for text in gob_sentences(plant, weights)]
    said += [
        say(
            "{outside} of {n} weighings of {item} outside their limits.",
            outside=each.outside,
            n=each.n,
            item=each.item or say("unknown"),
        )
        for each in many
        if each.outside
    ]
    return said if many else [say("no weighing came for this day.")]
