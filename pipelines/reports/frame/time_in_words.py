"""A time picture as a sentence, for whoever cannot see it."""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite

from pipelines.numbers import decimals, expected
from pipelines.reports.frame.time_picture import Track
from pipelines.words import joined, say


def in_words(tracks: Iterable[Track]) -> str:
    """The picture as a sentence: of each series its sum, what was expected, what lies beyond."""
    said = []
    for track in tracks:
        total = decimals(sum(v for v in track.values if isfinite(v)))
        known = [e for e in track.expected if isfinite(e)]
        beyond = sum(track.beyond)
        if not any(isfinite(v) for v in track.values):
            said.append(say("{title}: no ware or no counts", title=track.title))
        elif not known:
            said.append(say("{title}: {total}, nothing to compare with", title=track.title, total=total))
        elif beyond < 0.5:
            mean = expected(sum(known))
            said.append(say("{title}: {total}, {expected} expected", title=track.title, total=total, expected=mean))
        else:
            words = say(
                "{title}: {total}, {expected} expected, {beyond} of them beyond it since the onset",
                title=track.title,
                total=total,
                expected=expected(sum(known)),
                beyond=decimals(beyond),
            )
            said.append(words)
    return say("{series}.", series=joined("; ", said))
