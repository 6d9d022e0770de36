"""Weights and the laboratory's day as terminal tables, as CSV and as the contract's JSON."""

from __future__ import annotations

from typing import Any

import typer

from pipelines.cautions import CAUTION, GLASS
from pipelines.measures.laboratory.tell import (
    all_due,
    capacity_sentences,
    density_sentences,
    glass_sentences,
    gob_sentences,
    hot_cold_sentence,
    missed_sentences,
    mould_words,
    parts_sentence,
    spread_sentence,
    temper_sentences,
    visual_sentences,
)
from pipelines.plant.works import Plant
from pipelines.reports.terminal.table import Format, print_csv, print_json, print_table
from schemas.answers.laboratory import (
    Capacity,
    CapacityCheck,
    FurnaceLaboratory,
    LaboratoryDay,
    LineLaboratory,
    MeasuringVerdict,
)
from schemas.answers.weights import MouldWeights, Weights

MOULD_COLUMNS = (
    "mould",
    "cavities",
    "n",
    "mean_g",
    "mean_low",
    "mean_high",
    "sd_g",
    "least_g",
    "greatest_g",
    "outside",
    "cp",
    "cp_low",
    "cp_high",
    "cpk",
    "cpk_low",
    "cpk_high",
    "pp",
    "pp_low",
    "pp_high",
    "ppk",
    "ppk_low",
    "ppk_high",
    "within_g",
    "within_by",
    "within_freedom",
    "signals",
)
CSV_COLUMNS = ("line", "item", "point", *MOULD_COLUMNS)
TABLE = ("mould", "cavity", "n", "mean g", "sd g", "least", "greatest", "Cpk (95 % from)", "Ppk (95 % from)", "what")
LAB_COLUMNS = ("furnace", "line", "kind", "of", "at", "value", "unit", "least", "most", "verdict")


def show_weights(plant: Plant, told: Weights, format: Format) -> None:
    if format is Format.json:
        return print_json(told.told())
    every = (told, *told.others)
    if format is Format.csv:
        return print_csv(CSV_COLUMNS, [row for one in every for row in _csv(one)])
    for one in every:
        _show_item(plant, one)
    typer.echo(CAUTION)
    return None


def _csv(told: Weights) -> list[list[Any]]:
    rows = []
    for mould in told.moulds:
        values = mould.model_dump() | {
            "cavities": " ".join(mould.cavities),
            "signals": "; ".join(f"{s.rule}{' (with its gob)' if s.with_gob else ''}" for s in mould.signals),
        }
        rows.append([told.line, told.item, told.point, *(values[name] for name in MOULD_COLUMNS)])
    return rows


def _mould_row(mould: MouldWeights) -> tuple[Any, ...]:
    return (
        mould.mould,
        " ".join(mould.cavities) or "-",
        mould.n,
        mould.mean_g,
        mould.sd_g,
        mould.least_g,
        mould.greatest_g,
        _index(mould.cpk, mould.cpk_low),
        _index(mould.ppk, mould.ppk_low),
        mould_words(mould),
    )


def _show_item(plant: Plant, told: Weights) -> None:
    show = plant.clock.show
    title = f"Weights of {told.line}, {told.item or 'unknown item'} {told.name}, {show(told.from_)} to {show(told.to)}"
    rows = [_mould_row(mould) for mould in told.moulds]
    caption = f"{told.n} weighings at the {told.point} end"
    if told.mean_g is not None:
        caption += f", mean {told.mean_g:.2f} g"
        if told.mean_low is not None and told.mean_high is not None:
            caption += f" (95 %: {told.mean_low:.2f} to {told.mean_high:.2f})"
    if told.nominal_g is not None:
        low, high = (f"{v:g}" if v is not None else "none" for v in (told.weight_min_g, told.weight_max_g))
        caption += f"; nominal {told.nominal_g:g} g, limits {low} to {high}; {told.outside} outside"
    print_table(title, TABLE, rows, caption)
    slope = (
        f"Drift over the window {told.drift_g_per_day:+.2f} g a day (95 %: {told.drift_low:+.2f} to "
        f"{told.drift_high:+.2f})."
        if told.drift_g_per_day is not None
        else ""
    )
    said = [
        *gob_sentences(plant, told),
        spread_sentence(told),
        parts_sentence(told.components),
        slope,
        *glass_sentences(told),
        hot_cold_sentence(told),
    ]
    judged = f"Judged by what was usual since {show(told.judged_from)}." if told.judged_from else ""
    for text in (*said, told.rules, judged, *(f"Note: {note}." for note in told.notes)):
        if text:
            typer.echo(text)


def _index(value: float | None, low: float | None) -> str:
    return "-" if value is None else f"{value:.2f} ({low:.2f})" if low is not None else f"{value:.2f}"


_CAPACITY = (
    "line",
    "item",
    "fill",
    "checks",
    "mean ml",
    "sd ml",
    "least",
    "greatest",
    "outside",
    "as measuring container",
)


def show_laboratory(plant: Plant, told: LaboratoryDay, format: Format) -> None:
    if format is Format.json:
        return print_json(told.told())
    if format is Format.csv:
        return print_csv(LAB_COLUMNS, [row for furnace in told.furnaces for row in _furnace_rows(furnace)])
    for furnace in told.furnaces:
        rows = [
            (
                line.line,
                one.item or "?",
                one.fill,
                one.n,
                one.mean_ml,
                one.sd_ml,
                one.capacity_min_ml,
                one.capacity_max_ml,
                one.outside,
                _verdict(one),
            )
            for line in furnace.lines
            for one in line.capacity
        ]
        print_table(
            f"Laboratory, furnace {furnace.furnace}, production day {told.day}",
            _CAPACITY,
            rows,
            "Capacity by weighing water.",
        )
        for text in _sentences(plant, furnace):
            typer.echo(text)
        typer.echo("")
    typer.echo(f"{GLASS}\n{CAUTION}")
    return None


def _verdict(one: Capacity) -> str:
    if one.measuring is None:
        return "-"
    words = [_by_method(v) for v in one.measuring.verdicts]
    return "; ".join(words) or "no verdict"


def _sentences(plant: Plant, furnace: FurnaceLaboratory) -> list[str]:
    said = density_sentences(plant, furnace.furnace, furnace.density)
    for line in furnace.lines:
        said += [
            text for one in line.capacity for text in capacity_sentences(plant, line.line, one)[1 if one.n else 0 :]
        ]
        said += [*temper_sentences(plant, line.line, line.temper), *visual_sentences(plant, line.line, line.visual)]
        said += [f"{line.line}: {note}." for note in line.notes]
    missed = missed_sentences(plant, all_due(furnace))
    return [*said, *(f"Missed: {text}" for text in missed)] if missed else [*said, "No check that was due is missing."]


def _furnace_rows(told: FurnaceLaboratory) -> list[list[Any]]:
    """Every single reading of the day with what it is judged by."""
    density = told.density
    rows: list[list[Any]] = [
        [
            told.furnace,
            "",
            "density",
            one.how,
            one.at.isoformat(),
            one.density_g_cm3,
            "g/cm3",
            density.low,
            density.high,
            "",
        ]
        for one in density.readings
    ]
    rows += [[told.furnace, line.line, *row] for line in told.lines for row in _line_rows(line)]
    rows += [
        [told.furnace, "", f"due {one.kind}", one.of, "", one.made, "made", one.due, None, f"{one.missed} missed"]
        for one in all_due(told)
    ]
    return rows


def _check_row(item: Capacity, check: CapacityCheck) -> list[Any]:
    return [
        "capacity",
        f"{item.item or ''} {check.mould}",
        check.at.isoformat(),
        check.capacity_ml,
        "ml",
        item.capacity_min_ml,
        item.capacity_max_ml,
        "outside" if check.outside else "within",
    ]


def _line_rows(line: LineLaboratory) -> list[list[Any]]:
    rows = [_check_row(item, check) for item in line.capacity for check in item.checks]
    rows += [
        [
            "temper",
            lane.lane,
            "",
            lane.worst,
            "worst of the day",
            None,
            line.temper.limit,
            f"{lane.beyond or 0} beyond of {lane.n}",
        ]
        for lane in line.temper.lanes
    ]
    rows += [
        [
            f"visual {one.severity}",
            f"{one.item} {' '.join(one.defects)}".strip(),
            one.at.isoformat(),
            one.found,
            f"of {one.n}",
            0,
            one.ac,
            _accepted(one.accepted),
        ]
        for one in line.visual.samples
    ]
    return rows


def _by_method(told: MeasuringVerdict) -> str:
    """A verdict with its condition beside it: the directive judges the production of one hour."""
    whole = "" if told.one_hour else " (not of one hour)"
    return f"{'accepted' if told.accepted else 'REFUSED'} by {told.method}{whole}"


def _accepted(value: bool | None) -> str:
    return {None: "too small to judge", True: "accepted", False: "not accepted"}[value]
