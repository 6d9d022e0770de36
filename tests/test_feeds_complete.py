"""A feed is complete: a pandera class, glossary entries, a table, a view, sample files, a reference."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import duckdb
import polars as pl
import pytest
from pandera.errors import SchemaErrors

from pipelines.help.feed_reference import describe_feeds, described, example
from pipelines.intake.cast import Reading, cast_text
from pipelines.intake.read_csv import parse_csv
from schemas.feeds import ALL_FEEDS, Feed
from schemas.quantities import QUANTITIES
from schemas.reasons import Reason
from tests.conftest import NOW, SAMPLES, Place

ROOT = SAMPLES.parent


@pytest.fixture(scope="module")
def con() -> duckdb.DuckDBPyConnection:
    con = duckdb.connect()
    for folder in ("migrations", "core"):
        for path in sorted((ROOT / "sql" / folder).glob("*.sql")):
            con.execute(path.read_text())
    return con


@pytest.mark.parametrize("feed", ALL_FEEDS.values(), ids=lambda feed: feed.name)
def test_a_feed_is_complete(feed: Feed, con: duckdb.DuckDBPyConnection) -> None:
    missing = what_is_missing(feed, con)
    assert not missing, f"feed {feed.name}: {'; '.join(missing)}"


def what_is_missing(feed: Feed, con: duckdb.DuckDBPyConnection) -> list[str]:
    """All of it at once, each with the place where it belongs."""
    name, view, lineage = feed.name, f"current_{feed.name}", ["batch", "file_line", "replaced_at", "replaced_by"]
    there = {row[0] for row in con.execute("select table_name from information_schema.tables").fetchall()}
    kept = sorted(con.table(name).columns) if name in there else None
    in_force = con.table(view).columns if view in there else None
    of_view = [*feed.columns, "batch", "file_line"]
    looked = {
        f"no file of sql/migrations makes the table {name}": kept is not None,
        f"its table has other columns than {sorted([*feed.columns, *lineage])}": kept
        in (None, sorted([*feed.columns, *lineage])),
        f"no view: sql/core/{view}.sql": in_force is not None,
        f"{view} has other columns than {of_view}, in that order": in_force in (None, of_view),
        "its key names a column that it does not have": set(feed.key) <= set(feed.columns),
        "no docstring of its class, or no grain": bool(feed.model.__doc__ and feed.grain),
        f"no module schemas/feeds/{name}.py": (ROOT / "schemas" / "feeds" / f"{name}.py").exists(),
        f"no sample file sample_feeds/day/{name}.*": bool(list((SAMPLES / "day").glob(f"{name}.*"))),
        **{f"{column} stands not in schemas/quantities.py": column in QUANTITIES for column in feed.columns},
    }
    return [what for what, is_there in looked.items() if not is_there]


def test_all_that_a_feed_lacks_is_said_at_once() -> None:
    bare = replace(ALL_FEEDS["stoppages"], name="stops_of_nothing", key=("nothing",))
    said = what_is_missing(bare, duckdb.connect())
    assert said == [
        "no file of sql/migrations makes the table stops_of_nothing",
        "no view: sql/core/current_stops_of_nothing.sql",
        "its key names a column that it does not have",
        "no module schemas/feeds/stops_of_nothing.py",
        "no sample file sample_feeds/day/stops_of_nothing.*",
    ]


def test_there_is_no_feed_module_outside_the_list() -> None:
    modules = {path.stem for path in (ROOT / "schemas" / "feeds").glob("*.py")} - {"__init__", "base"}
    odd = ", ".join(sorted(modules ^ ALL_FEEDS.keys()))
    assert not odd, f"ALL_FEEDS (schemas/feeds/__init__.py) and the modules of schemas/feeds differ by: {odd}"


@pytest.mark.parametrize("feed", ALL_FEEDS.values(), ids=lambda feed: feed.name)
def test_the_model_refuses_what_it_should(feed: Feed) -> None:
    good = {name: _value(feed, name) for name in feed.columns}
    frame = pl.DataFrame([good], schema={name: feed.dtype(name) for name in feed.columns})
    feed.schema.validate(frame, lazy=True)
    for name in feed.columns:
        if name not in feed.optional:
            with pytest.raises(SchemaErrors):
                feed.schema.validate(frame.with_columns(pl.lit(None, dtype=feed.dtype(name)).alias(name)), lazy=True)
        if feed.quantity(name).kind in ("count", "number"):
            with pytest.raises(SchemaErrors):
                feed.schema.validate(frame.with_columns(pl.lit(-1e9).cast(feed.dtype(name)).alias(name)), lazy=True)


def _value(feed: Feed, name: str) -> object:
    from pipelines.plant.works import read_plant
    from tests.conftest import WORKS

    quantity = feed.quantity(name)
    text = feed.example.get(name) or quantity.example
    if quantity.known_as:
        return text
    return cast_text(text, quantity, Reading(read_plant(WORKS), NOW))


def test_the_reference_names_every_column_with_unit_and_limits() -> None:
    text = describe_feeds()
    for feed in described():
        assert f"\n{feed['feed']}\n" in text
        for column in feed["columns"]:
            assert column["meaning"] and column["unit"] and column["limits"]
    assert len(described()) == len(ALL_FEEDS)


@pytest.mark.parametrize("feed", ALL_FEEDS.values(), ids=lambda feed: feed.name)
def test_the_example_of_the_reference_can_be_read(feed: Feed) -> None:
    raw = parse_csv(example(feed).encode() + b"\n", feed, 10_000)
    assert raw.rows == 1 and not raw.broken


def test_every_reason_has_a_sentence_and_is_used() -> None:
    code = "\n".join(path.read_text() for path in (ROOT / "pipelines").rglob("*.py"))
    checks = "\n".join(path.read_text() for path in (ROOT / "schemas").rglob("*.py"))
    for reason in Reason:
        assert reason.value and not reason.sentence("v", "e").endswith(".")
        assert re.search(rf"Reason\.{reason.name}\b", code) or f'"{reason.code}"' in checks, reason


def test_the_small_day_is_taken_in_without_a_fault(place: Place) -> None:
    for path in (SAMPLES / "day").iterdir():
        place.put(path.name, path.read_bytes())
    report = place.take()
    assert (report.rows_refused, report.files_refused, report.messages) == (0, 0, [])
    assert report.rows_kept > 10_000
    assert sum(path.stat().st_size for path in (SAMPLES / "day").iterdir()) < 3_000_000


def test_paths_of_samples_carry_no_foreign_names() -> None:
    assert all(re.fullmatch(r"[a-z_]+\.[\w.-]+", path.name) for path in Path(SAMPLES / "day").iterdir())
