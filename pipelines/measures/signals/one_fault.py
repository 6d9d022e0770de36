"""One fault told as one: two signals of a defect of which one place explains both, and how a place's growth shows at
each station.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from pipelines.measures.signals.baseline import excess_p
from pipelines.measures.signals.counted import counted
from pipelines.measures.signals.followed import Followed
from pipelines.measures.signals.found import Found
from pipelines.measures.signals.scan import Stream
from pipelines.measures.signals.scope import ScopePlace
from schemas.answers.shape import SURE

EXPLAINED_P = 1e-3  # what another signal leaves of one is chance where it would come oftener than this
ALSO_LIKELY = 0.5  # a known place with this part of a guess's probability is the guess's own


def made_one(tracker: Followed, stop: int) -> None:
    """Close each open signal that an older one of its defect explains, once that is placed as if the younger were not
    known.

    A fault of a section is often raised as its first mould's, and its next mould's calls as a second signal, before
    enough is seen to tell.
    """
    rows = [s for s in tracker.signals if s.ended is None and not s.part_of]
    for older, younger in combinations(sorted(rows, key=lambda s: s.raised), 2):
        names = {s.name: s for s in tracker.signals if s.ended is None and not s.part_of}
        if older.defect == younger.defect and older.name in names and younger.name in names:
            _joined(tracker, names[older.name], names[younger.name], stop)


def _joined(tracker: Followed, older: Found, younger: Found, stop: int) -> None:
    before = list(tracker.signals)
    part = replace(younger, ended=stop, why_ended=f"the same fault as {older.name}", part_of=older.name)
    tracker.keep(part)
    wider = tracker.updated(older, stop)
    if wider is not None:
        tracker.keep(counted(tracker, wider, stop))
        tracker.explain(older.defect)
        if _explained(tracker, younger, stop):
            return
    tracker.signals = before
    tracker.explain(older.defect)


def _explained(tracker: Followed, younger: Found, stop: int) -> bool:
    """Whether the younger signal's calls since its onset are no more than the other signals let expect."""
    start = max(tracker.scan.first, int(younger.onset.at))
    seen, wanted, _ = (float(x.sum()) for x in tracker.scan.series(younger.defect, younger.stream, start, stop))
    return (
        float(excess_p(np.array(seen), np.array(wanted), tracker.scan.hourly[younger.defect, younger.stream]))
        > EXPLAINED_P
    )


def same_fault(known: Found, new: Found) -> bool:
    """Whether a new signal tells of a fault that is known already, whose place no longer changes.

    It does at the same place, for a fault's rate wanders; or where its own place is a guess and the known one is nearly
    as likely, or holds the guess and began no later. What surely lies elsewhere, or rose later inside a wider place, is
    another fault.
    """
    old, here = known.place, new.place
    if _same_ware(old, here):
        return True
    if new.placing.scopes[here.scope] >= SURE:
        return False
    also = max((p.probability for p in new.placing.places if _same_ware(p, old)), default=0.0)
    within = old.station is None and here.station is None and set(here.columns) <= set(old.columns)
    return also >= ALSO_LIKELY * here.probability or (within and new.onset.low <= known.onset.high)


def _same_ware(scope_place: ScopePlace, other: ScopePlace) -> bool:
    return (scope_place.columns, scope_place.station, scope_place.blinded) == (
        other.columns,
        other.station,
        other.blinded,
    )


def by_station(stream: Stream, growth: Sequence[float], base: np.ndarray, reads: np.ndarray) -> np.ndarray:
    """[stations] how the growth of each differs from that of the signal's stream: only the true part of its calls
    grows.

    growth: [stations] how many times its usual calls each has in the place; base: those usual calls, [stations, columns
    + 1];
    reads: [stations] whether moulds are read there.
    """
    more = np.array(growth) - 1
    if stream.station is not None:
        mine = np.zeros(len(base))
        mine[stream.station] = base[stream.station].sum()
    else:
        mine = base.sum(axis=1) if stream.whole else base[:, :-1].sum(axis=1) * reads
    mean = float(mine @ more) / max(float(mine.sum()), 1e-12)
    values: np.ndarray = more / mean if mean > 1e-6 else np.ones(len(base))
    return values
