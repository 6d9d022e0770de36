"""What to act on, as the first thing of a page: by loss, what is critical and more than usual before it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from urllib.parse import quote

from pipelines.answers.now import Now
from pipelines.measures.signals.acts import Act, acts
from pipelines.measures.trace.trust import Doubt
from pipelines.numbers import count, decimals
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.page import Special
from pipelines.reports.signals import card_name, place_words, sureness
from pipelines.words import beginning, defect_name, joined, say
from schemas.answers.signals import Signal

MOST = 3  # told whole; how many more there are, and what they lose, is said
EACH = 4  # lines of a furnace that are named with their part
TITLE = say("What to act on")


def acts_part(plant: Plant, works_now: Now) -> Special:
    """The open signals of all lines. Where no station speaks, nothing is claimed of this moment."""
    found = acts([signal for line in works_now.lines for signal in line.open_signals])
    dead = all_silent(works_now)
    first, rest, now = found[:MOST], found[MOST:], works_now.newest or works_now.at
    shown = [_act(plant, act, now) for act in first]
    critical = [_act(plant, act, now) for act in found[1:] if act.critical]
    values: dict[str, object] = {
        "past": _past(plant, works_now.failed, now),
        "critical": critical[:MOST],
        "hero": shown[0] if shown else None,
        "others": [act for act in shown[1:] if not act["critical"]],
        "rest": rest_words(rest),
        "unknown": _unknown(plant, works_now, bool(found)) if dead else "",
        "calm": "" if found or dead else _calm(works_now),
    }
    return Special("acts", TITLE, values)


def all_silent(works_now: Now) -> bool:
    """Whether no station of the works speaks any more."""
    stations = [station for line in works_now.lines for station in line.stations]
    return bool(stations) and all(station.state != "alive" for station in stations)


def _calm(works_now: Now) -> str:
    judged = [line for line in works_now.lines if line.pulse is not None and line.pulse.q is not None]
    if not judged:
        return say("Not known: no line has a past to compare with yet.")
    return say(
        "No signal is open: on {judged} of {lines} lines nothing is beyond chance.",
        judged=len(judged),
        lines=len(works_now.lines),
    )


def _unknown(plant: Plant, works_now: Now, follows: bool) -> str:
    if works_now.newest is None:
        return say("Not known: no count has come yet.")
    stopped = clock_words(plant, works_now.newest, works_now.at)
    if not follows:
        return say("Counts stopped {newest}. What is open now cannot be told.", newest=stopped)
    return say("Counts stopped {newest}. What is open now cannot be told; what follows was open then.", newest=stopped)


def rest_words(rest: Sequence[Act]) -> str:
    """How many acts there are beside those told, and what they lose."""
    if not rest:
        return ""
    return say("{more} more, {lost} an hour", more=len(rest), lost=decimals(sum(act.lost_per_hour for act in rest)))


def _act(plant: Plant, act: Act, now: datetime) -> dict[str, Any]:
    """An act in the words of its template."""
    signal = act.first

    def at(moment: datetime) -> str:
        return clock_words(plant, moment, now)

    since = act.earliest
    return {
        "id": signal.id,
        "critical": act.critical,
        "lost": decimals(act.lost_per_hour),
        "what": beginning(defect_name(signal.name)),
        "place": act_place(plant, signal),
        "each": _each(act),
        "since": say(
            "Since {onset} ({low} to {high}).",
            onset=at(since.onset),
            low=at(since.onset_low),
            high=at(since.onset_high),
        ),
        "since_short": say("Since {onset}.", onset=at(since.onset)),
        "formed": say("Formed since {formed}.", formed=at(since.formed)),
        "hour": say("since {onset}", onset=at(since.onset)),
        "sum": _sum(act),
        "doubt": sureness(signal) if signal.doubt else "",
        "first": say("Look first: {first}.", first=signal.look_first),
        "seen": _seen(plant, act, now),
        "is_seen": act.seen is not None,
        "address": f"/hour/{signal.line}#{card_name(signal)}",
    }


def act_place(plant: Plant, signal: Signal) -> str:
    """Where, in few words; nothing narrower than what can be told."""
    if signal.scope == "furnace":
        return say("whole furnace {furnace}", furnace=signal.furnace)
    if signal.scope == "line":
        return place_words(plant, signal) if not signal.placed_inside else say("whole line {line}", line=signal.line)
    return say("{line} {place}", line=signal.line, place=place_words(plant, signal))


def _each(act: Act) -> str:
    if len(act.signals) == 1:
        return ""
    of_lines = [
        say("{line} {lost}", line=signal.line, lost=decimals(signal.lost_per_hour)) for signal in act.signals[:EACH]
    ]
    first = joined(", ", of_lines)
    more = len(act.signals) - EACH
    return first if more <= 0 else say("{first} and {more} more lines", first=first, more=more)


def _sum(act: Act) -> str:
    return say("{lost} lost; about {more} more are in the lehr.", lost=count(act.lost), more=decimals(act.in_the_lehr))


def _seen(plant: Plant, act: Act, now: datetime) -> str:
    seen = act.seen
    if seen is None or seen.acknowledged_at is None:
        return say("nobody has seen it yet")
    words = say("seen {at}, {who}", at=clock_words(plant, seen.acknowledged_at, now), who=seen.acknowledged_by)
    return say("{seen}: {note}", seen=words, note=seen.note) if seen.note else words


def _past(plant: Plant, failed: Sequence[Doubt], now: datetime) -> list[dict[str, Any]]:
    """What got past: a station whose challenges with a critical defect failed more than it usually misses, and none was
    passed since; the likeliest failure whole, the others in a line.
    """
    return [
        {
            "number": count(doubt.passes - doubt.caught),
            "of": say("of {passes} test passes were not caught", passes=count(doubt.passes)),
            "what": say(
                "{name}, {station}",
                name=beginning(defect_name(plant.defects[doubt.defect].name)),
                station=doubt.station,
            ),
            "when": say(
                "Failed {at}, none passed since: what the station let by is in doubt.",
                at=clock_words(plant, doubt.failed_at or now, now),
            ),
            "address": f"/times/{doubt.line}?defect={quote(doubt.defect)}",
        }
        for doubt in failed
    ]
