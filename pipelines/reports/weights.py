"""The weight page of a line: all moulds at a glance, what stands out, gob positions, a chart a mould."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from pipelines.answers.lehr import lehr_time
from pipelines.answers.line_times import answer_happened
from pipelines.answers.weights.answer import ItemStudy, study_weights
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.weight_sentences import (
    glass_sentences,
    gob_sentences,
    hot_cold_sentence,
    mould_words,
    parts_sentence,
    spread_sentence,
)
from pipelines.measures.laboratory.words import signed
from pipelines.measures.weights import MouldFound, Study
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address, laboratory_address, weights_address
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import CAUTION, Card, Figure, Page, Section
from pipelines.reports.frame.sheet import Sheet
from pipelines.reports.frame.sources import sources
from pipelines.reports.laboratory import charts as charts_laboratory
from pipelines.reports.missing import missing_section
from pipelines.reports.mould_weights import mould_sheet
from pipelines.reports.weights_in_time import weights_in_time
from pipelines.words import joined, numeral, say, say_n, worded
from schemas.answers.weights import MouldWeights, Weights

HOT_CAUTION = say(
    "Hot ware burns and can burst: taking samples at the hot end is for those whom the works allows "
    "there, with the protection it prescribes."
)


def weights_page(reader: Reader, plant: Plant, line: str, day: date, chosen: Span | None = None) -> Page:
    """The weight page of one line and production day, or of a window whose last moments are of that day."""
    span = chosen or plant.clock.day(day)
    reader = reader.noting()
    item_studies = study_weights(reader, plant, line, span)
    lehr = lehr_time(reader, plant, line, span)
    about = _around(plant, day, chosen)
    drawn_studies = item_studies if about == span else study_weights(reader, plant, line, about)
    happened = list(answer_happened(reader, plant, line, about, lehr)) if drawn_studies else []
    furnace = plant.lines[line].furnace
    files = reader.ask("laboratory_files", line=line, furnace=furnace, from_time=span.start, to_time=span.end)
    return Page(
        title=say("Weights, line {line}, production day {on}", line=line, on=day.isoformat())
        if chosen is None
        else say("Weights, line {line}, in a window", line=line),
        when=span_words(plant, span),
        figures=tuple(figure for study in item_studies for figure in _figures(study)),
        sections=(
            *weights_in_time(plant, line, about, lehr, drawn_studies, happened, chosen),
            *_sections(plant, line, item_studies),
        ),
        links=(
            (say("← day before"), f"../../{weights_address(day - timedelta(days=1), line)}"),
            (say("day after →"), f"../../{weights_address(day + timedelta(days=1), line)}"),
            *((each.id, f"{each.id}.html") for each in plant.line if each.id != line),
            (say("laboratory {furnace}", furnace=furnace), f"../../{laboratory_address(day, furnace)}"),
            (say("day report"), f"../../{day_address(day)}"),
            (say("all pages"), "../../index.html"),
        ),
        cautions=(CAUTION, HOT_CAUTION),
        sources=sources(reader.asked, files),
        made=say(
            "Limits on the charts are three standard deviations (ISO 7870-2); what is called, and how "
            "often by chance, stands under How a mould is called."
        ),
        workbook=f"{line}.xlsx",
    )


def _around(plant: Plant, day: date, chosen: Span | None) -> Span:
    """What is drawn: the day, and a chosen window whole."""
    whole = plant.clock.day(day)
    return whole if chosen is None else Span(min(whole.start, chosen.start), max(whole.end, chosen.end))


def _figures(study: ItemStudy) -> list[Figure]:
    weights = study.weights
    drifting = [gob for gob in weights.gobs if gob.drifting]
    called = _called(weights)
    moved = (say("{gob} {offset} g", gob=gob.gob, offset=signed(gob.offset_g or 0.0)) for gob in drifting)
    return [
        Figure(f"{decimals(weights.mean_g, 1)} g", say("mean of {item}", item=_of(weights)), _weighed(weights)),
        Figure(
            joined(", ", moved) or say("none"),
            say("gob positions that drift, {item}", item=_of(weights)),
            say("from what was usual for their moulds"),
            "critical" if drifting else "",
        ),
        Figure(
            str(len(called)),
            say("moulds that stand out, {item}", item=_of(weights)),
            joined(", ", called[:8]) or say("all as usual"),
            "critical" if called else "",
        ),
        Figure(
            str(weights.outside),
            say("weighings outside limits, {item}", item=_of(weights)),
            say("worst mould's Ppk {ppk}", ppk=decimals(weights.ppk, 2))
            if weights.ppk is not None
            else say("no limits, no Ppk"),
            "critical" if weights.outside else "",
        ),
    ]


def _weighed(weights: Weights) -> str:
    """How many weighings, against which nominal weight, and the giveaway."""
    nominal = (
        say("nominal {nominal} g", nominal=numeral(weights.nominal_g, "g"))
        if weights.nominal_g is not None
        else say("no nominal weight")
    )
    giveaway = (
        say("giveaway {giveaway} kg", giveaway=signed(weights.giveaway_kg, 0))
        if weights.giveaway_kg is not None
        else say("giveaway not known")
    )
    if weights.giveaway_kg is not None and weights.giveaway_low is None:
        giveaway += say(", too few weighings for an interval")
    return say_n(
        "{n} weighing {point}; {nominal}; {giveaway}",
        "{n} weighings {point}; {nominal}; {giveaway}",
        weights.n,
        point=worded(weights.point),
        nominal=nominal,
        giveaway=giveaway,
    )


def _of(weights: Weights) -> str:
    return weights.item or say("an unknown item")


def _item(weights: Weights) -> str:
    return weights.item or say("Unknown item")


def _called(weights: Weights) -> list[str]:
    return [mould.mould for mould in weights.moulds if _stands_out(mould)]


def _stands_out(mould: MouldWeights) -> bool:
    """Called by a rule of its own, or with weighings outside the limits."""
    return bool(mould.outside) or any(not signal.with_gob for signal in mould.signals)


def _sections(plant: Plant, line: str, item_studies: Sequence[ItemStudy]) -> list[Section]:
    if not item_studies:
        return [missing_section([say("No weighing of {line} came for this day.", line=line)])]
    sections = []
    for number, item_study in enumerate(item_studies):
        sections += [_glance(item_study, number), _says(plant, item_study)]
        sections += [_drifts(plant, item_study.weights, study) for study in item_study.points if study.gobs]
        sections += [
            *_charts(plant, item_study, number),
            Section(say("Every mould"), sheet=_sheet(item_study.weights, number), wide=True),
            Section(say("How a mould is called"), notes=(item_study.weights.rules, _judged(plant, item_study.weights))),
        ]
    return [
        *sections,
        missing_section(
            [
                say("{of}: {note}", of=each.weights.item or line, note=note)
                for each in item_studies
                for note in each.weights.notes
            ]
        ),
    ]


def _judged(plant: Plant, weights: Weights) -> str:
    if weights.judged_from is None:
        return say("Means and spreads are those of the day itself, for want of a past.")
    return say(
        "Means and spreads are those of the same item since {at}, before this day.",
        at=plant.clock.show(weights.judged_from),
    )


def _glance(study: ItemStudy, number: int) -> Section:
    """Every mould's mean with its least and greatest weighing."""
    weights = study.weights
    rows = [
        {
            "label": f"{m.mould}{' ' + m.cavities[0] if m.cavities else ''}",
            "gob": m.cavities[0][-1] if m.cavities else "",
            "mean": m.mean_g,
            "low": m.least_g,
            "high": m.greatest_g,
            "kind": _kind(m),
            "mark": m.mould if _stands_out(m) else "",
            "address": f"#{_name(m.mould, number)}",
        }
        for m in sorted(
            weights.moulds,
            key=lambda m: (m.cavities[0][-1] if m.cavities else "~", m.cavities[0] if m.cavities else "", m.mould),
        )
    ]
    marks = ((weights.weight_min_g, "limit"), (weights.weight_max_g, "limit"), (weights.nominal_g, "nominal"))
    limits = [{"at": at, "kind": kind} for at, kind in marks if at is not None]
    called = _called(weights)
    words = say(
        "Weights of {item} by mould; {called}",
        item=_of(weights),
        called=say("standing out: {moulds}", moulds=joined(", ", called)) if called else say("no mould stands out"),
    )
    note = say(
        "A dot is a mould's mean, its line reaches from the least to the greatest weighing; a diamond "
        "with a number stands out, a triangle moves with its gob position; dashed: limits, thin: nominal."
        " A mould leads to its chart."
    )
    return Section(
        say("{item} {name}: all moulds at a glance", item=_item(weights), name=weights.name),
        chart=charts.svg(charts_laboratory.glance, words, rows, limits=limits),
        chart_words=note,
        wide=True,
        warn=bool(called),
        broad=True,
    )


def _kind(mould: MouldWeights) -> str:
    return "called" if _stands_out(mould) else say("with gob") if mould.signals else "steady"


def _name(mould: str, number: int) -> str:
    return f"mould-{number}-{''.join(c if c.isalnum() else '_' for c in mould)}"


def _says(plant: Plant, study: ItemStudy) -> Section:
    weights = study.weights
    slope = (
        say(
            "Over the day the weight moved by {drift} g (95 %: {low} to {high}).",
            drift=signed(weights.drift_g_per_day),
            low=signed(weights.drift_low or 0),
            high=signed(weights.drift_high or 0),
        )
        if weights.drift_g_per_day is not None
        else ""
    )
    gobs = gob_sentences(plant, weights)
    own = [
        say("Mould {mould} ({cavities}): {words}.", mould=m.mould, cavities=_cavities(m), words=mould_words(m))
        for m in weights.moulds
        if _stands_out(m)
    ]
    spreads = (spread_sentence(weights), parts_sentence(weights.components), slope, hot_cold_sentence(weights))
    head = gobs or [say("No gob position drifts beyond chance.")]
    return Section(
        say("{item}: what the weights say", item=_item(weights)),
        items=(*head, *own, *(text for text in glass_sentences(weights) if text)),
        notes=tuple(text for text in spreads if text),
        wide=True,
        warn=bool(gobs or own),
    )


def _drifts(plant: Plant, weights: Weights, study: Study) -> Section:
    """Each gob position's mean over its moulds from what is usual for them, with its moving average."""
    rows = []
    for gob in study.gobs:
        sd = float(np.nanmedian(gob.series.sd))
        for second, value, average in zip(gob.series.seconds, gob.series.value, gob.average, strict=True):
            if second >= study.start_s - 12 * 3600 and not np.isnan(value):
                rows.append(
                    {
                        "at": _ms(plant, second),
                        "gob": say("gob {gob}", gob=gob.gob),
                        "value": float(value),
                        "average": float(average) * sd,
                        "from": -gob.limit * sd,
                        "to": gob.limit * sd,
                    }
                )
    moved = [gob.gob for gob in study.gobs if gob.still]
    words = say(
        "Gob positions of {item} weighed {point}: {moved}",
        item=_of(weights),
        point=worded(study.point),
        moved=say("drifting: {gobs}", gobs=joined(", ", moved)) if moved else say("none drifts"),
    )
    note = say(
        "Dots: mean over the gob's moulds, each against what is usual for it; line: moving average; "
        "dashed: where it is called. The twelve hours before the day stand at the left."
    )
    return Section(
        say("{item}: gob positions, weighed {point}", item=_item(weights), point=worded(study.point)),
        chart=charts.svg(charts_laboratory.drifts, words, rows, say("from usual, g")),
        chart_words=note,
        wide=True,
        broad=True,
    )


def _ms(plant: Plant, second: float) -> float:
    """Milliseconds of the works' own clock, for charts that know no time zone."""
    from datetime import UTC, datetime

    local = plant.clock.local(datetime.fromtimestamp(second, UTC))
    return local.replace(tzinfo=UTC).timestamp() * 1000


def _charts(plant: Plant, study: ItemStudy, number: int) -> list[Section]:
    """A chart a mould: first those that stand out or move with their gob, the others behind a mark."""
    mould_weights = {mould.mould: mould for mould in study.weights.moulds}
    kinds = ("called", "with gob", "steady")
    found = sorted(study.points[0].moulds, key=lambda m: kinds.index(_kind(mould_weights[m.mould])))
    steady = [m for m in found if _kind(mould_weights[m.mould]) == kinds[-1]]

    def cards(of: list[MouldFound]) -> tuple[Card, ...]:
        return tuple(_card(plant, mould, mould_weights[mould.mould], number) for mould in of)

    item = _item(study.weights)
    sections = []
    if len(steady) < len(found):
        stand_out = cards(found[: len(found) - len(steady)])
        sections.append(Section(say("{item}: moulds that stand out", item=item), cards=stand_out, wide=True))
    if steady:
        folded = say_n("{n} chart", "{n} charts", len(steady))
        title = say("{item}: moulds as usual", item=item)
        sections.append(Section(title, cards=cards(steady), wide=True, folded=folded))
    return sections


def _card(plant: Plant, found: MouldFound, mould: MouldWeights, number: int) -> Card:
    chart = found.chart
    rows = [
        {
            "at": _ms(plant, float(chart.seconds[n])),
            "mean": float(chart.mean[n]),
            "centre": chart.centre,
            "low": float(chart.low[n]),
            "high": float(chart.high[n]),
            "spread": _number(chart.spread[n]),
            "spread_centre": _number(chart.spread_centre[n]),
            "spread_low": _number(chart.spread_low[n]),
            "spread_high": _number(chart.spread_high[n]),
        }
        for n in range(len(chart.seconds))
    ]
    what = mould_words(mould) or say("as usual")
    index = (
        say(
            "Cpk {cpk} (95 % from {low}), Ppk {ppk}",
            cpk=decimals(mould.cpk, 2),
            low=decimals(mould.cpk_low, 2),
            ppk=decimals(mould.ppk, 2),
        )
        if mould.cpk is not None and mould.cpk_low is not None and mould.ppk is not None
        else say("no capability: no limits, or too few weighings")
    )
    sd = say(", sd {sd} g", sd=decimals(mould.sd_g, 2)) if mould.sd_g is not None else ""
    weighed = say_n(
        "{n} weighing, mean {mean} g", "{n} weighings, mean {mean} g", mould.n, mean=decimals(mould.mean_g, 2)
    )
    words = say("Mould {mould}, {weighed}, {what}", mould=mould.mould, weighed=weighed, what=what)
    return Card(
        say("Mould {mould} · {cavities}", mould=mould.mould, cavities=_cavities(mould)),
        what,
        charts.svg(charts_laboratory.control, words, rows, say("mean, g"), say("range, g") if chart.ranges else "s, g"),
        (say("{weighed}{sd}", weighed=weighed, sd=sd), index),
        "critical" if _stands_out(mould) else "",
        _name(mould.mould, number),
    )


def _cavities(mould: MouldWeights) -> str:
    return joined(" ", mould.cavities) or say("no cavity known")


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _sheet(weights: Weights, number: int) -> Sheet:
    strong = [row for row, mould in enumerate(weights.moulds) if _stands_out(mould)]
    links = {(row, "mould"): f"#{_name(mould.mould, number)}" for row, mould in enumerate(weights.moulds)}
    return replace(mould_sheet(weights, f"moulds-{number}"), strong=strong, links=links)
