"""The laboratory's day: density of each furnace, capacity, annealing, samples of each line, and the checks that were
missed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import polars as pl

from pipelines.answers.laboratory.capacity import LineChecks, answer_capacity, line_checks
from pipelines.answers.lehr import lehr_time
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.holds.sampling import inspection_after
from pipelines.measures.laboratory.checks import (
    Sampled,
    due,
    lanes_of,
    real_temper,
    running_quality,
    samples_of,
    thickness_of,
)
from pipelines.measures.laboratory.density import DensityChart, densities, density_chart, effect
from pipelines.measures.weights.rounds import rounds_of
from pipelines.plant.tables import Line
from pipelines.plant.works import Plant
from pipelines.words import say, worded
from schemas.answers.laboratory import (
    Density,
    DensityEffect,
    DensityReading,
    DueChecks,
    FurnaceLaboratory,
    LaboratoryDay,
    LineLaboratory,
    Temper,
    TemperBeyond,
    Visual,
)

DENSITY_BACK = timedelta(days=60)
QUALITY_DAYS = 28
LANES_BACK = timedelta(days=7)  # a lane that was read in them is due
HOUR = timedelta(hours=1)


def answer_laboratory(reader: Reader, plant: Plant, day: date, furnace: str | None = None) -> LaboratoryDay:
    """The laboratory's production day. WrongUse for an unknown furnace."""
    if furnace is not None and furnace not in plant.furnaces:
        raise WrongUse(
            say(
                "there is no furnace '{furnace}' in works.toml; it has {furnaces}",
                furnace=furnace,
                furnaces=", ".join(plant.furnaces),
            )
        )
    window = plant.clock.day(day)
    chosen = [name for name in plant.furnaces if furnace in (None, name)]
    return LaboratoryDay(day=day, furnaces=tuple(_furnace(reader, plant, window, name) for name in chosen))


def density_of(reader: Reader, plant: Plant, furnace: str, until: datetime) -> tuple[DensityChart | None, int]:
    """The density chart of a furnace up to a moment, and how many comparisons could not be worked out."""
    checks = reader.ask("densities_of_furnace", furnace=furnace, from_time=until - DENSITY_BACK, to_time=until)
    readings, lost = densities(checks, plant.laboratory.sink_float_g_cm3_per_c)
    return density_chart(readings), lost


def glass_now(plant: Plant, furnace: str, chart: DensityChart | None) -> tuple[float, float]:
    """Density to reckon with [g/cm3] and its standard deviation: the mean since the last change, else what works.toml
    says.
    """
    if chart is None:
        return plant.furnaces[furnace].density_g_cm3, 0.002
    since = chart.readings.filter(pl.col("sampled_at") >= chart.change.since) if chart.change else chart.readings
    return chart.centre, (chart.noise or 0.001) / max(1, since.height) ** 0.5


def _furnace(reader: Reader, plant: Plant, window: Span, furnace: str) -> FurnaceLaboratory:
    chart, lost = density_of(reader, plant, furnace, window.end)
    density = glass_now(plant, furnace, chart)
    lines = plant.lines_of(furnace)
    running = {line.id: _standing(reader, plant, line.id, window) for line in lines}
    until = max((end for _, end in running.values() if end is not None), default=None)
    made = chart.readings["sampled_at"].to_list() if chart else []
    found = due("density", furnace, plant.checks.density_hours * 60, made, window, (), until) if until else None
    return FurnaceLaboratory(
        furnace=furnace,
        density=_density(reader, plant, furnace, window, chart, lost),
        due=(found,) if found is not None else (),
        lines=tuple(_line(reader, plant, line, window, density, *running[line.id]) for line in lines),
    )


def _density(
    reader: Reader, plant: Plant, furnace: str, window: Span, chart: DensityChart | None, lost: int
) -> Density:
    notes = []
    if lost:
        notes.append(
            say(
                "{lost} sink-float comparisons tell no density: works.toml has no [laboratory] sink_float_g_cm3_per_c",
                lost=lost,
            )
        )
    if chart is None:
        none = say("no density reading of the last {days} days", days=DENSITY_BACK.days)
        return Density(readings=(), earlier=0, notes=(*notes, none))
    if chart.noise is None:
        notes.append(say("too few readings to tell noise from change"))
    today = chart.readings.filter(pl.col("sampled_at") >= window.start)
    readings = tuple(
        DensityReading(at=r["sampled_at"], density_g_cm3=r["density_g_cm3"], how=r["how"])
        for r in today.iter_rows(named=True)
    )
    effects: list[DensityEffect] = []
    if chart.change is not None:
        before = chart.centre - chart.change.by_g_cm3
        for line, item in _items(reader, plant, furnace, window):
            moved = effect(chart.change.by_g_cm3, before, plant.items[item].weight_g)
            effects.append(DensityEffect(line=line, item=item, weight_g=moved.weight_g, capacity_ml=moved.capacity_ml))
    return Density(
        readings=readings,
        earlier=chart.readings.height - today.height,
        noise_g_cm3=chart.noise,
        centre_g_cm3=chart.centre,
        low=chart.low,
        high=chart.high,
        beyond=chart.beyond and bool(readings),
        change=chart.change,
        lone_by_g_cm3=chart.lone,
        effects=tuple(effects),
        notes=tuple(notes),
    )


def _items(reader: Reader, plant: Plant, furnace: str, window: Span) -> list[tuple[str, str]]:
    """Line and item of everything that was made on a furnace's lines in a window, by mould and job log."""
    lines = [line.id for line in plant.lines_of(furnace)]
    rows = reader.ask("mould_spans_between", lines=lines, from_time=window.start, to_time=window.end)
    made = rows.filter(pl.col("item").is_in(list(plant.items))).select("line", "item").unique().sort("line", "item")
    return list(made.iter_rows())


def _standing(reader: Reader, plant: Plant, line: str, window: Span) -> tuple[list[Span], datetime | None]:
    """The hours of a window in which no ware met the first station, and the end of the last hour that it was counted;
    None where it never was.
    """
    rows = reader.ask("hours_of_day", line=line, from_time=window.start, to_time=window.end, no_faults=plant.no_faults)
    here = rows.filter(pl.col("station").is_in(plant.first_stations(line)) & (pl.col("inspected") > 0))
    ran = set(here["hour"].to_list())
    if not ran:
        return [window], None
    hours = range(int(-(-window.seconds // 3600)))
    stood = [Span(window.start + hour * HOUR, window.start + (hour + 1) * HOUR) for hour in hours if hour not in ran]
    return stood, min(window.end, window.start + (max(ran) + 1) * HOUR)


def _line(
    reader: Reader,
    plant: Plant,
    line: Line,
    window: Span,
    density: tuple[float, float],
    stood: Sequence[Span],
    until: datetime | None,
) -> LineLaboratory:
    lehr_s = int(lehr_time(reader, plant, line.id, window).minutes * 60)
    these_checks = line_checks(reader, plant, line.id, window, lehr_s, *density)
    tempers = reader.ask("tempers_of_line", line=line.id, from_time=window.start - LANES_BACK, to_time=window.end)
    back = timedelta(days=QUALITY_DAYS - 1)
    visuals = reader.ask("visuals_of_line", line=line.id, from_time=window.start - back, to_time=window.end)
    spans = reader.ask("mould_spans_between", lines=[line.id], from_time=window.start, to_time=window.end)
    notes = () if until is not None else (say("no ware was counted on this line: nothing was due"),)
    wide = {"line": line.id, "from_time": window.start - LANES_BACK, "to_time": window.end}
    challenges = reader.ask("challenges_of_line", **wide, defect=None)
    checks = _due(plant, line.id, window, stood, until, these_checks, tempers, visuals, challenges) if until else ()
    return LineLaboratory(
        line=line.id,
        capacity=tuple(answer_capacity(these_checks)),
        temper=temper_of(plant, tempers, window, spans),
        visual=_visual(plant, visuals, window),
        due=checks,
        notes=notes,
    )


def _due(
    plant: Plant,
    line: str,
    window: Span,
    stood: Sequence[Span],
    until: datetime,
    checks: LineChecks,
    tempers: pl.DataFrame,
    visuals: pl.DataFrame,
    challenges: pl.DataFrame,
) -> tuple[DueChecks, ...]:
    """What was due on a line, made and missed; temper numbers by lane where lanes are noted, challenges by station and
    defect.
    """
    asked, zone = plant.checks, window.start.tzinfo
    weighed = (
        [datetime.fromtimestamp(s, zone) for s in rounds_of(checks.weighings).seconds]
        if checks.weighings.height
        else []
    )
    kinds: list[tuple[str, str, float, Sequence[datetime]]] = [
        ("weights", line, plant.weights_every(line), weighed),
        ("capacity", line, asked.capacity_hours * 60, checks.checks["sampled_at"].to_list()),
        ("visual", line, asked.visual_hours * 60, visuals["sampled_at"].to_list()),
    ]
    for lane in tempers["lane"].unique().sort().to_list() or [None]:
        times = tempers.filter(pl.col("lane").eq_missing(lane))["sampled_at"].to_list()
        of = say("{line} {lane}", line=line, lane=worded(lane)) if lane else line
        kinds.append(("temper", of, asked.temper_hours * 60, times))
    for (station, defect), rows in challenges.group_by(["station", "defect"], maintain_order=True):
        kinds.append(("challenge", f"{station} {defect}", asked.challenge_hours * 60, rows["checked_at"].to_list()))
    found = [due(*kind, window, stood, until) for kind in kinds]
    return tuple(each for each in found if each is not None)


def temper_of(plant: Plant, tempers: pl.DataFrame, window: Span, spans: pl.DataFrame) -> Temper:
    """The day's temper numbers, as read and, where the thickness is known, real."""
    limits = plant.laboratory.temper_max, plant.laboratory.real_temper_max
    today = tempers.filter(pl.col("sampled_at") >= window.start)
    thick = thickness_of(plant, today["mould"].to_list(), spans)
    real = [real_temper(t, mm) for t, mm in zip(today["temper"].to_list(), thick, strict=True)]
    beyond = []
    for row, mm, true in zip(today.iter_rows(named=True), thick, real, strict=True):
        over = any(
            value is not None and limit is not None and value > limit
            for value, limit in zip((row["temper"], true), limits, strict=True)
        )
        if over:
            beyond.append(
                TemperBeyond(
                    at=row["sampled_at"],
                    lane=row["lane"] or "",
                    mould=row["mould"],
                    temper=row["temper"],
                    real=true,
                    thickness_mm=mm,
                )
            )
    return Temper(
        limit=limits[0],
        real_limit=limits[1],
        n=today.height,
        lanes=tuple(lanes_of(today.with_columns(real=pl.Series(real, dtype=pl.Float64)), limits[0])),
        beyond=tuple(beyond),
        no_thickness=real.count(None),
    )


def _visual(plant: Plant, visuals: pl.DataFrame, window: Span) -> Visual:
    every = samples_of(plant, visuals)
    of_lots = [each for each in every if each.sample.mould is None]  # a mould that was picked out is not the lot
    running = tuple(
        quality.model_copy(update={"inspection": _inspection(of_lots, quality.severity)})
        for quality in running_quality(of_lots)
    )
    today = tuple(each.sample for each in every if each.sample.at >= window.start)
    return Visual(samples=today, running=running, days=QUALITY_DAYS)


def _inspection(samples: Sequence[Sampled], severity: str) -> str:
    """Which inspection the samples lead to; a critical defect knows none."""
    mine = [each.sample.accepted for each in samples if each.sample.severity == severity]
    lots = [accepted for accepted in mine if accepted is not None]
    return inspection_after(lots) if lots and severity != "critical" else ""
