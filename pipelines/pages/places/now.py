"""The page Now: all lines, one row each."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from pipelines.answers.now import LineNow, Now
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.measures.pareto.hour_figures import Pulse
from pipelines.measures.statistics.shares import more_than_whole, share
from pipelines.numbers import decimals, expected
from pipelines.pages.view import View
from pipelines.plant.works import Plant
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Figure, Section
from pipelines.reports.frame.shared_parts import count, percent, queries_words, waiting_words
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.signals import place_words
from schemas.answers.signals import Signal

FAR, MORE = 0.01, 0.1  # probabilities below which a line's hour stands out
COLUMNS = (
    Column("line", "Line"),
    Column("hour", "Hour", "id"),
    Column("share", "Rejected", "percent"),
    Column("ware", "Ware", "count"),
    Column("calls", "Calls", "count"),
    Column("expected", "Expected (95 %)"),
    Column("verdict", "Against its past"),
    Column("critical", "Critical calls", "count"),
    Column("worst", "Worst signal"),
    Column("lost", "Lost an hour", "count"),
    Column("feeds", "Feeds"),
)


def now_view(plant: Plant, told: Now, refresh_s: int) -> View:
    """All lines at a glance; critical calls and silent feeds are never left to colour alone."""
    rows = [_row(plant, told, one) for one in told.lines]
    shade = [
        (n, "verdict", 0.75 if one.pulse.q < FAR else 0.35)
        for n, one in enumerate(told.lines)
        if one.pulse and one.pulse.q is not None and one.pulse.q < MORE
    ]
    shade += [(n, "critical", 0.5) for n, one in enumerate(told.lines) if one.pulse and one.pulse.critical]
    shade += [(n, "feeds", 0.5) for n, one in enumerate(told.lines) if any(s.state != "alive" for s in one.stations)]
    links: dict[tuple[int, str], str] = {}
    for n, one in enumerate(told.lines):
        links[n, "line"] = f"/hour/{one.line}"
        if one.open_signals:
            links[n, "worst"] = f"/hour/{one.line}#p-what-is-not-chance"
        links[n, "feeds"] = "/feeds"
    caption = (
        "Each line in its newest hour, as far as its counts reach. Rejected: containers rejected at the stations "
        "that send counts / ware at the first station. Expected: defect calls by the line's own "
        "past in this job, with the interval that 95 of 100 such hours keep. Critical calls are shown whatever "
        "chance says: none called is not none made."
    )
    table = Section(
        "Every line now",
        sheet=Sheet("now", "Every line now", COLUMNS, rows, caption, shade=shade, links=links),
        wide=True,
    )
    return View(
        "now",
        "Now",
        _when(plant, told),
        (table, *_signals(plant, told), _chart(told)),
        _figures(told),
        cautions=(CAUTION, GLASS),
        sources=(queries_words(told.asked),),
        refresh_s=refresh_s,
        notes=_notes(told),
        links=(("for a big screen", "/now?wall=1"),),
    )


WALL = (
    Column("line", "Line"),
    Column("share", "Rejected", "percent1"),
    Column("against", "Calls / expected", "id"),
    Column("verdict", "Against its past"),
    Column("critical", "Critical", "count"),
    Column("worst", "Worst signal"),
    Column("feeds", "Stations"),
)


def wall_view(plant: Plant, told: Now, refresh_s: int) -> View:
    """The same for a big screen: fewer words, one line a row, to be read from three metres."""
    rows, shade = [], []
    for n, one in enumerate(told.lines):
        beat = one.pulse
        alive = sum(s.state == "alive" for s in one.stations)
        worst = one.open_signals[0] if one.open_signals else None
        usual = expected(beat.expected) if beat else "–"
        row = {
            "line": one.line,
            "share": beat.share if beat else None,
            "against": f"{beat.calls} / {usual}" if beat else "–",
            "verdict": _short(beat),
            "critical": beat.critical if beat else None,
        }
        rows.append(
            {
                **row,
                "worst": f"{worst.defect} {' '.join(worst.members[:2])}" if worst else "none",
                "feeds": f"{alive} of {len(one.stations)}",
            }
        )
        if beat and beat.q is not None and beat.q < MORE:
            shade.append((n, "verdict", 0.75 if beat.q < FAR else 0.35))
        shade += [(n, "critical", 0.5)] if beat and beat.critical else []
        shade += [(n, "feeds", 0.5)] if alive < len(one.stations) else []
    table = Section("Every line now", sheet=Sheet("now", "Every line now", WALL, rows, shade=shade), wide=True)
    return View("now", "Now", _when(plant, told), (table,), refresh_s=refresh_s, notes=_notes(told), cautions=())


def _short(beat: Pulse | None) -> str:
    if beat is None or beat.q is None:
        return "not judged"
    if beat.q < MORE and beat.times is not None:
        return f"▲ {decimals(beat.times, 1)} times"
    return "usual"


def _when(plant: Plant, told: Now) -> str:
    if told.newest is None:
        return "no count was taken in yet"
    return f"newest count {plant.clock.show(told.newest)}"


def _notes(told: Now) -> tuple[str, ...]:
    said = [(one.line, more_than_whole(one.pulse.rejected, one.pulse.ware)) for one in told.lines if one.pulse]
    wrong = tuple(f"{line}: {sentence}" for line, sentence in said if sentence)
    if told.newest is not None and told.at - told.newest > timedelta(hours=3):
        return (
            f"The newest count is {(told.at - told.newest) / timedelta(hours=1):.0f} h old: what stands here is not "
            "what the lines do now.",
            *wrong,
        )
    return wrong


def _figures(told: Now) -> tuple[Figure, ...]:
    ware = sum(one.pulse.ware for one in told.lines if one.pulse)
    rejected = sum(one.pulse.rejected for one in told.lines if one.pulse)
    critical = sum(one.pulse.critical for one in told.lines if one.pulse)
    opened = [s for one in told.lines for s in one.open_signals]
    dead = [s for one in told.lines for s in one.stations if s.state != "alive"]
    every = sum(len(one.stations) for one in told.lines)
    return (
        Figure(percent(share(rejected, ware)), "rejected, all lines", f"{count(rejected)} of {count(ware)} containers"),
        Figure(count(critical), "critical calls", "each is on its line's page", "critical" if critical else ""),
        Figure(
            count(len(opened)),
            "signals open",
            f"about {count(sum(s.lost_per_hour for s in opened))} containers lost an hour",
            "critical" if any(s.severity == "critical" for s in opened) else "",
        ),
        Figure(
            count(len(dead)),
            "stations silent or late",
            f"of {every}; {waiting_words(*told.waiting)}",
            "critical" if dead else "",
        ),
    )


def _row(plant: Plant, told: Now, one: LineNow) -> dict[str, Any]:
    beat = one.pulse
    if beat is None or one.span is None:
        return {"line": one.line, "verdict": _instead(one), "feeds": feeds_words(one, plant, told.at), "worst": ""}
    clock = plant.clock
    worst = one.open_signals[0] if one.open_signals else None
    return {
        "line": one.line,
        "hour": f"{clock.local(one.span.start):%H:%M}–{clock.local(one.span.end):%H:%M}",
        "share": beat.share,
        "ware": beat.ware,
        "calls": beat.calls,
        "expected": expected_words(beat),
        "verdict": verdict(beat),
        "critical": beat.critical,
        "worst": signal_words(plant, worst) if worst else "none open",
        "lost": worst.lost_per_hour if worst else None,
        "feeds": feeds_words(one, plant, told.at),
    }


def _instead(one: LineNow) -> str:
    """What a line without counts by window sends."""
    return ", ".join(sorted({s.sends for s in one.stations if s.sends})) or "no counts"


def expected_words(beat: Pulse) -> str:
    """Expected calls with their interval."""
    if beat.expected is None:
        return "no past to compare with"
    return f"{expected(beat.expected)} ({decimals(beat.low)} to {decimals(beat.high)})"


def verdict(beat: Pulse) -> str:
    """How the calls stand against what was expected, in words."""
    if beat.q is None:
        return "not judged"
    if beat.q < MORE and beat.times is not None:
        far = "far more than usual" if beat.q < FAR else "more than usual"
        return f"{far}: {decimals(beat.times, 1)} times"
    if beat.low is not None and beat.calls < beat.low:
        return "less than usual"
    return "as usual"


def signal_words(plant: Plant, one: Signal) -> str:
    """A signal in a line: defect, place, since when."""
    guess = f", {one.doubt}" if one.doubt else ""
    return (
        f"{one.defect} {one.name} ({one.severity}), {place_words(plant, one)}{guess}, since "
        f"{plant.clock.local(one.onset):%H:%M}"
    )


def feeds_words(one: LineNow, plant: Plant, at: datetime) -> str:
    """Which of a line's stations still speak."""
    bad = [s for s in one.stations if s.state != "alive"]
    other = [f"{s.station} {s.sends}" for s in one.stations if s.sends and s.state == "alive"]
    if not bad:
        return "; ".join([f"all {len(one.stations)} alive", *other])
    if len(bad) > 1 and len(bad) == len(one.stations) and len({(s.state, s.last) for s in bad}) == 1:
        since = (
            f" since {plant.clock.local(bad[0].last):%H:%M}"
            if bad[0].last is not None and at - bad[0].last < timedelta(hours=20)
            else ""
        )
        return f"all {len(bad)} {'never heard of' if bad[0].state == 'never' else bad[0].state}{since}"
    said = other
    for s in bad:
        when = (
            f" since {plant.clock.local(s.last):%H:%M}"
            if s.last is not None and at - s.last < timedelta(hours=20)
            else ""
        )
        said.append(f"{s.station} {'never heard of' if s.state == 'never' else s.state}{when}")
    return "; ".join(said)


def _signals(plant: Plant, told: Now) -> list[Section]:
    every = [s for one in told.lines for s in one.open_signals]
    critical = [s for one in told.lines for s in one.critical_calls]
    if not every and not critical:
        return []
    items = [
        f"{s.line}: critical call {s.defect} {s.name}, {s.calls} in the hour ({place_words(plant, s)})"
        for s in critical
    ] + [
        f"{s.line}: {signal_words(plant, s)}; about {decimals(s.lost_per_hour)} lost an hour"
        for s in sorted(every, key=lambda s: -s.lost_per_hour)[:12]
    ]
    return [Section("What asks for somebody", items=tuple(items), wide=True, warn=True)]


def _chart(told: Now) -> Section:
    rows: list[dict[str, Any]] = [
        {
            "label": one.line,
            "value": one.pulse.calls,
            "shown": decimals(one.pulse.calls),
            "kind": "major",
            "expected": one.pulse.expected,
            "top": max(one.pulse.calls, one.pulse.expected or 0),
        }
        for one in told.lines
        if one.pulse is not None
    ]
    words = "Calls of each line's newest hour: " + "; ".join(
        f"{row['label']} {row['shown']}"
        + (f", expected {expected(row['expected'])}" if row["expected"] is not None else "")
        for row in rows
    )
    return Section(
        "Calls against what was expected",
        ("The upright ticks show what each line's own past leads one to expect.",),
        charts.svg(charts.bars, words, rows, "calls") if rows else "",
    )
