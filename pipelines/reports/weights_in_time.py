"""The weighings of an item on both clocks, with what happened at the machine meanwhile."""

from __future__ import annotations

from datetime import timedelta

from pipelines.answers.lehr import LehrTime
from pipelines.answers.line_times import Happened
from pipelines.clock import Span
from pipelines.measures.weights.study import ItemStudy
from pipelines.numbers import count, decimals
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.time_dots import Dots
from pipelines.reports.frame.time_picture import TimePicture, drawn
from pipelines.reports.line_times import clock_titles, mark_of
from pipelines.words import joined, say, worded


def weights_in_time(
    plant: Plant,
    line: str,
    span: Span,
    lehr: LehrTime,
    studies: list[ItemStudy],
    happened: list[Happened],
    chosen: Span | None = None,
) -> list[Section]:
    """A picture of all items that were weighed; none where nothing was. chosen: the window that the page tells of."""
    tracks = tuple(_dots(study, lehr) for study in studies)
    if not tracks:
        return []
    words = say("{series}.", series=joined("; ", (_in_words(dots) for dots in tracks)))
    picture = TimePicture(
        name=say("{line} in time: {words}", line=line, words=words),
        span=span,
        lehr=timedelta(minutes=lehr.minutes),
        tracks=tracks,
        marks=tuple(mark_of(each) for each in happened if each.kind != "challenge"),
        words=clock_titles(plant, lehr, None),
        local=plant.clock.local,
        chosen=chosen,
    )
    text = say("Each dot is a weighing; dashed: the item's limits; a cross lies beyond them.")
    return [Section(say("Weights on two clocks"), (text,), drawn(picture), words, wide=True)]


def _dots(study: ItemStudy, lehr: LehrTime) -> Dots:
    weights, rows = study.weights, study.points[0].rows
    later = timedelta(minutes=lehr.minutes) if weights.point == "hot" else timedelta()
    return Dots(
        title=weights.item or say("Unknown item"),
        under=(say("{point} weights, g", point=worded(weights.point)),),
        points=[(at + later, grams) for at, grams in rows.select("sampled_at", "weight_g").iter_rows()],
        low=weights.weight_min_g,
        high=weights.weight_max_g,
        middle=weights.nominal_g,
    )


def _in_words(dots: Dots) -> str:
    values = [value for _, value in dots.points]
    return say(
        "{title}: {n} weighings, {low} to {high} g, {beyond} beyond limits",
        title=dots.title,
        n=count(len(values)),
        low=decimals(min(values), 1),
        high=decimals(max(values), 1),
        beyond=count(sum(dots.beyond(value) for value in values)),
    )
