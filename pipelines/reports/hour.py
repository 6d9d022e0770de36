"""The hour page of a line: what is thrown away, from where, against the hours before; what is missing."""

from __future__ import annotations

from datetime import timedelta

import polars as pl

from pipelines.answers.hour import Hour, answer_hour
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.mould_places import UNREAD
from pipelines.measures.pareto.unread import Unread, unread_caption
from pipelines.measures.statistics.shares import count_interval, more_than_whole, ratio, share
from pipelines.numbers import count, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address, hour_address
from pipelines.reports.clock_words import span_words
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import sources
from pipelines.reports.hour_trend import by_hour, trend_section
from pipelines.reports.missing import missing_section, uncalled_sentence, waiting_words
from pipelines.reports.pareto import pareto_chart, pareto_sheet
from pipelines.reports.signals import signals_section, signals_sheet
from pipelines.words import joined, say, worded
from schemas.answers.pareto import Pareto, ParetoRow

GRID_DEFECTS, GRID_MOULDS = 10, 30
BARS = 8  # of defects; the table has all


def hour_page(reader: Reader, plant: Plant, line: str, span: Span) -> Page:
    """The page of one line's hour."""
    reader = reader.noting()
    hour = answer_hour(reader, plant, line, span)
    by_defect = hour.paretos["defect"]
    address = hour_address(plant, line, span)
    return Page(
        title=say("{line}: rejects of the hour", line=line),
        when=say(
            "{span}, by the cold-end clock",
            span=span_words(plant, span),
        ),
        figures=_figures(plant, hour),
        sections=tuple(_sections(plant, hour)),
        links=_links(plant, line, span),
        cautions=(CAUTION, GLASS),
        sources=sources(reader.asked, hour.files),
        made=say(
            "Ware seen in this hour was formed about {minutes} min earlier ({source}). {why}",
            minutes=f"{hour.lehr.minutes:.0f}",
            source=hour.lehr.source,
            why=by_defect.why or say("{ware} containers at the first station.", ware=count(by_defect.ware)),
        ),
        workbook=address.rsplit("/", 1)[1].replace(".html", ".xlsx"),
    )


def _links(plant: Plant, line: str, span: Span) -> tuple[tuple[str, str], ...]:
    hour = timedelta(hours=1)
    before, after = plant.clock.hour_of(span.start - hour), plant.clock.hour_of(span.end)
    up = "../../"
    others = [(other, up + hour_address(plant, other, span)) for other in plant.lines if other != line]
    day = plant.clock.day_of(span.start)
    return (
        (say("← hour before"), up + hour_address(plant, line, before)),
        (say("hour after →"), up + hour_address(plant, line, after)),
        (say("the day"), up + day_address(day)),
        *others,
    )


def _figures(plant: Plant, hour: Hour) -> tuple[Figure, ...]:
    pareto = hour.paretos["defect"]
    severe = sum(row.critical_calls for row in pareto.rows)
    before = _before(plant, hour)
    rate = share(pareto.rejected_for_faults, pareto.ware)

    alarm = (
        "critical"
        if any(s.severity == "critical" and s.kind == "excess" and s.ended is None for s in hour.signals)
        else ""
    )

    def known(number: int) -> int | None:
        return None if pareto.why else number

    return (
        Figure(
            percent(rate),
            say("rejected"),
            pareto.why
            or say(
                "{rejected_for_faults} of {ware} containers{without}",
                rejected_for_faults=count(pareto.rejected_for_faults),
                ware=count(pareto.ware),
                without=_without(pareto),
            ),
        ),
        Figure(percent(before), say("in the hours before"), say("same job, up to 11 hours")),
        Figure(count(known(severe)), say("critical calls"), say("each is listed below, however rare"), alarm),
        Figure(count(known(pareto.calls)), say("defect calls"), say("one container can be called twice")),
    )


def _without(pareto: Pareto) -> str:
    return (
        say(", without {uncounted}: calls and no counts", uncounted=joined(", ", pareto.uncounted))
        if pareto.uncounted
        else ""
    )


def _before(plant: Plant, hour: Hour) -> float | None:
    earlier = [row for row in by_hour(plant, hour) if row["block"] < hour.span.start]
    return share(sum(row["rejected"] for row in earlier), sum(row["ware"] for row in earlier))


def _sections(plant: Plant, hour: Hour) -> list[Section]:
    pareto = hour.paretos["defect"]
    ticks = (
        say("The upright ticks show what the line's own past in this job leads one to expect.")
        if pareto.baseline_from
        else say("There is no past to compare this hour with.")
    )
    open_defects = {s.defect for s in hour.signals if s.kind == "excess" and s.ended is None and not s.passed}
    words = say("Calls by defect: {calls}", calls=joined("; ", (_of_defect(row) for row in pareto.rows[:8])))
    return [
        signals_section(plant, hour.signals, hour.span.end, _judged(hour), hour.doubts),
        Section(
            say("What is thrown away"),
            (pareto.why,) if pareto.why else (),
            pareto_chart(pareto, words, open_defects, BARS),
            notes=(say("Critical defects come first, whatever their number. {ticks}", ticks=ticks),),
        ),
        trend_section(plant, hour),
        _critical(plant, hour),
        _places(plant, hour),
        _grid(plant, hour),
        Section(say("Pareto by defect"), sheet=pareto_sheet(pareto, "by-defect", say("Pareto by defect")), wide=True),
        Section(say("By station"), sheet=_stations(plant, hour)),
        *_all_signals(plant, hour),
        missing_section(_missing(plant, hour)),
    ]


def _of_defect(row: ParetoRow) -> str:
    return say("{name} {calls}", name=row.name, calls=row.calls)


def _judged(hour: Hour) -> str:
    spread = (
        say(", single containers {spread} min either way of that", spread=f"{1.96 * hour.lehr.spread:.0f}")
        if hour.lehr.spread
        else ""
    )
    return say(
        "Lehr time {minutes} min, {source}{spread}.",
        minutes=f"{hour.lehr.minutes:.0f}",
        source=hour.lehr.source,
        spread=spread,
    )


def _all_signals(plant: Plant, hour: Hour) -> list[Section]:
    if not any(signal.kind == "excess" for signal in hour.signals):
        return []
    return [
        Section(
            say("Signals, open or closed in this hour"),
            sheet=signals_sheet(plant, hour.signals, hour.span.end),
            wide=True,
        )
    ]


def _critical(plant: Plant, hour: Hour) -> Section:
    """Every critical defect, called or not, with what its ware allows one to say."""
    called = {row.key: row for row in hour.paretos["defect"].rows}
    inspected = {row["station"]: row["inspected"] for row in hour.coverage.iter_rows(named=True)}
    rows = []
    for code, defect in plant.defects.items():
        if defect.severity != "critical":
            continue
        able = [s for s in plant.stations_of(hour.line) if s.can_call(code)]
        ware = sum(inspected.get(s.id, 0) for s in able if s.order == able[0].order)
        named = defect.name if able else say("{name} (no station can call it)", name=defect.name)
        calls = called[code].calls if code in called else 0
        high = ratio(min(count_interval(calls)[1], float(ware)), ware)
        rows.append({"code": code, "name": named, "calls": calls, "ware": ware, "high": high})
    columns = (
        Column("code", say("Code")),
        Column("name", say("Critical defect")),
        Column("calls", say("Calls"), "count"),
        Column("ware", say("Inspected"), "count"),
        Column("high", say("Rate at most"), "percent"),
    )
    caption = say(
        "Inspected: containers at the stations that can call it. At most: exact 95 % Poisson limit. None "
        "called is not none made."
    )
    strong = [number for number, row in enumerate(rows) if row["calls"]]
    return Section(
        say("Critical defects"),
        sheet=Sheet("critical", say("Critical defects"), columns, rows, caption, strong=strong),
        warn=bool(strong),
    )


def _places(plant: Plant, hour: Hour) -> Section:
    """The worst places: moulds, sections, gob positions, each by its own rate."""
    rows = []
    for by in ("mould", "section", "gob"):
        own = [row for row in hour.paretos[by].rows if row.own_rate is not None]
        for row in sorted(own, key=lambda answer: -(answer.own_rate or 0.0))[: 5 if by == "mould" else 3]:
            rows.append(
                {
                    "where": row.name,
                    "calls": row.calls,
                    "ware": row.own_ware,
                    "rate": row.own_rate,
                    "critical": row.critical_calls,
                }
            )
    columns = (
        Column("where", say("Where")),
        Column("calls", say("Calls"), "count"),
        Column("ware", say("Own ware"), "count"),
        Column("rate", say("Calls / own ware"), "percent"),
        Column("critical", say("Critical"), "count"),
    )
    unread = Unread(hour.paretos["mould"].unread_share, hour.paretos["mould"].unread_stations)
    caption = say(
        "Highest rates, not proof: chance alone puts some place on top. Own ware: containers of that "
        "place where moulds are read, unread ones shared out in proportion. {unread_caption}",
        unread_caption=unread_caption(unread),
    )
    return Section(
        say("Where it comes from"), sheet=Sheet("places", say("Where it comes from"), columns, rows, caption)
    )


def _grid(plant: Plant, hour: Hour) -> Section:
    """Calls by mould and defect: the shade and the number say the same."""
    defects = [row.key for row in hour.paretos["defect"].rows]
    critical = [code for code in defects if plant.defects.get(code) and plant.defects[code].severity == "critical"]
    codes = critical + [code for code in defects if code not in critical][:GRID_DEFECTS]
    sums = hour.calls.group_by("mould", "defect").agg(pl.col("calls").sum())
    cells = {(row[0] or UNREAD, row[1]): row[2] for row in sums.iter_rows()}
    moulds = [row.key for row in hour.paretos["mould"].rows]
    kept = [m for number, m in enumerate(moulds) if number < GRID_MOULDS or any(cells.get((m, c)) for c in critical)]
    rows = [
        {
            "mould": worded(m),
            **{c: cells.get((m, c)) for c in codes},
            "all": sum(n for (mm, _), n in cells.items() if mm == m),
        }
        for m in kept
    ]
    top = max((n for (mould, _), n in cells.items() if mould != UNREAD), default=1)
    read = [(number, row) for number, row in enumerate(rows) if row["mould"] != UNREAD]
    shade = [(number, c, (row[c] or 0) / top) for number, row in read for c in codes if row[c]]
    columns = (
        Column("mould", say("Mould")),
        *(Column(c, c, "count") for c in codes),
        Column("all", say("All defects"), "count"),
    )
    caption = say(
        "Calls in the hour; moulds with the most calls first ({rows} of {moulds}); critical defects "
        "leftmost. A dash is no call.",
        rows=len(rows),
        moulds=len(moulds),
    )
    return Section(
        say("Mould by defect"),
        sheet=Sheet("grid", say("Mould by defect"), columns, rows, caption, shade=shade),
        wide=True,
    )


def _stations(plant: Plant, hour: Hour) -> Sheet:
    cover = {row["station"]: row for row in hour.coverage.iter_rows(named=True)}
    calls = {row[0]: row[1] for row in hour.calls.group_by("station").agg(pl.col("calls").sum()).iter_rows()}
    rejected = {row.key: row.calls for row in hour.paretos["station"].rows}
    rows = []
    for station in plant.stations_of(hour.line):
        here = cover.get(station.id)
        inspected = here["inspected"] if here else None
        rows.append(
            {
                "station": station.id,
                "order": station.order,
                "inspected": inspected,
                "calls": calls.get(station.id, 0),
                "rate": ratio(rejected.get(station.id, 0), inspected),
                "unread": ratio(here["unread"], inspected) if here else None,
            }
        )
    columns = (
        Column("station", say("Station")),
        Column("order", say("Order"), "count"),
        Column("inspected", say("Inspected"), "count"),
        Column("calls", say("Calls"), "count"),
        Column("rate", say("Calls / inspected"), "percent"),
        Column("unread", say("Mould not read"), "percent1"),
    )
    return Sheet("stations", say("By station"), columns, rows, say("Stations of one order are lanes side by side."))


def _impossible(plant: Plant, hour: Hour) -> list[str]:
    """The hours in which more was rejected than counted in."""
    hours = [(row["block"], more_than_whole(row["rejected"], row["ware"])) for row in by_hour(plant, hour)]
    return [
        say("{at}: {sentence}", at=f"{plant.clock.local(at):%H:%M}", sentence=sentence)
        for at, sentence in hours
        if sentence
    ]


def _missing(plant: Plant, hour: Hour) -> list[str]:
    said = [*_impossible(plant, hour), *hour.doubts]
    cover = {row["station"]: row for row in hour.coverage.iter_rows(named=True)}
    for station in plant.stations_of(hour.line):
        covered = cover[station.id]["covered_s"] if station.id in cover else 0
        if covered < 0.98 * hour.span.seconds:
            said.append(
                say(
                    "{id}: counts for {covered} of {seconds} minutes; rates of this page stand on what came.",
                    id=station.id,
                    covered=f"{covered / 60:.0f}",
                    seconds=f"{hour.span.seconds / 60:.0f}",
                )
            )
    for row in hour.uncalled.iter_rows(named=True):
        said.append(uncalled_sentence(row))
    unread = hour.paretos["mould"].unread_share
    if unread is not None and unread > 0.25:
        said.append(
            say(
                "{unread} of the calls carry no mould number: the places above speak for the rest only.",
                unread=percent(unread, 0),
            )
        )
    if any(hour.waiting):
        said.append(
            say(
                "{waiting_words}, of all feeds; `coldledger feeds` says why.",
                waiting_words=waiting_words(*hour.waiting),
            )
        )
    return said
