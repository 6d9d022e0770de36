"""The day report: one sheet to read in two minutes, then the glass, then a sheet a machine."""

from __future__ import annotations

from datetime import date, timedelta

from pipelines.answers.day import Day, answer_day
from pipelines.ledger.reader import Reader
from pipelines.measures.laboratory.tell import all_due, gob_sentences, laboratory_sentences
from pipelines.measures.statistics.shares import more_than_whole
from pipelines.measures.yields.change import Against, Revision, YieldChange
from pipelines.measures.yields.meter_sentences import meter_sentences, yield_words
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.day.machine import machine_sections
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
from pipelines.reports.frame.shared_parts import (
    count,
    day_address,
    missing_section,
    percent,
    sources,
    uncalled_sentence,
    waiting_words,
)
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.reports.signals import PASSED, signals_sheet
from pipelines.reports.trace.whereabouts import released_words
from pipelines.reports.yields.losses import balances_sheet, biggest_sheet, furnace_picture, meters_sheet
from schemas.answers.trust import StationDoubt
from schemas.answers.weights import Weights
from schemas.answers.yields import FurnaceYield

MOST = 3
SIGNALS = 5


def day_page(reader: Reader, plant: Plant, day: date, revision: str = "") -> Page:
    """The page of one production day. `revision` says which close wrote it."""
    return page_of(plant, answer_day(reader, plant, day), revision)


def page_of(
    plant: Plant, told: Day, words: str = "", why: Revision | None = None, earlier: tuple[tuple[str, str], ...] = ()
) -> Page:
    """The page of a day already answered. words: which close wrote it; why: what it moved; earlier: pages of the
    revisions before.
    """
    hours = told.span.seconds / 3600
    return Page(
        works=plant.works.name,
        title=f"Production day {told.day.isoformat()}",
        when=f"{plant.clock.show(told.span.start)} to {plant.clock.show(told.span.end)}, {hours:g} "
        f"hours{'; ' + words if words else ''}",
        figures=tuple(_furnace_figure(f) for f in told.told.furnaces),
        sections=tuple(_sections(plant, told, why)),
        links=(
            ("← day before", f"../{day_address(told.day - timedelta(days=1))}"),
            ("day after →", f"../{day_address(told.day + timedelta(days=1))}"),
            *earlier,
            ("all pages", "../index.html"),
        ),
        cautions=(CAUTION, GLASS),
        sources=sources(told.asked, told.files),
        made="The yield follows the same ware from the melt to the pallet, each step in its own time-aligned window.",
        workbook=f"{told.day.isoformat()}.xlsx",
    )


def _furnace_figure(told: FurnaceYield) -> Figure:
    what = f"pack-to-melt, furnace {told.furnace}"
    if told.low is None:
        cut = yield_words(told.packed_over_cut, told.packed_over_cut_low, told.packed_over_cut_high)
        instead = f"packed over cut {cut}, {count(told.packed_kg)} of {count(told.cut_kg)} kg"
        return Figure("–", what, told.why if told.packed_over_cut_low is None else f"{told.why}: {instead}")
    raw = (
        f"plain quotient {percent(told.raw, 1)}"
        if told.raw is not None
        else "by gobs: no whole melt log"
        if told.basis == "gobs"
        else "no plain quotient: see pallets"
    )
    under = f"95 %: {percent(told.low, 1)} to {percent(told.high, 1)}; {raw}; {_packed_words(told)}"
    if told.melted_kg is not None:
        under += f", {count(told.melted_kg)} kg melted by the log"
    if told.pack_to_melt is None:
        return Figure(f"{percent(told.low, 1)} to {percent(told.high, 1)}", what, f"{under}; {told.why}")
    return Figure(percent(told.pack_to_melt, 1), what, under)


def _packed_words(told: FurnaceYield) -> str:
    return (
        "packed: not told for want of a line's pallets"
        if told.packed_kg is None
        else f"{count(told.packed_kg)} kg packed"
    )


def _sections(plant: Plant, told: Day, why: Revision | None) -> list[Section]:
    """The first sheet, the glass, a sheet a machine, and the tables behind them."""
    few = [one for one in told.changes if _worth_a_line(told, one)]
    pictures = [furnace_picture(furnace) for furnace in told.told.furnaces if furnace.flow]
    return [
        Section("What changed", sheet=_changes(few, "changed"), wide=True),
        Section(
            "The biggest losses", sheet=biggest_sheet(plant, told.told, MOST, "biggest", "Biggest losses"), wide=True
        ),
        _signals(plant, told),
        _critical_lines(told),
        _holds(plant, told),
        _laboratory(plant, told),
        missing_section(_missing(plant, told)),
        *([_moved(plant, why)] if why else []),
        Section("Every machine's results", sheet=machines_sheet(told), wide=True, sheet_of_paper=True),
        *pictures,
        Section("Furnaces", sheet=furnaces_sheet(told), wide=True),
        Section(
            "All losses", sheet=biggest_sheet(plant, told.told, 20, "losses", "Losses, the greatest first"), wide=True
        ),
        *[section for one in told.told.lines for section in machine_sections(plant, told, one)],
        Section(
            "Critical calls of the day",
            sheet=critical_sheet(plant, told),
            warn=_any_critical(told),
            wide=True,
            sheet_of_paper=True,
        ),
        *_all_signals(plant, told),
        Section("Every figure against earlier days", sheet=_changes(told.changes, "changes"), wide=True),
        Section("By shift", sheet=shifts_sheet(told)),
        Section("Pallets held, to be re-sorted, scrapped", sheet=held_sheet(plant, told)),
        Section("Weights against limits", sheet=weights_sheet(told), wide=True),
        Section("Balances", sheet=balances_sheet(told.told), wide=True),
        Section("Meters", sheet=meters_sheet(told.told), wide=True),
    ]


def _moved(plant: Plant, why: Revision) -> Section:
    """What a later close moved, and the files that moved it."""
    rows = [
        {
            "of": one.of,
            "what": one.what,
            "before": _written(one.what, one.before),
            "after": _written(one.what, one.after),
        }
        for one in why.moved
    ]
    columns = (Column("of", "Of"), Column("what", "What"), Column("before", "Before"), Column("after", "Now"))
    came = [
        f"{one['feed']}: {one['file']}, received {plant.clock.show(one['received_at'])}, {one['rows_kept']} rows "
        f"kept, {one['rows_replacing']} of them in place of earlier ones"
        for one in why.files
    ]
    head = f"Closed before on {plant.clock.show(why.closed_at)} as revision {why.after}. Since then these files came:"
    sheet = Sheet(
        "moved",
        "Moved",
        columns,
        rows,
        "Before: as that close told it; its page stays, and `coldledger yield --as-known-at`.",
    )
    return Section(
        f"What moved since revision {why.after}",
        (head,),
        sheet=sheet,
        items=tuple(came or ["none: the program or the plant file changed"]),
        wide=True,
    )


def _written(what: str, value: float | None) -> str:
    return percent(value) if what == "pack to melt" else count(value)


def _worth_a_line(told: Day, one: YieldChange) -> bool:
    """On the first sheet: the furnaces, and whatever changed by more than noise."""
    furnaces = {furnace.furnace for furnace in told.told.furnaces}
    return one.of in furnaces or any(past is not None and past.beyond for past in (one.week, one.month))


def _critical_lines(told: Day) -> Section:
    """Critical calls in a sentence a line; they are never left out."""
    said = []
    for line, pareto in told.paretos.items():
        calls = [f"{row.key} {row.name} {row.critical_calls}" for row in pareto.rows if row.critical_calls]
        said.append(
            f"{line}: {', '.join(calls) if calls else 'none called'}, in {count(pareto.ware)} containers at the "
            "first station."
        )
    return Section("Critical calls", items=tuple(said), warn=_any_critical(told), wide=True)


def _changes(chosen: list[YieldChange], name: str) -> Sheet:
    """Figures against their last 7 and 28 closed days."""
    rows = [
        {
            "of": one.of,
            "name": one.name,
            "value": _figure(one, one.value),
            "week": _mean(one, one.week),
            "from_week": _verdict(one, one.week),
            "month": _mean(one, one.month),
            "from_month": _verdict(one, one.month),
        }
        for one in chosen
    ]
    strong = [
        number
        for number, one in enumerate(chosen)
        if any(past is not None and past.beyond for past in (one.week, one.month))
    ]
    columns = (
        Column("of", "Of"),
        Column("name", "Figure"),
        Column("value", "This day"),
        Column("week", "Last 7 days"),
        Column("from_week", "Change"),
        Column("month", "Last 28 days"),
        Column("from_month", "Change"),
    )
    caption = (
        "Mean of the closed days (how many). More than noise: outside the limits that 95 of 100 further days of the "
        "same kind would keep, by the spread from day to day of the last 28; with so many figures a day, one in "
        "twenty is outside by chance."
    )
    return Sheet(
        name, "What changed" if name == "changed" else "All against earlier days", columns, rows, caption, strong=strong
    )


def _figure(one: YieldChange, value: float) -> str:
    return percent(value) if one.kind == "percent" else f"{count(value)} {one.kind}"


def _mean(one: YieldChange, past: Against | None) -> str:
    return f"{_figure(one, past.mean)} ({past.days})" if past else "no closed day"


def _verdict(one: YieldChange, past: Against | None) -> str:
    if past is None:
        return ""
    moved = f"{100 * past.difference:+.2f} points" if one.kind == "percent" else f"{past.difference:+,.0f} {one.kind}"
    noise = {None: "too few days to tell", True: "more than noise", False: "within noise"}[past.beyond]
    return f"{moved.replace('-', '−').replace(',', ' ')}, {noise}"


def _holds(plant: Plant, told: Day) -> Section:
    """Pallets that stand in another state than packed or released, decisions about holds, and stations that nobody
    vouches for.
    """
    said = []
    for (state,), rows in told.held.sort("state").group_by(["state"], maintain_order=True):
        name = "to be re-sorted" if state == "resort" else str(state)
        first = ", ".join(rows["pallet"].head(4).to_list())
        more = f" and {rows.height - 4} more" if rows.height > 4 else ""
        said.append(f"{name}: {rows.height} pallets, {count(float(rows['units'].sum()))} containers ({first}{more})")
    head = (
        "As the warehouse last told it; releasing is a decision of the works' authorised people."
        if said
        else "No pallet is held or to be re-sorted by what the warehouse sent."
    )
    said = [*_decided(told), *said, *(_doubt(plant, one) for one in told.unvouched[:6]), *_usual_doubts(plant, told)]
    return Section("Holds", (head,), items=tuple(said), warn=bool(said), wide=True)


def _decided(told: Day) -> list[str]:
    out = [h.pallet for h in told.holds if h.state == "held" and h.warehouse == "released"]
    waits, held = ([h for h in told.holds if h.state == state] for state in ("proposed", "held"))
    words = [f"held by decision and given out all the same: {', '.join(out[:6])}"] if out else []
    words += [f"proposed, waiting for a person: {len(waits)} pallets"] if waits else []
    return words + ([f"held by decision: {len(held)} pallets"] if held else [])


def _usual_doubts(plant: Plant, told: Day) -> list[str]:
    """What is folded away, in a sentence; the critical ones of it by name."""
    if not told.usual_doubts:
        return []
    severe = [
        d for d in told.usual_doubts if d.defect in plant.defects and plant.defects[d.defect].severity == "critical"
    ]
    names = sorted({f"{d.station} {d.defect}" for d in severe})
    said = [
        f"failed challenges that are usual for their stations: {len(told.usual_doubts)}; `coldledger trust` lists them"
    ]
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return said + (
        [f"of them critical, each with at least a pass missed: {', '.join(names[:6])}{more}"] if names else []
    )


def _doubt(plant: Plant, one: StationDoubt) -> str:
    since = f"since {plant.clock.show(one.from_)}" if one.from_ else "never vouched for"
    until = f"until {plant.clock.show(one.to)}" if one.to else "no good one yet"
    gone = f", {released_words(plant, one.released)}" if one.released else ""
    likely = (
        f", really failed with {percent(one.likely, 0)} (estimate)" if one.failed_at and one.likely is not None else ""
    )
    return (
        f"in doubt: {one.station} {one.defect}, challenge {one.why}{likely}, {since}, {until}: "
        f"{count(one.containers)} containers inspected, {len(one.pallets)} pallets{gone}"
    )


def _laboratory(plant: Plant, told: Day) -> Section:
    """Weights, capacity, density, annealing and samples: what asks for somebody in sentences, then a line each with the
    ways to the pages.
    """
    said = [f"{line}: {text}" for line, many in told.weights.items() for text in _weight_words(plant, many)]
    said += laboratory_sentences(plant, told.laboratory)
    head = (
        () if said else ("Nothing the laboratory weighed or checked is beyond its limits, and no gob position drifts.",)
    )
    missed = sum(one.missed for furnace in told.laboratory.furnaces for one in all_due(furnace))
    if missed:
        said.append(f"{missed} checks that were due were missed; the laboratory pages list them.")
    sheet = laboratory_sheet(plant, told)
    return Section("Laboratory", head, items=tuple(dict.fromkeys(said)), sheet=sheet, warn=bool(said), wide=True)


def _weight_words(plant: Plant, many: list[Weights]) -> list[str]:
    """Drifting gob positions and weighings outside the limits."""
    said = [text for one in many for text in gob_sentences(plant, one)]
    said += [f"{one.outside} of {one.n} weighings of {one.item} outside their limits." for one in many if one.outside]
    return said if many else ["no weighing came for this day."]


def _signals(plant: Plant, told: Day) -> Section:
    """What was not chance, the whole day: those still open first, then the most harmful; the rest behind."""
    still, passed = sum(one.ended is None for one in told.signals), sum(one.passed for one in told.signals)
    head = (
        f"{len(told.signals)} signals were open in this day, {still} of them still at its end." if told.signals else ""
    )
    head += f" {PASSED}: {passed}." if passed else ""
    if not head:
        return Section(
            "What was not chance", ("No excess that chance does not explain was found in this day.",), wide=True
        )
    shown = sorted(told.signals, key=lambda one: (one.passed, one.ended is not None))[:SIGNALS]
    if len(told.signals) > SIGNALS:
        head += f" The {SIGNALS} that matter most are here, all of them behind the machines."
    sheet = signals_sheet(plant, shown, told.span.start, "signals")
    return Section("What was not chance", (head,), sheet=sheet, wide=True, warn=still > 0)


def _all_signals(plant: Plant, told: Day) -> list[Section]:
    if len(told.signals) <= SIGNALS:
        return []
    return [
        Section(
            "All signals of the day",
            sheet=signals_sheet(plant, told.signals, told.span.start, "all-signals"),
            wide=True,
        )
    ]


def _any_critical(told: Day) -> bool:
    return any(row.critical_calls for pareto in told.paretos.values() for row in pareto.rows)


def _missing(plant: Plant, told: Day) -> list[str]:
    said = meter_sentences(told.told)
    said += [f"{one.furnace}: {one.why}." for one in told.told.furnaces if one.why]
    said += [f"{one.line}: {one.why}." for one in told.told.lines if one.why]
    said += [f"{line}, from {plant.clock.local(hour):%H:%M}: {doubt}" for line, hour, doubt in told.doubts]
    for line, cover in told.coverage.items():
        covered = {row["station"]: row["covered_s"] for row in cover.iter_rows(named=True)}
        for station in plant.stations_of(line):
            share = covered.get(station.id, 0) / told.span.seconds
            if share < 0.99:
                said.append(f"{station.id}: counts for {decimals(100 * share, 1)} % of the day.")
        said.extend(uncalled_sentence(row) for row in told.uncalled[line].iter_rows(named=True))
        wrong = more_than_whole(told.paretos[line].rejected_for_faults, told.paretos[line].ware)
        said += [f"{line}: {wrong}"] if wrong else []
        if not any(one.point == "cold" for one in told.weights[line]):
            said.append(f"{line}: no cold weighing; nominal weights were used.")
    notes = [f"{y.line}: {note}" for y in told.told.lines for note in y.notes if not note.startswith("lehr time")]
    if any(told.waiting):
        said.append(f"{waiting_words(*told.waiting)}, of all feeds; `coldledger feeds` says why.")
    return said + notes + [f"{f.furnace}: {note}" for f in told.told.furnaces for note in f.notes]
