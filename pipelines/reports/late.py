"""What is late, outside its limits, in doubt, or waits for a person: a sentence each, with the page that has more."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from urllib.parse import quote

from pipelines.answers.day_checks import limit_words, temper_limits
from pipelines.answers.day_doubts import given_out_words
from pipelines.answers.lately import Lately, WeighedOutside
from pipelines.answers.now import LineNow, Now
from pipelines.measures.pareto.hour_figures import StationLife
from pipelines.measures.yields.names import meter_name
from pipelines.numbers import count, decimals
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.page import Special
from pipelines.reports.missing import waiting_words
from pipelines.words import joined, say, say_n, worded
from schemas.answers.laboratory import Temper

MOST = 4  # items of weights that are named
Late = tuple[str, str]  # a sentence, and the address of the page that has more


def late_part(plant: Plant, works_now: Now, sources: Iterable[Late] = ()) -> Special | None:
    """Stations that are silent or late, challenges overdue, weights and temper numbers beyond limits, meters in doubt,
    holds and files that wait; nothing where all is well. sources: databases that are late.
    """
    items = [*sources, *late_items(plant, works_now)]
    return Special("late", say("Late or doubtful"), {"items": items}) if items else None


def late_items(plant: Plant, works_now: Now) -> Iterator[Late]:
    """All of them, in the order in which they ask for somebody."""
    for line in works_now.lines:
        if any(station.state != "alive" for station in line.stations):
            words = feeds_words(line, plant, works_now.at)
            yield say("{line}: {sentence}", line=line.line, sentence=words), "/feeds"
    if works_now.lately is not None and works_now.lately.given_out:
        yield given_out_words(works_now.lately.given_out), "/holds"
    if works_now.overdue:
        yield _overdue_words(plant, works_now), f"/station/{quote(works_now.overdue[0].station)}"
    if works_now.lately is not None:
        yield from _lately(works_now.lately)
    if any(works_now.waiting):
        yield say("{waiting}.", waiting=waiting_words(*works_now.waiting)), "/feeds"


def _lately(lately: Lately) -> Iterator[Late]:
    for weighed in lately.weights[:MOST]:
        yield _weights(weighed), f"/weights/{weighed.line}"
    if lately.weights[MOST:]:
        more = len(lately.weights[MOST:])
        yield (
            say_n("Weights of {n} more item outside limits.", "Weights of {n} more items outside limits.", more),
            (f"/weights/{lately.weights[MOST].line}"),
        )
    for line, temper in lately.tempers:
        yield _temper(line, temper), "/laboratory"
    if lately.proposed:
        yield (
            say_n(
                "{n} pallet is proposed for a hold and waits for a person.",
                "{n} pallets are proposed for a hold and wait for a person.",
                lately.proposed,
            ),
            "/holds",
        )
    if lately.meters and lately.closed is not None:
        names = joined(", ", (meter_name(name) for name in lately.meters[:MOST]))
        yield (
            say("More probably off than not, by the close of {day}: {meters}.", day=lately.closed, meters=names),
            f"/{day_address(lately.closed)}",
        )


def _weights(weighed: WeighedOutside) -> str:
    return say(
        "{line} {item}: {outside} of {n} {point} weights outside {low} to {high} g in 24 h, worst {worst} g.",
        line=weighed.line,
        item=weighed.item,
        outside=count(weighed.outside),
        n=count(weighed.n),
        point=worded(weighed.point),
        low=limit_words(weighed.low),
        high=limit_words(weighed.high),
        worst=decimals(weighed.worst, 1),
    )


def _temper(line: str, temper: Temper) -> str:
    return say(
        "{line}: {beyond} of {n} temper numbers beyond {limits} in 24 h.",
        line=line,
        beyond=count(len(temper.beyond)),
        n=count(temper.n),
        limits=temper_limits(temper),
    )


def _overdue_words(plant: Plant, works_now: Now) -> str:
    stations = list(dict.fromkeys(doubt.station for doubt in works_now.overdue))
    since = min((doubt.start for doubt in works_now.overdue if doubt.start is not None), default=None)
    number, more = len(stations), " …" if stations[4:] else ""
    names = joined(", ", stations[:4])
    if since is None:
        return say(
            "Challenges with critical defects overdue at {number} stations: {stations}{more}.",
            number=number,
            stations=names,
            more=more,
        )
    return say(
        "Challenges with critical defects overdue at {number} stations ({stations}{more}), the first since {since}.",
        number=number,
        stations=names,
        more=more,
        since=clock_words(plant, since, works_now.at),
    )


def feeds_words(line: LineNow, plant: Plant, at: datetime) -> str:
    """Which of a line's stations still speak."""
    bad = [s for s in line.stations if s.state != "alive"]
    other = [
        say("{station} {sends}", station=s.station, sends=worded(s.sends))
        for s in line.stations
        if s.sends and s.state == "alive"
    ]
    if not bad:
        return joined("; ", [say("all {stations} alive", stations=len(line.stations)), *other])
    if len(bad) > 1 and len(bad) == len(line.stations) and len({(s.state, s.last) for s in bad}) == 1:
        return _since(plant, say("all {stations} {state}", stations=len(bad), state=_state(bad[0])), bad[0], at)
    each = (_since(plant, say("{station} {state}", station=s.station, state=_state(s)), s, at) for s in bad)
    return joined("; ", (*other, *each))


def _state(station: StationLife) -> str:
    return say("never heard of") if station.state == "never" else worded(station.state)


def _since(plant: Plant, words: str, station: StationLife, at: datetime) -> str:
    """With the hour since when, where that is not long ago."""
    if station.last is None or at - station.last >= timedelta(hours=20):
        return words
    return say("{words} since {last}", words=words, last=f"{plant.clock.local(station.last):%H:%M}")
