"""The table of a line's moulds by weight, for pages and commands."""

from __future__ import annotations

from pipelines.measures.laboratory.weight_sentences import mould_words
from pipelines.reports.frame.sheet import CSV, PAGE, SHOWN, Column, Sheet, in_csv
from schemas.answers.weights import MouldWeights, Weights

MOULD_COLUMNS = (
    *in_csv("line", "item", "point"),
    Column("mould", "Mould", "id"),
    Column("cavity", "Cavity", "id", csv="cavities"),
    Column("n", "Weighings", "count", short="n"),
    Column("mean_g", "Mean, g", "number2"),
    Column("mean_low", "95 % from", "number2", ways=PAGE + CSV),
    Column("mean_high", "to", "number2", ways=PAGE + CSV),
    Column("sd_g", "SD, g", "number2"),
    Column("least_g", "Least, g", "number"),
    Column("greatest_g", "Greatest, g", "number"),
    Column("outside", "Outside limits", "count", short="Outside"),
    Column("cp", "Cp", "number2", ways=PAGE + CSV),
    Column("cp_low", "95 % from", "number2", ways=PAGE + CSV),
    Column("cp_high", "to", "number2", ways=PAGE + CSV),
    Column("cpk", "Cpk", "number2"),
    Column("cpk_low", "95 % from", "number2"),
    *in_csv("cpk_high"),
    Column("pp", "Pp", "number2", ways=PAGE + CSV),
    *in_csv("pp_low", "pp_high"),
    Column("ppk", "Ppk", "number2"),
    Column("ppk_low", "95 % from", "number2"),
    *in_csv("ppk_high"),
    Column("within_g", "Spread within, g", "number2", ways=PAGE + CSV),
    *in_csv("within_by"),
    Column("within_freedom", "Its degrees of freedom", "number", ways=PAGE + CSV),
    *in_csv("signals"),
    Column("what", "What stands out", ways=SHOWN),
)


def mould_sheet(weights: Weights, name: str) -> Sheet:
    """Every mould weighed, with its spread and capability."""
    caption = (
        f"{weights.n} weighings at the {weights.point} end. Cp, Cpk by the mould's own spread within (samples of one "
        "time, else moving ranges); Pp, Ppk by its own overall one. Bounds: 95 % intervals; a dash: too few "
        "weighings, or no limits."
    )
    rows = [_row(weights, mould) for mould in weights.moulds]
    return Sheet(name, f"Moulds {weights.item or ''}".strip(), MOULD_COLUMNS, rows, caption)


def _row(weights: Weights, mould: MouldWeights) -> dict[str, object]:
    return {
        "line": weights.line,
        "item": weights.item,
        "point": weights.point,
        **mould.model_dump(exclude={"signals", "cavities", "left_out_g"}),
        "cavity": " ".join(mould.cavities),
        "signals": "; ".join(f"{s.rule}{' (with its gob)' if s.with_gob else ''}" for s in mould.signals),
        "what": mould_words(mould),
    }
