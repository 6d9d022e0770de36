"""The day report: one sheet to read in two minutes, then the glass, then a sheet a machine."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines.answers.day import Day, answer_day
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.tell import all_due, gob_sentences, laboratory_sentences
from pipelines.measures.statistics.shares import more_than_whole
from pipelines.measures.yields.change import Against, Revision, YieldChange
from pipelines.measures.yields.meter_sentences import meter_sentences, yield_words
from pipelines.numbers import count, decimals, percent
from pipelines.plant.works import Plant
from pipelines.reports.addresses import day_address
from pipelines.reports.breakages import breakage_sections
from pipelines.reports.day.machine import machine_sections
from pipelines.reports.day.revision import moved_section
from pipelines.reports.day.tables import (
    critical_sheet,
    furnaces_sheet,
    held_sheet,
    laboratory_sheet,
    machines_sheet,
    shifts_sheet,
    weights_sheet,
)
from pipelines.reports.frame.page import CAUTION, GLASS, Figure, Page, Section
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.frame.sources import sources
from pipelines.reports.missing import missing_section, uncalled_sentence, waiting_words
from pipelines.reports.signals import signals_sheet
from pipelines.reports.trace.whereabouts import released_words
from pipelines.reports.yields.losses import balances_sheet, biggest_sheet, furnace_picture, meters_sheet
from pipelines.words import say
from schemas.answers.trust import StationDoubt
from schemas.answers.weights import Weights
from schemas.answers.yields import FurnaceYield

MOST = 3
SIGNALS = 5


def day_page(reader: Reader, plant: Plant, day: date, revision: str = "") -> Page:
    """The page of one production day. `revision` says which close wrote it."""
    return page_of(plant, answer_day(reader, plant, day), revision)


def page_of(
    plant: Plant, day: Day, words: str = "", why: Revision | None = None, earlier: tuple[tuple[str, str], ...] = ()
) -> Page:
    """The page of a day already answered. words: which close wrote it; why: what it moved; earlier: pages of the
    revisions before.
    """
    hours = day.span.seconds / 3600
    return Page(
        title=f"Production day {day.day.isoformat()}",
        when=f"{plant.clock.show(day.span.start)} to {plant.clock.show(day.span.end)}, {hours:g} "
        f"hours{'; ' + words if words else ''}",
        figures=tuple(_furnace_figure(f) for f in day.yields.furnaces),
        sections=tuple(_sections(plant, day, why)),
        links=(
            (say("← day before"), f"../{day_address(day.day - timedelta(days=1))}"),
            (say("day after →"), f"../{day_address(day.day + timedelta(days=1))}"),
            *earlier,
            (say("all pages"), "../index.html"),
        ),
        cautions=(CAUTION, GLASS),
        sources=sources(day.asked, day.files),
        made=say(
            "The yield follows the same ware from the melt to the pallet, each step in its own time-aligned window."
        ),
        workbook=f"{day.day.isoformat()}.xlsx",
    )


def _furnace_figure(furnace: FurnaceYield) -> Figure:
    what = f"pack-to-melt, furnace {furnace.furnace}"
    if furnace.low is None:
        cut = yield_words(furnace.packed_over_cut, furnace.packed_over_cut_low, furnace.packed_over_cut_high)
        instead = f"packed over cut {cut}, {count(furnace.packed_kg)} of {count(furnace.cut_kg)} kg"
        return Figure("–", what, furnace.why if furnace.packed_over_cut_low is None else f"{furnace.why}: {instead}")
    raw = (
        f"plain quotient {percent(furnace.raw, 1)}"
        if furnace.raw is not None
        else say("by gobs: no whole melt log")
        if furnace.basis == "gobs"
        else say("no plain quotient: see pallets")
    )
    under = f"95 %: {percent(furnace.low, 1)} to {percent(furnace.high, 1)}; {raw}; {_packed_words(furnace)}"
    if furnace.melted_kg is not None:
        under += f", {count(furnace.melted_kg)} kg melted by the log"
    if furnace.pack_to_melt is None:
        return Figure(f"{percent(furnace.low, 1)} to {percent(furnace.high, 1)}", what, f"{under}; {furnace.why}")
    return Figure(percent(furnace.pack_to_melt, 1), what, under)


def _packed_words(furnace: FurnaceYield) -> str:
    if furnace.packed_kg is None:
        return say("packed: not told for want of a line's pallets")
    return f"{count(furnace.packed_kg)} kg packed"


def _sections(plant: Plant, day: Day, why: Revision | None) -> list[Section]:
    """The first sheet, the glass, a sheet a machine, and the tables behind them."""
    few = [change for change in day.changes if _worth_a_line(day, change)]
    pictures = [furnace_picture(furnace) for furnace in day.yields.furnaces if furnace.flow]
    return [
        Section(say("What changed"), sheet=_changes(few, "changed"), wide=True),
        Section(
            say("The biggest losses"),
            sheet=biggest_sheet(plant, day.yields, MOST, "biggest", say("Biggest losses")),
            wide=True,
        ),
        _signals(plant, day),
        _critical_lines(day),
        *breakage_sections(plant, day.breakages),
        _holds(plant, day),
        _laboratory(plant, day),
        missing_section(_missing(plant, day)),
        *([moved_section(plant, why)] if why else []),
        Section(say("Every machine's results"), sheet=machines_sheet(day.yields), wide=True, sheet_of_paper=True),
        *pictures,
        Section(say("Furnaces"), sheet=furnaces_sheet(day.yields), wide=True),
        Section(
            say("All losses"),
            sheet=biggest_sheet(plant, day.yields, 20, "losses", say("Losses, the greatest first")),
            wide=True,
        ),
        *[section for line in day.yields.lines for section in machine_sections(plant, day, line)],
        Section(
            say("Critical calls of the day"),
            sheet=critical_sheet(plant, day),
            warn=_any_critical(day),
            wide=True,
            sheet_of_paper=True,
        ),
        *_all_signals(plant, day),
        Section(say("Every figure against earlier days"), sheet=_changes(day.changes, "changes"), wide=True),
        Section(say("By shift"), sheet=shifts_sheet(day)),
        Section(say("Pallets held, to be re-sorted, scrapped"), sheet=held_sheet(plant, day)),
        Section(say("Weights against limits"), sheet=weights_sheet(day), wide=True),
        Section(say("Balances"), sheet=balances_sheet(day.yields), wide=True),
        Section(say("Meters"), sheet=meters_sheet(day.yields), wide=True),
    ]


def _worth_a_line(day: Day, yield_change: YieldChange) -> bool:
    """On the first sheet: the furnaces, and whatever changed by more than noise."""
    furnaces = {furnace.furnace for furnace in day.yields.furnaces}
    return yield_change.of in furnaces or any(
        past is not None and past.beyond for past in (yield_change.week, yield_change.month)
    )


def _critical_lines(day: Day) -> Section:
    """Critical calls in a sentence a line; they are never left out."""
    said = []
    for line, pareto in day.paretos.items():
        calls = [f"{row.key} {row.name} {row.critical_calls}" for row in pareto.rows if row.critical_calls]
        said.append(
            f"{line}: {', '.join(calls) if calls else 'none called'}, in {count(pareto.ware)} containers at the "
            "first station."
        )
    return Section(say("Critical calls"), items=tuple(said), warn=_any_critical(day), wide=True)


def _changes(chosen: list[YieldChange], name: str) -> Sheet:
    """Figures against their last 7 and 28 closed days."""
    rows = [
        {
            "of": yield_change.of,
            "name": yield_change.name,
            "value": _figure(yield_change, yield_change.value),
            "week": _mean(yield_change, yield_change.week),
            "from_week": _verdict(yield_change, yield_change.week),
            "month": _mean(yield_change, yield_change.month),
            "from_month": _verdict(yield_change, yield_change.month),
        }
        for yield_change in chosen
    ]
    strong = [
        number
        for number, yield_change in enumerate(chosen)
        if any(past is not None and past.beyond for past in (yield_change.week, yield_change.month))
    ]
    columns = (
        Column("of", say("Of")),
        Column("name", say("Figure")),
        Column("value", say("This day")),
        Column("week", say("Last 7 days")),
        Column("from_week", say("Change")),
        Column("month", say("Last 28 days")),
        Column("from_month", say("Change")),
    )
    caption = say(
        "Mean of the closed days (how many). More than noise: outside the limits that 95 of 100 further "
        "days of the same kind would keep, by the spread from day to day of the last 28; with so many "
        "figures a day, one in twenty is outside by chance."
    )
    return Sheet(
        name,
        say("What changed") if name == "changed" else say("All against earlier days"),
        columns,
        rows,
        caption,
        strong=strong,
    )


def _figure(yield_change: YieldChange, value: float) -> str:
    return percent(value) if yield_change.kind == "percent" else f"{count(value)} {yield_change.kind}"


def _mean(yield_change: YieldChange, past: Against | None) -> str:
    return f"{_figure(yield_change, past.mean)} ({past.days})" if past else say("no closed day")


def _verdict(yield_change: YieldChange, past: Against | None) -> str:
    if past is None:
        return ""
    moved = (
        f"{100 * past.difference:+.2f} points"
        if yield_change.kind == "percent"
        else f"{past.difference:+,.0f} {yield_change.kind}"
    )
    noise = {None: say("too few days to tell"), True: say("more than noise"), False: say("within noise")}[past.beyond]
    return f"{moved.replace('-', '−').replace(',', ' ')}, {noise}"


def _holds(plant: Plant, day: Day) -> Section:
    """Pallets that stand in another state than packed or released, decisions about holds, and stations that nobody
    vouches for.
    """
    said = []
    for (state,), rows in day.held.sort("state").group_by(["state"], maintain_order=True):
        name = say("to be re-sorted") if state == "resort" else str(state)
        first = ", ".join(rows["pallet"].head(4).to_list())
        more = f" and {rows.height - 4} more" if rows.height > 4 else ""
        said.append(f"{name}: {rows.height} pallets, {count(float(rows['units'].sum()))} containers ({first}{more})")
    head = (
        say("As the warehouse last told it; releasing is a decision of the works' authorised people.")
        if said
        else say("No pallet is held or to be re-sorted by what the warehouse sent.")
    )
    said = [*_decided(day), *said, *(_doubt(plant, doubt) for doubt in day.unvouched[:6]), *_usual_doubts(plant, day)]
    return Section(say("Holds"), (head,), items=tuple(said), warn=bool(said), wide=True)


def _decided(day: Day) -> list[str]:
    out = [h.pallet for h in day.holds if h.state == "held" and h.warehouse == "released"]
    waits, held = ([h for h in day.holds if h.state == state] for state in ("proposed", "held"))
    words = [f"held by decision and given out all the same: {', '.join(out[:6])}"] if out else []
    words += [f"proposed, waiting for a person: {len(waits)} pallets"] if waits else []
    return words + ([f"held by decision: {len(held)} pallets"] if held else [])


def _usual_doubts(plant: Plant, day: Day) -> list[str]:
    """What is folded away, in a sentence; the critical ones of it by name."""
    if not day.usual_doubts:
        return []
    severe = [
        d for d in day.usual_doubts if d.defect in plant.defects and plant.defects[d.defect].severity == "critical"
    ]
    names = sorted({f"{d.station} {d.defect}" for d in severe})
    said = [
        f"failed challenges that are usual for their stations: {len(day.usual_doubts)}; `coldledger trust` lists them"
    ]
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return said + (
        [f"of them critical, each with at least a pass missed: {', '.join(names[:6])}{more}"] if names else []
    )


def _doubt(plant: Plant, doubt: StationDoubt) -> str:
    since = f"since {plant.clock.show(doubt.from_)}" if doubt.from_ else say("never vouched for")
    until = f"until {plant.clock.show(doubt.to)}" if doubt.to else say("no good one yet")
    gone = f", {released_words(plant, doubt.released)}" if doubt.released else ""
    likely = (
        f", really failed with {percent(doubt.likely, 0)} (estimate)"
        if doubt.failed_at and doubt.likely is not None
        else ""
    )
    return (
        f"in doubt: {doubt.station} {doubt.defect}, challenge {doubt.why}{likely}, {since}, {until}: "
        f"{count(doubt.containers)} containers inspected, {len(doubt.pallets)} pallets{gone}"
    )


def _laboratory(plant: Plant, day: Day) -> Section:
    """Weights, capacity, density, annealing and samples: what asks for somebody in sentences, then a line each with the
    ways to the pages.
    """
    said = [f"{line}: {text}" for line, many in day.weights.items() for text in _weight_words(plant, many)]
    said += laboratory_sentences(plant, day.laboratory)
    head = (
        ()
        if said
        else (say("Nothing the laboratory weighed or checked is beyond its limits, and no gob position drifts."),)
    )
    missed = sum(due.missed for furnace in day.laboratory.furnaces for due in all_due(furnace))
    if missed:
        said.append(f"{missed} checks that were due were missed; the laboratory pages list them.")
    sheet = laboratory_sheet(plant, day)
    return Section(say("Laboratory"), head, items=tuple(dict.fromkeys(said)), sheet=sheet, warn=bool(said), wide=True)


def _weight_words(plant: Plant, many: list[Weights]) -> list[str]:
    """Drifting gob positions and weighings outside the limits."""
    said = [text for weights in many for text in gob_sentences(plant, weights)]
    said += [
        f"{each.outside} of {each.n} weighings of {each.item} outside their limits." for each in many if each.outside
    ]
    return said if many else [say("no weighing came for this day.")]


def _signals(plant: Plant, day: Day) -> Section:
    """What was not chance, the whole day: those still open first, then the most harmful; the rest behind."""
    still, passed = sum(signal.ended is None for signal in day.signals), sum(signal.passed for signal in day.signals)
    head = f"{len(day.signals)} signals were open in this day, {still} of them still at its end." if day.signals else ""
    head += f" Over within a quarter of an hour, their place a guess: {passed}." if passed else ""
    if not head:
        return Section(
            say("What was not chance"),
            (say("No excess that chance does not explain was found in this day."),),
            wide=True,
        )
    shown = sorted(day.signals, key=lambda answer: (answer.passed, answer.ended is not None))[:SIGNALS]
    if len(day.signals) > SIGNALS:
        head += f" The {SIGNALS} that matter most are here, all of them behind the machines."
    sheet = signals_sheet(plant, shown, day.span.start, "signals")
    return Section(say("What was not chance"), (head,), sheet=sheet, wide=True, warn=still > 0)


def _all_signals(plant: Plant, day: Day) -> list[Section]:
    if len(day.signals) <= SIGNALS:
        return []
    return [
        Section(
            say("All signals of the day"),
            sheet=signals_sheet(plant, day.signals, day.span.start, "all-signals"),
            wide=True,
        )
    ]


def _any_critical(day: Day) -> bool:
    return any(row.critical_calls for pareto in day.paretos.values() for row in pareto.rows)


def _missing(plant: Plant, day: Day) -> list[str]:
    said = meter_sentences(day.yields)
    said += [f"{furnace.furnace}: {furnace.why}." for furnace in day.yields.furnaces if furnace.why]
    said += [f"{each.line}: {each.why}." for each in day.yields.lines if each.why]
    said += [f"{line}, from {plant.clock.local(hour):%H:%M}: {doubt}" for line, hour, doubt in day.doubts]
    for line, cover in day.coverage.items():
        covered = {row["station"]: row["covered_s"] for row in cover.iter_rows(named=True)}
        for station in plant.stations_of(line):
            share = covered.get(station.id, 0) / day.span.seconds
            if share < 0.99:
                said.append(f"{station.id}: counts for {decimals(100 * share, 1)} % of the day.")
        said.extend(uncalled_sentence(row) for row in day.uncalled[line].iter_rows(named=True))
        wrong = more_than_whole(day.paretos[line].rejected_for_faults, day.paretos[line].ware)
        said += [f"{line}: {wrong}"] if wrong else []
        if not any(weight.point == "cold" for weight in day.weights[line]):
            said.append(f"{line}: no cold weighing; nominal weights were used.")
    notes = [f"{y.line}: {note}" for y in day.yields.lines for note in y.notes if not note.startswith("lehr time")]
    if any(day.waiting):
        said.append(f"{waiting_words(*day.waiting)}, of all feeds; `coldledger feeds` says why.")
    return said + notes + [f"{f.furnace}: {note}" for f in day.yields.furnaces for note in f.notes]
