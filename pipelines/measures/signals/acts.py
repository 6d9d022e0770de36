"""What to act on: the excesses that are open, those that a furnace's lines have in common as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from schemas.answers.signals import Signal


@dataclass(frozen=True)
class Act:
    """One thing to act on. signals: the open excesses that tell of it, the most harmful first: one, or one a line."""

    signals: tuple[Signal, ...]

    @property
    def first(self) -> Signal:
        return self.signals[0]

    @property
    def critical(self) -> bool:
        return any(signal.severity == "critical" for signal in self.signals)

    @property
    def lost_per_hour(self) -> float:
        """Calls beyond expectation in the last hour of ware that each covers [containers an hour]."""
        return sum(signal.lost_per_hour for signal in self.signals)

    @property
    def lost(self) -> float:
        """Calls beyond expectation since each began [containers]."""
        return sum(max(0.0, signal.calls - (signal.expected or 0.0)) for signal in self.signals)

    @property
    def in_the_lehr(self) -> float:
        """What is still to come out of the same cause, at the rate of the last hour, if it was cured at this moment
        [containers]; an estimate: the time from forming to the station is that of the onset.
        """
        hour = timedelta(hours=1)
        return sum(signal.lost_per_hour * ((signal.onset - signal.formed) / hour) for signal in self.signals)

    @property
    def earliest(self) -> Signal:
        """The one that began first."""
        return min(self.signals, key=lambda signal: signal.onset)

    @property
    def seen(self) -> Signal | None:
        """One of them that somebody has seen, where all of them were seen."""
        if any(signal.acknowledged_by is None for signal in self.signals):
            return None
        return self.first


def acts(signals: Sequence[Signal]) -> list[Act]:
    """Open excesses as things to act on, the greatest loss first; those at a furnace of one defect are one."""
    together: dict[tuple[str, ...], list[Signal]] = {}
    for signal in signals:
        if signal.kind == "excess" and signal.ended is None and not signal.passed:
            together.setdefault(_cause(signal), []).append(signal)
    found = [Act(tuple(sorted(mine, key=lambda s: (-s.lost_per_hour, s.line)))) for mine in together.values()]
    return sorted(found, key=lambda act: (-act.lost_per_hour, act.first.id))


def most_harmful(signals: Sequence[Signal]) -> list[Act]:
    """What to act on: critical first, then by loss."""
    return sorted(acts(signals), key=lambda act: (not act.critical, -act.lost_per_hour))


def of_one_cause(signal: Signal, others: Sequence[Signal]) -> list[Signal]:
    """The open signals among `others` that tell of the same thing as this one, itself left out."""
    return [
        other for other in others if other.id != signal.id and other.ended is None and _cause(other) == _cause(signal)
    ]


def _cause(signal: Signal) -> tuple[str, ...]:
    return (signal.furnace, signal.defect) if signal.scope == "furnace" else (signal.id,)
