"""Intake of one plant-day against DuckDB's own read of the same files. Run by hand:

    python -m tests.benchmarks.intake [--lines 12] [--keep DIR]

It makes station_counts and reject_counts of one day of 12 lines (about 6 million rows of CSV, 288 files a feed, 1 % of
the rows bad), reads them with DuckDB alone into plain tables, takes them in, and prints both times and their ratio, the
peak memory of each (each in a process of its own), and how long the ledger was locked to writers and readers.

What DuckDB does for comparison: typed columns, bad rows thrown away silently (`ignore_errors`), no check of any code
or range, nothing kept of what was refused, no history, no archive. A second run of it reads all columns as text, which
is what it can do without losing rows.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import resource
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

MOULDS, DEFECTS, STATIONS = 24, 30, 6
DAY = datetime(2026, 3, 2, 5, tzinfo=UTC)


def works(lines: int) -> str:
    """A plant of so many equal lines."""
    out = [
        '[works]\nname = "benchmark"\ntimezone = "Europe/Warsaw"\nday_starts = "06:00"\nshifts = ["06:00", "14:00", '
        '"22:00"]'
    ]
    out.append('[[furnace]]\nid = "F1"\nsurface_m2 = 60.0\ndensity_g_cm3 = 2.5')
    for line in range(lines):
        out.append(f'[[line]]\nid = "L{line:02d}"\nfurnace = "F1"\nsections = 12\ngobs = 2\nlehr_minutes = 90.0')
        out += [f'[[station]]\nid = "L{line:02d}-{s}"\nline = "L{line:02d}"\norder = {s + 1}' for s in range(STATIONS)]
    for d in range(DEFECTS):
        out.append(
            f'[[defect]]\ncode = "D{d:02d}"\nname = "defect {d}"\nseverity = "minor"\nzone = "body"\norigin = "mould"'
        )
    out.append('[[item]]\nid = "I1"\nname = "item"\nweight_g = 200.0')
    return "\n".join(out)


def make_files(folder: Path, lines: int, seed: int = 1) -> int:
    """Write the day's files; the number of rows written."""
    rng = np.random.default_rng(seed)
    rows = 0
    for line in range(lines):
        for hour in range(24):
            start = DAY + timedelta(hours=hour)
            rows += _write(folder, "station_counts", line, start, _station_rows(line, start, rng), rng)
            rows += _write(folder, "reject_counts", line, start, _reject_rows(line, start, rng), rng)
    return rows


def _station_rows(line: int, start: datetime, rng: np.random.Generator) -> pl.DataFrame:
    minute, station, mould = (
        a.ravel() for a in np.meshgrid(np.arange(60), np.arange(STATIONS), np.arange(MOULDS), indexing="ij")
    )
    seen = rng.poisson(11, len(minute))
    return _frame(line, start, minute, station, mould).with_columns(
        inspected=pl.Series(seen), rejected=pl.Series(rng.binomial(seen, 0.03))
    )


def _reject_rows(line: int, start: datetime, rng: np.random.Generator) -> pl.DataFrame:
    cells = 60 * STATIONS * MOULDS * DEFECTS
    chosen = np.sort(rng.choice(cells, 12_000, replace=False))
    rest, defect = np.divmod(chosen, DEFECTS)
    rest, mould = np.divmod(rest, MOULDS)
    minute, station = np.divmod(rest, STATIONS)
    frame = _frame(line, start, minute, station, mould)
    return frame.with_columns(
        defect=pl.format("D{}", pl.Series(defect).cast(pl.String).str.zfill(2)),
        rejected=pl.Series(rng.integers(1, 4, len(chosen))),
    )


def _frame(line: int, start: datetime, minute: np.ndarray, station: np.ndarray, mould: np.ndarray) -> pl.DataFrame:
    at = pl.Series(minute).cast(pl.Int64) * 60_000_000 + int(start.timestamp() * 1e6)
    return pl.DataFrame(
        {
            "window_start": at.cast(pl.Datetime("us", "UTC")).dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "line": [f"L{line:02d}"] * len(minute),
            "station": pl.select(pl.format(f"L{line:02d}-{{}}", pl.Series(station))).to_series(),
            "mould": pl.Series(mould + 1).cast(pl.String),
            "window_s": [60] * len(minute),
        }
    )


def _write(folder: Path, feed: str, line: int, start: datetime, frame: pl.DataFrame, rng: np.random.Generator) -> int:
    """Spoil 1 % of the rows: bad tokens, negative counts, unknown codes, missing offsets, rows cut off, a fifth
    each.
    """
    order = [
        "window_start",
        "line",
        "station",
        "mould",
        *(["defect"] if "defect" in frame.columns else []),
        "window_s",
    ]
    order += [c for c in ("inspected", "rejected") if c in frame.columns]
    rows = frame.select(order).cast(pl.String).write_csv().splitlines()
    bad = rng.choice(len(rows) - 1, len(rows) // 100, replace=False) + 1
    for number, at in enumerate(bad):
        cells = rows[at].split(",")
        kind = number % 5
        if kind == 0:
            cells[-1] = "1,5".replace(",", ";")
        elif kind == 1:
            cells[-1] = "-3"
        elif kind == 2:
            cells[2] = "X-9"
        elif kind == 3:
            cells[0] = cells[0].removesuffix("Z")
        else:
            cells = cells[:-2]
        rows[at] = ",".join(cells)
    (folder / f"{feed}.L{line:02d}.{start:%Y%m%dT%H%MZ}.csv").write_text("\n".join(rows) + "\n")
    return len(rows) - 1


def duckdb_alone(inbox: Path, target: Path, typed: bool) -> None:
    """DuckDB's own read of the same files into plain tables."""
    import duckdb

    con = duckdb.connect(str(target))
    common = {"window_start": "timestamptz", "line": "varchar", "station": "varchar", "mould": "varchar"}
    for feed, rest in (
        ("station_counts", {"window_s": "bigint", "inspected": "bigint", "rejected": "bigint"}),
        ("reject_counts", {"defect": "varchar", "window_s": "bigint", "rejected": "bigint"}),
    ):
        columns = {**common, **rest} if typed else dict.fromkeys([*common, *rest], "varchar")
        spec = json.dumps(columns).replace('"', "'")
        options = "ignore_errors = true" if typed else "null_padding = true, ignore_errors = true"
        con.execute(
            f"create table {feed} as select * from read_csv('{inbox}/{feed}.*.csv', header = true, columns = {spec}, "
            f"{options})"
        )
    con.close()


def take(root: Path) -> dict[str, float]:
    """The whole intake: read, validate, commit, archive, quarantine."""
    from pipelines.intake import take_in
    from pipelines.plant.works import read_plant
    from pipelines.settings import Settings, Site

    site = Site(root)
    report = take_in(site, read_plant(site.works_toml.read_text()), Settings())
    return {"kept": report.rows_kept, "refused": report.rows_refused, "lock_held_s": report.lock_held_s}


def peak_mb() -> float:
    """The most memory this process has had. (ru_maxrss of a child begins with what its parent had.)"""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


def _measured(queue: multiprocessing.Queue, work, *args) -> None:  # type: ignore[no-untyped-def]
    import duckdb  # noqa: F401 - libraries are loaded before the clock starts, for both sides

    import pipelines.intake  # noqa: F401

    before = time.perf_counter()
    row = work(*args) or {}
    seconds = time.perf_counter() - before
    usage = resource.getrusage(resource.RUSAGE_SELF)
    queue.put(
        {
            **row,
            "seconds": seconds,
            "cpu_s": usage.ru_utime + usage.ru_stime,
            "peak_mb": peak_mb(),
        }
    )


def measured(work, *args) -> dict[str, float]:  # type: ignore[no-untyped-def]
    """Run in a process of its own; wall time without loading libraries, CPU and peak memory with it."""
    context = multiprocessing.get_context("spawn")
    queue = context.Queue()
    process = context.Process(target=_measured, args=(queue, work, *args))
    process.start()
    response = queue.get()
    process.join()
    return response


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--lines", type=int, default=12)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    root = options.keep or Path(tempfile.mkdtemp())
    source = root / "source"
    source.mkdir(parents=True, exist_ok=True)
    rows = make_files(source, options.lines)
    size = sum(path.stat().st_size for path in source.iterdir())
    print(
        f"{rows:,} rows, {len(list(source.iterdir()))} files, {size / 1e6:.0f} MB of CSV, 1 % bad; medians of "
        f"{options.repeats}"
    )
    found: dict[str, list[dict[str, float]]] = {"duckdb typed": [], "duckdb text": [], "intake": []}
    for number in range(options.repeats):
        for name, typed in (("duckdb typed", True), ("duckdb text", False)):
            found[name].append(measured(duckdb_alone, source, root / f"{typed}{number}.duckdb", typed))
        site = root / f"site{number}"
        shutil.copytree(source, site / "inbox")
        (site / "works.toml").write_text(works(options.lines))
        found["intake"].append(measured(take, site))
        shutil.rmtree(site)
    median = {name: sorted(runs, key=lambda r: r["seconds"])[len(runs) // 2] for name, runs in found.items()}
    for name, run in median.items():
        print(f"{name:<14} {run['seconds']:6.2f} s wall  {run['cpu_s']:6.2f} s CPU  {run['peak_mb']:6.0f} MB peak")
    mine = median["intake"]
    print(
        f"kept {mine['kept']:,}, refused {mine['refused']:,}, lock held {mine['lock_held_s']:.2f} s = "
        f"{mine['lock_held_s'] / mine['seconds']:.2f} of the intake"
    )
    for name in ("duckdb typed", "duckdb text"):
        print(f"ratio intake / {name}: {mine['seconds'] / median[name]['seconds']:.2f}")
    if not options.keep:
        shutil.rmtree(root)


if __name__ == "__main__":
    sys.exit(main())
