"""A year of 12 lines at minute grain: how large it is, and how long what people ask takes. Run by hand:

    python -m tests.benchmarks.year --keep DIR [--lines 12] [--days 365] [--lanes 2] [--archive-days 4]

A day of an invented plant of that size (each line in two lanes of seven stations, a row a minute, station and mould) is
simulated, taken in and followed; its rows are copied to every day of the year before it, under batches and pallets of
their own. DIR is kept, so that a second run only asks. Warm times are those of one process that has asked before, the
median of `--times`. Beside each stands what a user would otherwise run: a pandas script and DuckDB's own SQL on the CSV
files of the same hours.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import polars as pl

from pipelines.answers.counted_span import counted_span
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.signals import answer_signals
from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.question import Question
from pipelines.clock import Span
from pipelines.intake import take_in
from pipelines.jobs.signals import days_to_follow, refresh_signals
from pipelines.ledger.reader import Reader
from pipelines.plant.works import Plant
from pipelines.settings import Settings, Site
from pipelines.site.folder import OpenSite, init_site, open_site
from sample_feeds.simulator import make_plan, simulate, write_feeds
from schemas.answers.pareto import Pareto
from tests.benchmarks import signal_speed, trace_speed
from tests.benchmarks.trace_speed import LAST

WEEKS = 14  # days copied by one statement
KINDS = (
    "side",
    "side-low",
    "side-neck",
    "mouth",
    "mouth-in",
    "mouth-bore",
    "foot",
)  # all but the last read mould numbers


def works_toml(lines: int, lanes: int) -> str:
    """The plant of signal_speed, each line in lanes of seven stations."""
    head = signal_speed.works_toml(lines)
    parts = [block for block in head.split("[[") if not block.startswith("station]]")]
    for n in range(lines):
        for order, kind in enumerate(KINDS, start=1):
            for lane in "ab"[:lanes]:
                parts.append(
                    f'station]]\nid = "L{n:02d}-{kind}-{lane}"\nline = "L{n:02d}"\norder = {order}\nafter_minutes = '
                    f"{order - 1}.0\n\n"
                )
    return "[[".join(parts)


def build(root: Path, lines: int, days: int, lanes: int) -> None:
    """One day simulated, taken in and followed; then copied to the days before it, oldest first, some weeks a
    statement.
    """
    site = init_site(root, works_toml(lines, lanes))
    opened = open_site(root, Settings())
    plant = opened.plant
    write_feeds(simulate(make_plan(plant, LAST, 1, seed=17)), site.inbox, every="1d", formats=("parquet",), dirty=False)
    report = take_in(site, plant, opened.settings)
    refresh_signals(opened, days_to_follow(plant, [moment for _, moment in report.touched]))
    with duckdb.connect(str(site.ledger)) as con:
        con.execute("set timezone = 'UTC'; set enable_progress_bar = false; set memory_limit = '3GB'")
        _copies(con, plant.clock.day(LAST).start.replace(tzinfo=None), days)


def _copies(con: duckdb.DuckDBPyConnection, start: datetime, days: int) -> None:
    step = int(con.execute("select max(batch) + 1 from batches").fetchall()[0][0])
    tables = {**trace_speed.TIMES, "pallets": "packed_from", "batches": None}
    for table, when in tables.items():
        only = f"where {when} >= timestamp '{start}' and {when} < timestamp '{start}' + interval 1 day" if when else ""
        con.execute(f"create temp table one_{table} as select * from {table} {only}")
    for first in range(days - 1, 0, -WEEKS):
        backs = range(first, max(0, first - WEEKS), -1)
        for table, when in tables.items():
            con.execute(
                f"insert into {table} " + " union all ".join(_shifted(table, when, back, back * step) for back in backs)
            )
        print(f"days {first} to {backs[-1]} before the last", flush=True)
    for table, when in (("mould_log", "fitted_at"), ("job_log", "started_at")):
        old = f"{when} between timestamp '{start}' - interval 30 day and timestamp '{start}' - interval 10 day"
        con.execute(
            f"insert into {table} select * replace ({when} - interval {days} day as {when}) from {table} where {old}"
        )


def _shifted(table: str, when: str | None, back: int, batches: int) -> str:
    """One day's rows so many days earlier, under batches and pallets of their own."""
    moments = {"pallets": ("packed_from", "packed_to"), "batches": ("data_from", "data_to")}.get(table, (when,))
    new = [f"{moment} - interval {back} day as {moment}" for moment in moments]
    new += [f"batch + {batches} as batch"] if table not in ("lehr_hours", "signal_hours") else []
    new += [f"pallet || '-{back}' as pallet"] if table == "pallets" else []
    return f"select * replace ({', '.join(new)}) from one_{table}"


def warm(ask: Callable[[], Any], times: int) -> tuple[float, float]:
    """Median and worst of some askings in seconds, after one that does not count."""
    ask()
    found = []
    for _ in range(times):
        begun = time.perf_counter()
        ask()
        found.append(time.perf_counter() - begun)
    return float(np.median(found)), max(found)


def csv_of(opened: OpenSite, folder: Path, lines: list[str], span: Span) -> int:
    """The same rows as the CSV files the stations would have sent, a file a feed, line and hour; how many rows."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = 0
    with opened.ledger.reading() as reader:
        for line in lines:
            at = span.start
            while at < span.end:
                row = {"line": line, "from_time": at, "to_time": at + timedelta(hours=1)}
                for feed, query in (("station_counts", "ware_by_window"), ("reject_counts", "calls_by_window")):
                    frame = reader.ask(query, **row)
                    frame = frame.rename({"calls": "rejected"}) if "calls" in frame.columns else frame
                    frame = frame.with_columns(
                        line=pl.lit(line), window_start=pl.col("window_start").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
                    )
                    frame.write_csv(folder / f"{feed}.{line}.{at:%Y%m%dT%H%MZ}.csv")
                    rows += frame.height
                at += timedelta(hours=1)
    return rows


def next_hour(opened: OpenSite) -> int:
    """Put the hour after the last one of a year into its inbox, as the stations would; how many rows."""
    day = opened.plant.clock.day(LAST)
    with tempfile.TemporaryDirectory() as folder:
        rows = csv_of(opened, Path(folder), list(opened.plant.lines), Span(day.start, day.start + timedelta(hours=1)))
        for path in Path(folder).iterdir():
            text = path.read_text()
            moved = text.replace(f"{day.start:%Y-%m-%dT%H}", f"{day.end:%Y-%m-%dT%H}")
            (opened.site.inbox / path.name.replace(".csv", ".next.csv")).write_text(moved)
    return rows


PANDAS = """
import glob, sys, pandas as pd
def every(feed):
    files = glob.glob(sys.argv[1] + "/" + feed + ".{line}*.csv")
    return pd.concat(pd.read_csv(f, parse_dates=["window_start"], dtype={{"mould": str}}) for f in files)
calls, ware = every("reject_counts"), every("station_counts")
told = calls.groupby("defect")["rejected"].sum().sort_values(ascending=False)
print(told.head(3).to_dict(), int(ware["inspected"].sum()))
"""


def pandas_script(folder: Path, line: str) -> float | None:
    """Seconds of a pandas script that reads and groups the same files, imports left out; None where pandas is not
    installed.
    """
    text = PANDAS.format(line=line)
    timed = (
        "import time\nimport pandas\nbegun = time.perf_counter()\n"
        + text
        + "\nprint('took', time.perf_counter() - begun)"
    )
    done = subprocess.run([sys.executable, "-c", timed, str(folder)], capture_output=True, text=True)
    return float(done.stdout.rsplit("took ", 1)[1]) if done.returncode == 0 else None


def duckdb_sql(folder: Path, line: str) -> float:
    """Seconds of DuckDB's own SQL on the same files."""
    con = duckdb.connect()
    begun = time.perf_counter()
    con.execute(
        f"select defect, sum(rejected) from read_csv('{folder}/reject_counts.{line}*.csv') group by 1 order by 2 desc"
    ).fetchall()
    con.execute(f"select sum(inspected) from read_csv('{folder}/station_counts.{line}*.csv')").fetchall()
    return time.perf_counter() - begun


def questions(opened: OpenSite, times: int) -> dict[str, tuple[float, float]]:
    """What people ask of a year, eleven months back (or as far as it goes) where a day is asked for, from a warm
    process that keeps the ledger open as the pages do.
    """
    keeper = opened.ledger.keeper()
    keeper.begin()
    try:
        return _asked(opened, times)
    finally:
        keeper.end()


def _asked(opened: OpenSite, times: int) -> dict[str, tuple[float, float]]:
    plant = opened.known
    with opened.ledger.reading() as reader:
        counted = counted_span(reader, list(plant.lines))
    assert counted is not None
    first = plant.clock.day_of(counted.start)
    old, new = plant.clock.day(max(first + timedelta(days=3), LAST - timedelta(days=330))), plant.clock.day(LAST)
    line = list(plant.lines)[3]

    def reading(ask: Callable[[Any], Any]) -> Callable[[], Any]:
        def whole() -> Any:
            with opened.ledger.reading() as reader:
                return ask(reader)

        return whole

    hour = Span(old.start + timedelta(hours=5), old.start + timedelta(hours=6))
    made = (old.start + timedelta(hours=4), old.start + timedelta(hours=8))
    mould = Question(line=line, mould="20", defect="D01", made_from=made[0], made_to=made[1])
    pairs = {
        "Pareto of a line's hour": warm(reading(lambda r: answer_pareto(r, plant, line, hour)), times),
        "Pareto of a line's day": warm(reading(lambda r: answer_pareto(r, plant, line, old)), times),
        "Pareto of a line's day by mould": warm(reading(lambda r: answer_pareto(r, plant, line, old, "mould")), times),
        "Pareto of the day, all lines": warm(
            reading(lambda r: r.together(*(partial(_pareto, plant, text, old) for text in plant.lines))), times
        ),
        "trace of one mould, 4 h": warm(reading(lambda r: answer_trace(r, plant, mould)), times),
        "signals of a line, 8 h, followed anew": warm(
            reading(lambda r: answer_signals(r, plant, Span(new.end - timedelta(hours=8), new.end), line)),
            max(1, times // 4),
        ),
    }
    return {**pairs, **pages(opened, line, new, times)}


def _pareto(plant: Plant, line: str, day: Span, reader: Reader) -> Pareto:
    return answer_pareto(reader, plant, line, day)


def pages(opened: OpenSite, line: str, day: Span, times: int) -> dict[str, tuple[float, float]]:
    """The hour's page as the application answers it: made anew, and again."""
    from fastapi.testclient import TestClient

    from pipelines.pages.app import create_app
    from pipelines.pages.web import Options

    settings = Settings(fixed_now=day.end - timedelta(hours=2))
    app = create_app(opened.site.root, settings, Options(hosts=("testserver",), grace_s=0))
    client, desk = TestClient(app), app.state.web.desk
    address = f"/hour/{opened.plant.clock.day_of(day.start)}/{line}-06-1100.html"

    def anew() -> None:
        desk.kept.clear()
        assert client.get(address).status_code == 200

    return {
        "hour page, made anew": warm(anew, times),
        "hour page, made before": warm(lambda: client.get(address), times),
    }


def rebuilt(opened: OpenSite, folder: Path, days: int) -> tuple[float, int, float]:
    """Days a minute of `rebuild --from-archive` on so many whole days of files, rows, and the peak memory in MB; in a
    process of its own.
    """
    site = Site(folder)
    (folder / "inbox").mkdir(parents=True)
    shutil.copyfile(opened.site.works_toml, site.works_toml)
    plant, rows = opened.plant, 0
    for n in range(days):
        day = LAST - timedelta(days=n)
        for feed in ("station_counts", "reject_counts"):
            (site.archive / feed / str(day)).mkdir(parents=True)
        span = plant.clock.day(day)
        part = folder / "part"
        rows += csv_of(opened, part, list(plant.lines), span)
        for path in part.iterdir():
            path.rename(site.archive / path.name.split(".")[0] / str(day) / path.name)
    code = (
        "import json, sys, time; from pathlib import Path; from pipelines.settings import Settings; from "
        "pipelines.site.folder import open_site;"
        "from pipelines.jobs.from_archive import rebuild_from_archive; opened = open_site(Path(sys.argv[1]), "
        "Settings()); begun = time.perf_counter();"
        "told = rebuild_from_archive(opened); took = time.perf_counter() - begun; from tests.benchmarks.intake "
        "import peak_mb; print(json.dumps([took, told.rows, peak_mb()]))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True)
    seconds, kept, peak = json.loads(done.stdout)
    assert kept == rows, (kept, rows)
    return 60 * days / seconds, rows, peak


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--keep", type=Path, required=True)
    parser.add_argument("--lines", type=int, default=12)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--lanes", type=int, default=2, help="1 or 2: half or all of the rows")
    parser.add_argument("--times", type=int, default=9)
    parser.add_argument("--archive-days", type=int, default=4)
    parser.add_argument("--json", type=Path, help="also write the figures here")
    options = parser.parse_args()
    if not options.keep.exists():
        begun = time.perf_counter()
        build(options.keep, options.lines, options.days, options.lanes)
        print(f"built in {time.perf_counter() - begun:.0f} s")
    figures = measured(open_site(options.keep, Settings()), options.times, options.archive_days)
    for name, value in figures.items():
        print(f"{name}: {value}")
    if options.json:
        options.json.write_text(json.dumps(figures, indent=1))


def measured(opened: OpenSite, times: int, archive_days: int) -> dict[str, str]:
    """All figures of a year's site, in words."""
    with duckdb.connect(str(opened.site.ledger), read_only=True) as con:
        rows = {
            t: con.execute(f"select count(*) from {t}").fetchall()[0][0]
            for t in ("station_counts", "reject_counts", "pallets")
        }
    texts = {
        "rows": ", ".join(f"{count:,} {name}" for name, count in rows.items()),
        "ledger": f"{opened.site.ledger.stat().st_size / 1e9:.2f} GB",
    }
    texts |= {
        name: f"median {1000 * mid:.0f} ms, worst {1000 * worst:.0f} ms"
        for name, (mid, worst) in questions(opened, times).items()
    }
    texts["peak memory of the asking process"] = f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
    plant = opened.plant
    with tempfile.TemporaryDirectory(dir=opened.site.root.parent) as folder:
        line, day = list(plant.lines)[3], plant.clock.day(LAST)
        csv_of(opened, Path(folder) / "csv", [line], day)
        sql, script = duckdb_sql(Path(folder) / "csv", line), pandas_script(Path(folder) / "csv", line)
        texts["the same day's Pareto by DuckDB's SQL on the CSV files"] = f"{1000 * sql:.0f} ms"
        texts["the same by a pandas script"] = (
            f"{1000 * script:.0f} ms" if script is not None else "pandas is not installed"
        )
        if archive_days:
            speed, count, peak = rebuilt(opened, Path(folder) / "again", archive_days)
            texts["rebuild from the archive"] = (
                f"{speed:.0f} days a minute ({archive_days} days, {count:,} rows of CSV), peak memory {peak:.0f} MB"
            )
    return texts


if __name__ == "__main__":
    main()
