"""Which meters are said to lie, which losses to be beyond their usual, and what else it could be."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np

from pipelines.measures.yields.balance import Balanced, Estimate, Explanation
from pipelines.measures.yields.explanations import ACCUSED, LISTED
from schemas.answers.meters import CouldBe, SuspectMeter


def suspects_of(balanced: Balanced, days: Sequence[date]) -> tuple[list[SuspectMeter], list[SuspectMeter]]:
    """The meters that lie more probably than not, and the losses beyond their usual, each since when. days: of the
    window. A loss that began before them is what this works usually loses. None where no explanation fits: the
    likeliest of them is no answer then.
    """
    if balanced.misfit:
        return [], []
    kinds = {cause.name: cause.kind for cause in balanced.causes}
    named = [(name, share) for name, share in balanced.blamed().items() if share > ACCUSED and name in balanced.places]
    found = [(kinds[name], _suspect(balanced, name, share, days)) for name, share in named]
    lost = [suspect for kind, suspect in found if kind == "loss" and (suspect.since != days[0] or len(days) == 1)]
    return [suspect for kind, suspect in found if kind != "loss"], lost


def _suspect(balanced: Balanced, name: str, share: float, days: Sequence[date]) -> SuspectMeter:
    place, cause = (
        balanced.at(name),
        next(n for n, opening_cause in enumerate(balanced.causes) if opening_cause.name == name),
    )
    node, z = balanced.network.nodes[place], float(balanced.first.z[place])
    mine = next(
        (
            explanation
            for explanation in balanced.explanations
            if cause in explanation.causes and explanation.causes[-1] == cause
        ),
        None,
    )
    rivals = [
        n for n, value in balanced.blamed().items() if n != name and value > LISTED and _instead(balanced, name, n)
    ]
    return SuspectMeter(
        meter=name,
        reading=node.reading,
        reconciled=balanced.value(name),
        z=z if np.isfinite(z) else 0.0,
        unit=node.unit,
        furnace=balanced.reading.furnace,
        rivals=tuple(rivals),
        probability=share,
        **(_dated(mine, node.kind, days) if mine else _sized(balanced, cause, node.kind)),
    )


def _instead(balanced: Balanced, name: str, other: str) -> bool:
    """Whether another cause is off instead of this one, rather than beside it."""
    at = {cause.name: n for n, cause in enumerate(balanced.causes)}
    answers = balanced.answers
    both = answers.blames(at[name]) & answers.blames(at[other])
    return float(answers.probability[both].sum()) < balanced.blamed()[other] / 2


def _dated(explanation: Explanation, kind: str, days: Sequence[date]) -> dict[str, Any]:
    """Since when, and by how much in percent."""
    return {
        "since": days[explanation.first],
        "since_low": days[explanation.first_low],
        "since_high": days[explanation.first_high],
        "days": (days[-1] - days[explanation.first]).days + 1,
        **_off(kind, (explanation.size, explanation.size_low, explanation.size_high)),
    }


def _sized(balanced: Balanced, cause: int, kind: str) -> dict[str, Any]:
    """By how much a cause is off on the day itself, where every explanation that has it dates another."""
    mine = next((explanation for explanation in balanced.explanations if cause in explanation.causes), None)
    return _off(kind, mine.sizes[mine.causes.index(cause)]) if mine else {}


def _off(kind: str, sizes: tuple[float, float, float]) -> dict[str, float | None]:
    return dict(zip(("off_pct", "off_low", "off_high"), (off_pct(kind, size) for size in sizes), strict=True))


def off_pct(kind: str, size: float) -> float | None:
    """How far off [%], from the relative size that `explanations` reckon with.

    A meter is off by (reading - truth) / truth: one that reads double is 100 % off, one that reads half -50 %. They
    reckon with d = (reading - truth) / reading, in which balances are linear, so this is d / (1 - d); None where that
    leaves no truth above nothing.
    A loss: of what passes, as it is.
    """
    if kind == "loss":
        return 100 * size
    return 100 * size / (1 - size) if size < 1 else None


def could_be(balanced: Balanced, days: Sequence[date]) -> list[CouldBe]:
    """All explanations that remain, each with the yields that it makes; none where nothing speaks against honest
    meters, and none where no explanation fits.
    """
    if balanced.misfit or [explanation.causes for explanation in balanced.explanations] == [()]:
        return []
    return [_could_be(balanced, explanation, days) for explanation in balanced.explanations]


def _could_be(balanced: Balanced, explanation: Explanation, days: Sequence[date]) -> CouldBe:
    whole = balanced.pack_to_melt(explanation) or balanced.packed_over_cut(explanation) or Estimate(None, None, None)
    lines = {line: balanced.line_pack_to_melt(line, explanation) for line in balanced.network.formed}
    causes = [balanced.causes[n] for n in explanation.causes]
    return CouldBe(
        furnace=balanced.reading.furnace,
        causes=tuple(cause.name for cause in causes),
        kinds=tuple(cause.kind for cause in causes),
        probability=explanation.probability,
        pack_to_melt=whole.value,
        low=whole.low,
        high=whole.high,
        of="melted" if balanced.network.furnace is not None else "cut",
        off_pcts=tuple(off_pct(cause.kind, explanation.sizes[n][0]) for n, cause in enumerate(causes)),
        lines={line: (share.value, share.low, share.high) for line, share in lines.items() if share},
        **(_dated(explanation, causes[-1].kind, days) if causes else {}),
    )
