"""Following all lines of a furnace side by side, so that each can ask what the others show of a defect."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import timedelta

from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.place_cells import Beside
from pipelines.measures.signals.track import Found, Tracker
from pipelines.plant.works import Plant
from schemas.answers.shape import SURE

SHARED_P = 0.005
OLDER_MIN = 120  # a signal of another line that surely began so much earlier is another matter and stays expected there


def follow_lines(
    plant: Plant, counts: Mapping[str, LineCounts], first_hour: int, lehr_minutes: Mapping[str, float]
) -> Iterator[tuple[int, dict[str, Tracker], dict[str, list[Found]]]]:
    """Hour by hour from `first_hour`: the hour, the lines' trackers, and each line's signals as they stand at its end.

    counts: lines of one furnace, all from the same moment. The hours before `first_hour` only teach.
    """
    trackers = {line: Tracker(plant, line_counts, first_hour) for line, line_counts in counts.items()}
    for line, tracker in trackers.items():
        tracker.beside = _beside(line, trackers, lehr_minutes)
    hours = max((tracker.past.hours for tracker in trackers.values()), default=0)
    for hour in range(first_hour, hours):
        here = {line: tracker for line, tracker in trackers.items() if hour < tracker.past.hours}
        for tracker in here.values():
            tracker.begin(hour)
        before = {line: {s.name for s in tracker.signals if s.ended is not None} for line, tracker in here.items()}
        for tracker in here.values():
            tracker.follow(hour)
        _share(here, lehr_minutes)
        yield (
            hour,
            trackers,
            {line: [s for s in tracker.signals if s.name not in before[line]] for line, tracker in here.items()},
        )


def _share(trackers: Mapping[str, Tracker], lehr_minutes: Mapping[str, float]) -> None:
    """A signal of all lines of the furnace is one on each line that shows it, though it would not stand out there
    alone.

    One named defect on one line since one moment is a single test, so a plain level of SHARED_P holds for it.
    """
    for line, tracker in trackers.items():
        for signal in [s for s in tracker.signals if s.ended is None and s.place.scope == "furnace"]:
            if signal.placing.scopes["furnace"] < SURE:
                continue
            for name, other in trackers.items():
                if name != line:
                    later = timedelta(minutes=lehr_minutes[name] - lehr_minutes[line])
                    start = other.counts.bin_of(tracker.counts.moment(signal.onset.at) + later)
                    other.join(signal.defect, start, SHARED_P)


class _beside:
    """What the other lines saw of the ware that was formed in the same window."""

    def __init__(self, line: str, trackers: Mapping[str, Tracker], lehr_minutes: Mapping[str, float]):
        self.line, self.trackers, self.lehr = line, trackers, lehr_minutes

    def __call__(self, defect: int, start: int, stop: int) -> Sequence[Beside]:
        mine = self.trackers[self.line].counts
        return [
            self._of(name, other, defect, mine, start, stop)
            for name, other in self.trackers.items()
            if name != self.line and other.able[defect].any()
        ]

    def _of(self, name: str, other: Tracker, defect: int, mine: LineCounts, start: int, stop: int) -> Beside:
        later = timedelta(minutes=self.lehr[name] - self.lehr[self.line])
        moved = (other.counts.bin_of(mine.moment(at) + later) for at in (start, stop))
        lo, hi = (int(min(max(other.scan.first, at), other.scan.until)) for at in moved)
        since = lo - round(OLDER_MIN * 60 / other.counts.step_s)
        return Beside(name, other.cells_beside(defect, lo, max(lo, hi), since))
