"""Everything an hour page of a line shows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import polars as pl

from pipelines.answers.lehr import LehrTime, lehr_time
from pipelines.answers.pareto import answer_paretos, job_began
from pipelines.answers.signals import hour_signals
from pipelines.clock import Span
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.kinds_of_call import faults
from pipelines.plant.works import Plant
from schemas.answers.pareto import Pareto
from schemas.answers.signals import Signal

BACK_HOURS = 11


@dataclass(frozen=True)
class Hour:
    """One line's hour. uncalled: stations with more rejects than calls. calls, trend: of faults. trend: block, station,
    defect, inspected, n for this hour and those before it in the same job.
    """

    line: str
    span: Span
    paretos: dict[str, Pareto]
    calls: pl.DataFrame
    trend: pl.DataFrame
    coverage: pl.DataFrame
    uncalled: pl.DataFrame
    files: pl.DataFrame
    waiting: tuple[int, int]
    lehr: LehrTime
    signals: list[Signal]
    doubts: tuple[str, ...]


def answer_hour(reader: Reader, plant: Plant, line: str, span: Span) -> Hour:
    """The hour [span.start, span.end) of a line by the cold-end clock."""
    row = {"line": line, "from_time": span.start, "to_time": span.end}
    began = job_began(reader, plant, line, span.start)
    since = span.start - timedelta(hours=BACK_HOURS)
    if began is not None and began > since:
        since = span.start - timedelta(hours=int((span.start - began).total_seconds() // 3600))
    paretos, trend, calls, coverage, uncalled, files, lehr, (signals, doubts), waiting = reader.together(
        lambda mine: answer_paretos(mine, plant, line, span),
        lambda mine: mine.ask(
            "hourly", line=line, from_time=since, to_time=span.end, block_s=3600, no_faults=plant.no_faults
        ),
        lambda mine: faults(plant, mine.ask("calls", **row)),
        lambda mine: mine.ask("coverage", **row),
        lambda mine: mine.check("reject_counts__cover_rejected", **row),
        lambda mine: mine.ask("files_behind", **row),
        lambda mine: lehr_time(mine, plant, line, span),
        lambda mine: hour_signals(mine, line, span),
        lambda mine: mine.ask("open_refusals_count").row(0),
    )
    return Hour(
        line=line,
        span=span,
        paretos=paretos,
        calls=calls,
        trend=trend,
        coverage=coverage,
        uncalled=uncalled,
        files=files,
        waiting=(int(waiting[0]), int(waiting[1])),
        lehr=lehr,
        signals=signals,
        doubts=tuple(doubts),
    )
