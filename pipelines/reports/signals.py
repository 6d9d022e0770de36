"""Signals on a page: the most harmful as cards with their small chart, all of them as a table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from pipelines.measures.signals.tell import nothing_found
from pipelines.numbers import chance, count, expected, percent
from pipelines.plant.works import Plant
from pipelines.reports.clock_words import clock_words
from pipelines.reports.frame.page import Card, Section
from pipelines.reports.frame.sheet import PAGE, SHOWN, Column, Sheet, in_csv
from pipelines.reports.signal_picture import signal_picture
from pipelines.words import beginning, joined, say, worded
from schemas.answers.signals import Signal

CARDS = 6  # a screenful


def place_words(plant: Plant, signal: Signal) -> str:
    """A signal's place as a machine man would say it."""
    if signal.kind != "excess":
        return (
            say("moulds read: {moulds}", moulds=joined(", ", signal.moulds))
            if signal.moulds
            else say("no mould number read")
        )
    if not signal.placed_inside and signal.scope == "line":
        return say("somewhere on {line}: too few of these calls carry a mould number to say more", line=signal.line)
    cavities = say(" ({cavities})", cavities=joined(", ", signal.cavities)) if signal.cavities else ""
    return {
        "mould": say("mould {members}{cavities}", members=joined(", ", signal.members), cavities=cavities),
        "section": say("section {members}", members=joined(", ", signal.members)),
        "gob": say("gob position {members}", members=joined(", ", signal.members)),
        "line": say("the whole line {line}", line=signal.line),
        "furnace": say(
            "all lines of furnace {furnace} together ({members})",
            furnace=signal.furnace,
            members=joined(", ", signal.members),
        ),
        "station": _station_words(signal),
    }[signal.scope]


def _station_words(signal: Signal) -> str:
    names = joined(", ", signal.members)
    return (
        say("station {names} lets pass what it found before", names=names)
        if signal.blinded
        else say("station {names} alone", names=names)
    )


def sureness(signal: Signal) -> str:
    """How probable the place is, and what else it could be."""
    if signal.probability is None:
        return say("not judged by statistics")
    others = sorted(((p, s) for s, p in signal.scopes.items() if s != signal.scope and p >= 0.05), reverse=True)
    named = say("{scope} {share}", scope=worded(signal.scope), share=percent(signal.probability, 0))
    if others:
        rest = joined(", ", (say("{scope} {share}", scope=worded(s), share=percent(p, 0)) for p, s in others))
        named = say("{named}; else {others}", named=named, others=rest)
    return say("{doubt}: {named}", doubt=worded(signal.doubt), named=named) if signal.doubt else named


def _share(signal: Signal) -> str:
    if signal.probability is None:
        return ""
    return joined(", ", (part for part in (percent(signal.probability, 0), worded(signal.doubt)) if part))


def card_name(signal: Signal) -> str:
    """What a link to a signal's card says after the #."""
    return f"s-{signal.id}"


def signal_card(plant: Plant, signal: Signal, now: datetime) -> Card:
    """All that is known of a signal, the act first."""
    goes_on = signal.ended is None
    lost = _lost(signal) if goes_on else say("closed")
    return Card(
        say("{signal}: {place}", signal=named_defect(signal), place=place_words(plant, signal)),
        lost,
        signal_picture(plant, signal, now),
        (*_when(plant, signal, now), _acknowledged(plant, signal, now)),
        "critical" if signal.severity == "critical" else "",
        card_name(signal),
        signal=signal.id,
        seen=signal.acknowledged_by is not None,
        more=tuple(_known(signal)),
    )


def _lost(signal: Signal) -> str:
    """What is lost; of a furnace's signal it is this line's part."""
    if signal.scope == "furnace":
        return say(
            "about {lost} containers lost an hour on {line}", lost=f"{signal.lost_per_hour:.0f}", line=signal.line
        )
    return say("about {lost} containers lost an hour", lost=f"{signal.lost_per_hour:.0f}")


def named_defect(signal: Signal) -> str:
    """What is called, and how bad it is."""
    return say("{code} {name} ({severity})", code=signal.defect, name=signal.name, severity=worded(signal.severity))


def _when(plant: Plant, signal: Signal, now: datetime) -> list[str]:
    """Where, and since when by both clocks."""

    def at(moment: datetime) -> str:
        return clock_words(plant, moment, now)

    bounds = {"low": at(signal.onset_low), "high": at(signal.onset_high)}
    if signal.ended is None:
        since = say("Since {onset} (95 %: {low} to {high}) at the station; going on.", onset=at(signal.onset), **bounds)
    else:
        since = say(
            "Since {onset} (95 %: {low} to {high}) at the station; ended {ended}.",
            onset=at(signal.onset),
            ended=at(signal.ended),
            **bounds,
        )
    return [
        say("Place: {place}. Look first: {first}.", place=sureness(signal), first=signal.look_first),
        since,
        say(
            "Formed from {formed} on (95 %: {low} to {high}); lehr {lehr}.",
            formed=at(signal.formed),
            low=at(signal.formed_low),
            high=at(signal.formed_high),
            lehr=signal.lehr,
        ),
    ]


def _known(signal: Signal) -> list[str]:
    """How much, what the logs say, and what would make it go away."""
    counted = say(
        "{calls} calls in {ware} containers of this place, {expected} expected: {after} against {before} before. "
        "q = {q}.",
        calls=count(signal.calls),
        ware=count(signal.ware),
        expected=expected(signal.expected),
        after=percent(signal.rate_after),
        before=percent(signal.rate_before),
        q=chance(signal.q or 0),
    )
    lines = [counted]
    if signal.happened:
        lines.append(say("The logs then: {happened}.", happened=joined("; ", signal.happened)))
    if signal.borrowed:
        lines.append(say("New job: what is expected leans on a former job's past."))
    if signal.new_mould:
        lines.append(say("New mould: what is expected of it leans on the line's own rate."))
    return [*lines, say("{closes}.", closes=beginning(signal.closes))]


def _acknowledged(plant: Plant, signal: Signal, now: datetime) -> str:
    if signal.acknowledged_by is None or signal.acknowledged_at is None:
        return say("Seen by nobody yet: coldledger signals acknowledge {id} --by NAME --note TEXT", id=signal.id)
    seen = say("Seen by {who}, {at}", who=signal.acknowledged_by, at=clock_words(plant, signal.acknowledged_at, now))
    noted = say("{seen}: {note}", seen=seen, note=signal.note) if signal.note else seen
    return say("{seen} ({id})", seen=noted, id=signal.id)


def _critical_texts(critical: Sequence[Signal]) -> list[str]:
    if not critical:
        return []
    calls = joined(", ", (_critical_call(signal) for signal in critical))
    return [say("Critical calls, shown whatever chance says: {calls}.", calls=calls)]


def _critical_call(signal: Signal) -> str:
    call = say("{code} {name} {calls}", code=signal.defect, name=signal.name, calls=signal.calls)
    return say("{call} (moulds {moulds})", call=call, moulds=joined(", ", signal.moulds)) if signal.moulds else call


def signals_section(
    plant: Plant, signals: Sequence[Signal], now: datetime, judged: str, doubts: Sequence[str] = ()
) -> Section:
    """The signals of a line at the end of an hour: cards of the most harmful, critical first. doubts: what could not be
    judged.
    """
    excesses = [s for s in signals if s.kind == "excess" and not s.passed]
    passed = [s for s in signals if s.passed]
    critical = [s for s in signals if s.kind != "excess"]
    shown = excesses[:CARDS]
    texts = [*_critical_texts(critical)]
    if not excesses:
        texts.append(nothing_found(doubts))
    elif len(excesses) > CARDS:
        texts.append(
            say(
                "The {shown} most harmful of {all}; all of them are in the table below.", shown=CARDS, all=len(excesses)
            )
        )
    if passed:
        texts.append(
            say(
                "Over within a quarter of an hour, their place a guess: {passed}, in the table below.",
                passed=len(passed),
            )
        )
    bars = say(
        "Bars: calls; blue: above what the line's own past leads one to expect (dashed), since the onset. Below each "
        "count stands when its ware was formed."
    )
    cards = tuple(signal_card(plant, signal, now) for signal in shown)
    return Section(
        say("What is not chance"),
        tuple(texts),
        cards=cards,
        wide=True,
        warn=any(s.ended is None and s.severity == "critical" for s in excesses),
        notes=(judged, bars),
    )


PLACE = Column("place", say("Place"), ways=SHOWN)
COUNTED = (
    Column("calls", say("Calls"), "count", SHOWN),
    Column("expected", say("Expected"), "expected", SHOWN),
    Column("ware", say("Ware of the place"), "count", SHOWN),
)
LOST = Column("lost", say("Lost an hour"), "number", SHOWN)
_WHERE = (Column("line", say("Line"), ways=SHOWN), Column("defect", say("Defect"), ways=SHOWN), PLACE)
_SINCE, _ENDED = Column("since", say("Since (95 %)"), ways=SHOWN), Column("ended", say("Ended"), ways=SHOWN)
_KNOWN = (Column("seen", say("Seen by"), ways=PAGE), Column("id", say("Name"), ways=PAGE))
SIGNAL_COLUMNS = (
    *_WHERE,
    Column("sure", say("How sure"), ways=PAGE),
    _SINCE,
    Column("formed", say("Formed from"), ways=PAGE),
    _ENDED,
    *COUNTED,
    LOST,
    Column("q", "q", ways=SHOWN),
    *_KNOWN,
)
LISTED = (*_WHERE, _SINCE, _ENDED, LOST, *_KNOWN)  # where one of many is looked for
# programs are given what a signal says of itself, under the names that it has in JSON
_PLAIN = in_csv(
    *("id", "kind", "line", "furnace", "defect", "severity", "scope", "members", "moulds", "onset", "onset_low"),
    *("onset_high", "formed", "ended", "passed", "calls", "expected", "ware", "rate_before", "rate_after"),
    *("lost_per_hour", "q", "probability", "undecided", "acknowledged_by", "note"),
)


def plain_signals(signals: Sequence[Signal]) -> Sheet:
    """All signals for programs: lists as words with blanks between."""
    rows = [{name: _flat(value) for name, value in signal.told().items()} for signal in signals]
    return Sheet("signals", say("Signals"), _PLAIN, rows)


def _flat(value: object) -> object:
    return joined(" ", (str(v) for v in value)) if isinstance(value, list) else value


def critical_sheet(plant: Plant, signals: Sequence[Signal]) -> Sheet:
    """Critical calls, which no chance excuses."""
    rows = [
        {
            "line": signal.line,
            "defect": signal.defect,
            "name": signal.name,
            "calls": signal.calls,
            "ware": signal.ware,
            "moulds": joined(", ", signal.moulds) or say("not read"),
            "onset": plant.clock.show(signal.onset),
        }
        for signal in signals
    ]
    columns = (
        Column("line", say("Line")),
        Column("defect", say("Defect")),
        Column("name", say("Name")),
        Column("calls", say("Calls"), "count"),
        Column("ware", say("Inspected for it"), "count"),
        Column("moulds", say("Moulds read")),
        Column("onset", say("First call"), "id"),
    )
    return Sheet("critical", say("Critical calls, shown whatever chance says"), columns, rows)


def _ended(signal: Signal, at: Callable[[datetime], str]) -> str:
    if signal.ended is None:
        return say("going on")
    return say("{ended}, passed", ended=at(signal.ended)) if signal.passed else at(signal.ended)


def signals_sheet(
    plant: Plant,
    signals: Sequence[Signal],
    now: datetime,
    name: str = "signals",
    columns: tuple[Column, ...] = SIGNAL_COLUMNS,
) -> Sheet:
    """All signals as rows, the most harmful first."""

    def at(moment: datetime) -> str:
        return clock_words(plant, moment, now)

    rows = [
        {
            "line": s.line,
            "defect": named_defect(s),
            "place": place_words(plant, s),
            "sure": _share(s),
            "since": say(
                "{onset} ({onset_low} to {onset_high})",
                onset=at(s.onset),
                onset_low=at(s.onset_low),
                onset_high=at(s.onset_high),
            ),
            "formed": at(s.formed),
            "ended": _ended(s, at),
            "calls": s.calls,
            "expected": s.expected,
            "ware": s.ware,
            "lost": s.lost_per_hour,
            "q": chance(s.q) if s.q is not None else "",
            "seen": s.acknowledged_by or "",
            "id": s.id,
            "severity": s.severity,
        }
        for s in signals
        if s.kind == "excess"
    ]
    strong = [number for number, row in enumerate(rows) if row["severity"] == "critical"]
    caption = say(
        "Since and ended by the clock of the station that calls it. Expected: by the line's own past in "
        "this job. Ware: containers of the place since the onset. Lost an hour: calls beyond expectation "
        "in the last hour of it. q: false-discovery-adjusted probability of chance. Passed: over within a"
        " quarter of an hour of being raised, its place a guess; told to nobody."
    )
    return Sheet(name, say("Signals"), columns, rows, caption, strong=strong)
