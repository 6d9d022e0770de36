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
                f"line {view.line}: no station of the works was challenged in these weeks, so that nothing tells how "
                "much gets past: no number of escapes is given"
            )
        if question.defect and view.missed is not None:
            notes += _guessed(question.defect, part, known)
        if question.defect and not part.faults:
            notes.append(
                f"line {view.line}: no signal of {question.defect} at these moulds was open then; nothing says that "
                "a fault lasted beyond the window"
            )
        for fault in part.faults:
            notes.append(
                f"line {view.line}: signal {fault.id} says the same fault was formed from "
                f"{plant.clock.show(fault.formed)} on; pallets beyond the window are listed for it"
            )
    if question.defect:
        notes.append(
            "a challenge's sample is marked and clear: defects that are harder to see get past more often, and then "
            "the expected number is too low"
        )
    return notes


def uncounted(asked: AskedTrace, parts: Sequence[LineTrace]) -> tuple[float, list[str]]:
    """The share of the time of the pallet in hand before which nothing was counted, and what has to be said of it."""
    pallet = asked.question.pallet if asked.pallet_row is not None else None
    for view in (part.view for part in parts):
        names = view.pallets["pallet"].to_list()
        share = view.uncounted(names.index(pallet)) if pallet in names else 0.0
        if share > UNCOUNTED_FROM:
            return share, [
                f"line {view.line}: for {share:.0%} of the time in which pallet {pallet} was filled no counts came: "
                "ware of then, its moulds and the other pallets that hold it are not in this answer"
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
        f"line {view.line}: by what passed and what was packed, ware of pallet {pallet} had waited up to "
        f"{longest:.0f} min more on its way; its forming window begins so much earlier"
    ]


def _unread(view: LineView, defect: str | None) -> list[str]:
    """Where more than a few calls (without a defect: containers) had no mould number."""
    words = unread_words(view.unread, f"the calls of {defect}")
    if words:
        return [f"line {view.line}: {words} then: they are shared out among the moulds as the read ones lie"]
    if defect is None and view.read_share < 1 - TOLD_FROM:
        return [
            f"line {view.line}: no mould number was read on {1 - view.read_share:.0%} of the ware; it is shared out "
            "in proportion"
        ]
    return []


def _guessed(defect: str, part: LineTrace, known: Vouching) -> list[str]:
    """What of the number of escapes is a guess: false calls, and stations never challenged."""
    view, missed, found = part.view, part.view.missed, []
    assert missed is not None
    if missed.split is not None:
        found.append(
            f"line {view.line}: of the calls of {defect} about {missed.split.false_share:.0%} are taken as calls of "
            "good ware; an estimate, from what the stations call of all defects, one behind the other"
        )
    if missed.guessed:
        usual = f"{known.prior.mean:.0%}" + ("" if known.prior.shown else ", hardly known")
        found.append(
            f"line {view.line}: never challenged with {defect}: {', '.join(missed.guessed)}; taken to miss what the "
            f"works' stations miss, about {usual}, each more or less: a guess"
        )
    return found


def _ways(part: LineTrace) -> str:
    """The lehr time and the way to the pallet that were taken, with where they come from."""
    view, middle = part.view, part.window.start + (part.window.end - part.window.start) / 2
    at = int(np.clip(view.passing.at(middle) + view.passing.lehr[0] / view.passing.bin_min, 0, view.passing.bins - 1))
    return (
        f"line {view.line}: lehr time about {view.passing.lehr[at]:.0f} min, single containers within "
        f"{1.96 * view.passing.blur[at]:.0f} min of it (95 %); last station to pallet {view.packing.minutes:.1f} min, "
        f"{view.packing.source}"
    )


def _ranked_by(defect: str | None, parts: Sequence[LineTrace]) -> str:
    if defect is None:
        return (
            "without a mould number and a defect the cavities are ranked by their ware alone: a guess, with its "
            "probabilities"
        )
    seen = any(part.view.passing.found is not None and part.view.passing.found.any() for part in parts)
    read = any(part.view.tells_moulds(part.window) for part in parts)
    if not seen:
        return (
            f"no call of {defect} was made then: the cavities are ranked by their ware alone, a prior and no evidence"
        )
    if not read:
        return (
            f"no station that calls {defect} read a mould number then: the cavities are ranked by their ware alone, "
            "a prior and no evidence"
        )
    return (
        f"without a mould number the cavities are ranked by how much {defect} each was making then: a guess, with "
        "its probabilities"
    )
