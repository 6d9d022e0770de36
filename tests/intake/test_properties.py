"""Any order of files, any split of a feed into files, any repetition gives the same ledger; every row is accounted
for.
"""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import polars as pl
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipelines.answers.pareto import answer_pareto
from pipelines.clock import Span
from pipelines.measures.pareto.ranking import DIMENSIONS
from pipelines.settings import Settings
from tests.conftest import NOW, Place

SLOW = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
REJECTS = "window_start,line,station,mould,defect,window_s,rejected"
STATIONS = {"K1-side-a": ("SCF", "STN", "BSW"), "K1-mouth": ("CHF", "DIF"), "K1-foot": ("STN", "SPK")}
GOOD = st.tuples(
    st.integers(0, 119),
    st.sampled_from([(s, d) for s, codes in STATIONS.items() for d in codes]),
    st.sampled_from(["11", "12", ""]),
    st.integers(0, 9),
)
RUBBISH = st.sampled_from(
    [
        "x,K1,K1-side-a,11,SCF,60,1",
        "2026-03-02T08:00:00Z,K1,K1-side-a,11,SCF,60,-1",
        "2026-03-02T08:00:00Z,K9,K1-side-a,11,SCF,60,1",
        "too,few",
        '"',
        "2026-03-02T08:00:00,K1,,,,,",
        "2026-03-02T08:00:00Z,K1,K1-side-a,11,CHF,60,1",
    ]
)


def line_of(good: tuple[int, tuple[str, str], str, int]) -> str:
    minute, (station, defect), mould, count = good
    return f"2026-03-02T{8 + minute // 60:02d}:{minute % 60:02d}:00Z,K1,{station},{mould},{defect},60,{count}"


def ledger_of(files: list[list[str]], root: Path, batches: int = 1) -> tuple[Place, int, int]:
    place = Place(root, settings=Settings(fixed_now=NOW, rows_at_once=7))
    kept = refused = 0
    size = -(-len(files) // batches)
    for start in range(0, len(files), max(size, 1)):
        for number, lines in enumerate(files[start : start + size], start=start):
            place.put(f"reject_counts.{number:04d}.csv", "\n".join([REJECTS, *lines]) + "\n")
        report = place.take()
        kept, refused = kept + report.rows_kept, refused + report.rows_refused
    return place, kept, refused


@SLOW
@given(
    st.lists(GOOD, min_size=1, max_size=40, unique_by=lambda g: g[:3]),
    st.randoms(use_true_random=False),
    st.integers(1, 9),
    st.integers(1, 3),
)
def test_order_split_and_repetition_change_nothing(rows: list, chance: random.Random, parts: int, runs: int) -> None:
    lines = [line_of(row) for row in rows]
    with tempfile.TemporaryDirectory() as folder:
        plain, _, _ = ledger_of([lines], Path(folder) / "plain")
        shuffled = chance.sample(lines, len(lines))
        files = [shuffled[n::parts] for n in range(parts)]
        files += chance.choices(files, k=2)
        other, _, _ = ledger_of(chance.sample(files, len(files)), Path(folder) / "other", runs)
        assert other.facts("reject_counts").equals(plain.facts("reject_counts"))


@SLOW
@given(st.lists(GOOD, max_size=30), st.randoms(use_true_random=False), st.integers(1, 5))
def test_corrections_hold_however_the_feed_is_split(rows: list, chance: random.Random, parts: int) -> None:
    """In the order of receipt the last word holds, wherever the files begin and end."""
    lines = [line_of(row) for row in rows]
    cuts = sorted(chance.choices(range(len(lines) + 1), k=parts - 1))
    files = [lines[a:b] for a, b in zip([0, *cuts], [*cuts, len(lines)], strict=True)]
    last = {row[:3]: row[3] for row in rows}
    with tempfile.TemporaryDirectory() as folder:
        place, _, _ = ledger_of(files, Path(folder) / "site", parts)
        frame = place.facts("reject_counts")
        assert sorted(frame["rejected"].to_list()) == sorted(last.values())


@SLOW
@given(st.lists(st.one_of(GOOD.map(line_of), RUBBISH), max_size=40), st.integers(1, 4))
def test_every_row_is_kept_or_refused_never_both_never_neither(lines: list[str], parts: int) -> None:
    files = [lines[n::parts] for n in range(parts)]
    with tempfile.TemporaryDirectory() as folder:
        place, kept, refused = ledger_of(files, Path(folder) / "site")
        batches = place.ask("open_refused_batches")
        with place.opened.ledger.reading() as reader:
            answer = reader._con.table("batches").pl()
            history = reader.replaced("reject_counts")
            rows = reader.ask("open_refused_rows", batches=batches["batch"].to_list())
            now = reader.current("reject_counts")
        distinct = {tuple(part) for part in files}
        assert answer["rows_read"].sum() == sum(len(part) for part in distinct) == kept + refused
        assert rows.height == refused == answer["rows_refused"].sum()
        assert now.height + history.height + answer["rows_unchanged"].sum() == kept
        in_ledger = {
            (r["batch"], r["file_line"])
            for r in pl.concat([now.select("batch", "file_line"), history.select("batch", "file_line")]).iter_rows(
                named=True
            )
        }
        assert not in_ledger & {(r["batch"], r["file_line"]) for r in rows.iter_rows(named=True)}


@SLOW
@given(st.lists(GOOD, min_size=1, max_size=60, unique_by=lambda g: g[:3]))
def test_pareto_calls_sum_to_the_feeds(rows: list) -> None:
    with tempfile.TemporaryDirectory() as folder:
        place, _, _ = ledger_of([[line_of(row) for row in rows]], Path(folder) / "site")
        clock = place.plant.clock
        day = clock.day(clock.day_of(NOW.replace(month=3, day=2, hour=12)))
        with place.opened.ledger.reading() as reader:
            for by in DIMENSIONS:
                pareto = answer_pareto(reader, place.plant, "K1", Span(day.start, day.end), by)
                assert pareto.calls == sum(row[3] for row in rows) == sum(row.calls for row in pareto.rows)
                if pareto.calls:
                    assert (
                        abs(pareto.rows[-1].cumulative - 1) < 1e-12
                        and abs(sum(row.share for row in pareto.rows) - 1) < 1e-12
                    )
