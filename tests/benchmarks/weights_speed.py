"""A month of weighings of 12 lines: from the ledger to every mould's chart, in one process.

python -m tests.benchmarks.weights_speed
"""

from __future__ import annotations

import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from pipelines.answers.weights.answer import study_weights
from pipelines.clock import Span
from tests.conftest import Place

LINES, SECTIONS, DAYS = 12, 10, 30
START = datetime(2026, 3, 1, 5, tzinfo=UTC)


def works() -> str:
    """A works.toml with 12 lines of one station each."""
    lines = "".join(
        f'[[line]]\nid = "L{n}"\nfurnace = "F1"\nsections = {SECTIONS}\ngobs = 2\nlehr_minutes = 90.0\n[[station]]\n'
        f'id = "S{n}"\nline = "L{n}"\norder = 1\n'
        for n in range(LINES)
    )
    return (
        '[works]\nname = "invented"\ntimezone = "UTC"\nday_starts = "05:00"\nshifts = ["05:00"]\n[[furnace]]\nid = '
        '"F1"\nsurface_m2 = 50.0\ndensity_g_cm3 = 2.5\n'
        + lines
        + '[[defect]]\ncode = "D"\nname = "d"\nseverity = "minor"\nzone = "body"\norigin = "gob"\n[[item]]\nid = '
        '"B"\nname = "bottle"\nweight_g = 200.0\nweight_min_g = 195.0\nweight_max_g = 205.0\n'
    )


def feeds(place: Place) -> int:
    """Put and take in a month of weighings each half hour, every mould once; the number of weighings."""
    rng = np.random.default_rng(5)
    times = [START + n * timedelta(minutes=30) for n in range(DAYS * 48)]
    moulds = [(f"{s}{g}", s, g) for s in range(1, SECTIONS + 1) for g in "AB"]
    grid = (
        pl.DataFrame({"sampled_at": times})
        .join(pl.DataFrame({"line": [f"L{n}" for n in range(LINES)]}), how="cross")
        .join(pl.DataFrame({"mould": [m for m, _, _ in moulds]}), how="cross")
    )
    frame = grid.with_columns(
        point=pl.lit("cold"),
        sample=pl.lit(1, pl.Int64),
        weight_g=pl.Series(np.round(rng.normal(200, 0.8, grid.height), 1)),
    )
    frame.write_parquet(place.site.inbox / "weight_checks.month.parquet")
    first = (START - timedelta(days=2)).isoformat()
    place.put("job_log.csv", "started_at,line,job,item\n" + "".join(f"{first},L{n},J,B\n" for n in range(LINES)))
    rows = "".join(f"{first},L{n},{s},{g},mould,{m}\n" for n in range(LINES) for m, s, g in moulds)
    place.put("mould_log.csv", "fitted_at,line,section,gob,part,number\n" + rows)
    place.take()
    return frame.height


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        place = Place(Path(folder) / "site", works())
        count = feeds(place)
        span = Span(START, START + timedelta(days=DAYS))
        took = []
        for _ in range(3):
            begun = time.perf_counter()
            with place.opened.ledger.reading() as reader:
                charts = sum(
                    len(study_weights(reader, place.plant, f"L{n}", span)[0].points[0].moulds) for n in range(LINES)
                )
            took.append(time.perf_counter() - begun)
        begun = time.perf_counter()
        with place.opened.ledger.reading() as reader:
            for n in range(LINES):
                rows = reader.ask("weights_of_line", line=f"L{n}", from_time=span.start, to_time=span.end, lehr_s=5400)
        read = time.perf_counter() - begun
        print(
            f"{count:,} weighings of {LINES} lines in {DAYS} days, {charts} mould charts with signals, capability, "
            f"components, drifts: {', '.join(f'{t:.2f}' for t in took)} s"
        )
        print(
            f"of it the reading alone (the same query, nothing measured; {rows.height:,} rows the last line): "
            f"{read:.2f} s, ratio {min(took) / read:.1f}"
        )


if __name__ == "__main__":
    main()
