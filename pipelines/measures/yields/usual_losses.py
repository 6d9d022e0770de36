"""How much is usually lost where no meter stands: from the works' own past, and a guess where there is none."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

DAYS = 182  # how far back the past is asked
# share of the ware that breaks or falls unseen at one step: mean of an exponential guess, no source
GUESS_LINE = 0.0005
# share of the pull that leaves between furnace and shears: mean of an exponential guess, no source
GUESS_FURNACE = 0.004
ENOUGH = 8  # days from which the spread between days is believed
VARIES = 0.15  # standard deviation of a loss from day to day over its mean, where the days do not tell: a guess


@dataclass(frozen=True)
class ExpectedLosses:
    """A loss as it is expected of a day: share of what passes, standard deviation of that share, and on how many days
    it stands.
    """

    share: float
    sd: float
    days: int = 0


def expected_share(shares: Sequence[float], meters_sd: Sequence[float], guess: float, steps: int = 1) -> ExpectedLosses:
    """The share of the ware or glass that is expected to be lost unseen.

    shares: what did not close on earlier days, over what passed; meters_sd: its standard uncertainty each day, from the
    meters;
    guess: mean and standard deviation of the exponential guess that the past is weighed against, one for each of
    `steps`. Days far from the middle (over 3.5 by the median absolute deviation) are passed over. Where the days agree
    far better than the meters are said to, the rest of the stated uncertainty is taken as lasting: more days do not
    lessen it. Both that and a spread of the loss itself count only where the days show it beyond chance (5 %).
    References: [1] Box and Tiao, Bayesian Inference in Statistical Analysis (1973) 2.2 (weighing a guess with data).
    [2] Iglewicz and Hoaglin, How to Detect and Handle Outliers (1993) (3.5 by the median absolute deviation).
    """
    mean, var = steps * guess, steps * guess**2
    kept = _near_the_middle(shares, meters_sd)
    n = len(kept)
    if not n:
        return ExpectedLosses(mean, math.hypot(math.sqrt(var), VARIES * mean))
    past, noise = sum(share for share, _ in kept) / n, sum(sd**2 for _, sd in kept) / n
    between = sum((share - past) ** 2 for share, _ in kept) / (n - 1) if n > 1 else noise
    lasting = max(0.0, noise - between * (n - 1) / chi2_quantile(n - 1, -1.645)) if n >= ENOUGH else 0.0
    of_mean = (between if lasting else max(between, noise)) / n + lasting
    share = max(0.0, (past / of_mean + mean / var) / (1 / of_mean + 1 / var))
    varies = max(0.0, between * (n - 1) / chi2_quantile(n - 1, 1.645) - noise) if n >= ENOUGH else 0.0
    return ExpectedLosses(share, math.sqrt(1 / (1 / of_mean + 1 / var) + max(varies, (VARIES * share) ** 2)), n)


def _near_the_middle(shares: Sequence[float], meters_sd: Sequence[float]) -> list[tuple[float, float]]:
    pairs = list(zip(shares, meters_sd, strict=True))
    if len(pairs) < 4:
        return pairs
    middle = sorted(shares)[len(shares) // 2]
    off = sorted(abs(share - middle) for share in shares)[len(shares) // 2]
    wide = [max(3.5 * off / 0.6745, 0.5 * sd) for _, sd in pairs]
    return [pair for pair, most in zip(pairs, wide, strict=True) if abs(pair[0] - middle) <= most]


def chi2_quantile(freedom: int, normal: float) -> float:
    """The chi-square quantile at a normal quantile, by Wilson and Hilferty, Proceedings of the National Academy of
    Sciences 17 (1931) 684.
    """
    part = 2 / (9 * freedom)
    return float(freedom * max(1 - part + normal * math.sqrt(part), 0.05) ** 3)
