"""A small site as one version of the program writes it, kept so that every later version is tried on it: `python -m
tests.upgrade.make 0.1.0`.

It makes `<version>.tar.xz` (works.toml, ledger, quarantine, and in archive/ the files that the ledger was made from)
and `<version>.answers.json`. A site that is kept is never made again. Where an answer changes on purpose, `python -m
tests.upgrade.make 0.1.0 --answers` asks the kept site anew; say in the commit which answer changed and why.
"""

from __future__ import annotations

import argparse
import json
import tarfile
import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl

from pipelines.answers.pareto import answer_pareto
from pipelines.answers.signals import answer_signals
from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.question import Question
from pipelines.answers.yields.answer import answer_yield
from pipelines.jobs.days import close_day
from pipelines.jobs.signals import refresh_signals
from pipelines.settings import Settings
from sample_feeds.simulator import make_plan, simulate, write_feeds
from tests.conftest import WORKS, Place, one_furnace

HERE = Path(__file__).parent
DAY = date(2026, 3, 10)
AT = datetime(2026, 3, 11, 8, tzinfo=UTC)
LINE = "K2"
KEPT = ("works.toml", "ledger.duckdb", "archive", "quarantine")


def found(root: Path) -> Place:
    """The site, made by the code as it stands: hourly files of two days, a refused row, a refused file, a correction, a
    closed day.
    """
    works = one_furnace(WORKS.replace("sections = 6\ngobs = 1", "sections = 2\ngobs = 1"), lines=(LINE,))
    place = Place(root, works, Settings(fixed_now=AT, lock_wait_s=5))
    lived = simulate(make_plan(place.plant, DAY, 1, seed=20_260, faults=6))
    write_feeds(lived, place.site.inbox, dirty=False, every="12h", formats=("csv.gz", "parquet"))
    hour = (place.plant.clock.day(DAY).start + timedelta(hours=3)).isoformat()
    head = "window_start,line,station,mould,defect,window_s,rejected\n"
    place.put(
        "reject_counts.late.csv", f"{head}{hour},{LINE},{LINE}-foot,,SPK,60,7\n{hour},{LINE},{LINE}-foot,,NONE,60,7\n"
    )
    place.put("weather.csv", "no,feed\n1,2\n")
    place.take()
    place.settings = Settings(fixed_now=AT + timedelta(hours=1), lock_wait_s=5)
    pallet = (
        lived.feeds["pallets"]
        .head(1)
        .with_columns(pl.col("packed_from", "packed_to").dt.strftime("%Y-%m-%dT%H:%M:%SZ"))
    )
    place.put("pallets.corrected.csv", pallet.with_columns(units=pl.col("units") - 600).write_csv())
    place.take()
    refresh_signals(place.opened, [DAY])
    close_day(place.opened, DAY)
    return place


def answers(place: Place) -> dict[str, Any]:
    """What a site answers of that day, as the commands print it."""
    plant = place.opened.known
    span = plant.clock.day(DAY)
    with place.opened.ledger.reading() as reader:
        number = reader.current("complaints")["complaint"].sort()[0]
        words = {
            "pareto": answer_pareto(reader, plant, LINE, span).told(),
            "pareto by mould": answer_pareto(reader, plant, LINE, span, "mould").told(),
            "yield": answer_yield(reader, plant, DAY).told(),
            "signals": [signal.told() for signal in answer_signals(reader, plant, span)],
            "trace": answer_trace(reader, plant, Question(complaint=number)).told(),
            "refused": reader.ask("refusals_open", most=1000, from_batch=0).to_dicts(),
        }
    plain: dict[str, Any] = json.loads(json.dumps(words, default=str))
    return plain


def unpacked(version: str, root: Path) -> Place:
    """A copy of the kept site of a version, to write to."""
    with tarfile.open(HERE / f"{version}.tar.xz") as kept:
        kept.extractall(root, filter="data")
    (root / "inbox").mkdir()
    return Place.at(root, Settings(fixed_now=AT + timedelta(hours=2), lock_wait_s=5))


def versions() -> Iterator[str]:
    """The versions of which a site is kept."""
    return (path.name.removesuffix(".tar.xz") for path in sorted(HERE.glob("*.tar.xz")))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("version")
    asked.add_argument("--answers", action="store_true", help="only the answers of the kept site")
    options = asked.parse_args()
    target = HERE / f"{options.version}.tar.xz"
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "site"
        if not options.answers:
            if target.exists():
                raise SystemExit(f"{target} is kept as it is")
            place = found(root)
            with tarfile.open(target, "w:xz", preset=9) as kept:
                for name in KEPT:
                    kept.add(place.site.root / name, name, filter=_plain)
        else:
            place = unpacked(options.version, root)
        text = json.dumps(answers(place), ensure_ascii=False, indent=1)
    (HERE / f"{options.version}.answers.json").write_text(text + "\n", encoding="utf-8")


def _plain(entry: tarfile.TarInfo) -> tarfile.TarInfo:
    """Without the names and times of whoever made it, but the archive's own order of making."""
    entry.uid = entry.gid = 0
    entry.uname = entry.gname = ""
    return entry


if __name__ == "__main__":
    main()
