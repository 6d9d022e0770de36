"""What has to be said beside weights."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import polars as pl

from pipelines.answers.lehr import LehrTime
from pipelines.measures.weights import Study
from pipelines.words import joined, numeral, say, worded
from schemas.answers.weights import GobWeights

OUT_SLACK = timedelta(minutes=45)  # how long after its removal a mould's ware can still be met, beyond the lehr time


def no_weighing(item: str | None) -> str:
    """That nothing was weighed, of one item or of any."""
    if item:
        return say("no weighing of {item} came for this time; see `coldledger feeds`", item=item)
    return say("no weighing came for this time; see `coldledger feeds`")


def moved_together(gobs: Sequence[GobWeights]) -> list[str]:
    """All gob positions of a point moved the same way: hardly each for itself."""
    notes = []
    for point in dict.fromkeys(gob.point for gob in gobs):
        moved = [gob.offset_g for gob in gobs if gob.point == point and gob.drifting and gob.offset_g is not None]
        if (
            len(moved) > 1
            and len(moved) == sum(gob.point == point for gob in gobs)
            and (min(moved) > 0 or max(moved) < 0)
        ):
            notes.append(
                say(
                    "all gob positions weighed {point} moved the same way: a guess is the glass or its temperature, or "
                    "the scale, before each gob for itself; weigh a mass standard",
                    point=worded(point),
                )
            )
    return notes


def item_notes(code: str | None, main: Study, lehr: LehrTime) -> list[str]:
    """What has to be said of the answer: no item, no limits, no past, weighings that fit no mould log, a lehr time
    taken for granted.
    """
    notes = _limit_notes(code, main)
    if main.point == "hot":
        notes.append(say("no cold weighings came: these are hot ones"))
    notes += _spread_notes(main)
    if main.usual.own:
        notes.append(
            say(
                "there is no past of this item to judge by: means and spreads are those of the window itself, so a "
                "slow change in it shows less"
            )
        )
    notes += _log_notes(main, lehr)
    if not lehr.measured:
        notes.append(
            say(
                "lehr time {minutes} min as works.toml says, not measured: so are the forming times",
                minutes=f"{lehr.minutes:.0f}",
            )
        )
    return notes


def _limit_notes(code: str | None, main: Study) -> list[str]:
    if code is None:
        return [say("no job or mould log tells which item these weighings are of: no limits, no capability")]
    if main.item is None:
        return [say("item {code} is not in works.toml: no limits, no capability", code=code)]
    if main.item.weight_min_g is None and main.item.weight_max_g is None:
        return [say("works.toml gives {code} no weight limits: no capability, nothing is called outside", code=code)]
    if main.item.weight_min_g is None or main.item.weight_max_g is None:
        return [
            say(
                "works.toml gives {code} one weight limit only: Cpk and Ppk stand against that one, Cp and Pp need "
                "both",
                code=code,
            )
        ]
    return []


def _spread_notes(main: Study) -> list[str]:
    """What the spreads within cannot tell, and what was left out of them."""
    notes = []
    few = [mould.mould for mould in main.moulds if mould.spread.sd is None]
    if few:
        moulds = joined(", ", few[:8])
        notes.append(say("too few weighings to tell a spread, so no Cp or Pp: mould {moulds}", moulds=moulds))
    slips = [(mould.mould, grams) for mould in main.moulds for grams in mould.spread.left_out]
    if slips:
        each = (say("{grams} g of mould {mould}", grams=numeral(grams, "g"), mould=mould) for mould, grams in slips[:6])
        notes.append(
            say("far off, left out of Cp and Cpk, not of Pp and Ppk: {slips}; was it a slip?", slips=joined(", ", each))
        )
    r = max((mould.spread.correlation for mould in main.moulds), default=0.0)
    if r:
        notes.append(
            say(
                "weighings of a mould that follow one another are alike (correlation {r}): spreads from moving ranges "
                "are raised for it, intervals of means are wider",
                r=numeral(r, ".1f"),
            )
        )
    return notes


def _log_notes(main: Study, lehr: LehrTime) -> list[str]:
    """Weighings that fit no mould log."""
    notes = []
    stray = main.rows.filter(pl.col("section").is_null())["mould"].unique().sort().to_list()
    if stray:
        moulds = joined(", ", stray[:8])
        notes.append(say("weighed, and in no mould log: {moulds}; they count for no gob position", moulds=moulds))
    gone = main.rows.filter(pl.col("taken_out_at") + timedelta(minutes=lehr.minutes) + OUT_SLACK < pl.col("sampled_at"))
    if gone.height:
        moulds = joined(", ", gone["mould"].unique().sort().to_list()[:8])
        notes.append(
            say("weighed after the log says they were taken out: {moulds}; was a number misread?", moulds=moulds)
        )
    return notes
