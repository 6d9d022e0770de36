"""The evidence of a trace: what was called, weighed, stopped, changed, challenged, and what is missing, each with its
source rows.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from pipelines.clock import parse_timestamp
from pipelines.measures.statistics.shares import score_interval
from pipelines.numbers import count, decimals, marks, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame import charts
from pipelines.reports.frame.page import Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.trace.contents import KEPT_SIGNAL
from pipelines.reports.trace.detection import DETECTION
from pipelines.words import joined, say, say_n, worded
from schemas.answers.trace import Trace

SHOWN_MINUTES = 60


def evidence_sections(plant: Plant, trace: Trace) -> list[Section | None]:
    """The evidence for the likeliest cavity."""
    if not trace.evidence:
        return []
    return [
        _timeline(plant, trace),
        Section(say("Evidence for the likeliest cavity"), items=_counts(plant, trace), folded=_seen_words(trace)),
        Section(say("What happened there"), items=_happened(plant, trace), folded=_happened_words(trace)),
        Section(say("Stations on duty and their challenges"), sheet=_stations(plant, trace), wide=True)
        if trace.evidence["stations"]
        else None,
        Section(say("Detection of this defect"), sheet=_detection(trace)) if trace.asked.get("defect") else None,
        Section(say("Signals open then"), sheet=_signals(plant, trace), wide=True)
        if trace.evidence["signals"]
        else None,
        Section(say("Calls, minute by minute"), sheet=_minutes(plant, trace)) if trace.evidence["minutes"] else None,
    ]


def local(plant: Plant, moment: str | None) -> str:
    return say("now") if moment is None else plant.clock.show(parse_timestamp(moment))


def _timeline(plant: Plant, trace: Trace) -> Section | None:
    """Calls of the defect with the likeliest mould read, every ten minutes around its window."""
    seen = trace.evidence
    if seen["minutes_from"] is None or not seen["minutes"]:
        return None
    start, end = parse_timestamp(seen["minutes_from"]), parse_timestamp(seen["minutes_to"])
    at = start.replace(minute=start.minute // 10 * 10, second=0, microsecond=0)
    found: dict[Any, int] = {}
    for row in seen["minutes"]:
        moment = parse_timestamp(row["window_start"])
        found[moment.replace(minute=moment.minute // 10 * 10, second=0)] = (
            found.get(moment.replace(minute=moment.minute // 10 * 10, second=0), 0) + row["calls"]
        )
    rows = []
    while at < end:
        rows.append({"label": f"{plant.clock.local(at):%d. %H:%M}", "value": found.get(at, 0)})
        at += timedelta(minutes=10)
    mould, line = seen["cavity"]["mould"], seen["cavity"]["line"]
    words = say_n(
        "{n} call of {defect} with mould {mould} read; by ten minutes of the cold-end clock, two hours before and "
        "after the window",
        "{n} calls of {defect} with mould {mould} read; by ten minutes of the cold-end clock, two hours before and "
        "after the window",
        sum(found.values()),
        defect=trace.asked["defect"],
        mould=mould,
    )
    title = say(
        "{defect} from mould {mould} on {line}, as the stations saw it",
        defect=trace.asked["defect"],
        mould=mould,
        line=line,
    )
    return Section(
        title, chart=charts.svg(charts.columns, words, rows, say("calls in 10 min")), chart_words=words, wide=True
    )


def _counts(plant: Plant, trace: Trace) -> tuple[str, ...]:
    seen, mould = trace.evidence, trace.evidence["cavity"]["mould"]
    weights = seen["weights"]
    weighed = say("no weighing of it")
    if weights["n"]:
        weighed = say(
            "weighings two hours before to after: {n}, mean {mean} g{spread}",
            n=weights["n"],
            mean=decimals(weights["mean_g"], 1),
            spread=""
            if weights["sd_g"] is None
            else say(", standard deviation {sd} g", sd=decimals(weights["sd_g"], 2)),
        )
    others = [
        say("{defect} {calls} at {station}", defect=c["defect"], calls=c["calls"], station=c["station"])
        for c in seen["calls"][:10]
    ]
    return (
        say(
            "containers of mould {mould} read at the stations: {containers}, {start} to {end}",
            mould=mould,
            containers=count(seen["ware_of_mould"]),
            start=local(plant, seen["seen_from"]),
            end=local(plant, seen["seen_to"]),
        ),
        *_rate(seen, trace),
        say("all calls with that mould read: {calls}", calls=joined(", ", others) or say("none")),
        weighed,
        *(say("missing: {text}", text=text) for text in seen["missing"]),
        *(() if seen["missing"] else (say("no counts are missing in the window"),)),
    )


def _seen_words(trace: Trace) -> str:
    seen = trace.evidence
    if not trace.asked.get("defect"):
        return say("{ware} containers of it read", ware=count(seen["ware_of_mould"]))
    return say("{calls} of {ware} called", calls=seen["calls_of_defect"], ware=count(seen["ware_of_mould"]))


def _happened_words(trace: Trace) -> str:
    stops, parts = len(trace.evidence["stoppages"]), len(trace.evidence["moulds_there"])
    return say(
        "{stops}, {parts}",
        stops=say_n("{n} stoppage", "{n} stoppages", stops),
        parts=say_n("{n} part fitted", "{n} parts fitted", parts),
    )


def _rate(seen: dict[str, Any], trace: Trace) -> tuple[str, ...]:
    if not trace.asked.get("defect"):
        return (say("no defect was named"),)
    calls, ware = seen["calls_of_defect"], seen["ware_of_mould"]
    low, high = score_interval(calls, ware)
    rate = (
        say(" = {share} (95 %: {low} to {high})", share=percent(calls / ware), low=percent(low), high=percent(high))
        if ware
        else ""
    )
    return (
        say(
            "calls of the defect with that mould read: {calls} of {ware}{rate}; on the line with none read: {unread}",
            calls=calls,
            ware=count(ware),
            rate=rate,
            unread=seen["calls_without_mould"],
        ),
    )


def _happened(plant: Plant, trace: Trace) -> tuple[str, ...]:
    seen = trace.evidence
    return (
        *(_stop(plant, stop) for stop in seen["stoppages"][:20]),
        *(
            [say("no stoppage of that section from two hours before to two hours after")]
            if not seen["stoppages"]
            else []
        ),
        *(
            say(
                "{part} {number} sat there from {start} to {end} ({row})",
                part=worded(m["part"].replace("_", " ")),
                number=m["number"],
                start=local(plant, m["fitted_at"]),
                end=local(plant, m["ended_at"]),
                row=_row(m),
            )
            for m in seen["moulds_there"]
        ),
    )


def _row(row: dict[str, Any]) -> str:
    return say("batch {batch}, line {line}", batch=row["batch"], line=row["file_line"])


def _stop(plant: Plant, stop: dict[str, Any]) -> str:
    section = stop["section"]
    return say(
        "{what} stood {start} to {end} ({cause}; {row})",
        what=say("section {members}", members=section) if section else say("the whole machine"),
        start=local(plant, stop["stopped_at"]),
        end=local(plant, stop["restarted_at"]),
        cause=stop["cause"] or say("no cause given"),
        row=_row(stop),
    )


def _challenge(plant: Plant, row: dict[str, Any] | None) -> str:
    if row is None:
        return say("none")
    return say(
        "{defect} {caught} of {passes}, {checked} ({row})",
        defect=row["defect"],
        caught=row["caught"],
        passes=row["passes"],
        checked=local(plant, row["checked_at"]),
        row=_row(row),
    )


def _stations(plant: Plant, trace: Trace) -> Sheet:
    rows = [
        {
            "station": s["station"],
            "before": _challenge(plant, s["before"]),
            "after": _challenge(plant, s["after"]),
            "doubt": joined(", ", s["in_doubt"]) or say("no"),
        }
        for s in trace.evidence["stations"]
    ]
    columns = (
        Column("station", say("Station")),
        Column("before", say("Last challenge before")),
        Column("after", say("First challenge after")),
        Column("doubt", say("In doubt")),
    )
    must = plant.must_catch(trace.asked["defect"]) if trace.asked.get("defect") else None
    passed = (
        say("as many of its passes are caught as its severity asks for")
        if must is None
        else say("{share}% of its passes are caught", share=decimals(100 * must))
    )
    caption = say(
        "A challenge is due every {hours} h and passed when {passed} ([checks] in works.toml).",
        hours=f"{plant.checks.challenge_hours:g}".replace(".", marks()[0]),
        passed=passed,
    )
    return Sheet(
        "stations",
        say("Stations"),
        columns,
        rows,
        caption,
        strong=[n for n, row in enumerate(rows) if row["doubt"] != "no"],
    )


def _detection(trace: Trace) -> Sheet:
    rows: list[dict[str, Any]] = []
    for line in trace.evidence["detection"]:
        for station in line["stations"]:
            rows.append(
                {
                    "where": ", ".join(station["stations"]),
                    **{column.name: station[column.name] for column in DETECTION},
                }
            )
        rows.append(
            {
                "where": say("{line}, all in a row", line=line["line"]),
                "rate": line["rate"],
                "low": line["low"],
                "high": line["high"],
            }
        )
    columns = (Column("where", say("Stations")), *DETECTION)
    caption = say(
        "Challenge passes of 30 days; 95 % intervals (Clopper and Pearson), wider where the passes of a "
        "challenge are alike. Escapes: these passes weighed against all stations of the works; a station "
        "without a pass is taken to do as they do, a guess."
    )
    return Sheet("detection", say("Detection"), columns, rows, caption)


def _signals(plant: Plant, trace: Trace) -> Sheet:
    rows = [
        {
            "id": s["id"],
            "defect": s["defect"],
            "severity": worded(s["severity"]),
            "scope": say("{scope} {members}", scope=worded(s["scope"]), members=", ".join(s["members"][:6])),
            "onset": local(plant, s["onset"]),
            "ended": say("open") if s["ended"] is None else local(plant, s["ended"]),
            "calls": s["calls"],
            "expected": s["expected"],
            "mine": say("yes") if s["holds_the_mould"] else "",
        }
        for s in trace.evidence["signals"]
    ]
    columns = (
        *KEPT_SIGNAL,
        Column("calls", say("Calls"), "count"),
        Column("expected", say("Expected"), "number"),
        Column("mine", say("Holds the mould")),
    )
    return Sheet(
        "signals",
        say("Signals"),
        columns,
        rows,
        say("As the last intake left them, by the clock of the calling station."),
        strong=[n for n, r in enumerate(rows) if r["mine"]],
    )


def _minutes(plant: Plant, trace: Trace) -> Sheet:
    every = trace.evidence["minutes"]
    rows = [
        {
            "at": local(plant, m["window_start"]),
            "station": m["station"],
            "calls": m["calls"],
            "row": _row(m),
        }
        for m in every[-SHOWN_MINUTES:]
    ]
    columns = (
        Column("at", say("Minute")),
        Column("station", say("Station")),
        Column("calls", say("Calls"), "count"),
        Column("row", say("Source row")),
    )
    more = (
        say("; the last {shown} of {every} rows", shown=SHOWN_MINUTES, every=len(every))
        if len(every) > SHOWN_MINUTES
        else ""
    )
    return Sheet(
        "minutes",
        say("Minutes"),
        columns,
        rows,
        say(
            "Rows of reject_counts with this mould number read{more}. The files of the batches are named below.",
            more=more,
        ),
    )
