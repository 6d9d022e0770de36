"""One correction at the feeder for a gob position, from all that was weighed of it: hot and cold, and every item
it feeds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipelines.measures.weights.drift import STEP_SHARE

TELLS = 1.2  # precisions of what was thought beforehand above which weighings tell something of their own
DISAGREE = 0.01  # chance below which what was weighed of one gob position is said to disagree


@dataclass(frozen=True)
class Weighed:
    """What one item's weighings at one point say of a gob position: its drift as the gobs are cut now, as a
    share of the
    item's weight, and its standard deviation; drifting: whether it was called there."""

    item: str | None
    point: str
    share: float
    sd: float
    drifting: bool


@dataclass(frozen=True)
class CorrectedTogether:
    """The drift of a gob position as a share of the weight, with a 95 % interval; chance: of such differences
    between what
    was weighed, were it one drift (1 for a single one); agree: chance is at least DISAGREE."""

    share: float
    low: float
    high: float
    chance: float

    @property
    def agree(self) -> bool:
        return self.chance >= DISAGREE


def together(weighed: Sequence[Weighed]) -> CorrectedTogether:
    """Weighed means of shares, because one orifice and one shear cut scale every gob of the position alike.

    Each estimate carries the same distribution beforehand (STEP_SHARE about nothing), which may count once only:
    of k
    estimates k - 1 of its precisions are taken out. Differences are judged by chi-square with k - 1 degrees of
    freedom.
    References: [1] Gelman and others, Bayesian Data Analysis, 2.5: precisions add. [2] Cochran, Biometrics 10
    (1954) 101.
    ValueError for none.
    """
    if not weighed:
        raise ValueError("nothing was weighed of this gob position")
    before = STEP_SHARE**-2
    precision = [max(this_weighed.sd, 1e-9) ** -2 for this_weighed in weighed]
    score = sum(p * this_weighed.share for p, this_weighed in zip(precision, weighed, strict=True))
    total = max(sum(precision) - (len(weighed) - 1) * before, max(precision))
    share, half = score / total, 1.96 * total**-0.5
    chance = _agreement(
        [
            (p * this_weighed.share, p - before)
            for p, this_weighed in zip(precision, weighed, strict=True)
            if p > TELLS * before
        ]
    )
    return CorrectedTogether(share, share - half, share + half, chance)


def _agreement(data: Sequence[tuple[float, float]]) -> float:
    """Chance of such differences between what the weighings alone say (precision times share, precision); 1
    under two."""
    from scipy.special import chdtrc

    if len(data) < 2:
        return 1.0
    middle = sum(score for score, _ in data) / sum(precision for _, precision in data)
    apart = sum(precision * (score / precision - middle) ** 2 for score, precision in data)
    return float(chdtrc(len(data) - 1, apart))
