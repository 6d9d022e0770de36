"""Which meters are said to lie, which losses to be beyond their usual, and what else it could be."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np

from pipelines.measures.yields.balance import Balanced, Estimate, Explanation
from pipelines.measures.yields.explanations import ACCUSED, LISTED
from schemas.answers.yields import CouldBe, SuspectMeter


def suspects_of(told: Balanced, days: Sequence[date]) -> tuple[list[SuspectMeter], list[SuspectMeter]]:
    """The meters that lie more probably than not, and the losses beyond their usual, each since when. days: of the
    window. A loss that began before them is what this works usually loses. None where no explanation fits: the
    likeliest of them is no answer then.
    """
    if told.misfit:
        return [], []
    kinds = {cause.name: cause.kind for cause in told.causes}
    named = [(name, share) for name, share in told.blamed().items() if share > ACCUSED and name in told.places]
    found = [(kinds[name], _suspect(told, name, share, days)) for name, share in named]
    lost = [one for kind, one in found if kind == "loss" and (one.since != days[0] or len(days) == 1)]
    return [one for kind, one in found if kind != "loss"], lost


def _suspect(told: Balanced, name: str, share: float, days: Sequence[date]) -> SuspectMeter:
    place, cause = told.at(name), next(n for n, one in enumerate(told.causes) if one.name == name)
    node, z = told.network.nodes[place], float(told.first.z[place])
    mine = next((one for one in told.explanations if cause in one.causes and one.causes[-1] == cause), None)
    rivals = [n for n, one in told.blamed().items() if n != name and one > LISTED and _instead(told, name, n)]
    return SuspectMeter(
        meter=name,
        reading=node.reading,
        reconciled=told.value(name),
        z=z if np.isfinite(z) else 0.0,
        unit=node.unit,
        furnace=told.reading.furnace,
        rivals=tuple(rivals),
        probability=share,
        **(_dated(mine, node.kind, days) if mine else _sized(told, cause, node.kind)),
    )


def _instead(told: Balanced, name: str, other: str) -> bool:
    """Whether another cause is off instead of this one, rather than beside it."""
    at = {cause.name: n for n, cause in enumerate(told.causes)}
    answers = told.answers
    both = answers.blames(at[name]) & answers.blames(at[other])
    return float(answers.probability[both].sum()) < told.blamed()[other] / 2


def _dated(one: Explanation, kind: str, days: Sequence[date]) -> dict[str, Any]:
    """Since when, and by how much in percent."""
    return {
        "since": days[one.first],
        "since_low": days[one.first_low],
        "since_high": days[one.first_high],
        "days": (days[-1] - days[one.first]).days + 1,
        **_off(kind, (one.size, one.size_low, one.size_high)),
    }


def _sized(told: Balanced, cause: int, kind: str) -> dict[str, Any]:
    """By how much a cause is off on the day itself, where every explanation that has it dates another."""
    mine = next((one for one in told.explanations if cause in one.causes), None)
    return _off(kind, mine.sizes[mine.causes.index(cause)]) if mine else {}


def _off(kind: str, sizes: tuple[float, float, float]) -> dict[str, float | None]:
    return dict(zip(("off_pct", "off_low", "off_high"), (off_pct(kind, one) for one in sizes), strict=True))


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


def could_be(told: Balanced, days: Sequence[date]) -> list[CouldBe]:
    """All explanations that remain, each with the yields that it makes; none where nothing speaks against honest
    meters, and none where no explanation fits.
    """
    if told.misfit or [one.causes for one in told.explanations] == [()]:
        return []
    return [_could_be(told, one, days) for one in told.explanations]


def _could_be(told: Balanced, one: Explanation, days: Sequence[date]) -> CouldBe:
    whole = told.pack_to_melt(one) or told.packed_over_cut(one) or Estimate(None, None, None)
    lines = {line: told.line_pack_to_melt(line, one) for line in told.network.formed}
    causes = [told.causes[n] for n in one.causes]
    return CouldBe(
        furnace=told.reading.furnace,
        causes=tuple(cause.name for cause in causes),
        kinds=tuple(cause.kind for cause in causes),
        probability=one.probability,
        pack_to_melt=whole.value,
        low=whole.low,
        high=whole.high,
        of="melted" if told.network.furnace is not None else "cut",
        off_pcts=tuple(off_pct(cause.kind, one.sizes[n][0]) for n, cause in enumerate(causes)),
        lines={line: (share.value, share.low, share.high) for line, share in lines.items() if share},
        **(_dated(one, causes[-1].kind, days) if causes else {}),
    )
