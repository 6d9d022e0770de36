"""What an export says of its own columns, to whoever reads it without this program."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from pipelines.inquiry import Inquiry
from pipelines.jobs.from_exports import export_site
from pipelines.jobs.signals import empty_marts
from pipelines.ledger.export import MARTS, place_at, reading_export, write_columns_of, write_mart
from pipelines.ledger.marts import acknowledge, keep_hours
from schemas.answers.signals import Signal
from schemas.feeds import ALL_FEEDS
from schemas.tables import TABLES
from tests.conftest import Place

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
FIRST, SECOND = date(2026, 3, 2), date(2026, 3, 3)


def signal(name: str, at: datetime, ended: datetime | None = None) -> Signal:
    moments = dict.fromkeys(("raised", "onset", "onset_low", "onset_high", "formed", "formed_low", "formed_high"), at)
    return Signal(
        id=name,
        kind="excess",
        line="K1",
        furnace="F1",
        defect="STN",
        name="stone",
        severity="critical",
        scope="mould",
        members=("21", "22"),
        calls=12,
        expected=2.5,
        ware=1000.0,
        rate_before=0.0025,
        rate_after=0.012,
        lost_per_hour=9.5,
        q=None,
        probability=0.7,
        scopes={"mould": 0.7, "line": 0.3},
        ended=ended,
        series_calls=(1.0, 2.0),
        **moments,
    )


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> tuple[Place, Path]:
    """Two days of counts, a pallet, a signal of two hours and what was said of it, exported."""
    folder = tmp_path_factory.mktemp("columns")
    place = Place(folder / "site")
    head = "window_start,line,station,mould,window_s,inspected,rejected,refed\n"
    rows = ("2026-03-02T12:00:00Z,K1,K1-side-a,11,60,10,1,3\n", "2026-03-03T12:00:00Z,K1,K1-side-a,,60,9,0,2\n")
    place.put("station_counts.a.csv", head + "".join(rows))
    place.put(
        "pallets.a.csv",
        "pallet,line,item,packed_from,packed_to,units,state\n"
        "359012340000000177,K1,J370,2026-03-02T12:00:00Z,2026-03-02T12:20:00Z,1512,packed\n",
    )
    place.take()
    signals = [signal("S1", NOON), signal("S1", NOON, NOON + HOUR)]
    texts = [
        ("K1", NOON + n * HOUR, this_signal.id, this_signal.model_dump_json(by_alias=True))
        for n, this_signal in enumerate(signals)
    ]
    rows_of_signals = pl.DataFrame(texts, schema=empty_marts()["signal_hours"].schema, orient="row")
    keep_hours(place.opened.ledger, {"signal_hours": rows_of_signals}, ["K1"], NOON, NOON + 2 * HOUR)
    acknowledge(place.opened.ledger, "S1", "Nowak", "seen", NOON)
    export_site(place.opened, str(folder / "export"), None, None)
    return place, folder / "export"


def files(export: Path) -> list[Path]:
    return sorted(export.rglob("*.parquet"))


def table_of(export: Path, file: Path) -> str:
    return file.relative_to(export).parts[0]


def told_columns(export: Path) -> list[dict[str, object]]:
    return json.loads((export / "schema.json").read_text(encoding="utf-8"))


def asked(export: Path, table: str) -> list[tuple[object, ...]]:
    with reading_export(place_at(str(export)), None) as reader:
        return [tuple(row.values()) for row in reader.whole(table).to_pylist()]


def test_every_column_of_every_file_says_its_meaning_and_unit(exported: tuple[Place, Path]) -> None:
    _, export = exported
    assert {table_of(export, file) for file in files(export)} >= {
        "station_counts",
        "pallets",
        "signal_hours",
        "batches",
    }
    for file in files(export):
        for field in pq.read_schema(file):
            assert set(field.metadata) == {b"meaning", b"unit"}, (file, field.name)
            assert all(field.metadata.values()), (file, field.name)


def test_meanings_are_those_that_python_is_told(exported: tuple[Place, Path]) -> None:
    place, export = exported
    schema = pq.read_schema(export / "station_counts" / f"day={FIRST}" / "part.parquet")
    known = Inquiry(place.opened).columns("station_counts")
    for name, meaning, unit in known.iter_rows():
        about = schema.field(name).metadata
        assert about[b"meaning"].decode() == meaning
        assert about[b"unit"].decode() == ("UTC" if name == "window_start" else unit)


def _short(kind: pa.DataType) -> str:
    return "struct" if pa.types.is_struct(kind) else re.sub(r" \('\w+'\)", "", str(kind))


def test_the_list_beside_them_has_every_column_as_the_files_have_it(exported: tuple[Place, Path]) -> None:
    _, export = exported
    rows = told_columns(export)
    assert list(dict.fromkeys(row["table"] for row in rows)) == [*ALL_FEEDS, *TABLES]
    for file in files(export):
        name = table_of(export, file)
        schema = pq.read_schema(file)
        fields = {field.name: field for field in schema}
        fields |= {
            f"told.{inner.name}": inner for field in schema if pa.types.is_struct(field.type) for inner in field.type
        }
        found = [
            (column, _short(f.type), f.metadata[b"unit"].decode(), f.metadata[b"meaning"].decode())
            for column, f in fields.items()
        ]
        mine = [row for row in rows if row["table"] == name]
        listed = [(r["column"], r["type"], r["unit"], r["meaning"]) for r in mine]
        assert sorted(listed) == sorted(found), name
    keys = {row["column"] for row in rows if row["table"] == "station_counts" and row["key"]}
    assert keys == set(ALL_FEEDS["station_counts"].key)
    assert pa.Table.from_pylist(rows).num_rows == len(rows)


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_a_table_is_described_column_by_column(table: object, exported: tuple[Place, Path]) -> None:
    place, _ = exported
    known = TABLES[table.name]  # type: ignore[attr-defined]
    with place.opened.ledger.reading() as reader:
        assert {column.name for column in known.columns if "." not in column.name} == set(reader.form(known.name).names)
    inner = {f"{column}.{field.alias or name}" for column, m in known.shapes for name, field in m.model_fields.items()}
    assert {column.name for column in known.columns if "." in column.name} == inner
    assert set(known.key) <= {column.name for column in known.columns} and known.grain
    assert all(column.meaning and column.unit for column in known.columns)


def test_every_key_is_one_row(exported: tuple[Place, Path]) -> None:
    _, export = exported
    keys: dict[str, list[str]] = {}
    for row in told_columns(export):
        keys.setdefault(str(row["table"]), []).extend([str(row["column"])] if row["key"] else [])
    for file in files(export):
        rows = pq.read_table(file, partitioning=None)
        key = keys[table_of(export, file)]
        assert key and rows.group_by(key).aggregate([]).num_rows == rows.num_rows, file


def test_a_signal_is_columns_to_a_reader_with_pyarrow_alone(exported: tuple[Place, Path]) -> None:
    _, export = exported
    rows = pq.read_table(export / "signal_hours" / f"day={FIRST}" / "part.parquet", partitioning=None)
    answer = rows.column("told").to_pylist()
    assert [each["onset"] for each in answer] == [NOON, NOON]
    assert [each["ended"] for each in answer] == [None, NOON + HOUR]
    assert answer[0]["members"] == ["21", "22"] and dict(answer[0]["scopes"]) == {"mould": 0.7, "line": 0.3}
    assert answer[0]["q"] is None and answer[0]["calls"] == 12 and answer[0]["series_calls"] == [1.0, 2.0]


def test_no_other_column_holds_json_than_those_that_say_so(exported: tuple[Place, Path]) -> None:
    _, export = exported
    said = {(row["table"], row["column"]) for row in told_columns(export) if str(row["unit"]).startswith("JSON")}
    assert said == {
        ("closes", "answers"),
        ("closes", "moved"),
        ("balance_days", "reading"),
        ("balance_days", "usual"),
        ("balance_days", "told"),
    }
    for file in files(export):
        for name, column in zip((rows := pq.read_table(file, partitioning=None)).column_names, rows, strict=True):
            texts = column.to_pylist() if pa.types.is_string(column.type) else []
            json_like = [text for text in texts if text and text[0] in "{[" and text[-1] in "}]"]
            assert not json_like or (table_of(export, file), name) in said, (file, name)


def test_read_back_it_is_the_text_of_the_ledger(exported: tuple[Place, Path]) -> None:
    place, export = exported
    with place.opened.ledger.reading() as reader, reading_export(place_at(str(export)), None) as other:
        mine = reader.ask("signal_by_name", signal="S1")
        assert mine.height == 2
        assert other.ask("signal_by_name", signal="S1").equals(mine)


# exports of older versions, and exports over them


def as_older(place: Place, export: Path, into: Path, without: tuple[str, ...] = ()) -> None:
    """An export as older versions wrote it: no schema of Arrow, no meanings, signals as text, no list of columns."""
    with place.opened.ledger.reading() as reader:
        texts = reader.ask("signal_by_name", signal="S1")["told"].to_arrow().cast(pa.string())
    for file in files(export):
        rows = pq.read_table(file, partitioning=None)
        if table_of(export, file) == "signal_hours":
            rows = rows.set_column(rows.schema.get_field_index("told"), "told", texts)
        bare = pa.schema([field.remove_metadata() for field in rows.schema])
        target = into / file.relative_to(export)
        target.parent.mkdir(parents=True, exist_ok=True)
        bare_rows = rows.cast(bare).drop_columns([name for name in without if name in rows.column_names])
        pq.write_table(bare_rows, target, compression="zstd", store_schema=False)
    (into / "export.json").write_bytes((export / "export.json").read_bytes())


def test_an_older_export_is_still_read(exported: tuple[Place, Path], tmp_path: Path) -> None:
    place, export = exported
    as_older(place, export, tmp_path / "older")
    assert not any(field.metadata for file in files(tmp_path / "older") for field in pq.read_schema(file))
    for table in (*ALL_FEEDS, *TABLES):
        assert asked(tmp_path / "older", table) == asked(export, table), table


def test_an_export_over_an_older_one_is_as_a_new_one(exported: tuple[Place, Path], tmp_path: Path) -> None:
    place, export = exported
    as_older(place, export, tmp_path / "older")
    export_site(place.opened, str(tmp_path / "older"), None, None)
    ours, theirs = (
        {f.relative_to(at).as_posix(): f.read_bytes() for f in at.rglob("*.*") if f.is_file()}
        for at in (export, tmp_path / "older")
    )
    assert ours == theirs


@pytest.mark.parametrize("day", [FIRST, SECOND])
def test_days_of_an_older_version_stand_beside_new_ones(
    exported: tuple[Place, Path], tmp_path: Path, day: date
) -> None:
    """A column that older days do not have is empty there and kept in the others, whichever day comes first."""
    place, export = exported
    as_older(place, export, tmp_path / "older", without=("refed",))
    export_site(place.opened, str(tmp_path / "older"), day, day)
    with reading_export(place_at(str(tmp_path / "older")), None) as reader:
        rows = reader.current("station_counts").sort("window_start")
    assert rows["inspected"].to_list() == [10, 9]
    assert rows["refed"].to_list() == ([3, None] if day == FIRST else [None, 2])


def test_marts_worked_out_elsewhere_say_the_same_and_leave_what_stands_of_others(
    exported: tuple[Place, Path], tmp_path: Path
) -> None:
    place, export = exported
    older, place_of_marts = tmp_path / "marts", place_at(str(tmp_path / "marts"))
    as_older(place, export, older)
    text = signal("S2", NOON + 24 * HOUR).model_dump_json(by_alias=True)
    row = [("K1", NOON + 24 * HOUR, "S2", text)]
    frame = pl.DataFrame(row, schema=empty_marts()["signal_hours"].schema, orient="row")
    write_mart(place_of_marts, "signal_hours", SECOND, frame.to_arrow())
    with reading_export(place_of_marts, None) as reader:
        assert reader.ask("signal_by_name", signal="S1").height == 2
        assert reader.ask("signal_by_name", signal="S2")["told"].to_list() == [text]
    forms = {name: mart.to_arrow(compat_level=pl.CompatLevel.oldest()).schema for name, mart in empty_marts().items()}
    write_columns_of(place_of_marts, forms)
    assert {row["table"] for row in told_columns(older)} == set(MARTS)
    (older / "schema.json").write_bytes((export / "schema.json").read_bytes())
    write_columns_of(place_of_marts, forms)
    by_name = [sorted(told_columns(at), key=lambda r: (str(r["table"]), str(r["column"]))) for at in (older, export)]
    assert by_name[0] == by_name[1]
