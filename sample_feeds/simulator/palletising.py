"""From the last station to the pallet: an accumulation table that fills while palletisers stand, and palletisers that
share the ware.
"""

from __future__ import annotations

import numpy as np

from sample_feeds.simulator.plan import LinePlan, Plan

QUICKER = 1.3  # the palletisers of a line together, against the line
STANDS_MIN = (5.0, 45.0)
LEFT_BEHIND = 0.15  # of the time on the table, by which containers of one moment differ


def stops_of(plan: Plan, line: str, palletiser: int) -> list[tuple[int, int]]:
    """Minutes from and to which a palletiser of a line stood."""
    often = plan.rough.strength.palletiser_stops
    if not often:
        return []
    rng = np.random.default_rng([plan.seed, 55, list(plan.lines).index(line), palletiser])
    starts = np.sort(rng.integers(0, plan.minutes, rng.poisson(often * plan.minutes / 1440)))
    return [(int(start), int(start + rng.uniform(*STANDS_MIN))) for start in starts]


def to_palletisers(
    plan: Plan, line_plan: LinePlan, time: np.ndarray, good: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """When each container is packed [min] and by which palletiser. time: when it leaves the last station and the belt
    after it.

    Ware goes to one of the palletisers that run, and waits on the table as long as the work before it takes, at most
    `table` minutes.
    """
    strength = plan.rough.strength
    palletiser = np.zeros(len(time), np.int64)
    if strength.palletisers == 1 and not strength.table:
        return time, palletiser
    rng = np.random.default_rng([plan.seed, 56, list(plan.lines).index(line_plan.line)])
    minute = np.clip(np.floor(time), 0, None).astype(np.int64)
    number, minutes = strength.palletisers, int(minute.max()) + 1
    runs = np.ones((minutes, number))
    for at in range(number):
        for start, end in stops_of(plan, line_plan.line, at):
            runs[start:end, at] = 0
    sent = np.where(runs.sum(axis=1, keepdims=True) > 0, runs, 1.0)
    upto = np.cumsum(sent / sent.sum(axis=1, keepdims=True), axis=1)
    palletiser = np.minimum((rng.random(len(time))[:, None] >= upto[minute]).sum(axis=1), number - 1)
    wait = np.zeros(len(time))
    coming = np.bincount(minute[good], minlength=minutes)
    each = float(np.median(coming[coming > 0])) * QUICKER / number
    for at in range(number):
        mine = good & (palletiser == at)
        delays = _delays(np.bincount(minute[mine], minlength=minutes), runs[:, at] * each)
        wait[mine] = np.minimum(delays[minute[mine]], strength.table)
    return time + wait * (1 + rng.uniform(-LEFT_BEHIND, LEFT_BEHIND, len(time))), palletiser


def _delays(arriving: np.ndarray, able: np.ndarray) -> np.ndarray:
    """Minutes that what arrives in each minute waits: when all that arrived up to it has been worked off by what was
    able to. First come, first served.
    """
    done = np.zeros(len(arriving))
    waiting = 0.0
    for minute, (more, can) in enumerate(zip(arriving.tolist(), able.tolist(), strict=True)):
        waiting = max(0.0, waiting + more - can)
        done[minute] = waiting
    work = np.concatenate([[0.0], np.cumsum(able)])
    target = work[1:] + done
    values: np.ndarray = np.interp(target, work, np.arange(len(work))) - np.arange(1, len(work))
    return np.maximum(values, 0.0)
