"""One command that measures what tests/benchmarks/README.md holds, on the machine it runs on, and writes it anew. Run
by hand:

    python -m tests.benchmarks.table --year DIR [--lines 12] [--days 365] [--out tests/benchmarks/README.md]

DIR is kept: a year is made there once (some 15 minutes for all of it). Each figure stands beside what a user would
otherwise run: a pandas script (where pandas is installed), DuckDB's SQL.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date, timedelta
from importlib.metadata import version
from pathlib import Path
from typing import Any

from pipelines.intake.run import intake_lock, take_in
from pipelines.jobs.backup import back_up
from pipelines.jobs.check import check_site
from pipelines.jobs.days import close_day
from pipelines.jobs.from_exports import export_site
from pipelines.ledger.keeping import Rolled, compact, roll_day
from pipelines.settings import Settings
from pipelines.site.folder import OpenSite, open_site
from tests.benchmarks import intake, year
from tests.benchmarks.trace_speed import LAST

Row = tuple[str, str, str]
PANDAS_DAY = """
import glob, sys, time
import pandas as pd
begun = time.perf_counter()
def every(feed):
    files = sorted(glob.glob(sys.argv[1] + "/" + feed + ".*.csv"))
    how = {"parse_dates": ["window_start"], "dtype": {"mould": str}, "on_bad_lines": "skip"}
    return pd.concat(pd.read_csv(f, **how) for f in files)
calls, ware = every("reject_counts"), every("station_counts")
told = calls.groupby(["line", "defect"]).size(), ware.groupby(["line", "station"]).size()
took = time.perf_counter() - begun
print(took, next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM")) / 1024)
"""


def machine() -> str:
    """What the figures were measured on."""
    model = next(
        (
            text.split(":", 1)[1].strip()
            for text in Path("/proc/cpuinfo").read_text().splitlines()
            if text.startswith("model name")
        ),
        platform.processor(),
    )
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    programs = ", ".join(f"{name} {version(name)}" for name in ("duckdb", "polars", "pyarrow", "pandera", "prefect"))
    return (
        f"{os.cpu_count()} cores ({model or platform.machine()}), {memory:.0f} GB of memory, {platform.system()}, "
        f"Python {platform.python_version()}, {programs}. {date.today()}."
    )


def intake_rows(lines: int) -> list[Row]:
    """A plant-day taken in, beside DuckDB's own read of the same files; its memory beside that of a day half as
    large.
    """
    rows: list[Row] = []
    peaks = {}
    for count in (lines // 2, lines):
        root = Path(tempfile.mkdtemp())
        source = root / "source"
        source.mkdir()
        made = intake.make_files(source, count)
        best: dict[str, Any] = {}
        for number in range(3):
            for name, typed in (("typed", True), ("text", False)):
                values = intake.measured(intake.duckdb_alone, source, root / f"{name}{number}.duckdb", typed)
                best[name] = min(best.get(name, values), values, key=lambda answer: answer["seconds"])
            site = root / f"site{number}"
            shutil.copytree(source, site / "inbox")
            (site / "works.toml").write_text(intake.works(count))
            values = intake.measured(intake.take, site)
            best["intake"] = min(best.get("intake", values), values, key=lambda answer: answer["seconds"])
            shutil.rmtree(site)
        mine = best["intake"]
        peaks[count] = mine["peak_mb"]
        script = _pandas(source)
        others = (
            f"DuckDB typed {best['typed']['seconds']:.1f} s ({best['typed']['peak_mb']:.0f} MB), as text "
            f"{best['text']['seconds']:.1f} s; {script}"
        )
        rows.append(
            (
                f"intake of a day of {count} lines, {made:,} rows of CSV, 1 % bad, checked, archived",
                f"{mine['seconds']:.1f} s = {mine['seconds'] / best['typed']['seconds']:.2f} x DuckDB typed, "
                f"{mine['seconds'] / best['text']['seconds']:.2f} x as text; peak {mine['peak_mb']:.0f} MB; ledger "
                f"held {mine['lock_held_s']:.1f} s",
                others,
            )
        )
        shutil.rmtree(root)
    few, many = peaks.values()
    rows.append(("peak memory of a day twice as large", f"{many / few:.2f} times", "-"))
    return rows


def _pandas(source: Path) -> str:
    done = subprocess.run([sys.executable, "-c", PANDAS_DAY, str(source)], capture_output=True, text=True)
    if done.returncode:
        return "pandas is not installed"
    seconds, peak = map(float, done.stdout.split())
    return f"a pandas script that reads and groups them {seconds:.1f} s ({peak:.0f} MB)"


def year_rows(opened: OpenSite, archive_days: int) -> list[Row]:
    texts = year.measured(opened, 9, archive_days)
    sql = texts.pop("the same day's Pareto by DuckDB's SQL on the CSV files")
    script = texts.pop("the same by a pandas script")
    others = {"Pareto of a line's day": f"DuckDB's SQL on the day's CSV files {sql}; a pandas script {script}"}
    return [(name, value, others.get(name, "-")) for name, value in texts.items()]


def keeping_rows(opened: OpenSite, folder: Path, year_days: int) -> list[Row]:
    """What keeps a site whole: copied, checked, rolled, compacted, exported; on a copy, so that the year stays as it
    is.
    """
    size = opened.site.ledger.stat().st_size
    rows: list[Row] = []
    copies = folder / "copies"
    took = timed(lambda: back_up(opened, copies))
    rows.append(
        (
            "backup, read whole",
            f"{took:.0f} s",
            f"`cp` of the file, not read: {timed(lambda: shutil.copyfile(opened.site.ledger, folder / 'plain')):.1f} s",
        )
    )
    site = folder / "site"
    (site / "inbox").mkdir(parents=True)
    shutil.copyfile(opened.site.works_toml, site / "works.toml")
    (folder / "plain").rename(site / "ledger.duckdb")
    mine = open_site(site, opened.settings)
    rows += work_rows(mine, year_days)
    rows.append(("check (blocks, balances, versions)", f"{timed(lambda: check_site(mine)):.0f} s", "-"))
    rows.append(
        (
            "export of one day, facts and marts",
            f"{timed(lambda: export_site(mine, str(folder / 'export'), LAST, LAST)):.1f} s",
            "-",
        )
    )
    with intake_lock(mine.site, mine.settings):
        after: list[int] = []
        took = timed(lambda: after.extend(compact(mine.ledger)))
    rows.append(("compact", f"{took:.0f} s, {size / 1e9:.2f} GB to {after[1] / 1e9:.2f} GB", "-"))
    return rows


def work_rows(mine: OpenSite, year_days: int) -> list[Row]:
    """What a site does every hour, day and month: the next hour taken in, a day closed, an old day rolled."""
    rows: list[Row] = []
    count = year.next_hour(mine)
    script = _pandas(mine.site.inbox)
    took = timed(lambda: take_in(mine.site, mine.plant, mine.settings))
    rows.append((f"the next hour of all lines, {count:,} rows, taken into it", f"{took:.1f} s", script))
    this_span = mine.plant.clock.day(LAST)
    rows.append(("close of a day, all lines, its page written", f"{timed(lambda: close_day(mine, LAST)):.1f} s", "-"))
    oldest = mine.plant.clock.day_of(this_span.start - timedelta(days=year_days - 3))
    span = mine.plant.clock.day(oldest)
    rolled: list[Rolled] = []
    took = timed(lambda: rolled.append(roll_day(mine.ledger, oldest, span.start, span.end, this_span.end)))
    rows.append(
        (
            f"an old day's minutes rolled into hours, {rolled[0].before:,} rows to {rolled[0].after:,}",
            f"{took:.1f} s",
            "-",
        )
    )
    return rows


def timed(work: Callable[[], Any]) -> float:
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--year", type=Path, required=True)
    parser.add_argument("--lines", type=int, default=12)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--lanes", type=int, default=2)
    parser.add_argument("--archive-days", type=int, default=4)
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("README.md"))
    options = parser.parse_args()
    parts: dict[str, list[Row]] = {
        "Intake": intake_rows(options.lines)
    }  # first: a child's peak memory counts that of its parent when it began
    if not options.year.exists():
        year.build(options.year, options.lines, options.days, options.lanes)
    opened = open_site(options.year, Settings(writer_memory="2GB"))
    parts[f"A year: {options.days} days of {options.lines} lines at minute grain"] = year_rows(
        opened, options.archive_days
    )
    folder = Path(tempfile.mkdtemp(dir=options.year.parent))
    try:
        parts["Keeping it"] = keeping_rows(opened, folder, options.days)
    finally:
        shutil.rmtree(folder)
    options.out.write_text(text_of(parts), encoding="utf-8")
    print(options.out.read_text())


def text_of(parts: dict[str, list[Row]]) -> str:
    """The README of the benchmarks."""
    out = [
        "# Figures",
        "",
        "Written by `python -m tests.benchmarks.table --year DIR`; seconds drift with the machine and what else it "
        "does, ratios hold. Measured on:",
        machine(),
        "",
    ]
    for name, rows in parts.items():
        out += [f"## {name}", "", "| what | coldledger | what one would otherwise run |", "| --- | --- | --- |"]
        out += [f"| {what} | {mine} | {other} |" for what, mine, other in rows] + [""]
    return "\n".join(out)


if __name__ == "__main__":
    main()
