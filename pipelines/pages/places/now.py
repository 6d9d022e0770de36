"""Now: all lines, one row each, and the same for a big screen."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines.answers.now import LineNow, Now, answer_now
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.measures.pareto.hour_figures import Pulse
from pipelines.measures.statistics.shares import more_than_whole, share
from pipelines.numbers import count, decimals, expected, percent
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Web, go
from pipelines.plant.works import Plant
from pipelines.reports.breakages import breakage_sections
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Figure, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.missing import waiting_words
from pipelines.reports.signals import place_words
from schemas.answers.signals import Signal

LIVE_S = 30
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


def router(web: Web) -> APIRouter:
    """The routes of this module."""
    routes = APIRouter()

    @routes.get("/")
    def first() -> Response:
        return go("/now")

    @routes.get("/index.html")
    def index() -> Response:
        return go("/now")

    @routes.get("/now")
    def now(request: Request) -> Response:
        """All lines, one row each; with `wall` for a big screen."""
        return web.show(request, live_now(web, request.query_params.get("wall") == "1"))

    return routes


def live_now(web: Web, wall: bool) -> PageQuestion:
    """The page as it is kept for all readers."""
    shown = wall_view if wall else now_view
    return PageQuestion(
        ("now", wall), lambda reader, plant: shown(plant, answer_now(reader, plant, web.desk.now()), LIVE_S)
    )


def _shade(works_now: Now) -> list[tuple[int, str, float]]:
    shade = [
        (n, "verdict", 0.75 if line_now.pulse.q < FAR else 0.35)
        for n, line_now in enumerate(works_now.lines)
        if line_now.pulse and line_now.pulse.q is not None and line_now.pulse.q < MORE
    ]
    shade += [
        (n, "critical", 0.5) for n, line_now in enumerate(works_now.lines) if line_now.pulse and line_now.pulse.critical
    ]
    shade += [
        (n, "feeds", 0.5)
        for n, line_now in enumerate(works_now.lines)
        if any(s.state != "alive" for s in line_now.stations)
    ]
    return shade


def _links(works_now: Now) -> dict[tuple[int, str], str]:
    links: dict[tuple[int, str], str] = {}
    for n, line in enumerate(works_now.lines):
        links[n, "line"] = f"/hour/{line.line}"
        if line.open_signals:
            links[n, "worst"] = f"/hour/{line.line}#p-what-is-not-chance"
        links[n, "feeds"] = "/feeds"
    return links


def now_view(plant: Plant, works_now: Now, refresh_s: int) -> View:
    """All lines at a glance; critical calls and silent feeds are never left to colour alone."""
    rows = [_row(plant, works_now, line_now) for line_now in works_now.lines]
    shade, links = _shade(works_now), _links(works_now)
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
        _when(plant, works_now),
        (table, *_signals(plant, works_now), *breakage_sections(plant, works_now.breakages), _chart(works_now)),
        _figures(works_now),
        cautions=(CAUTION, GLASS),
        sources=(queries_words(works_now.asked),),
        refresh_s=refresh_s,
        notes=_notes(works_now),
        links=(("for a big screen", "/now?wall=1"),),
        sometimes=("breakages",),
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


def wall_view(plant: Plant, works_now: Now, refresh_s: int) -> View:
    """The same for a big screen: fewer words, one line a row, to be read from three metres."""
    rows, shade = [], []
    for n, line in enumerate(works_now.lines):
        beat = line.pulse
        alive = sum(s.state == "alive" for s in line.stations)
        worst = line.open_signals[0] if line.open_signals else None
        usual = expected(beat.expected) if beat else "–"
        row = {
            "line": line.line,
            "share": beat.share if beat else None,
            "against": f"{beat.calls} / {usual}" if beat else "–",
            "verdict": _short(beat),
            "critical": beat.critical if beat else None,
        }
        rows.append(
            {
                **row,
                "worst": f"{worst.defect} {' '.join(worst.members[:2])}" if worst else "none",
                "feeds": f"{alive} of {len(line.stations)}",
            }
        )
        if beat and beat.q is not None and beat.q < MORE:
            shade.append((n, "verdict", 0.75 if beat.q < FAR else 0.35))
        shade += [(n, "critical", 0.5)] if beat and beat.critical else []
        shade += [(n, "feeds", 0.5)] if alive < len(line.stations) else []
    table = Section("Every line now", sheet=Sheet("now", "Every line now", WALL, rows, shade=shade), wide=True)
    return View(
        "now", "Now", _when(plant, works_now), (table,), refresh_s=refresh_s, notes=_notes(works_now), cautions=()
    )


def _short(beat: Pulse | None) -> str:
    if beat is None or beat.q is None:
        return "not judged"
    if beat.q < MORE and beat.times is not None:
        return f"▲ {decimals(beat.times, 1)} times"
    return "usual"


def _when(plant: Plant, works_now: Now) -> str:
    if works_now.newest is None:
        return "no count was taken in yet"
    return f"newest count {plant.clock.show(works_now.newest)}"


def _notes(works_now: Now) -> tuple[str, ...]:
    said = [
        (line.line, more_than_whole(line.pulse.rejected, line.pulse.ware)) for line in works_now.lines if line.pulse
    ]
    wrong = tuple(f"{line}: {sentence}" for line, sentence in said if sentence)
    if works_now.newest is not None and works_now.at - works_now.newest > timedelta(hours=3):
        return (
            f"The newest count is {(works_now.at - works_now.newest) / timedelta(hours=1):.0f} h old: what stands "
            "here is not what the lines do now.",
            *wrong,
        )
    return wrong


def _figures(works_now: Now) -> tuple[Figure, ...]:
    ware = sum(line.pulse.ware for line in works_now.lines if line.pulse)
    rejected = sum(line.pulse.rejected for line in works_now.lines if line.pulse)
    critical = sum(line.pulse.critical for line in works_now.lines if line.pulse)
    opened = [s for line in works_now.lines for s in line.open_signals]
    dead = [s for line in works_now.lines for s in line.stations if s.state != "alive"]
    every = sum(len(line.stations) for line in works_now.lines)
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
            f"of {every}; {waiting_words(*works_now.waiting)}",
            "critical" if dead else "",
        ),
    )


def _row(plant: Plant, works_now: Now, line: LineNow) -> dict[str, Any]:
    beat = line.pulse
    if beat is None or line.span is None:
        return {
            "line": line.line,
            "verdict": _instead(line),
            "feeds": feeds_words(line, plant, works_now.at),
            "worst": "",
        }
    clock = plant.clock
    worst = line.open_signals[0] if line.open_signals else None
    return {
        "line": line.line,
        "hour": f"{clock.local(line.span.start):%H:%M}–{clock.local(line.span.end):%H:%M}",
        "share": beat.share,
        "ware": beat.ware,
        "calls": beat.calls,
        "expected": expected_words(beat),
        "verdict": verdict(beat),
        "critical": beat.critical,
        "worst": signal_words(plant, worst) if worst else "none open",
        "lost": worst.lost_per_hour if worst else None,
        "feeds": feeds_words(line, plant, works_now.at),
    }


def _instead(line: LineNow) -> str:
    """What a line without counts by window sends."""
    return ", ".join(sorted({s.sends for s in line.stations if s.sends})) or "no counts"


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


def signal_words(plant: Plant, signal: Signal) -> str:
    """A signal in a line: defect, place, since when."""
    guess = f", {signal.doubt}" if signal.doubt else ""
    return (
        f"{signal.defect} {signal.name} ({signal.severity}), {place_words(plant, signal)}{guess}, since "
        f"{plant.clock.local(signal.onset):%H:%M}"
    )


def feeds_words(line: LineNow, plant: Plant, at: datetime) -> str:
    """Which of a line's stations still speak."""
    bad = [s for s in line.stations if s.state != "alive"]
    other = [f"{s.station} {s.sends}" for s in line.stations if s.sends and s.state == "alive"]
    if not bad:
        return "; ".join([f"all {len(line.stations)} alive", *other])
    if len(bad) > 1 and len(bad) == len(line.stations) and len({(s.state, s.last) for s in bad}) == 1:
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


def _signals(plant: Plant, works_now: Now) -> list[Section]:
    every = [s for line in works_now.lines for s in line.open_signals]
    critical = [s for line in works_now.lines for s in line.critical_calls]
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


def _chart(works_now: Now) -> Section:
    rows: list[dict[str, Any]] = [
        {
            "label": line.line,
            "value": line.pulse.calls,
            "shown": decimals(line.pulse.calls),
            "kind": "major",
            "expected": line.pulse.expected,
            "top": max(line.pulse.calls, line.pulse.expected or 0),
        }
        for line in works_now.lines
        if line.pulse is not None
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
