"""How far counts scatter beyond Poisson: by the likelihood of all moulds of a line together, shared over its
defects.
"""

from __future__ import annotations

import numpy as np

HABIT_VARIANCE = 0.25  # between moulds, where a line's own is not known yet
PHI_START, PHI_LINE = 0.15, 0.03  # of a mould and of a line, before anything is known
PHI_LEAST, PHI_MOST = 0.01, 3.0
BLOCKS = (1, 4, 8)  # hours in which dispersion is estimated: rates that wander slowly do not average out in a shift
FEW = 4  # of fewer blocks no dispersion is estimated
GRID = np.geomspace(0.004, 6.0, 22)
SPREADS = (0.3, 0.6, 1.0)  # standard deviations of log phi from defect to defect that are compared
START_SD = 0.8  # of the log of the pool's centre about the starting value


def dispersions(
    calls: np.ndarray, ware: np.ndarray, rate: np.ndarray, reads: np.ndarray
) -> tuple[dict[int, np.ndarray], dict[int, np.ndarray], np.ndarray]:
    """Relative excess variances: common to a line and own to a mould by block length, and between moulds; all
    [defects].

    calls, ware: [defects, stations, columns + 1, hours]; rate: [defects, stations]. What a line's sum shows beyond its
    moulds' mean is common. Each defect's figure is its posterior mean under a normal of log phi over all defects (see
    `shared`).
    """
    seen, wanted = _by_mould(calls, ware, rate, reads)
    between = shared(negative_binomial_logs(seen.sum(axis=2), wanted.sum(axis=2)), HABIT_VARIANCE, (0.01, 4.0))
    common: dict[int, np.ndarray] = {}
    own: dict[int, np.ndarray] = {}
    for before, block in zip((BLOCKS[0], *BLOCKS), BLOCKS, strict=False):
        if calls.shape[3] // block < FEW and common:
            common[block], own[block] = common[before], own[before]
            continue
        mould = _phi(_blocks(seen, block), _blocks(wanted, block), PHI_START)
        lines = [_blocks(x.sum(axis=(1, 2))[:, None], block) for x in (calls, rate[:, :, None, None] * ware)]
        line = _phi(lines[0], lines[1], PHI_LINE)
        moulds = max(2, seen.shape[1])
        idio = np.clip((mould - line) / (1 - 1 / moulds), 0.0, PHI_MOST) if seen.shape[1] > 1 else np.zeros_like(line)
        common[block], own[block] = np.clip(line - idio / moulds, PHI_LEAST / 4, PHI_MOST), idio
    return common, own, between


def _by_mould(
    calls: np.ndarray, ware: np.ndarray, rate: np.ndarray, reads: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    keep = reads[None, :, None, None]
    seen = (calls * keep)[:, :, :-1].sum(axis=1)
    wanted = (rate[:, :, None, None] * ware * keep)[:, :, :-1].sum(axis=1)
    return seen, wanted


def _blocks(values: np.ndarray, block: int) -> np.ndarray:
    """Sums over whole blocks of hours, the newest kept: [defects, columns, blocks]."""
    whole = values.shape[-1] // block * block
    answer: np.ndarray = values[..., values.shape[-1] - whole :]
    return answer.reshape(*values.shape[:-1], whole // block, block).sum(axis=-1)


def _phi(seen: np.ndarray, wanted: np.ndarray, start: float) -> np.ndarray:
    """Relative excess variance of each defect's cells [defects, columns, blocks]; `start` before anything is known."""
    if wanted.shape[2] < FEW:
        return np.full(len(wanted), start)
    return shared(conditional_logs(seen, wanted), start, (PHI_LEAST, PHI_MOST))


def conditional_logs(seen: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Log likelihood [defects, GRID] of phi from cells [defects, columns, blocks], each column's level unknown.

    Given a column's total, counts that are negative binomial with sizes in proportion to what they should be are
    Dirichlet multinomial, whatever the column's level: no level needs to be fitted, so sparse columns, of which most
    blocks hold nothing, tell what they can and no more.
    References: [1] Johnson, Kotz and Balakrishnan, Discrete Multivariate Distributions (1997) 35.13.1
    (Dirichlet-compound multinomial). [2] McCullagh and Nelder, Generalized Linear Models, 2nd ed., 7.2 (conditional
    likelihood).
    """
    from scipy.special import gammaln

    values = np.zeros((len(seen), len(GRID)))
    here = wanted > 0
    blocks = here.sum(axis=2)
    share = wanted * blocks[:, :, None] / np.maximum(wanted.sum(axis=2, keepdims=True), 1e-300)
    counted = np.where(here, seen, 0.0)
    total = counted.sum(axis=2)
    d, c = np.nonzero(total)
    whole = blocks[d, c][:, None] / GRID
    np.add.at(values, d, gammaln(whole) - gammaln(total[d, c][:, None] + whole))
    d, c, b = np.nonzero(counted)
    size = share[d, c, b][:, None] / GRID
    np.add.at(values, d, gammaln(counted[d, c, b][:, None] + size) - gammaln(size))
    return values


def negative_binomial_logs(seen: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Log likelihood [defects, GRID] of the relative variance between moulds from their totals [defects, columns]."""
    from scipy.special import gammaln

    size, mean, n = 1 / GRID, np.maximum(wanted, 1e-12)[:, :, None], seen[:, :, None]
    logs = gammaln(n + size) - gammaln(size) + n * np.log(mean / (mean + size)) - size * np.log1p(mean / size)
    values: np.ndarray = np.where((wanted > 0)[:, :, None], logs, 0.0).sum(axis=1)
    return values


def shared(logs: np.ndarray, start: float, limits: tuple[float, float]) -> np.ndarray:
    """Posterior mean of phi of each defect [defects] under a common normal of log phi, whose centre and spread come
    from all of them.

    logs: [defects, GRID]. The centre has a normal prior about log `start` (START_SD), so that a works without any past
    has it.
    References: [1] Efron and Morris, JASA 70 (1975) 311 (empirical Bayes over parallel problems).
    """
    at = np.log(GRID)
    likely = np.exp(logs - logs.max(axis=1, keepdims=True))
    best, values = -np.inf, np.zeros_like(logs)
    for spread in SPREADS:
        prior = np.exp(-0.5 * ((at[None, :] - at[:, None]) / spread) ** 2)  # a row a centre
        prior /= prior.sum(axis=1, keepdims=True)
        score = np.log(likely @ prior.T + 1e-300).sum(axis=0) - 0.5 * ((at - np.log(start)) / START_SD) ** 2
        centre = int(np.argmax(score))
        if score[centre] > best:
            best, values = float(score[centre]), likely * prior[centre]
    mean: np.ndarray = (values @ GRID) / values.sum(axis=1)
    return np.clip(mean, *limits)
