"""Single sampling by attributes: sample size, acceptance number, operating characteristic, and when to change the
inspection.

References:
    [1] ISO 2859-1:1999, tables 1, 2-A, 2-B and 2-C, clauses 9.3 and 9.4. Letters, sample sizes and the numbers of
    normal and tightened
        inspection also stand in MIL-STD-105E (1989), tables I, II-A and II-B, which is in the public domain. The
        acceptance numbers of reduced inspection are those of 1999 (no gap between acceptance and rejection), which 105E
        does not have: from memory.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np

from pipelines.plant.tables import AQLS, Sampling
from schemas.answers.trace import SamplingPlan

LETTERS = "ABCDEFGHJKLMNPQR"
SIZES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150)
REDUCED_SIZES = (2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800)
LOTS = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
LEVELS = {
    "S-1": "AAAABBBBCCCCDDD",
    "S-2": "AAABBBCCCDDDEEE",
    "S-3": "AABBCCDDEEFFGGH",
    "S-4": "AABCCDEEFGGHJJK",
    "I": "AABCCDEFGHJKLMN",
    "II": "ABCDEFGHJKLMNPQ",
    "III": "BCDEFGHJKLMNPQR",
}
NORMAL, TIGHTENED, REDUCED = "normal", "tightened", "reduced"
# acceptance numbers along the diagonals letter + AQL; a sample of zero defects lies on the first, arrows between
_NUMBERS = {
    NORMAL: {14: 0, 17: 1, 18: 2, 19: 3, 20: 5, 21: 7, 22: 10, 23: 14, 24: 21},
    TIGHTENED: {15: 0, 18: 1, 19: 2, 20: 3, 21: 5, 22: 8, 23: 12, 24: 18},
    REDUCED: {14: 0, 17: 1, 18: 1, 19: 2, 20: 3, 21: 5, 22: 6, 23: 8, 24: 10},
}
_UP_FROM = {
    NORMAL: 15,
    TIGHTENED: None,
    REDUCED: 15,
}  # the diagonal of the arrows that point up, next to the zero; the others below 17 point down
STEADY_SCORE = 30


def code_letter(lot: int, level: str = "II") -> str:
    """The code letter of a lot of `lot` units at an inspection level. ValueError for a lot under 2 units. [1] table
    1.
    """
    if lot < 2:
        raise ValueError(f"a lot of {lot} units is not sampled: look at all of it")
    return LEVELS[level][bisect_left(LOTS, lot)]


def plan(lot: int, aql: float, level: str = "II", inspection: str = NORMAL, severity: str = "") -> SamplingPlan:
    """The single sampling plan for a lot [units] and an AQL [percent nonconforming, up to 10]. [1] tables 1, 2-A to
    2-C.

    An arrow of the tables leads to the next plan up or down, with that plan's sample size. Where the sample is as large
    as the lot, the whole lot is inspected. ValueError for an AQL that is no step of the standard or above 10.
    """
    if aql not in AQLS or aql > 10:
        raise ValueError(
            f"AQL {aql:g} is no step of ISO 2859-1 for percent nonconforming; it has "
            f"{', '.join(f'{a:g}' for a in AQLS[:16])}"
        )
    asked = LETTERS.index(code_letter(lot, level))
    row = _row(asked, AQLS.index(aql), inspection)
    sizes = REDUCED_SIZES if inspection == REDUCED else SIZES
    ac = _NUMBERS[inspection][row + AQLS.index(aql)]
    n = min(sizes[row], lot)
    return SamplingPlan(
        inspection=inspection,
        severity=severity,
        aql=aql,
        lot=lot,
        letter=LETTERS[asked],
        n=n,
        ac=ac,
        re=ac + 1,
        whole_lot=sizes[row] >= lot,
        curve=tuple(zip(*_curve(n, ac), strict=True)),
    )


def for_sample(n: int, aql: float) -> int | None:
    """The acceptance number, by normal inspection, of a sample that was taken without asking for a plan: that of the
    largest plan of this AQL [percent nonconforming] with no more than n units; None where n is smaller than its
    smallest. ValueError as in `plan`. [1] table 2-A.
    """
    if aql not in AQLS or aql > 10:
        raise ValueError(f"AQL {aql:g} is no step of ISO 2859-1 for percent nonconforming")
    column, numbers = AQLS.index(aql), _NUMBERS[NORMAL]
    fitting = [row for row, size in enumerate(SIZES[: len(LETTERS)]) if row + column in numbers and size <= n]
    return numbers[fitting[-1] + column] if fitting else None


def plans(sampling: Sampling, lot: int, severity: str) -> list[SamplingPlan]:
    """The works' plans for a lot held for a major or minor defect: normal, tightened and reduced inspection."""
    aql = sampling.aql_major if severity == "major" else sampling.aql_minor
    return [plan(lot, aql, sampling.level, kind, severity) for kind in (NORMAL, TIGHTENED, REDUCED)]


def _row(asked: int, column: int, inspection: str) -> int:
    """The row of the table whose plan stands for a letter, by its arrows. Where an arrow up would leave the table
    (letter A at AQL 10), it points down.
    """
    numbers = _NUMBERS[inspection]
    first, last = min(numbers), max(numbers)
    diagonal = asked + column
    if diagonal in numbers:
        return asked
    if diagonal > last:
        return last - column
    bottom = len(SIZES) if inspection == TIGHTENED else len(LETTERS)
    below = next((row for row in range(asked + 1, bottom) if row + column in numbers), None)
    above = first - column
    if below is None or (diagonal == _UP_FROM[inspection] and above >= 0):
        return above
    return below


def acceptance(n: int, ac: int, fractions: Sequence[float] | np.ndarray) -> np.ndarray:
    """Probability that a lot is accepted, by its fraction nonconforming: binomial, P(X <= ac) of n. [1] clause 12.1 and
    chart annexes.
    """
    from scipy.special import bdtr

    values: np.ndarray = bdtr(ac, n, np.asarray(fractions, float))
    return values


def _curve(n: int, ac: int) -> tuple[list[float], list[float]]:
    top = min(1.0, (ac + 4 + 3 * (ac + 1) ** 0.5) / n)
    fractions = np.linspace(0, top, 41)
    return [round(float(f), 6) for f in fractions], [round(float(p), 6) for p in acceptance(n, ac, fractions)]


def quality_at(n: int, ac: int, accepted: float) -> float:
    """The fraction nonconforming at which a lot is accepted with probability `accepted`: the inverse of
    `acceptance`.
    """
    from scipy.special import bdtri

    return float(bdtri(ac, n, accepted)) if ac < n else 1.0


def inspection_after(
    lots: Sequence[bool], tighter: Sequence[bool] | None = None, steady: bool = False, ac: int = 2
) -> str:
    """Which inspection holds after a series of lots (True: accepted at original inspection), beginning with normal
    inspection.

    tighter: for each lot, whether it would also have been accepted one AQL step tighter, where known; counts for the
    switching score with ac of 2 and more. steady: production is steady and the responsible authority wants reduced
    inspection. "stopped" after five lots not accepted under tightened inspection: sampling ends until the supplier has
    acted. [1] 9.3, 9.4.
    """
    state, run, score, refused = NORMAL, [], 0, 0
    for number, accepted in enumerate(lots):
        run.append(accepted)
        if state == NORMAL:
            score = _score(score, accepted, tighter[number] if tighter is not None else False, ac)
            if run[-5:].count(False) >= 2:
                state, run, score, refused = TIGHTENED, [], 0, 0
            elif score >= STEADY_SCORE and steady:
                state, run = REDUCED, []
        elif state == TIGHTENED:
            refused += not accepted
            if refused >= 5:
                return "stopped"
            if len(run) >= 5 and all(run[-5:]):
                state, run, score = NORMAL, [], 0
        elif not accepted:
            state, run, score = NORMAL, [], 0
    return state


def _score(score: int, accepted: bool, tighter: bool, ac: int) -> int:
    """The switching score after one lot. [1] 9.3.3.2."""
    if ac >= 2:
        return score + 3 if accepted and tighter else 0
    return score + 2 if accepted else 0
