"""A found signal in the words and clocks of its readers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl

from pipelines.measures.lehr.lehr_time import LehrTime
from pipelines.measures.pareto.ranking import own_ware
from pipelines.measures.signals.counts import LineCounts
from pipelines.measures.signals.onset import minutes_to_close
from pipelines.measures.signals.scope import LOOK_BLINDED, LOOK_FIRST
from pipelines.measures.signals.sentences import (
    CAUSED,
    CLOSED,
    CLOSES,
    CLOSES_AFTER,
    FITTED,
    JOB_STARTED,
    LEHR,
    LOOK_CRITICAL,
    RUNNING,
    SECTION_RUNNING,
    SECTION_STOPPED,
    SEEN_AFTER,
    STOPPED,
    TAKEN_OUT,
)
from pipelines.measures.signals.track import Found, Tracker
from pipelines.plant.works import Plant
from pipelines.words import joined, say
from schemas.answers.signals import Signal

EXCESS, CRITICAL_CALL = "excess", "critical call"
SERIES_BARS = 36
_STOPS = (("stopped_at", STOPPED, SECTION_STOPPED), ("restarted_at", RUNNING, SECTION_RUNNING))
AROUND_MIN = 10.0  # the logs are searched this much beyond the interval of the formed onset


@dataclass(frozen=True)
class Logs:
    """What the hot end wrote down. fittings: fitted_at, section, gob, part, number. stoppages: section, stopped_at,
    restarted_at, cause. jobs: started_at, job, item. All by the forming clock."""

    fittings: pl.DataFrame
    stoppages: pl.DataFrame
    jobs: pl.DataFrame


LehrAt = Callable[[datetime], LehrTime]
Bars = tuple[float, ...]


def tell(plant: Plant, tracker: Tracker, found: Found, now: int, lehr_at: LehrAt, logs: Logs) -> Signal:
    """The signal as it stands at bin `now`: moments by the calling station's clock and by the forming clock."""
    counts, where = tracker.counts, found.place
    after = tracker.after_minutes(found)
    moment = _rounded(counts, after)
    lehr = lehr_at(moment(found.onset.at))
    dates = _dates(moment, found, lehr, after)
    calls, expected, ware = found.counted
    defect = plant.defects[counts.defects[found.defect]]
    columns = [counts.columns[n] for n in where.columns] if where.scope in ("mould", "section", "gob") else []
    return Signal(
        id=found.name,
        kind=EXCESS,
        line=counts.line,
        furnace=plant.lines[counts.line].furnace,
        defect=defect.code,
        name=defect.name,
        severity=defect.severity,
        scope=where.scope,
        members=where.members,
        moulds=tuple(c.mould for c in columns),
        cavities=tuple(f"{c.section}{c.gob}" for c in columns if c.section is not None),
        **dates,
        lehr=say(LEHR, minutes=f"{lehr.minutes:.0f}", source=lehr.source),
        why_ended=found.why_ended if found.ended is not None else "",
        passed=found.passed,
        calls=round(calls),
        expected=expected,
        ware=ware,
        rate_before=expected / ware if ware else None,
        rate_after=calls / ware if ware else None,
        lost_per_hour=max(0.0, found.recent),
        q=found.q,
        **_placed(found),
        borrowed=found.borrowed,
        new_mould=found.new_mould,
        look_first=say(LOOK_BLINDED if where.blinded else LOOK_FIRST[where.scope]),
        blinded=where.blinded,
        happened=happened(plant, logs, found, tracker, (dates["formed_low"], dates["formed_high"])),
        closes=_closes(tracker, found, lehr),
        **_bars(moment, *_series(tracker, found, now)),
    )


def _dates(moment: Callable[[float], datetime], found: Found, lehr: LehrTime, after: float) -> dict[str, Any]:
    """When it began, by both clocks with their intervals, when it was raised, when it ended."""
    onset, low, high = (moment(at) for at in (found.onset.at, found.onset.low, found.onset.high))
    half = timedelta(minutes=lehr.half_width)
    return {
        "raised": moment(found.raised),
        "onset": onset,
        "onset_low": low,
        "onset_high": high,
        "formed": lehr.formed(onset, after),
        "formed_low": lehr.formed(low, after) - half,
        "formed_high": lehr.formed(high, after) + half,
        "ended": None if found.ended is None else moment(found.ended),
    }


def _placed(found: Found) -> dict[str, Any]:
    """How probable the place is, and what else it can be."""
    placing = found.placing
    return {
        "probability": placing.scopes[found.place.scope],
        "scopes": {scope: round(share, 4) for scope, share in placing.scopes.items()},
        "placed_inside": placing.inside,
        "undecided": placing.undecided,
    }


def _bars(
    moment: Callable[[float], datetime], first: float, step: float, calls: Bars, expected: Bars
) -> dict[str, Any]:
    return {
        "series_from": moment(first),
        "series_step_min": step,
        "series_calls": calls,
        "series_expected": expected,
    }


def nothing_found(doubts: Sequence[str]) -> str:
    """What to say where no excess was found: nothing is called usual that could not be judged."""
    if not doubts:
        return say("No excess that chance does not explain.")
    return say(
        "No excess that chance does not explain, as far as it could be judged: {doubts}", doubts=joined(" ", doubts)
    )


def _rounded(counts: LineCounts, after: float) -> Callable[[float], datetime]:
    def moment(at: float) -> datetime:
        return (counts.moment(at) + timedelta(minutes=after, seconds=30)).replace(second=0, microsecond=0)

    return moment


def _series(tracker: Tracker, found: Found, now: int) -> tuple[float, float, Bars, Bars]:
    """First bin, minutes a bar, calls and expected calls of the signal's stream from before the onset until now."""
    step = tracker.counts.step_s / 60
    until = min(now, (found.ended or now) + int(120 / step))
    first = max(tracker.scan.first, int(found.onset.at - 120 / step), until - int(1440 / step))
    size = max(1, int(np.ceil((until - first) / SERIES_BARS / (10 / step))) * int(max(1, 10 / step)))
    whole = max(1, (until - first) // size)
    start = max(tracker.scan.first, until - whole * size)
    seen, _, base = tracker.scan.series(found.defect, found.stream, start, until)
    bars = np.arange(len(seen)) // size
    parts = (np.bincount(bars, x, minlength=1) for x in (seen, base))
    calls, expected = (tuple(round(float(v), 2) for v in x) for x in parts)
    return float(start), size * step, calls, expected


def happened(
    plant: Plant, logs: Logs, found: Found, tracker: Tracker, formed: tuple[datetime, datetime]
) -> tuple[str, ...]:
    """What the logs say about the place around the formed onset, in order of time."""
    low, high = formed[0] - timedelta(minutes=AROUND_MIN), formed[1] + timedelta(minutes=AROUND_MIN)
    if found.place.scope == "station" or high - low > timedelta(hours=6):
        return ()
    columns = [tracker.counts.columns[n] for n in found.place.columns]
    places = {(c.section, c.gob) for c in columns} if found.place.scope in ("mould", "section", "gob") else None
    pairs = [*_fitted(plant, logs.fittings, places, low, high), *_stopped(plant, logs.stoppages, places, low, high)]
    for row in logs.jobs.filter(pl.col("started_at").is_between(low, high)).iter_rows(named=True):
        pairs.append((row["started_at"], say(JOB_STARTED, job=row["job"], at=plant.clock.show(row["started_at"]))))
    return tuple(text for _, text in sorted(pairs)[:6])


def _fitted(
    plant: Plant,
    fittings: pl.DataFrame,
    places: set[tuple[int | None, str | None]] | None,
    low: datetime,
    high: datetime,
) -> list[tuple[datetime, str]]:
    found = []
    for row in fittings.filter(pl.col("fitted_at").is_between(low, high)).iter_rows(named=True):
        if places is not None and (row["section"], row["gob"]) in places:
            part = row["part"].replace("_", " ")
            where = {"place": f"{row['section']}{row['gob']}", "at": plant.clock.show(row["fitted_at"])}
            fitted = say(FITTED, part=part, number=row["number"], **where)
            found.append((row["fitted_at"], fitted if row["number"] else say(TAKEN_OUT, part=part, **where)))
    return found


def _stopped(
    plant: Plant,
    stoppages: pl.DataFrame,
    places: set[tuple[int | None, str | None]] | None,
    low: datetime,
    high: datetime,
) -> list[tuple[datetime, str]]:
    pairs = []
    sections = None if places is None else {section for section, _ in places}
    for row in stoppages.iter_rows(named=True):
        if row["section"] is not None and (sections is None or row["section"] not in sections):
            continue
        section = row["section"]
        for name, of_line, of_section in _STOPS:
            if row[name] is not None and low <= row[name] <= high:
                at = plant.clock.show(row[name])
                event = say(of_line, at=at) if section is None else say(of_section, section=section, at=at)
                pairs.append((row[name], say(CAUSED, event=event, cause=row["cause"]) if row["cause"] else event))
    return pairs


def _closes(tracker: Tracker, found: Found, lehr: LehrTime) -> str:
    """What would make an open signal go away: how much ware at the old rate, and when it can be seen at the
    earliest.
    """
    if found.ended is not None:
        return say(CLOSED, why=say(found.why_ended))
    now = tracker.scan.until
    begun = max(tracker.scan.first, min(int(found.onset.at), now - 1))
    _, _, base = tracker.scan.series(found.defect, found.stream, begun, now)
    per_minute = float(base.mean()) / (tracker.counts.step_s / 60) if len(base) else 0.0
    minutes = minutes_to_close(per_minute, found.strength, float(tracker.scan.by_hour[found.defect, found.stream]))
    _, expected, ware = found.counted
    if not np.isfinite(minutes) or per_minute <= 0 or expected <= 0:
        return say(CLOSES)
    units = ware / expected * per_minute * minutes
    containers = f"{units:,.0f}".replace(",", " ")
    closes = say(CLOSES_AFTER, minutes=f"{minutes:.0f}", ware=containers)
    if found.place.scope == "station":
        return closes
    return say(SEEN_AFTER, closes=closes, minutes=f"{lehr.minutes:.0f}")


def critical_calls(
    plant: Plant, line: str, calls: pl.DataFrame, ware: pl.DataFrame, lehr_at: LehrAt, known: Sequence[Signal]
) -> list[Signal]:
    """Every critical defect called in a window that no signal tells of already: one entry a defect, whatever chance
    says.

    calls: window_start, window_s, station, mould, defect, calls. ware: window_start, station, mould, inspected.
    """
    codes = [code for code, defect in plant.defects.items() if defect.severity == "critical"]
    covered = {signal.defect for signal in known if signal.line == line}
    here = calls.filter(pl.col("defect").is_in(codes) & (pl.col("calls") > 0)).sort("window_start")
    called = [code for code in codes if code in set(here["defect"].to_list()) - covered]
    seen = own_ware(plant, line, "defect", ware) if called else {}
    return [
        _critical(plant, line, code, here.filter(pl.col("defect") == code), seen.get(code, 0.0), lehr_at)
        for code in called
    ]


def _critical(plant: Plant, line: str, code: str, mine: pl.DataFrame, seen: float, lehr_at: LehrAt) -> Signal:
    first, last = mine["window_start"][0], mine["window_start"][-1]
    after = plant.stations[mine["station"][0]].after_minutes
    window = timedelta(seconds=int(mine["window_s"][-1]))
    lehr = lehr_at(first)
    moulds = sorted(mine["mould"].drop_nulls().unique().to_list())
    single = len(moulds) == 1 and mine["mould"].null_count() == 0
    calls = int(mine["calls"].sum())
    hours = max((last - first).total_seconds() / 3600, 1.0)
    half = timedelta(minutes=lehr.ware_half_width)
    return Signal(
        id=f"{line}-{code}-{first:%Y%m%dT%H%M}Z-calls",
        kind=CRITICAL_CALL,
        line=line,
        furnace=plant.lines[line].furnace,
        defect=code,
        name=plant.defects[code].name,
        severity="critical",
        scope="mould" if single else "line",
        members=tuple(moulds) if single else (line,),
        moulds=tuple(moulds),
        raised=first,
        onset=first,
        onset_low=first,
        onset_high=first,
        formed=lehr.formed(first, after),
        formed_low=lehr.formed(first, after) - half,
        formed_high=lehr.formed(first, after) + half,
        lehr=say(LEHR, minutes=f"{lehr.minutes:.0f}", source=lehr.source),
        ended=last + window,
        calls=calls,
        expected=None,
        ware=seen,
        rate_before=None,
        rate_after=calls / seen if seen else None,
        lost_per_hour=calls / hours,
        q=None,
        probability=None,
        look_first=say(LOOK_CRITICAL),
    )
