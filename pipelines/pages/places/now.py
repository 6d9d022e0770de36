"""Now: all lines, one row each, and the same for a big screen."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from pipelines.answers.now import LineNow, Now, answer_now
from pipelines.cautions import GLASS
from pipelines.cautions import PAGE_CAUTION as CAUTION
from pipelines.ledger import Reader
from pipelines.measures.pareto.hour_figures import Pulse
from pipelines.measures.statistics.shares import more_than_whole
from pipelines.numbers import decimals, expected
from pipelines.pages.page_question import PageQuestion
from pipelines.pages.view import View
from pipelines.pages.web import Web, go
from pipelines.plant.works import Plant
from pipelines.reports.acts import acts_part
from pipelines.reports.breakages import breakage_sections
from pipelines.reports.frame.page import Page, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import queries_words
from pipelines.reports.late import Late, feeds_words, late_part
from pipelines.reports.lines_now import critical_section, lines_part
from pipelines.reports.signals import named_defect, place_words
from pipelines.reports.sources import late_sources
from pipelines.reports.wall import wall_part
from pipelines.sources.database.states import source_states
from pipelines.words import joined, say, worded
from schemas.answers.signals import Signal

LIVE_S = 30
FAR, MORE = 0.01, 0.1  # probabilities below which a line's hour stands out
COLUMNS = (
    Column("line", say("Line")),
    Column("hour", say("Hour"), "id"),
    Column("share", say("Rejected"), "percent"),
    Column("ware", say("Ware"), "count"),
    Column("calls", say("Calls"), "count"),
    Column("expected", say("Expected (95 %)")),
    Column("verdict", say("Against its past")),
    Column("critical", say("Critical calls"), "count"),
    Column("worst", say("Worst signal")),
    Column("lost", say("Lost an hour"), "count"),
    Column("feeds", say("Feeds")),
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

    def made(reader: Reader, plant: Plant) -> View:
        now = web.desk.now()
        works_now = answer_now(reader, plant, now)
        if wall:
            return wall_view(plant, works_now, LIVE_S)
        sources = late_sources(plant, source_states(web.desk.site, plant, now), now)
        return now_view(plant, works_now, LIVE_S, tuple(sources))

    return PageQuestion(("now", wall), made)


def _shade(works_now: Now) -> list[tuple[int, str, float]]:
    shade = [
        (n, "verdict", 0.75 if line_now.pulse.q < FAR else 0.35)
        for n, line_now in enumerate(works_now.lines)
        if line_now.pulse and line_now.pulse.q is not None and line_now.pulse.q < MORE
    ]
    shade += [(n, "critical", 0.5) for n, line_now in enumerate(works_now.lines) if _critical_open(line_now)]
    shade += [
        (n, "feeds", 0.5)
        for n, line_now in enumerate(works_now.lines)
        if any(s.state != "alive" for s in line_now.stations)
    ]
    return shade


def _critical_open(line: LineNow) -> bool:
    """Whether critical calls are more than chance explains; what comes every hour is not coloured."""
    return any(signal.severity == "critical" for signal in line.open_signals)


def _links(works_now: Now) -> dict[tuple[int, str], str]:
    links: dict[tuple[int, str], str] = {}
    for n, line in enumerate(works_now.lines):
        links[n, "line"] = f"/hour/{line.line}"
        if line.open_signals:
            links[n, "worst"] = f"/hour/{line.line}#p-what-is-not-chance"
        links[n, "feeds"] = "/feeds"
    return links


def _every_line(plant: Plant, works_now: Now) -> Sheet:
    rows = [_row(plant, works_now, line_now) for line_now in works_now.lines]
    caption = say(
        "Each line in its newest hour, as far as its counts reach. Rejected: containers rejected at the "
        "stations that send counts / ware at the first station. Expected: defect calls by the line's own "
        "past in this job, with the interval that 95 of 100 such hours keep. Critical calls are shown "
        "whatever chance says: none called is not none made."
    )
    shade, links = _shade(works_now), _links(works_now)
    return Sheet("now", say("Every line now"), COLUMNS, rows, caption, shade=shade, links=links)


def now_view(plant: Plant, works_now: Now, refresh_s: int, sources: tuple[Late, ...] = ()) -> View:
    """What to act on first, then what is late, then all lines; nothing is left to colour alone."""
    table = Section(say("Every line now"), sheet=_every_line(plant, works_now), wide=True)
    late = late_part(plant, works_now, sources)
    return View(
        "now",
        Page(
            say("Now"),
            _when(plant, works_now),
            (
                acts_part(plant, works_now),
                *([late] if late is not None else []),
                lines_part(plant, works_now),
                critical_section(plant, works_now),
                *breakage_sections(plant, works_now.breakages),
                table,
            ),
            cautions=(CAUTION, GLASS),
            sources=(queries_words(works_now.asked),),
            links=((say("for a big screen"), "/now?wall=1"),),
        ),
        refresh_s=refresh_s,
        notes=_notes(works_now),
        sometimes=("breakages",),
        first="p-acts",
    )


def wall_view(plant: Plant, works_now: Now, refresh_s: int) -> View:
    """The same for a big screen: few words, to be read from three metres; its table is there as a file."""
    return View(
        "now",
        Page(
            say("Now"),
            _when(plant, works_now),
            (acts_part(plant, works_now), wall_part(plant, works_now, _every_line(plant, works_now))),
            cautions=(),
        ),
        refresh_s=refresh_s,
        notes=_notes(works_now),
    )


def _when(plant: Plant, works_now: Now) -> str:
    if works_now.newest is None:
        return say("no count was taken in yet")
    return say("newest count {newest}", newest=plant.clock.show(works_now.newest))


def _notes(works_now: Now) -> tuple[str, ...]:
    said = [
        (line.line, more_than_whole(line.pulse.rejected, line.pulse.ware)) for line in works_now.lines if line.pulse
    ]
    wrong = tuple(say("{line}: {sentence}", line=line, sentence=sentence) for line, sentence in said if sentence)
    if works_now.newest is not None and works_now.at - works_now.newest > timedelta(hours=3):
        return (
            say(
                "The newest count is {hours} h old: what stands here is not what the lines do now.",
                hours=f"{(works_now.at - works_now.newest) / timedelta(hours=1):.0f}",
            ),
            *wrong,
        )
    return wrong


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
        "worst": signal_words(plant, worst) if worst else say("none open"),
        "lost": worst.lost_per_hour if worst else None,
        "feeds": feeds_words(line, plant, works_now.at),
    }


def _instead(line: LineNow) -> str:
    """What a line without counts by window sends."""
    return joined(", ", (worded(sends) for sends in sorted({s.sends for s in line.stations if s.sends}))) or say(
        "no counts"
    )


def expected_words(beat: Pulse) -> str:
    """Expected calls with their interval."""
    if beat.expected is None:
        return say("no past to compare with")
    return say(
        "{expected} ({low} to {high})",
        expected=expected(beat.expected),
        low=decimals(beat.low),
        high=decimals(beat.high),
    )


def verdict(beat: Pulse) -> str:
    """How the calls stand against what was expected, in words."""
    if beat.q is None:
        return say("not judged")
    if beat.q < MORE and beat.times is not None:
        far = say("far more than usual") if beat.q < FAR else say("more than usual")
        return say("{far}: {times} times", far=far, times=decimals(beat.times, 1))
    if beat.low is not None and beat.calls < beat.low:
        return say("less than usual")
    return say("as usual")


def signal_words(plant: Plant, signal: Signal) -> str:
    """A signal in a line: defect, place, since when."""
    words = {
        "signal": named_defect(signal),
        "place": place_words(plant, signal),
        "onset": f"{plant.clock.local(signal.onset):%H:%M}",
    }
    if signal.doubt:
        return say("{signal}, {place}, {doubt}, since {onset}", doubt=worded(signal.doubt), **words)
    return say("{signal}, {place}, since {onset}", **words)
