"""The parts of a trace's answer: cavities, pallets, hold lists, plans."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl

from pipelines.answers.pallets import inferred_words, is_inferred
from pipelines.answers.trace.line_trace import LineTrace
from pipelines.answers.trace.question import Question
from pipelines.answers.trace.trust import Vouching, stations_in_doubt
from pipelines.clock import Span
from pipelines.measures.holds.sampling import plans
from pipelines.measures.trace.escapes import EscapesTogether, hold_numbers
from pipelines.measures.trace.exposure import counted
from pipelines.plant.works import Plant
from schemas.answers.trace import Cavity, HoldList, SamplingPlan, TracedPallet

EMPTY = ("scrapped", "emptied")  # states in which a pallet carries nothing any more


def cavities_of(
    parts: Sequence[LineTrace], chances: Sequence[np.ndarray], ranking: EscapesTogether | None
) -> list[Cavity]:
    """Every place in question with its probability, the likeliest first; by `ranking` where several complaints are
    traced together.
    """
    found = []
    for part, chance in zip(parts, chances, strict=True):
        for stay, span, share in zip(part.exposure.stays[: part.first], part.moments, chance, strict=True):
            found.append(
                Cavity(
                    line=stay.line,
                    section=stay.section,
                    gob=stay.gob,
                    mould=stay.mould,
                    from_=span.start,
                    to=span.end,
                    probability=float(share),
                )
            )
    if ranking is not None:
        found = _reranked(found, ranking)
    return sorted(found, key=lambda c: (-c.probability, c.line, c.section, c.gob, c.from_))


def _reranked(cavities: Sequence[Cavity], ranking: EscapesTogether) -> list[Cavity]:
    places = [(c.line, c.section, c.gob, c.mould) for c in cavities]
    sums = {p: sum(c.probability for c, q in zip(cavities, places, strict=True) if q == p) for p in set(places)}
    found = []
    for cavity, place in zip(cavities, places, strict=True):
        share = cavity.probability / sums[place] if sums[place] > 0 else 1 / places.count(place)
        found.append(cavity.model_copy(update={"probability": ranking.probability.get(place, 0.0) * share}))
    return found


def traced_pallets(
    plant: Plant, question: Question, parts: Sequence[LineTrace], known: Vouching, on: Sequence[np.ndarray]
) -> list[TracedPallet]:
    """Every pallet that can carry a sister: the one in hand first, then those that were released, then by what is
    expected on them.
    """
    found: list[TracedPallet] = []
    for part, chance in zip(parts, on, strict=True):
        chosen = _chosen(question, part)
        packed = [(stay.item, part.view.packed(stay.span)) for stay in part.exposure.stays]
        for number, row in enumerate(part.view.pallets.iter_rows(named=True)):
            if row["pallet"] != question.pallet and not _possible(packed, row):
                continue
            found.append(_traced(part, number, row, question, number in chosen, float(chance[number]), known))
    return sorted(
        found,
        key=lambda p: (
            p.pallet != question.pallet,
            not p.cleared,
            -(p.expected_defective or p.mould_units),
            p.packed_from,
            p.pallet,
        ),
    )


def inferred_begins(parts: Sequence[LineTrace], pallets: Sequence[TracedPallet]) -> list[str]:
    """What has to be said of pallets of which only the label was noted, line by line."""
    named = {p.pallet for p in pallets}
    pairs = [(part.view.line, part.view.pallets.filter(pl.col("pallet").is_in(named))) for part in parts]
    return [text for line, rows in pairs for text in inferred_words(line, rows["begin"].to_list())]


def _chosen(question: Question, part: LineTrace) -> set[int]:
    units = part.view.pallets["units"].to_numpy().astype(float)
    window = (part.exposure.escaped if question.defect else part.exposure.ware)[: part.first].sum(axis=0)
    beyond = part.beyond if question.defect else np.zeros(len(units))
    alive = ~part.view.pallets["state"].is_in(EMPTY).to_numpy()
    chosen = set(hold_numbers(window * alive, beyond * alive, units))
    return chosen | {n for n, name in enumerate(part.view.pallets["pallet"]) if name == question.pallet}


def _possible(packed: Sequence[tuple[str | None, Span]], row: dict[str, Any]) -> bool:
    """Whether a pallet was packed when ware of the stays in question came, and of their item."""
    return any(
        item in (None, row["item"]) and row["packed_from"] < span.end and row["packed_to"] >= span.start
        for item, span in packed
    )


def _traced(
    part: LineTrace, number: int, row: dict[str, Any], question: Question, chosen: bool, chance: float, known: Vouching
) -> TracedPallet:
    carried_escapes, first = part.carried, part.first
    tells = question.defect is not None and part.exposure.missed_known
    packed = Span(row["packed_from"], row["packed_to"])
    doubts = known.doubts_of(part.view.line, question.defect, packed.start, packed.end)
    ware = float(part.exposure.ware[:first, number].sum())
    return TracedPallet(
        pallet=row["pallet"],
        line=part.view.line,
        item=row["item"],
        packed_from=packed.start,
        packed_to=packed.end,
        units=row["units"],
        state=row["state"],
        mould_units=float(part.exposure.ware[:, number].sum() * part.view.kept[number]),
        expected_defective=float(carried_escapes.mean[number]) if tells else None,
        expected_low=float(carried_escapes.low[number]) if tells else None,
        expected_high=float(carried_escapes.high[number]) if tells else None,
        hold=row["state"] == "held",
        probability=chance,
        proposed=chosen,
        beyond=ware < 0.5 and float(part.exposure.ware[first:, number].sum()) > 0.5,
        doubts=tuple(stations_in_doubt(doubts)),
        begin_inferred=is_inferred(row),
    )


def with_holds(pallets: Sequence[TracedPallet], holds: dict[str, list[str]]) -> list[TracedPallet]:
    """The pallets with the holds that are on them."""
    found = []
    for pallet in pallets:
        names = tuple(holds.get(pallet.pallet, ()))
        kept = any("(proposed)" not in name for name in names)
        found.append(pallet.model_copy(update={"holds": names, "hold": pallet.hold or kept}) if names else pallet)
    return found


def hold_lists(
    question: Question, parts: Sequence[LineTrace], pallets: Sequence[TracedPallet]
) -> tuple[HoldList, HoldList]:
    """The list that covers 95 % with the fewest units, and the one that covers everything possible; scrapped and
    emptied pallets are on neither.
    """
    here = [p for p in pallets if p.state not in EMPTY]
    weigh = {p.pallet: w for part in parts for p, w in _weights(question, part, here)}
    total = sum(weigh.values())
    return _list([p for p in here if p.proposed], weigh, total), _list(here, weigh, total)


def _weights(question: Question, part: LineTrace, pallets: Sequence[TracedPallet]) -> list[tuple[TracedPallet, float]]:
    """What is expected on each pallet of a line: escapes (in a unit of their own where nothing tells what gets past),
    or ware.
    """
    sums = (part.exposure.escaped if question.defect else part.exposure.ware).sum(axis=0)
    by_name = dict(zip(part.view.pallets["pallet"], (sums * part.scale).tolist(), strict=True))
    return [(p, by_name[p.pallet]) for p in pallets if p.line == part.view.line]


def _list(chosen: Sequence[TracedPallet], weigh: dict[str, float], total: float) -> HoldList:
    held = sum(weigh[p.pallet] for p in chosen)
    return HoldList(
        pallets=tuple(p.pallet for p in chosen),
        units=sum(p.units for p in chosen),
        covers=held / total if total > 0 else None,
        released=sum(p.cleared for p in chosen),
    )


def totals(parts: Sequence[LineTrace]) -> tuple[float | None, float | None, float | None]:
    """Defective containers on all pallets in question, with a 95 % interval of whole numbers; nothing where no
    challenge tells what gets past.
    """
    known = [part.carried for part in parts if part.exposure.missed_known and part.view.passing.found is not None]
    if not known:
        return None, None, None
    this_counted = counted(np.array([sum(c.total for c in known)]), np.array([sum(c.variance for c in known)]))[0]
    return this_counted.mean, float(this_counted.low), float(this_counted.high)


def plans_for(plant: Plant, severity: str | None, proposed: HoldList | None) -> tuple[SamplingPlan, ...]:
    """Plans for a sample of the proposed pallets as one lot, under each kind of inspection; none for a critical defect,
    which is not sampled away.
    """
    if severity not in ("major", "minor") or proposed is None or proposed.units < 2:
        return ()
    return tuple(plans(plant.sampling, proposed.units, severity))
