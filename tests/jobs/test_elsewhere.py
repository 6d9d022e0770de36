"""Working from an export: the same code, the same answers, byte for byte, in one process and on Dask with two workers;
several works read together.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import duckdb
import polars as pl
import pyarrow.fs as pafs
import pytest
from moto.server import ThreadedMotoServer
from scipy.stats import chi2

from pipelines.answers.pareto import answer_pareto
from pipelines.answers.works import joined
from pipelines.clock import Span, parse_timestamp
from pipelines.errors import SiteError, WrongUse
from pipelines.jobs.from_exports import MARTS, export_site, in_order, marts_elsewhere, parts_of_works
from pipelines.jobs.signals import refresh_signals
from pipelines.ledger.export import days_of, place_at, reading_export
from pipelines.plant.works import Plant
from sample_feeds.simulator import Simulated, make_plan, simulate, write_feeds
from schemas.feeds import ALL_FEEDS
from tests.conftest import WORKS, Place

DAY = date(2026, 3, 10)
ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(scope="module")
def exported(day_of_truth: Simulated, tmp_path_factory: pytest.TempPathFactory) -> tuple[Place, Path]:
    """The simulated day taken in, followed, exported."""
    folder = tmp_path_factory.mktemp("elsewhere")
    place = Place(folder / "site")
    write_feeds(day_of_truth, place.site.inbox)
    place.take()
    refresh_signals(place.opened, [DAY])
    export_site(place.opened, str(folder / "export"), None, None)
    return place, folder / "export"


def bytes_of(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*.parquet"))}


def test_an_export_holds_every_row_in_force_by_production_day(exported: tuple[Place, Path]) -> None:
    place, export = exported
    for feed in ALL_FEEDS:
        ours = place.facts(feed)
        files = f"{export}/{feed}/**/*.parquet"
        if ours.is_empty():
            assert not list(export.glob(f"{feed}/**/*.parquet"))
            continue
        theirs = duckdb.sql(f"select count(*) from read_parquet('{files}', hive_partitioning = false)").fetchall()[0][0]
        assert theirs == ours.height, feed
    moments = duckdb.sql(
        "select typeof(window_start), min(window_start) >= timestamptz '2026-03-10 05:00:00+00' from "
        f"read_parquet('{export}/station_counts/day=2026-03-10/*.parquet') group by 1"
    )
    assert moments.fetchall() == [("TIMESTAMP WITH TIME ZONE", True)]


def test_the_same_ledger_exports_the_same_bytes(exported: tuple[Place, Path], tmp_path: Path) -> None:
    place, export = exported
    export_site(place.opened, str(tmp_path / "again"), None, None)
    assert bytes_of(tmp_path / "again") == bytes_of(export)


def test_answers_from_an_export_are_those_of_the_ledger(exported: tuple[Place, Path]) -> None:
    place, export = exported
    day = place.plant.clock.day(DAY)
    with place.opened.ledger.reading() as reader, reading_export(place_at(str(export)), None) as other:
        for by in ("defect", "mould", "section"):
            assert answer_pareto(reader, place.plant, "K1", day, by) == answer_pareto(other, place.plant, "K1", day, by)


def test_marts_worked_out_from_an_export_are_those_of_the_ledger(exported: tuple[Place, Path], tmp_path: Path) -> None:
    _, export = exported
    marts_elsewhere(str(export), str(tmp_path / "marts"), [DAY])
    for name in MARTS:
        ours = pl.read_parquet(export / name / f"day={DAY}" / "part.parquet", hive_partitioning=False)
        theirs = pl.read_parquet(tmp_path / "marts" / name / f"day={DAY}" / "part.parquet", hive_partitioning=False)
        assert theirs.select(ours.columns).sort(ours.columns).equals(ours.sort(ours.columns)), name


def test_two_processes_give_the_same_bytes_as_one(exported: tuple[Place, Path], tmp_path: Path) -> None:
    _, export = exported
    marts_elsewhere(str(export), str(tmp_path / "one"), [DAY], in_order)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        marts_elsewhere(str(export), str(tmp_path / "two"), [DAY], pool.map)
    assert bytes_of(tmp_path / "one") == bytes_of(tmp_path / "two") != {}


def test_dask_with_two_workers_gives_the_same_bytes_as_one_process(
    exported: tuple[Place, Path], tmp_path: Path
) -> None:
    place, export = exported
    span = ["--from", str(DAY), "--to", str(DAY), "--over", str(export)]
    for into, more in (("one", []), ("dask", ["--dask", "local"])):
        command = [
            sys.executable,
            "-c",
            "from pipelines.cli import main; main()",
            "rebuild",
            *span,
            "--into",
            str(tmp_path / into),
            *more,
        ]
        done = subprocess.run(
            command,
            cwd=place.site.root,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            timeout=300,
        )
        assert done.returncode == 0, done.stderr
    assert bytes_of(tmp_path / "one") == bytes_of(tmp_path / "dask") != {}


# several works


@pytest.fixture(scope="module")
def other_works(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A second invented works, in another time zone, whose code for stones is its own."""
    folder = tmp_path_factory.mktemp("other")
    text = (
        WORKS.replace("Sowia Glassworks (invented)", "Rio Glassworks (invented)")
        .replace('"Europe/Warsaw"', '"Europe/Lisbon"')
        .replace('"STN"', '"PED"')
    )
    place = Place(folder / "site", text)
    write_feeds(simulate(make_plan(place.plant, DAY, 1, seed=9, lag_offset=0.0)), place.site.inbox)
    place.take()
    export_site(place.opened, str(folder / "export"), None, None)
    return folder / "export"


def span(start: str, end: str, plant: Plant) -> Span:
    """A question's times by the works' own clock."""
    return Span(*(parse_timestamp(text, plant.clock.zone) for text in (start, end)))


def test_several_works_are_read_together_each_by_its_own_clock(exported: tuple[Place, Path], other_works: Path) -> None:
    place, export = exported
    sources = [str(export), str(other_works)]
    parts = parts_of_works(sources, "2026-03-10T06:00", "2026-03-11T06:00", "defect", None, in_order, span)
    rows = joined(parts, "defect")
    day = place.plant.clock.day(DAY)
    with place.opened.ledger.reading() as reader:
        mine = [
            answer_pareto(reader, place.plant, line, Span(day.start, day.end), "defect") for line in place.plant.lines
        ]
    name = place.plant.defects["STN"].name
    stones = next(row for row in rows if row.key == name)
    ours = stones.works["Sowia Glassworks (invented)"]
    assert ours[0] == sum(r.calls for pareto in mine for r in pareto.rows if r.key == "STN")
    assert ours[1] == sum(pareto.ware for pareto in mine)
    assert stones.calls == sum(calls for calls, _, _ in stones.works.values()) and len(stones.works) == 2
    assert stones.works["Rio Glassworks (invented)"][0] > 0
    starts = {part.works: part.pareto.from_ for part in parts}
    assert starts["Rio Glassworks (invented)"].hour - starts["Sowia Glassworks (invented)"].hour == 1
    assert rows[0].severity == "critical"


def test_its_interval_is_garwoods(exported: tuple[Place, Path]) -> None:
    """Garwood (1936) by chi-square quantiles: [chi2(0.025, 2k)/2, chi2(0.975, 2k + 2)/2]."""
    _, export = exported
    rows = joined(
        parts_of_works([str(export)], "2026-03-10T06:00", "2026-03-11T06:00", "defect", None, in_order, span),
        "defect",
    )
    row = max(rows, key=lambda answer: answer.calls)
    low, high = chi2.ppf(0.025, 2 * row.calls) / 2, chi2.ppf(0.975, 2 * row.calls + 2) / 2
    assert (row.low, row.high) == (pytest.approx(low / row.ware), pytest.approx(high / row.ware))


def test_what_is_no_export_is_said_to_be_none(tmp_path: Path) -> None:
    read = partial(parts_of_works, [str(tmp_path)], "2026-03-10T06:00", "2026-03-11T06:00", "defect", None, in_order)
    with pytest.raises(WrongUse, match="is no export"):
        read(span)
    with pytest.raises(WrongUse, match="no place"):
        place_at("nosuch://x/y")


def test_a_place_can_be_told_by_its_address(exported: tuple[Place, Path], tmp_path: Path) -> None:
    """Object stores are told by addresses of the same kind; which of them can be read is pyarrow's matter."""
    place, export = exported
    export_site(place.opened, (tmp_path / "by-address").as_uri(), DAY, DAY)
    assert days_of(place_at((tmp_path / "by-address").as_uri())) == [DAY]
    counts = {name: data for name, data in bytes_of(export).items() if name.startswith("station_counts")}
    assert {n: d for n, d in bytes_of(tmp_path / "by-address").items() if n.startswith("station_counts")} == counts


def test_days_of_an_export_are_those_with_counts(exported: tuple[Place, Path]) -> None:
    assert days_of(place_at(str(exported[1]))) == [DAY]


# an object store


@pytest.fixture
def bucket(monkeypatch: pytest.MonkeyPatch) -> Iterator[pafs.FileSystem]:
    """A bucket `glass` of moto's server (https://docs.getmoto.org), which speaks the protocol of S3; where it is and
    who asks come from the environment.
    """
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    texts = {
        "AWS_ENDPOINT_URL": f"http://{host}:{port}",
        "AWS_ACCESS_KEY_ID": "works",
        "AWS_SECRET_ACCESS_KEY": "secret",
    }
    for name, value in {**texts, "AWS_DEFAULT_REGION": "eu-central-1", "AWS_EC2_METADATA_DISABLED": "true"}.items():
        monkeypatch.setenv(name, value)
    store, _ = pafs.FileSystem.from_uri("s3://glass?allow_bucket_creation=true")
    store.create_dir("glass")
    yield store
    server.stop()


def in_bucket(store: pafs.FileSystem, root: str) -> dict[str, bytes]:
    names = [each.path for each in store.get_file_info(pafs.FileSelector(root, recursive=True)) if each.is_file]
    found = {name: store.open_input_stream(name).read() for name in sorted(names) if name.endswith(".parquet")}
    return {name.removeprefix(f"{root}/"): data for name, data in found.items()}


def test_an_object_store_holds_the_same_bytes_as_a_folder_and_gives_the_same_answers(
    exported: tuple[Place, Path], bucket: pafs.FileSystem, tmp_path: Path
) -> None:
    place, export = exported
    export_site(place.opened, "s3://glass/sowia", None, None)
    assert in_bucket(bucket, "glass/sowia") == bytes_of(export) != {}
    assert days_of(place_at("s3://glass/sowia")) == [DAY]
    marts_elsewhere(str(export), str(tmp_path / "marts"), [DAY])
    marts_elsewhere("s3://glass/sowia", "s3://glass/marts", [DAY])
    assert in_bucket(bucket, "glass/marts") == bytes_of(tmp_path / "marts") != {}
    here, there = (
        joined(parts_of_works([text], "2026-03-10T06:00", "2026-03-11T06:00", "zone", None, in_order, span), "zone")
        for text in (str(export), "s3://glass/sowia")
    )
    assert here == there and here


def test_a_store_that_is_not_there_is_a_sentence_without_the_secret(
    exported: tuple[Place, Path], bucket: pafs.FileSystem
) -> None:
    place, _ = exported
    with pytest.raises(SiteError, match="could not be written") as error:
        export_site(place.opened, "s3://works:secret@nowhere/sowia", None, None)
    assert "secret" not in str(error.value)
    with pytest.raises(WrongUse) as wrong:
        parts_of_works(
            ["s3://works:secret@nowhere/x"], "2026-03-10T06:00", "2026-03-11T06:00", "zone", None, in_order, span
        )
    assert "secret" not in str(wrong.value)
    for address in ("nosuch://works:secret@x/y", "nosuch://works:my/secret@x/y"):
        with pytest.raises(WrongUse, match="no place") as unknown:
            place_at(address)
        assert "secret" not in str(unknown.value)
