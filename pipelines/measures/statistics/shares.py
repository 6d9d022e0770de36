"""Shares, ratios and intervals. Computed here and nowhere else."""

from __future__ import annotations

from pipelines.words import say


def ratio(part: float, whole: float | None) -> float | None:
    """part / whole; None where there is no whole to be a part of."""
    return part / whole if whole else None


def share(part: float, whole: float | None) -> float | None:
    """part / whole, where the one was counted among the other; None where there is no whole, or where more was counted
    of the part.
    """
    return None if whole is not None and part > whole else ratio(part, whole)


def more_than_whole(rejected: float, ware: float) -> str | None:
    """What there is to say where more was rejected than was counted in; None where a share can be told."""
    if rejected <= ware:
        return None
    return say(
        "{rejected} rejected and only {ware} containers counted at the first station: no share is told. "
        "Its counts are short, or the ware was counted before this time began.",
        rejected=f"{rejected:,.0f}",
        ware=f"{ware:,.0f}",
    )


def quality_ratio(good: float, produced: float | None) -> float | None:
    """Quality ratio GQ / PQ: good quantity over produced quantity, both in containers.

    References: [1] ISO 22400-2:2014, quality ratio.
    """
    return ratio(good, produced)


def scrap_ratio(scrap: float, produced: float | None) -> float | None:
    """Scrap ratio SQ / PQ: scrap quantity over produced quantity, both in containers.

    References: [1] ISO 22400-2:2014, scrap ratio.
    """
    return ratio(scrap, produced)


def availability(running_minutes: float, planned_minutes: float | None) -> float | None:
    """Availability APT / PBT: actual production time over planned busy time, both in minutes.

    References: [1] ISO 22400-2:2014, availability.
    """
    return ratio(running_minutes, planned_minutes)


def proportion_interval(hits: float, trials: float, level: float = 0.95) -> tuple[float, float]:
    """Exact interval of a proportion, each tail (1 - level) / 2; (0, 1) without trials.

    References: [1] Clopper and Pearson, Biometrika 26 (1934) 404.
    """
    from scipy.special import betaincinv

    if trials == 0:
        return 0.0, 1.0
    tail = (1 - level) / 2
    low = float(betaincinv(hits, trials - hits + 1, tail)) if hits else 0.0
    high = float(betaincinv(hits + 1, trials - hits, 1 - tail)) if hits < trials else 1.0
    return low, high


def clustered_interval(hits: float, trials: float, effect: float, level: float = 0.95) -> tuple[float, float]:
    """The exact interval with as many trials as clustered ones are worth: trials / effect, effect their design effect;
    (0, 1) without trials.

    References: [1] Korn and Graubard, Survey Methodology 24 (1998) 193: Clopper and Pearson with the effective sample
    size.
    """
    return proportion_interval(hits / effect, trials / effect, level)


def score_interval(hits: float, trials: float, level: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval of a proportion, for denominators that need be no whole numbers; (0, 1) without trials.

    References: [1] Wilson, Journal of the American Statistical Association 22 (1927) 209.
    [2] Newcombe, Statistics in Medicine 17 (1998) 857, method 3.
    """
    from scipy.special import ndtri

    if trials <= 0:
        return 0.0, 1.0
    z = float(ndtri((1 + level) / 2))
    share = hits / trials
    middle, wide = share + z**2 / (2 * trials), z * (share * (1 - share) / trials + z**2 / (4 * trials**2)) ** 0.5
    scale = 1 + z**2 / trials
    return max(0.0, (middle - wide) / scale), min(1.0, (middle + wide) / scale)


def count_interval(count: int, level: float = 0.95) -> tuple[float, float]:
    """Exact interval of the mean of a Poisson count, each tail (1 - level) / 2.

    References: [1] Garwood, Biometrika 28 (1936) 437.
    """
    from scipy.special import gammaincinv

    tail = (1 - level) / 2
    low = float(gammaincinv(count, tail)) if count else 0.0
    return low, float(gammaincinv(count + 1, 1 - tail))


def mean_half_width(sd: float, n: int, level: float = 0.95) -> float:
    """Half width of the interval of a mean of n normal values with standard deviation `sd`, by Student's t; in the unit
    of sd. ValueError under 2 values.

    References: [1] Student, Biometrika 6 (1908) 1.
    """
    from scipy.special import stdtrit

    if n < 2:
        raise ValueError(f"{n} value tells no interval")
    return float(stdtrit(n - 1, (1 + level) / 2)) * sd / n**0.5
