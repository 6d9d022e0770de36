"""A trace, straight from the ledger: from what is in hand to cavities, evidence, and the pallets to hold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from functools import partial
from typing import Any

import numpy as np

from pipelines.answers.holds import held_by
from pipelines.answers.lehr import formed_of_pallet
from pipelines.answers.trace.assumed import assumed, uncounted
from pipelines.answers.trace.complained import with_complaint
from pipelines.answers.trace.evidence import evidence_of, parts_of
from pipelines.answers.trace.faults_of_ware import faults_at, kept_excesses, reach_of, stays_beyond
from pipelines.answers.trace.line_trace import LineTrace
from pipelines.answers.trace.line_ware import LineView, line_view, stays_of
from pipelines.answers.trace.parts import (
    cavities_of,
    hold_lists,
    inferred_begins,
    plans_for,
    traced_pallets,
    with_holds,
)
from pipelines.answers.trace.question import AskedTrace, Question, filled, hint_mould, window_asked
from pipelines.answers.trace.several import by_place, joined_question, source_sentence
from pipelines.answers.trace.trust import Vouching, vouching
from pipelines.answers.trace.whole_stay import whole_stay
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.trace.detection import places_that_see
from pipelines.measures.trace.escapes import (
    EscapesTogether,
    Place,
    about_places,
    carried,
    doubled,
    placed,
    shares,
    together,
)
from pipelines.measures.trace.exposure import Exposure, Stay, forming_quantiles, hull
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.signals import Signal
from schemas.answers.trace import Cavity, Trace, TracedPallet, WholeStay

NAMED = 12  # cavities whose blank and neck ring are looked up


def answer_trace(reader: Reader, plant: Plant, question: Question, also: Sequence[Question] = ()) -> Trace:
    """Cavities, evidence and pallets for what is in hand; with `also`, several complaints of one defect together.

    What cannot be is said in `impossible` with what is nearest to it; WrongUse where a code or a complaint does not
    exist.
    """
    reader = reader.noting()
    asked = filled(reader, plant, question)
    if also:
        trace = _together(reader, plant, [asked, *(filled(reader, plant, this_question) for this_question in also)])
    else:
        trace = _answered(reader, plant, asked, None)
    return trace.model_copy(update={"queries": tuple(sorted(reader.asked))})


def _answered(reader: Reader, plant: Plant, asked: AskedTrace, ranking: EscapesTogether | None) -> Trace:
    question = asked.question
    nothing = asked.impossible and not any((question.item, question.line, question.mould))
    window = None if nothing else _pallet_window(reader, plant, asked) or window_asked(reader, plant, asked)
    if window is None:
        return _nothing(asked, None)
    inspected = Span(window.start, window.end + timedelta(hours=6))
    (stays, kept), known = reader.together(
        lambda mine: _stays_and_signals(mine, plant, asked, window), lambda mine: vouching(mine, plant, inspected)
    )
    if not stays:
        hint_mould(reader, plant, asked, [asked.question.line] if asked.question.line else [], window)
        return _nothing(asked, window)
    lines = list(dict.fromkeys(s.line for s in stays))
    _, *parts = reader.together(
        lambda _: known.prior, *(partial(_line_trace, plant, asked, line, stays, known, kept) for line in lines)
    )
    return _told(reader, plant, asked, parts, known, ranking)


def _nothing(asked: AskedTrace, window: Span | None) -> Trace:
    return Trace(
        asked=asked.question.told(),
        cavities=(),
        formed_from=window.start if window else None,
        formed_to=window.end if window else None,
        evidence={},
        pallets=(),
        expected_defective=None,
        **_words_of(asked),
    )


def _words_of(asked: AskedTrace) -> dict[str, Any]:
    return {
        "notes": tuple(asked.notes),
        "impossible": tuple(asked.impossible),
        "nearest": tuple(asked.nearest),
    }


def _pallet_window(reader: Reader, plant: Plant, asked: AskedTrace) -> Span | None:
    """When the ware of the pallet in hand can have been formed, generously; with the times of making where they fit."""
    row = asked.pallet_row
    if row is None:
        return None
    wide = formed_of_pallet(reader, plant, row)
    question = asked.question
    start, end = max(wide.start, question.made_from or wide.start), min(wide.end, question.made_to or wide.end)
    if start >= end:
        asked.impossible.append(say("the times of making do not fit the pallet; the pallet was believed"))
        return wide
    return Span(start, end)


def _stays_and_signals(
    reader: Reader, plant: Plant, asked: AskedTrace, window: Span
) -> tuple[list[Stay], list[Signal]]:
    stays = _stays(reader, plant, asked, window)
    return stays, kept_excesses(reader, plant, asked.question.defect, stays) if stays else []


def _stays(reader: Reader, plant: Plant, asked: AskedTrace, window: Span) -> list[Stay]:
    """The stays that fit all that is known."""
    question = asked.question
    lines = [line for line in ([question.line] if question.line else plant.lines) if plant.stations_of(line)]
    every = stays_of(reader, lines, window)
    found = [
        s
        for s in every
        if question.mould in (None, s.mould) and (question.item is None or s.item in (None, question.item))
    ]
    for each, other in doubled(found) if question.mould else ():
        asked.impossible.append(
            say(
                "the mould log has mould {mould} in {place} and {other} of {line} at the same time: both are listed; "
                "look which of them carries another number",
                mould=each.mould,
                place=f"{each.section}{each.gob}",
                other=f"{other.section}{other.gob}",
                line=each.line,
            )
        )
    return found


def _line_trace(
    plant: Plant,
    asked: AskedTrace,
    line: str,
    stays: Sequence[Stay],
    known: Vouching,
    kept: Sequence[Signal],
    reader: Reader,
) -> LineTrace:
    mine = [s for s in stays if s.line == line]
    question = asked.question
    pallet = question.pallet if asked.pallet_row is not None else None
    if pallet is not None:
        view = line_view(reader, plant, line, hull(mine), question.defect, known)
        mine = _on_pallet(view, mine, pallet)
    window = hull(mine)
    faults = faults_at(plant, line, kept, {s.mould for s in mine}, window)
    fault = reach_of(plant, line, faults, window)
    if pallet is None or fault is not None:
        view = line_view(reader, plant, line, fault or window, question.defect, known)
    more = stays_beyond(view, fault, window, {m for s in faults for m in s.moulds} & {s.mould for s in mine})
    exposure, first = view.exposure([*mine, *more]), len(mine)
    inside = _part(exposure, slice(0, first))
    weights = placed(inside, inside.all_escaped if question.defect else inside.all_ware, question.defect, pallet)
    scale = _scale(plant, view, question.defect, known)
    return LineTrace(
        view,
        window,
        exposure,
        first,
        carried(exposure),
        exposure.escaped[first:].sum(axis=0),
        (weights.stays * scale, weights.pallets * scale),
        _moments(view, inside, pallet, 0.95),
        faults,
        fault,
        scale,
    )


def _scale(plant: Plant, view: LineView, defect: str | None, known: Vouching) -> float:
    """What makes a line comparable to others where nothing tells what gets past: the share that a station misses,
    guessed.
    """
    if defect is None or view.missed is not None:
        return 1.0
    return float(known.prior.mean ** len(places_that_see(plant, view.line, defect)))


def _on_pallet(view: LineView, stays: Sequence[Stay], pallet: str) -> list[Stay]:
    """The stays cut to when the ware of a pallet can have been formed."""
    spans = _moments(view, view.exposure(stays), pallet, 0.998)
    found = []
    for stay, span in zip(stays, spans, strict=True):
        start, end = max(stay.span.start, span.start), min(stay.span.end, span.end)
        if start < end:
            found.append(replace(stay, span=Span(start, end)))
    return found or list(stays)


def _part(exposure: Exposure, rows: slice) -> Exposure:
    names = ("ware", "escaped", "variance", "all_ware", "all_escaped", "weights")
    return replace(exposure, stays=exposure.stays[rows], **{n: getattr(exposure, n)[rows] for n in names})


def _moments(view: LineView, inside: Exposure, pallet: str | None, level: float) -> list[Span]:
    """The window of each stay: as asked, or with a pallet in hand the central part of the forming times of what lies on
    it.
    """
    names = view.pallets["pallet"].to_list()
    if pallet is None or pallet not in names:
        return [stay.span for stay in inside.stays]
    share = view.on_pallet(names.index(pallet))
    found = []
    for stay, weights in zip(inside.stays, inside.weights * share, strict=True):
        found.append(Span(*forming_quantiles(view.passing, weights, level)) if weights.sum() > 0 else stay.span)
    return found


def _told(
    reader: Reader,
    plant: Plant,
    asked: AskedTrace,
    parts: Sequence[LineTrace],
    known: Vouching,
    ranking: EscapesTogether | None,
) -> Trace:
    question = asked.question
    chances = shares([part.weights[0] for part in parts])
    cavities = cavities_of(parts, chances, ranking)
    cavities = [parts_of(reader, cavity) for cavity in cavities[:NAMED]] + cavities[NAMED:]
    likely = [c for c in cavities if c.probability > 0] or cavities
    blank, blank_words = uncounted(asked, parts)
    asked.notes += [*blank_words, *assumed(plant, asked, parts, known)]
    parts, (mean, low, high), words = with_complaint(asked, parts)
    asked.notes += words
    pallets = _pallets(reader, plant, asked, parts, known)
    proposed, possible = hold_lists(question, parts, pallets)
    number, first = about_places([c.probability for c in cavities])
    severity = plant.defects[question.defect].severity if question.defect else None
    return Trace(
        asked=question.told(),
        cavities=tuple(cavities),
        formed_from=min(c.from_ for c in likely),
        formed_to=max(c.to for c in likely),
        evidence=evidence_of(reader, plant, likely[0], question.defect, parts, known),
        pallets=tuple(pallets),
        expected_defective=mean,
        expected_low=low,
        expected_high=high,
        severity=severity,
        proposed=proposed,
        possible=possible,
        on_no_pallet=_on_no_pallet(question, parts),
        **_of_faults(parts),
        **_words_of(asked),
        plans=plans_for(plant, severity, proposed),
        one_source=ranking.one_source if ranking else None,
        about_cavities=number,
        stands_out=first,
        false_share=_false_share(parts),
        guessed=tuple(s for part in parts if part.view.missed is not None for s in part.view.missed.guessed),
        whole_stay=_whole_stay(reader, plant, question.defect, severity, likely[0], first, known),
        complained=asked.units if question.defect else None,
        uncounted=blank,
        released_means_gone=True if plant.warehouse.released_means_gone else None,
    )


def _pallets(
    reader: Reader, plant: Plant, asked: AskedTrace, parts: Sequence[LineTrace], known: Vouching
) -> list[TracedPallet]:
    on = shares([part.weights[1] for part in parts])
    pallets = traced_pallets(plant, asked.question, parts, known, on=on)
    asked.notes += inferred_begins(parts, pallets)
    if not pallets:
        asked.notes.append(
            say("no pallet was reported for ware of that time: what was made lies somewhere this list cannot name")
        )
    return with_holds(pallets, held_by(reader))


def _of_faults(parts: Sequence[LineTrace]) -> dict[str, Any]:
    """The signals that explain the fault, and from when to when it lasted."""
    spans = [part.fault for part in parts if part.fault is not None]
    return {
        "fault_from": min((span.start for span in spans), default=None),
        "fault_to": max((span.end for span in spans), default=None),
        "faults": tuple(signal.id for part in parts for signal in part.faults),
    }


def _false_share(parts: Sequence[LineTrace]) -> float | None:
    """The estimated share of the lines' calls that was good ware; None where nothing was learnt of it."""
    splits = [part.view.missed.split for part in parts if part.view.missed is not None]
    shares = [split.false_share for split in splits if split is not None]
    return float(np.mean(shares)) if shares else None


def _whole_stay(
    reader: Reader,
    plant: Plant,
    defect: str | None,
    severity: str | None,
    first: Cavity,
    stands_out: bool,
    known: Vouching,
) -> WholeStay | None:
    """Of a critical defect, where a place stands out: some minutes of a mould say little of when it began."""
    if defect is None or severity != "critical" or not stands_out:
        return None
    return whole_stay(reader, plant, first, defect, known.until)


def _on_no_pallet(question: Question, parts: Sequence[LineTrace]) -> float | None:
    """The share of the escapes that lies on no pallet that was reported; None with a pallet in hand or without a
    defect.
    """
    if question.pallet is not None or question.defect is None:
        return None
    every = sum(float(p.weights[0].sum()) for p in parts)
    packed = sum(float(p.weights[1].sum()) for p in parts)
    return max(0.0, 1 - packed / every) if every > 0 else None


def _together(reader: Reader, plant: Plant, every: Sequence[AskedTrace]) -> Trace:
    """Several complaints: each by itself, then places that can have made all of them, and one list of pallets."""
    questions = [asked.question for asked in every]
    defects = {q.defect for q in questions}
    if len(defects) > 1:
        raise WrongUse(
            say(
                "complaints are traced together only for one defect; these name {defects}",
                defects=", ".join(sorted(str(d) for d in defects)),
            )
        )
    parts = [_answered(reader, plant, asked, None) for asked in every]
    each = [by_place(part.cavities) for part in parts]
    joined = AskedTrace(
        joined_question(questions, parts), notes=[n for asked in every for n in asked.notes if "was packed on" in n]
    )
    joined.units = sum(asked.units or 0 for asked in every) or None
    ranking = together(each, _by_calls(reader, plant, joined.question, each)) if all(each) else None
    joined.impossible = list(dict.fromkeys(text for part in parts for text in part.impossible))
    trace = _answered(reader, plant, joined, ranking)
    words = () if ranking is None else (source_sentence(ranking),)
    brief = tuple(
        {
            "asked": part.asked,
            "cavities": [c.told() for c in part.cavities[:5]],
            "formed_from": part.told()["formed_from"],
            "formed_to": part.told()["formed_to"],
            "impossible": list(part.impossible),
        }
        for part in parts
    )
    return trace.model_copy(
        update={
            "parts": brief,
            "notes": (*words, *trace.notes),
            "asked": {**trace.asked, "complaints": [q.complaint for q in questions]},
        }
    )


def _by_calls(reader: Reader, plant: Plant, joined: Question, each: Sequence[dict[Place, float]]) -> dict[Place, float]:
    """What the works' own counts say of the places over the time of all complaints, whatever is in hand of each:
    counted once for all of them.
    """
    values = by_place(_answered(reader, plant, AskedTrace(replace(joined, mould=None)), None).cavities)
    places = list(dict.fromkeys(p for table in each for p in table))
    least = min((share for share in values.values() if share > 0), default=1.0)
    shares = {p: values.get(p, 0.0) or least for p in places}
    return {p: share / sum(shares.values()) for p, share in shares.items()}


__all__ = ["LineTrace", "Question", "answer_trace"]
