"""Weights and the laboratory's day as terminal tables, as CSV and as the contract's JSON."""

from __future__ import annotations

from dataclasses import replace

import typer

from pipelines.cautions import CAUTION, GLASS
from pipelines.measures.laboratory.annealing_sentences import temper_sentences
from pipelines.measures.laboratory.density_sentences import density_sentences
from pipelines.measures.laboratory.sample_sentences import visual_sentences
from pipelines.measures.laboratory.tell import all_due, capacity_sentences, missed_sentences
from pipelines.measures.laboratory.weight_sentences import (
    glass_sentences,
    gob_sentences,
    hot_cold_sentence,
    parts_sentence,
    spread_sentence,
)
from pipelines.plant.works import Plant
from pipelines.reports.frame.table_terminal import print_sheet
from pipelines.reports.laboratory.readings import capacities_sheet, readings_sheet
from pipelines.reports.mould_weights import mould_sheet
from pipelines.reports.terminal.formats import Format, print_csv, print_json
from schemas.answers.laboratory import FurnaceLaboratory, LaboratoryDay
from schemas.answers.weights import Weights


def show_weights(plant: Plant, weights: Weights, format: Format) -> None:
    if format is Format.json:
        return print_json(weights.told())
    every = (weights, *weights.others)
    if format is Format.csv:
        sheets = [mould_sheet(answer, "moulds") for answer in every]
        return print_csv(replace(sheets[0], rows=[row for sheet in sheets for row in sheet.rows]))
    for answer in every:
        _show_item(plant, answer)
    typer.echo(CAUTION)
    return None


def _show_item(plant: Plant, weights: Weights) -> None:
    show = plant.clock.show
    title = (
        f"Weights of {weights.line}, {weights.item or 'unknown item'} {weights.name}, {show(weights.from_)} to "
        f"{show(weights.to)}"
    )
    caption = f"{weights.n} weighings at the {weights.point} end"
    if weights.mean_g is not None:
        caption += f", mean {weights.mean_g:.2f} g"
        if weights.mean_low is not None and weights.mean_high is not None:
            caption += f" (95 %: {weights.mean_low:.2f} to {weights.mean_high:.2f})"
    if weights.nominal_g is not None:
        low, high = (f"{v:g}" if v is not None else "none" for v in (weights.weight_min_g, weights.weight_max_g))
        caption += f"; nominal {weights.nominal_g:g} g, limits {low} to {high}; {weights.outside} outside"
    print_sheet(replace(mould_sheet(weights, "moulds"), title=title, caption=caption))
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


def show_laboratory(plant: Plant, laboratory: LaboratoryDay, format: Format) -> None:
    if format is Format.json:
        return print_json(laboratory.told())
    if format is Format.csv:
        return print_csv(readings_sheet(laboratory))
    for furnace in laboratory.furnaces:
        print_sheet(capacities_sheet(laboratory, furnace))
        for text in _sentences(plant, furnace):
            typer.echo(text)
        typer.echo("")
    typer.echo(f"{GLASS}\n{CAUTION}")
    return None


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
