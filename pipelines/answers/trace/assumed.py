"""What a trace rests on and what it does not know, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pipelines.answers.trace.line_trace import LineTrace
from pipelines.answers.trace.line_ware import LineView
from pipelines.answers.trace.question import AskedTrace
from pipelines.answers.trace.trust import Vouching
from pipelines.measures.pareto.unread import TOLD_FROM, unread_words
from pipelines.plant.works import Plant
from pipelines.words import numeral, say

UNCOUNTED_FROM = 0.05  # share of a pallet's time without counts from which it is said


def assumed(plant: Plant, asked: AskedTrace, parts: Sequence[LineTrace], known: Vouching) -> list[str]:
    """What the answer rests on and what is not known, in sentences."""
    question, notes = asked.question, []
    if question.mould is None:
        notes.append(_ranked_by(question.defect, parts))
    for part in parts:
        view = part.view
        notes.append(_ways(part))
        notes += _waited(view, question.pallet if asked.pallet_row is not None else None)
        notes += _unread(view, question.defect)
        if question.defect and view.missed is None:
            notes.append(
                say(
                    "line {line}: no station of the works was challenged in these weeks, so that nothing tells how "
                    "much gets past: no number of escapes is given",
                    line=view.line,
                )
            )
        if question.defect and view.missed is not None:
            notes += _guessed(question.defect, part, known)
        if question.defect:
            notes += _signals(plant, question.defect, part)
    if question.defect:
        notes.append(
            say(
                "a challenge's sample is marked and clear: defects that are harder to see get past more often, and "
                "then the expected number is too low"
            )
        )
    return notes


def _signals(plant: Plant, defect: str, part: LineTrace) -> list[str]:
    """What the signals of a line say of how long the fault lasted."""
    if not part.faults:
        return [
            say(
                "line {line}: no signal of {defect} at these moulds was open then; nothing says that a fault lasted "
                "beyond the window",
                line=part.view.line,
                defect=defect,
            )
        ]
    return [
        say(
            "line {line}: signal {signal} says the same fault was formed from {since} on; pallets beyond the window "
            "are listed for it",
            line=part.view.line,
            signal=fault.id,
            since=plant.clock.show(fault.formed),
        )
        for fault in part.faults
    ]


def uncounted(asked: AskedTrace, parts: Sequence[LineTrace]) -> tuple[float, list[str]]:
    """The share of the time of the pallet in hand before which nothing was counted, and what has to be said of it."""
    pallet = asked.question.pallet if asked.pallet_row is not None else None
    for view in (part.view for part in parts):
        names = view.pallets["pallet"].to_list()
        share = view.uncounted(names.index(pallet)) if pallet in names else 0.0
        if share > UNCOUNTED_FROM:
            return share, [
                say(
                    "line {line}: for {share}% of the time in which pallet {pallet} was filled no counts came: ware "
                    "of then, its moulds and the other pallets that hold it are not in this answer",
                    line=view.line,
                    share=numeral(100 * share, ".0f"),
                    pallet=pallet,
                )
            ]
    return 0.0, []


def _waited(view: LineView, pallet: str | None) -> list[str]:
    """Where ware of the pallet in hand seems to have waited on the table before it."""
    names = view.pallets["pallet"].to_list()
    number = names.index(pallet) if pallet in names else None
    longest = 0.0 if number is None or view.uncounted(number) > UNCOUNTED_FROM else view.waited(number)
    if not longest:
        return []
    return [
        say(
            "line {line}: by what passed and what was packed, ware of pallet {pallet} had waited up to {longest} min "
            "more on its way; its forming window begins so much earlier",
            line=view.line,
            pallet=pallet,
            longest=numeral(longest, ".0f"),
        )
    ]


def _unread(view: LineView, defect: str | None) -> list[str]:
    """Where more than a few calls (without a defect: containers) had no mould number."""
    words = unread_words(view.unread, say("the calls of {defect}", defect=defect or ""))
    if words:
        return [
            say(
                "line {line}: {words} then: they are shared out among the moulds as the read ones lie",
                line=view.line,
                words=words,
            )
        ]
    if defect is None and view.read_share < 1 - TOLD_FROM:
        return [
            say(
                "line {line}: no mould number was read on {share}% of the ware; it is shared out in proportion",
                line=view.line,
                share=numeral(100 * (1 - view.read_share), ".0f"),
            )
        ]
    return []


def _guessed(defect: str, part: LineTrace, known: Vouching) -> list[str]:
    """What of the number of escapes is a guess: false calls, and stations never challenged."""
    view, missed, found = part.view, part.view.missed, []
    assert missed is not None
    if missed.split is not None:
        found.append(
            say(
                "line {line}: of the calls of {defect} about {share}% are taken as calls of good ware; an estimate, "
                "from what the stations call of all defects, one behind the other",
                line=view.line,
                defect=defect,
                share=numeral(100 * missed.split.false_share, ".0f"),
            )
        )
    if missed.guessed:
        found.append(
            say(
                "line {line}: never challenged with {defect}: {stations}; taken to miss what the works' stations "
                "miss, about {usual}%{known}, each more or less: a guess",
                line=view.line,
                defect=defect,
                stations=", ".join(missed.guessed),
                usual=numeral(100 * known.prior.mean, ".0f"),
                known="" if known.prior.shown else say(", hardly known"),
            )
        )
    return found


def _ways(part: LineTrace) -> str:
    """The lehr time and the way to the pallet that were taken, with where they come from."""
    view, middle = part.view, part.window.start + (part.window.end - part.window.start) / 2
    at = int(np.clip(view.passing.at(middle) + view.passing.lehr[0] / view.passing.bin_min, 0, view.passing.bins - 1))
    return say(
        "line {line}: lehr time about {lehr} min, single containers within {blur} min of it (95 %); last station to "
        "pallet {packing} min, {source}",
        line=view.line,
        lehr=numeral(view.passing.lehr[at], ".0f"),
        blur=numeral(1.96 * view.passing.blur[at], ".0f"),
        packing=numeral(view.packing.minutes, ".1f"),
        source=view.packing.source,
    )


def _ranked_by(defect: str | None, parts: Sequence[LineTrace]) -> str:
    if defect is None:
        return say(
            "without a mould number and a defect the cavities are ranked by their ware alone: a guess, with its "
            "probabilities"
        )
    seen = any(part.view.passing.found is not None and part.view.passing.found.any() for part in parts)
    read = any(part.view.tells_moulds(part.window) for part in parts)
    if not seen:
        return say(
            "no call of {defect} was made then: the cavities are ranked by their ware alone, a prior and no evidence",
            defect=defect,
        )
    if not read:
        return say(
            "no station that calls {defect} read a mould number then: the cavities are ranked by their ware alone, a "
            "prior and no evidence",
            defect=defect,
        )
    return say(
        "without a mould number the cavities are ranked by how much {defect} each was making then: a guess, with its "
        "probabilities",
        defect=defect,
    )
