"""What an hour should bring by the line's own past, by defect and by place; and what of it cannot be judged."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipelines.measures.signals.baseline import LEAST_WARE, excess_p
from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.scan import benjamini_hochberg
from pipelines.measures.signals.sentences import (
    COARSE,
    NEW_JOB,
    NO_MOULDS,
    NO_PAST,
    NO_WARE,
    SILENT,
    TOO_COARSE,
    TWO_ITEMS,
)
from pipelines.measures.signals.track import Tracker
from pipelines.words import say

SCHEMA: dict[str, pl.DataType | type[pl.DataType]] = {
    "kind": pl.String,
    "key": pl.String,
    "expected": pl.Float64,
    "variance": pl.Float64,
    "doubt": pl.Float64,
}
SILENT_SHARE = 0.1
LATE_MIN = 15  # windows of this length and more are said to come late


def hour_expectations(tracker: Tracker, hour: int) -> pl.DataFrame:
    """One row a defect, mould, section, gob position and station: calls expected in the hour.

    variance: of the count about it from hour to hour beyond Poisson, in calls squared; doubt: standard deviation of the
    expectation itself, in calls. Empty where no past tells.
    """
    scan, expectation = tracker.scan, tracker.expectations[hour]
    per = tracker.past.per_hour
    lo, hi = hour * per - scan.first, min((hour + 1) * per, tracker.counts.bins) - scan.first
    able = (tracker.able & expectation.known).any(axis=1)
    if not able.any():
        return pl.DataFrame(schema=SCHEMA)
    expected = (scan.base[:, :, hi] - scan.base[:, :, lo]) * able[:, None]
    window = scan.variances(expectation, 1.0) * expected**2
    doubt = scan.spread * expected**2
    rows = [
        ("defect", code, expected[d, scan.line], window[d, scan.line], float(np.sqrt(doubt[d, scan.line])))
        for d, code in enumerate(tracker.counts.defects)
        if able[d]
    ]
    for number, stream in enumerate(scan.streams):
        if number != scan.line and stream.kind != "cavity":
            sums = (x[:, number].sum() for x in (expected, window, doubt))
            of_stream, variance, squared = sums
            rows.append((stream.kind, stream.key, of_stream, variance, float(np.sqrt(squared))))
    frame = pl.DataFrame(rows, schema=SCHEMA, orient="row").filter(pl.col("expected") > 0)
    summed = frame.group_by("kind", "key", maintain_order=True).agg(pl.all().sum())
    return summed.with_columns(pl.col("expected", "variance", "doubt").round_sig_figs(6))


def excess_q(calls: np.ndarray, expected: np.ndarray, variance: np.ndarray, doubt: np.ndarray) -> np.ndarray:
    """False-discovery-adjusted probability that chance alone brings `calls` or more, over all rows together.

    expected in calls; variance beyond Poisson in calls squared; doubt: standard deviation of expected, in calls.
    """
    relative = (variance + doubt**2) / np.maximum(expected, 1e-9) ** 2
    return benjamini_hochberg(excess_p(calls, expected, relative))


def hour_doubts(tracker: Tracker, hour: int) -> list[str]:
    """What of an hour could not be judged, and why; each a sentence."""
    expected, counts, per = tracker.expectations[hour], tracker.counts, tracker.past.per_hour
    part = slice(hour * per, min((hour + 1) * per, counts.bins))
    said = [*_silent(tracker, part), *_coarse(tracker, part)]
    ware = counts.ware[:, :, part].sum()
    if ware == 0:
        if counts.unjudged[:, part].any() or (counts.window > part.stop - part.start).any():
            return said
        return [*said, say(NO_WARE)]
    if not expected.known.any():
        said.append(say(NO_PAST, ware=f"{LEAST_WARE:.0f}"))
    elif expected.borrowed:
        said.append(say(NEW_JOB))
    if not tracker.past.reads.any():
        said.append(say(NO_MOULDS))
    return said


def _silent(tracker: Tracker, part: slice) -> list[str]:
    """Stations that sent nothing while the line's newest counts are later than they could be."""
    counts = tracker.counts
    sent = np.flatnonzero(counts.sent.any(axis=0))
    newest = int(sent[-1]) + 1 if len(sent) else 0
    said = []
    for number, station in enumerate(counts.stations):
        here = counts.sent[number, part]
        due = min(part.stop, newest) - part.start
        length = max(int(counts.window[number]), int(counts.too_long[number]))
        if length > 1 and counts.sent[number].any():
            last = int(np.flatnonzero(counts.sent[number])[-1]) + 1
            due = min(due, max(last, newest - length) - part.start)  # its next window is not over
        silent = max(0, due) - int(here[: max(0, due)].sum())
        if silent > SILENT_SHARE * len(here):
            minutes = silent * counts.step_s / 60
            said.append(say(SILENT, station=station, minutes=f"{minutes:.0f}"))
    return said


def _coarse(tracker: Tracker, part: slice) -> list[str]:
    """Stations whose windows are too long to judge, or so long that they judge late."""
    counts, said = tracker.counts, []
    for number, station in enumerate(counts.stations):
        minutes = int(counts.window[number]) * counts.step_s // 60
        if _left_out(counts, number, part):
            said.append(_unjudged(counts, number, station))
        elif minutes >= LATE_MIN and counts.sent[number, part].any():
            said.append(say(COARSE, station=station, minutes=minutes, late=minutes))
    return said


def _left_out(counts: LineCounts, number: int, part: slice) -> bool:
    """Whether counts of the hour were left out, or are on their way in a window that will be."""
    unjudged = np.flatnonzero(counts.unjudged[number])
    last = int(unjudged[-1]) if len(unjudged) else -1
    coming = last < part.start <= last + int(counts.too_long[number])
    return bool(counts.unjudged[number, part].any()) or coming


def _unjudged(counts: LineCounts, number: int, station: str) -> str:
    length = int(counts.too_long[number]) * counts.step_s // 60
    if length:
        return say(TOO_COARSE, station=station, minutes=length)
    return say(TWO_ITEMS, station=station)
