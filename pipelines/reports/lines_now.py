"""All lines at a glance: the last hours of each as a strip, critical calls, and what is late or doubtful."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import isfinite, isnan, nan
from typing import Any

from pipelines.answers.now import LineNow, Now, drawn_span
from pipelines.measures.pareto.calls_in_time import CallsInTime
from pipelines.measures.pareto.hour_figures import Pulse
from pipelines.measures.trace.trust import Doubt
from pipelines.numbers import count, decimals, expected, percent
from pipelines.plant.works import Plant
from pipelines.reports.acts import act_place, all_silent
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.page import Section, Special
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.strip import Strip, drawn_strip
from pipelines.words import beginning, defect_name, say

HOURS_APART = 2  # ticks of the axis
LEAST_TOP = 0.02  # of ware: no strip's scale ends below it
MOST_SILENT = timedelta(hours=12)  # no longer silence is drawn to its end


@dataclass(frozen=True)
class StripAxis:
    """What all strips share: newest: where the counts end; now: where the axis ends, in the lehr or, where all are
    silent, at this moment; whole: its length [s]; top: where the upright scale ends, of ware.
    """

    newest: datetime
    now: datetime
    silent: bool
    whole: float
    top: float

    def at(self, first: datetime, moment: datetime) -> float:
        """Where a moment stands, 0..1."""
        return min(1.0, max(0.0, (moment - first).total_seconds() / self.whole))


# the last hours of each line


def lines_part(plant: Plant, works_now: Now) -> Special:
    """The lines below each other on one axis and one scale, by the cold-end clock, with the forming clock told."""
    known = [line for line in works_now.lines if line.lately is not None]
    if works_now.newest is None or not known:
        return Special("lines", say("The last twelve hours"), {"rows": (), "ticks": (), "newest": "", "left": "0"})
    span, silent = drawn_span(works_now.newest), all_silent(works_now)
    beyond = min(works_now.at - works_now.newest, MOST_SILENT) if silent else max(_lehr(line) for line in known)
    whole = (span.end + beyond - span.start).total_seconds()
    axis = StripAxis(works_now.newest, works_now.newest + beyond, silent, whole, _top(known))
    values: dict[str, object] = {
        "rows": [_row(plant, line, axis) for line in works_now.lines],
        "ticks": [(f"{100 * at:.2f}", words) for at, words in _ticks(plant, span.start, span.end, whole)],
        "newest": f"{plant.clock.local(span.end):%H:%M}",
        "left": f"{100 * axis.at(span.start, span.end):.2f}",
        "top": percent(axis.top, 0),
    }
    return Special("lines", say("Calls of the last twelve hours, % of ware"), values)


def _lehr(line: LineNow) -> timedelta:
    return timedelta(minutes=line.lehr.minutes if line.lehr is not None else 0)


def _ticks(plant: Plant, start: datetime, end: datetime, whole: float) -> list[tuple[float, str]]:
    """Round local hours and where they stand, 0..1; none too near the newest count, which is written too."""
    local, ticks = plant.clock.local(start), []
    moment = start - timedelta(hours=local.hour % HOURS_APART, minutes=local.minute, seconds=local.second)
    while moment < end - timedelta(minutes=70):
        if moment >= start:
            ticks.append(((moment - start).total_seconds() / whole, f"{plant.clock.local(moment):%H:%M}"))
        moment += timedelta(hours=HOURS_APART)
    return ticks


def _shares(series: CallsInTime, counts: Iterable[float]) -> list[float]:
    """Counts over the ware of their bins; nan where none came."""
    return [c / w if w > 0 else nan for c, w in zip(counts, series.ware, strict=True)]


def _top(lines: Sequence[LineNow]) -> float:
    """Where the scale of all strips ends: a whole even percentage above the greatest share."""
    every = [series for line in lines if (series := line.lately) is not None]
    shares = [share for series in every for counts in (series.calls, series.high) for share in _shares(series, counts)]
    greatest = max((v for v in shares if isfinite(v)), default=0.0)
    return max(LEAST_TOP, 0.02 * -(-min(greatest, 1.0) // 0.02))


def _row(plant: Plant, line: LineNow, axis: StripAxis) -> dict[str, Any]:
    beat = line.pulse if not axis.silent else None
    row: dict[str, Any] = {
        "line": line.line,
        "share": _share(beat, axis.silent),
        "of": _denominator(beat),
        "usual": _usual(beat, axis.silent),
        "short": _short(beat, axis.silent),
        "svg": "",
        "lehr": "",
        "signals": _open_words(plant, line, axis.newest),
        "address": f"/times/{line.line}",
    }
    if line.lately is None or line.lehr is None:
        return row | {"words": say("no counts")}
    words = _in_words(line)
    minutes = decimals(line.lehr.minutes)
    return row | {
        "svg": drawn_strip(_strip(line, line.lately, axis, words)),
        "lehr": say("formed {minutes} min before", minutes=minutes),
        "words": words,
    }


def _share(beat: Pulse | None, silent: bool) -> str:
    if silent:
        return say("not known")
    return say("{share} rejected", share=percent(beat.share, 1)) if beat is not None else say("no counts")


def _denominator(beat: Pulse | None) -> str:
    if beat is None:
        return ""
    return say("{rejected} of {ware} containers", rejected=count(beat.rejected), ware=count(beat.ware))


def _usual(beat: Pulse | None, silent: bool) -> str:
    if silent:
        return ""
    if beat is None or beat.expected is None or not beat.ware:
        return say("no past to compare")
    return say("calls {calls}, usual {usual}", calls=_of(beat.calls, beat.ware), usual=_of(beat.expected, beat.ware))


def _short(beat: Pulse | None, silent: bool) -> tuple[str, str]:
    """For a big screen: calls of ware, and what is usual of them."""
    if silent:
        return say("not known"), ""
    if beat is None or not beat.ware:
        return say("no counts") if beat is None else say("no ware"), ""
    if beat.expected is None:
        return _of(beat.calls, beat.ware), ""
    return _of(beat.calls, beat.ware), say("usual {usual}", usual=_of(beat.expected, beat.ware))


def _of(calls: float, ware: int) -> str:
    return percent(calls / ware, 1)


def _strip(line: LineNow, series: CallsInTime, axis: StripAxis, words: str) -> Strip:
    def at(moment: datetime) -> float:
        return axis.at(series.first, moment)

    newest, seen = axis.newest, (axis.newest - series.first).total_seconds()
    ends = [min((number + 1) * series.step_s, seen) / axis.whole for number in range(len(series.calls))]
    beyond = [0.0] * len(series.calls)
    for signal in line.open_signals:
        beyond = [max(pair) for pair in zip(beyond, series.beyond(signal.onset, signal.ended), strict=True)]
    return Strip(
        name=say("{line}: {words}", line=line.line, words=words),
        ends=ends,
        values=_shares(series, list(series.calls)),
        expected=_shares(series, list(series.expected)),
        low=_shares(series, list(series.low)),
        high=_shares(series, list(series.high)),
        beyond=_shares(series, beyond),
        unseen=(0.0, 0.0) if axis.silent else (at(newest), at(newest + _lehr(line))),
        spans=[(at(s.onset), at(newest), "critical" if s.severity == "critical" else "on") for s in line.open_signals],
        top=axis.top,
        silent=(at(newest), at(axis.now)) if axis.silent else (0.0, 0.0),
    )


def _in_words(line: LineNow) -> str:
    """What a strip shows: least and greatest share, and how many half hours lie above what 95 of 100 keep."""
    series = line.lately
    assert series is not None
    shares = [share for share in _shares(series, list(series.calls)) if not isnan(share)]
    if not shares:
        return say("no ware") if any(w == 0 for w in series.ware) else say("no counts")
    above = sum(1 for calls, high in zip(series.calls, series.high, strict=True) if calls > high)
    return say(
        "between {low} and {high} of ware a half hour; {above} of {bins} above what 95 of 100 keep",
        low=percent(min(shares), 1),
        high=percent(max(shares), 1),
        above=above,
        bins=len(shares),
    )


def _open_words(plant: Plant, line: LineNow, newest: datetime) -> list[tuple[str, str]]:
    """The open signals of a line: (kind, words)."""
    return [
        (
            "critical" if signal.severity == "critical" else "on",
            say(
                "{name}, {place}, since {onset}",
                name=defect_name(signal.name),
                place=act_place(plant, signal),
                onset=clock_words(plant, signal.onset, newest),
            ),
        )
        for signal in sorted(line.open_signals, key=lambda s: -s.lost_per_hour)[:3]
    ]


# critical calls


def critical_section(plant: Plant, works_now: Now) -> Section:
    """Every critical defect on every line, called or not: a call is a container caught."""
    codes = plant.critical
    columns = (
        Column("line", say("Line"), "id"),
        *(Column(code, beginning(defect_name(plant.defects[code].name)), "id") for code in codes),
        Column("past", say("Got past a challenge"), "id"),
        Column("challenged", say("Last challenge"), "id"),
    )
    rows, shade = [], []
    for number, line in enumerate(works_now.lines):
        hot = {signal.defect for signal in line.open_signals if signal.severity == "critical"}
        row: dict[str, Any] = {"line": line.line}
        for cell in line.critical:
            should = expected(cell.expected) if cell.expected is not None else "–"
            mark = "◆ " if cell.defect in hot else ""
            row[cell.defect] = f"{mark}{cell.calls} ({should})"
        shade += [(number, code, 0.5) for code in codes if code in hot]
        failed = [doubt for doubt in works_now.failed if doubt.line == line.line]
        row["past"], row["challenged"] = past_words(line, failed), _challenged(plant, line, works_now)
        shade += [(number, "past", 0.5)] if failed else []
        rows.append(row)
    caption = say(
        "Calls of each line's newest hour, in brackets expected. A call is a container caught; none called is not none "
        "made. ◆ more than chance explains."
    )
    links = {(number, "line"): f"/hour/{row['line']}#p-critical-defects" for number, row in enumerate(rows)}
    sheet = Sheet("critical", say("Critical calls"), columns, rows, caption, shade=shade, links=links)
    return Section(say("Critical calls"), sheet=sheet, wide=True)


def past_words(line: LineNow, failed: Sequence[Doubt]) -> str:
    """Test passes that were not caught, where they are more than the station usually misses."""
    if line.challenged is None and not failed:
        return say("not known")
    return f"◆ {sum(doubt.passes - doubt.caught for doubt in failed)}" if failed else say("none")


def _challenged(plant: Plant, line: LineNow, works_now: Now) -> str:
    if line.challenged is None:
        return say("none in 24 h")
    return clock_words(plant, line.challenged, works_now.at)
