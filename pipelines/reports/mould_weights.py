"""The table of a line's moulds by weight, for pages and commands."""

from __future__ import annotations

from pipelines.measures.laboratory.weight_sentences import mould_words
from pipelines.reports.frame.sheet import CSV, PAGE, SHOWN, Column, Sheet, in_csv
from pipelines.words import say, say_n
from schemas.answers.weights import MouldWeights, Weights

MOULD_COLUMNS = (
    *in_csv("line", "item", "point"),
    Column("mould", say("Mould"), "id"),
    Column("cavity", say("Cavity"), "id", csv="cavities"),
    Column("n", say("Weighings"), "count", short="n"),
    Column("mean_g", say("Mean, g"), "number2"),
    Column("mean_low", say("95 % from"), "number2", ways=PAGE + CSV),
    Column("mean_high", say("to"), "number2", ways=PAGE + CSV),
    Column("sd_g", say("SD, g"), "number2"),
    Column("least_g", say("Least, g"), "number"),
    Column("greatest_g", say("Greatest, g"), "number"),
    Column("outside", say("Outside limits"), "count", short=say("Outside")),
    Column("cp", say("Cp"), "number2", ways=PAGE + CSV),
    Column("cp_low", say("95 % from"), "number2", ways=PAGE + CSV),
    Column("cp_high", say("to"), "number2", ways=PAGE + CSV),
    Column("cpk", say("Cpk"), "number2"),
    Column("cpk_low", say("95 % from"), "number2"),
    *in_csv("cpk_high"),
    Column("pp", say("Pp"), "number2", ways=PAGE + CSV),
    *in_csv("pp_low", "pp_high"),
    Column("ppk", say("Ppk"), "number2"),
    Column("ppk_low", say("95 % from"), "number2"),
    *in_csv("ppk_high"),
    Column("within_g", say("Spread within, g"), "number2", ways=PAGE + CSV),
    *in_csv("within_by"),
    Column("within_freedom", say("Its degrees of freedom"), "number", ways=PAGE + CSV),
    *in_csv("signals"),
    Column("what", say("What stands out"), ways=SHOWN),
)


def mould_sheet(weights: Weights, name: str) -> Sheet:
    """Every mould weighed, with its spread and capability."""
    weighed = (
        say_n("{n} weighing at the hot end", "{n} weighings at the hot end", weights.n)
        if weights.point == "hot"
        else say_n("{n} weighing at the cold end", "{n} weighings at the cold end", weights.n)
    )
    caption = say(
        "{weighed}. Cp, Cpk by the mould's own spread within (samples of one time, else moving ranges); Pp, Ppk by its "
        "own overall one. Bounds: 95 % intervals; a dash: too few weighings, or no limits.",
        weighed=weighed,
    )
    rows = [_row(weights, mould) for mould in weights.moulds]
    title = say("Moulds {item}", item=weights.item) if weights.item else say("Moulds")
    return Sheet(name, title, MOULD_COLUMNS, rows, caption)


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
