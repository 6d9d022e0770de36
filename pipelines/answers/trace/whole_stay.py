"""What a mould made since the last check that could have seen a critical defect."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import polars as pl

from pipelines.answers.trace.line_ware import ware_view
from pipelines.answers.trace.trust import BACK
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.trace.exposure import Stay
from pipelines.measures.trace.trust import good
from pipelines.plant.works import Plant
from pipelines.words import say
from schemas.answers.trace import Cavity, WholeStay


def whole_stay(reader: Reader, plant: Plant, first: Cavity, defect: str, known_until: datetime) -> WholeStay | None:
    """The stay of the likeliest cavity's mould since the last check before its window that could have seen the defect;
    None where the log lacks it.

    A check that could have seen it: a good challenge of every pass at a station of the line that can call it; its ware
    had then passed.
    Checks of the last thirty days are looked at. A person's sample of a few containers of a line is no such check: it
    need not hold the mould.
    """
    rows = reader.ask("stays_of_mould", number=first.mould)
    there = (pl.col("line") == first.line) & (pl.col("section") == first.section) & (pl.col("gob") == first.gob)
    mine = rows.filter(there & (pl.col("fitted_at") < first.to)).sort("fitted_at").tail(1).to_dicts()
    if not mine:
        return None
    fitted, ended = mine[0]["fitted_at"], mine[0]["ended_at"]
    lehr = timedelta(minutes=plant.lines[first.line].lehr_minutes)
    check = _last_check(reader, plant, first.line, defect, first.from_ + lehr)
    formed = check["checked_at"] - _way(plant, check["station"]) - lehr if check else None
    since = max(fitted, formed, first.from_ - BACK) if formed is not None else max(fitted, first.from_ - BACK)
    until = min(ended or known_until, known_until)
    span = Span(since, max(until, first.to))
    view = ware_view(reader, plant, first.line, span)
    exposure = view.exposure([Stay(first.line, first.section, first.gob, first.mould, mine[0]["item"], span)])
    on = view.pallets.with_columns(mine=pl.Series(exposure.ware[0])).filter(pl.col("mine") > 0.5)
    vouched = check is not None and formed is not None and formed >= fitted
    return WholeStay(
        line=first.line,
        section=first.section,
        gob=first.gob,
        mould=first.mould,
        fitted=fitted,
        from_=since,
        to=ended,
        check=_words(check) if check and vouched else None,
        checked_at=check["checked_at"] if check and vouched else None,
        containers=float(exposure.all_ware[0]),
        pallets=tuple(on["pallet"]),
        units=int(on["units"].sum()),
        cleared=on.filter(pl.col("state") == "released").height,
    )


def _words(check: dict[str, Any]) -> str:
    return say(
        "challenge of {station}, {caught} of {passes}",
        station=check["station"],
        caught=check["caught"],
        passes=check["passes"],
    )


def _way(plant: Plant, station: str) -> timedelta:
    return timedelta(minutes=plant.stations[station].after_minutes)


def _last_check(reader: Reader, plant: Plant, line: str, defect: str, before: datetime) -> dict[str, Any] | None:
    able = [s.id for s in plant.stations_of(line) if s.can_call(defect)]
    rows = reader.ask("challenges_of_line", line=line, defect=defect, from_time=before - BACK, to_time=before)
    fine = rows.filter(pl.col("station").is_in(able) & good(plant)).tail(1)
    return fine.row(0, named=True) if fine.height else None
