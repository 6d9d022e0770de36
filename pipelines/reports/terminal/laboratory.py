"""Weights and the laboratory's day as terminal tables, as CSV and as the contract's JSON."""

from __future__ import annotations

from typing import Any

import typer

from pipelines.cautions import CAUTION, GLASS
from pipelines.measures.laboratory.annealing_sentences import temper_sentences
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
)
from schemas.answers.measuring import MeasuringVerdict
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


def show_weights(plant: Plant, weights: Weights, format: Format) -> None:
    if format is Format.json:
        return print_json(weights.told())
    every = (weights, *weights.others)
    if format is Format.csv:
        return print_csv(CSV_COLUMNS, [row for this_answer in every for row in _csv(this_answer)])
    for answer in every:
        _show_item(plant, answer)
    typer.echo(CAUTION)
    return None


def _csv(weights: Weights) -> list[list[Any]]:
    rows = []
    for mould in weights.moulds:
        values = mould.model_dump() | {
            "cavities": " ".join(mould.cavities),
            "signals": "; ".join(f"{s.rule}{' (with its gob)' if s.with_gob else ''}" for s in mould.signals),
        }
        rows.append([weights.line, weights.item, weights.point, *(values[name] for name in MOULD_COLUMNS)])
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


def _show_item(plant: Plant, weights: Weights) -> None:
    show = plant.clock.show
    title = (
        f"Weights of {weights.line}, {weights.item or 'unknown item'} {weights.name}, {show(weights.from_)} to "
        f"{show(weights.to)}"
    )
    rows = [_mould_row(mould) for mould in weights.moulds]
    caption = f"{weights.n} weighings at the {weights.point} end"
    if weights.mean_g is not None:
        caption += f", mean {weights.mean_g:.2f} g"
        if weights.mean_low is not None and weights.mean_high is not None:
            caption += f" (95 %: {weights.mean_low:.2f} to {weights.mean_high:.2f})"
    if weights.nominal_g is not None:
        low, high = (f"{v:g}" if v is not None else "none" for v in (weights.weight_min_g, weights.weight_max_g))
        caption += f"; nominal {weights.nominal_g:g} g, limits {low} to {high}; {weights.outside} outside"
    print_table(title, TABLE, rows, caption)
    slope = (
        f"Drift over the window {weights.drift_g_per_day:+.2f} g a day (95 %: {weights.drift_low:+.2f} to "
        f"{weights.drift_high:+.2f})."
        if weights.drift_g_per_day is not None
        else ""
    )
    said = [
        *gob_sentences(plant, weights),
        spread_sentence(weights),
        parts_sentence(weights.components),
        slope,
        *glass_sentences(weights),
        hot_cold_sentence(weights),
    ]
    judged = f"Judged by what was usual since {show(weights.judged_from)}." if weights.judged_from else ""
    for text in (*said, weights.rules, judged, *(f"Note: {note}." for note in weights.notes)):
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


def show_laboratory(plant: Plant, laboratory: LaboratoryDay, format: Format) -> None:
    if format is Format.json:
        return print_json(laboratory.told())
    if format is Format.csv:
        return print_csv(LAB_COLUMNS, [row for furnace in laboratory.furnaces for row in _furnace_rows(furnace)])
    for furnace in laboratory.furnaces:
        rows = [
            (
                line.line,
                capacity.item or "?",
                capacity.fill,
                capacity.n,
                capacity.mean_ml,
                capacity.sd_ml,
                capacity.capacity_min_ml,
                capacity.capacity_max_ml,
                capacity.outside,
                _verdict(capacity),
            )
            for line in furnace.lines
            for capacity in line.capacity
        ]
        print_table(
            f"Laboratory, furnace {furnace.furnace}, production day {laboratory.day}",
            _CAPACITY,
            rows,
            "Capacity by weighing water.",
        )
        for text in _sentences(plant, furnace):
            typer.echo(text)
        typer.echo("")
    typer.echo(f"{GLASS}\n{CAUTION}")
    return None


def _verdict(capacity: Capacity) -> str:
    if capacity.measuring is None:
        return "-"
    words = [_by_method(v) for v in capacity.measuring.verdicts]
    return "; ".join(words) or "no verdict"


def _sentences(plant: Plant, furnace: FurnaceLaboratory) -> list[str]:
    said = density_sentences(plant, furnace.furnace, furnace.density)
    for line in furnace.lines:
        said += [
            text
            for capacity in line.capacity
            for text in capacity_sentences(plant, line.line, capacity)[1 if capacity.n else 0 :]
        ]
        said += [*temper_sentences(plant, line.line, line.temper), *visual_sentences(plant, line.line, line.visual)]
        said += [f"{line.line}: {note}." for note in line.notes]
    missed = missed_sentences(plant, all_due(furnace))
    return [*said, *(f"Missed: {text}" for text in missed)] if missed else [*said, "No check that was due is missing."]


def _furnace_rows(furnace: FurnaceLaboratory) -> list[list[Any]]:
    """Every single reading of the day with what it is judged by."""
    density = furnace.density
    rows: list[list[Any]] = [
        [
            furnace.furnace,
            "",
            "density",
            reading.how,
            reading.at.isoformat(),
            reading.density_g_cm3,
            "g/cm3",
            density.low,
            density.high,
            "",
        ]
        for reading in density.readings
    ]
    rows += [[furnace.furnace, line.line, *row] for line in furnace.lines for row in _line_rows(line)]
    rows += [
        [
            furnace.furnace,
            "",
            f"due {each.kind}",
            each.of,
            "",
            each.made,
            "made",
            each.due,
            None,
            f"{each.missed} missed",
        ]
        for each in all_due(furnace)
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
            f"visual {sample.severity}",
            f"{sample.taken_of} {' '.join(sample.defects)}".strip(),
            sample.at.isoformat(),
            sample.found,
            f"of {sample.n}",
            0,
            sample.ac,
            _accepted(sample.accepted),
        ]
        for sample in line.visual.samples
    ]
    return rows


def _by_method(measuring_verdict: MeasuringVerdict) -> str:
    """A verdict with its condition beside it: the directive judges the production of one hour."""
    whole = "" if measuring_verdict.one_hour else " (not of one hour)"
    return f"{'accepted' if measuring_verdict.accepted else 'REFUSED'} by {measuring_verdict.method}{whole}"


def _accepted(value: bool | None) -> str:
    return {None: "too small to judge", True: "accepted", False: "not accepted"}[value]
