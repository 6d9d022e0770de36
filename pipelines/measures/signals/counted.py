"""What a signal counts since its onset: calls, calls expected, containers of its place."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipelines.measures.signals.followed import Followed
from pipelines.measures.signals.found import Found

YOUNG_HOURS = 4  # a mould with fewer hours of its own has no past to speak of


def counted(tracker: Followed, signal: Found, now: int) -> Found:
    """The signal with its counts since the onset."""
    start = int(np.clip(np.floor(signal.onset.at), tracker.scan.first, now - 1))
    stop = min(now, signal.ended or now)
    seen, _, base = tracker.scan.series(signal.defect, signal.stream, start, max(stop, start + 1))
    came = _counted_bins(tracker, start, len(seen))
    first = max(0, came - tracker.bins(60))
    hours = max(1, came - first) * tracker.counts.step_s / 3600
    recent = float(seen[first:came].sum() - base[first:came].sum()) / hours
    ware = ware_of(tracker, signal, start, max(stop, start + 1))
    borrowed = tracker.latest.borrowed
    found = (float(seen.sum()), float(base.sum()), ware)
    return replace(
        signal, counted=found, recent=recent, borrowed=borrowed, new_mould=_new_mould(tracker, signal, start)
    )


def _counted_bins(tracker: Followed, start: int, length: int) -> int:
    """How many of the bins from `start` lie before the end of the newest count: an hour that runs has only begun."""
    sent = np.flatnonzero(tracker.counts.sent[:, start : start + length].any(axis=0))
    return int(sent[-1]) + 1 if sent.size else length


def _new_mould(tracker: Followed, signal: Found, start: int) -> bool:
    """Whether a mould's signal began so soon after its fitting that the line's rate stands for its own."""
    if signal.place.scope != "mould":
        return False
    hours = tracker.past.ware[:, list(signal.place.columns), : start // tracker.past.per_hour + 1].sum(axis=(0, 1)) > 0
    return int(hours.sum()) < YOUNG_HOURS


def ware_of(tracker: Followed, signal: Found, start: int, stop: int) -> float:
    """Containers of the signal's place at the first stations (all lanes) that can call the defect there."""
    stations = tracker.plant.stations_of(tracker.counts.line)
    stream = tracker.scan.streams[signal.stream]
    if stream.station is not None:
        return float(tracker.counts.ware[stream.station, :, start:stop].sum())
    able = [
        n for n, s in enumerate(stations) if tracker.able[signal.defect, n] and (stream.whole or tracker.past.reads[n])
    ]
    lanes = [n for n in able if stations[n].order == stations[able[0]].order]
    part = tracker.counts.ware[lanes, :, start:stop]
    return float(part.sum() if stream.whole else part[:, list(stream.columns)].sum())
