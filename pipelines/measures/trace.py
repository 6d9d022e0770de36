"""From what is in hand to cavities, a forming window, and the pallets packed from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines.clock import Span
from pipelines.measures.lehr import LehrTime
from pipelines.measures.shares import count_interval, proportion_interval
from pipelines.plant import Plant
from schemas.results import Cavity, TracedPallet

PACK_SLACK_MIN = 10.0  # how long ware may take from the last station to the pallet; an assumption


@dataclass(frozen=True)
class Candidate:
    """A cavity that could have made the container: a mould's stay there, within the forming window."""

    line: str
    section: int
    gob: str
    mould: str
    item: str | None
    span: Span


def pallet_forming_span(plant: Plant, line: str, lehr: LehrTime, packed: Span) -> Span:
    """When the ware of a pallet was formed: its packing less the way from the gob, widened by what is not known."""
    after = plant.stations_of(line)[-1].after_minutes
    start = lehr.formed(packed.start, after) - timedelta(minutes=lehr.ware_half_width + PACK_SLACK_MIN)
    return Span(start, lehr.formed(packed.end, after) + timedelta(minutes=lehr.ware_half_width))


def packing_span(plant: Plant, line: str, lehr: LehrTime, formed: Span) -> Span:
    """When ware formed in a span can have been packed: the reverse, widened likewise."""
    after = plant.stations_of(line)[-1].after_minutes
    start = lehr.inspected(formed.start, after) - timedelta(minutes=lehr.ware_half_width)
    return Span(start, lehr.inspected(formed.end, after) + timedelta(minutes=lehr.ware_half_width + PACK_SLACK_MIN))


def overlap(one: Span, other: Span) -> Span | None:
    start, end = max(one.start, other.start), min(one.end, other.end)
    return Span(start, end) if start < end else None


def candidates(spans: pl.DataFrame, line: str, window: Span, item: str | None, mould: str | None) -> list[Candidate]:
    """The stays in `spans` (section, gob, number, item, fitted_at, ended_at) that fit what is known."""
    found = []
    for row in spans.iter_rows(named=True):
        if (mould is not None and row["number"] != mould) or (item is not None and row["item"] not in (None, item)):
            continue
        shared = overlap(Span(row["fitted_at"], row["ended_at"] or window.end), window)
        if shared is not None:
            found.append(Candidate(line, row["section"], row["gob"], row["number"], row["item"], shared))
    return found


def ranked(found: Sequence[Candidate], calls: dict[tuple[str, str], float], mould_known: bool) -> list[Cavity]:
    """The candidates with their probabilities, the likeliest first.

    With a mould number: in proportion to the time of each stay. Without one: in proportion to the calls of the
    defect from that mould on that line in the window, plus one half for each, so that nothing is impossible that was only not
    seen (Jeffreys' prior of a Poisson rate); without a defect all calls are zero and every stay weighs the same.
    """
    weights = [c.span.seconds if mould_known else calls.get((c.line, c.mould), 0.0) + 0.5 for c in found]
    total = sum(weights)
    cavities = [
        Cavity(
            line=c.line,
            section=c.section,
            gob=c.gob,
            mould=c.mould,
            from_=c.span.start,
            to=c.span.end,
            probability=w / total,
        )
        for c, w in zip(found, weights, strict=True)
    ]
    return sorted(cavities, key=lambda c: (-c.probability, c.line, c.section, c.gob))


def covering(cavities: Sequence[Cavity], share: float) -> list[Cavity]:
    """The likeliest cavities that together hold `share` of the probability; `cavities` in order of probability."""
    held, chosen = 0.0, []
    for cavity in cavities:
        if held >= share - 1e-9:
            break
        held += cavity.probability
        chosen.append(cavity)
    return chosen


@dataclass(frozen=True)
class Detection:
    """How much of a defect the stations of a line find, from challenge passes; an exact 95 % interval.

    stations: one row a station; rate, low, high combine them: 1 - product of (1 - d) over stations in a row.
    """

    rate: float | None
    low: float
    high: float
    stations: tuple[dict[str, Any], ...]


def detection(plant: Plant, line: str, defect: str | None, challenges: pl.DataFrame) -> Detection:
    """Detection of one defect at a line. Lanes of one order stand in for each other: their passes are pooled."""
    if defect is None:
        return Detection(None, 0.0, 1.0, ())
    rows, missed = [], [1.0, 1.0, 1.0]
    able = [s for s in plant.stations_of(line) if s.can_call(defect)]
    for order in sorted({s.order for s in able}):
        lanes = [s.id for s in able if s.order == order]
        here = challenges.filter(pl.col("station").is_in(lanes) & (pl.col("defect") == defect))
        passes, caught = int(here["passes"].sum()), int(here["caught"].sum())
        low, high = proportion_interval(caught, passes)
        rows.append(
            {
                "stations": lanes,
                "passes": passes,
                "caught": caught,
                "rate": caught / passes if passes else None,
                "low": low,
                "high": high,
            }
        )
        if passes:
            missed = [m * (1 - d) for m, d in zip(missed, (caught / passes, high, low), strict=True)]
    if not any(row["passes"] for row in rows):
        return Detection(None, 0.0, 1.0, tuple(rows))
    return Detection(1 - missed[0], 1 - missed[2], 1 - missed[1], tuple(rows))


def escapes(found: float, rate: float | None) -> float | None:
    """Expected containers that passed, from those found: found x (1 - d) / d; None where d is unknown or zero."""
    if rate is None or rate <= 0:
        return None
    return found * (1 - rate) / rate


@dataclass(frozen=True)
class PalletEvidence:
    """What was counted for the suspected moulds while a pallet was packed: their share of the ware, and the defect's calls."""

    mould_share: float
    calls: float


def traced_pallet(row: dict[str, Any], seen: PalletEvidence, trust: Detection) -> TracedPallet:
    """One pallet with its expected defective containers.

    The interval joins the ends of two exact 95 % intervals, of the calls found and of the detection rate, and so is
    wider than 95 %: nothing found is not nothing there. None where no challenge tells the detection rate.
    """
    found_low, found_high = count_interval(round(seen.calls))
    known = trust.rate is not None
    return TracedPallet(
        pallet=row["pallet"],
        line=row["line"],
        item=row["item"],
        packed_from=row["packed_from"],
        packed_to=row["packed_to"],
        units=row["units"],
        state=row["state"],
        mould_units=row["units"] * seen.mould_share,
        expected_defective=escapes(seen.calls, trust.rate),
        expected_low=escapes(found_low, trust.high) if known else None,
        expected_high=_at_most(row["units"] * seen.mould_share, escapes(found_high, trust.low)) if known else None,
        hold=row["state"] == "held",
    )


def _at_most(units: float, expected: float | None) -> float | None:
    return None if expected is None else min(units, expected)


def pallet_evidence(
    ware: pl.DataFrame,
    calls: pl.DataFrame,
    moulds: Sequence[str],
    span: tuple[datetime, datetime],
    back: timedelta,
) -> PalletEvidence:
    """Counts of the moulds between packing times less `back`, the way from the reading station to the pallet.

    ware: window_start, mould, inspected at the reading stations. calls: window_start, mould, calls of the defect.
    Unread ware and calls are shared out in proportion to the read.
    """
    start, end = span[0] - back, span[1] - back
    here = pl.col("window_start").is_between(start - timedelta(seconds=60), end)
    seen, called = ware.filter(here), calls.filter(here)
    read = seen.filter(pl.col("mould").is_not_null())
    mine = float(read.filter(pl.col("mould").is_in(list(moulds)))["inspected"].sum())
    share = mine / float(read["inspected"].sum()) if read["inspected"].sum() else 0.0
    read_calls = float(called.filter(pl.col("mould").is_not_null())["calls"].sum())
    own_calls = float(called.filter(pl.col("mould").is_in(list(moulds)))["calls"].sum())
    unread = float(called.filter(pl.col("mould").is_null())["calls"].sum())
    return PalletEvidence(share, own_calls + unread * (own_calls / read_calls if read_calls else share))
