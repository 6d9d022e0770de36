"""The facts and the marts as Parquet, one folder a table, split by production day; and a reader that answers from them
like the ledger itself.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from importlib.metadata import version
from typing import Any

import duckdb
import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.dataset as ds
import pyarrow.fs as pafs
import pyarrow.parquet as pq

from pipelines.clock import WorksClock
from pipelines.errors import SiteError, WrongUse
from pipelines.ledger.exported_columns import as_kept, has_shapes, in_utc, listed, schema_of, written
from pipelines.ledger.queries import statements
from pipelines.ledger.reader import Reader
from schemas.feeds import ALL_FEEDS
from schemas.tables import TABLES

MARTS = tuple(table.name for table in TABLES.values() if table.mart)
GREAT = (
    "station_counts",
    "reject_counts",
    "forming_counts",
)  # read by the days that are asked for; of all others every day
_ABOUT, _COLUMNS = "export.json", "schema.json"


@dataclass(frozen=True)
class ExportPlace:
    """A folder on a disk or in an object store, by its address (a path, file://, s3://, gs://, ...)."""

    fs: pafs.FileSystem
    root: str

    def path(self, *parts: str) -> str:
        return "/".join((self.root, *parts))

    def write(self, data: pa.Table, *parts: str) -> None:
        """A Parquet file, whole or not at all where the place can rename. The same rows make the same bytes."""
        target = self.path(*parts)
        self._folder(target)
        part = self.path(*parts[:-1], f".{parts[-1]}.part") if isinstance(self.fs, pafs.LocalFileSystem) else target
        pq.write_table(data, part, filesystem=self.fs, compression="zstd", row_group_size=122_880)
        if part != target:
            self.fs.move(part, target)

    def write_text(self, text: str, *parts: str) -> None:
        target = self.path(*parts)
        self._folder(target)
        part = self.path(*parts[:-1], f".{parts[-1]}.part") if isinstance(self.fs, pafs.LocalFileSystem) else target
        with self.fs.open_output_stream(part) as out:
            out.write(text.encode())
        if part != target:
            self.fs.move(part, target)

    def read_text(self, *parts: str) -> str:
        with self.fs.open_input_stream(self.path(*parts)) as file:
            return bytes(file.read()).decode()

    def files(self, *parts: str) -> list[str]:
        """Parquet files under a folder, in order; none where there is no such folder."""
        file_info = self.fs.get_file_info(pafs.FileSelector(self.path(*parts), recursive=True, allow_not_found=True))
        return sorted(
            each.path for each in file_info if each.is_file and each.path.endswith(".parquet") and "/." not in each.path
        )

    def drop(self, *parts: str) -> None:
        if self.fs.get_file_info(self.path(*parts)).type != pafs.FileType.NotFound:
            self.fs.delete_dir(self.path(*parts))

    def _folder(self, target: str) -> None:
        if isinstance(self.fs, pafs.LocalFileSystem):
            self.fs.create_dir(target.rsplit("/", 1)[0], recursive=True)


def place_at(address: str) -> ExportPlace:
    """The place of an address; WrongUse for one that cannot be read."""
    try:
        if "://" in address:
            fs, root = pafs.FileSystem.from_uri(address)
        else:
            from pathlib import Path

            fs, root = pafs.LocalFileSystem(), str(Path(address).resolve())
    except (pa.ArrowException, OSError, ValueError) as error:
        raise WrongUse(without_secret(f"{address} is no place that can be read here: {error}")) from None
    return ExportPlace(fs, root.rstrip("/"))


def without_secret(text: str) -> str:
    """A text in which the addresses say no more who asks: a name and a password can stand in one."""
    return re.sub(r"://(?:[^/@\s]*:[^@\s]*|[^/@\s]*)@", "://", text)  # keys of object stores can hold a slash


def export_tables(
    reader: Reader, clock: WorksClock, works_toml: str, days: Sequence[date], to: ExportPlace
) -> dict[str, int]:
    """Write every table; of the great ones and those by time only `days`. Rows by table. SiteError where the place
    cannot be written.
    """
    rows: dict[str, int] = {}
    schemas: dict[str, pa.Schema] = {}
    try:
        for feed in ALL_FEEDS.values():
            by_time = feed.when is not None and feed.quantity(feed.when).kind != "date"
            source = _Source(feed.name, f"current_{feed.name}", feed.when if by_time else None, (feed.where, *feed.key))
            schemas[feed.name], rows[feed.name] = _export(reader, to, source, clock, days)
        for table in TABLES.values():
            source = _Source(table.name, table.name, table.when, ())
            schemas[table.name], rows[table.name] = _export(reader, to, source, clock, days)
        to.write_text(json.dumps(listed(schemas), indent=1, ensure_ascii=False), _COLUMNS)
        about = {"program": version("coldledger"), "works_toml": works_toml, "rows": rows}
        to.write_text(json.dumps(about, indent=1), _ABOUT)
    except (OSError, pa.ArrowException) as error:
        raise SiteError(f"{to.root} could not be written: {error}") from error
    return rows


@dataclass(frozen=True)
class _Source:
    """A table of the export. view: what of the ledger it is read from; when: by which its rows belong to days; first:
    what they are sorted by first.
    """

    name: str
    view: str
    when: str | None
    first: tuple[str, ...]


def _export(
    reader: Reader, to: ExportPlace, source: _Source, clock: WorksClock, days: Sequence[date]
) -> tuple[pa.Schema, int]:
    name, when = source.name, source.when
    schema = schema_of(name, reader.form(source.view))
    if when is None:
        data = reader.sorted_rows(source.view, None, None, source.first)
        to.write(written(name, data, schema), name, "part.parquet")
        return schema, int(data.num_rows)
    if name not in GREAT:
        return schema, _by_day(to, name, reader.sorted_rows(source.view, None, None, source.first), when, clock, schema)
    count = 0
    for day in days:
        data = reader.sorted_rows(source.view, when, clock.day(day), source.first)
        if data.num_rows:
            to.write(written(name, data, schema), name, f"day={day}", "part.parquet")
            count += data.num_rows
        else:
            to.drop(name, f"day={day}")
    return schema, count


def write_mart(to: ExportPlace, name: str, day: date, data: pa.Table) -> None:
    """A day of a mart that was worked out elsewhere, as an export has it."""
    to.write(written(name, data, schema_of(name, data.schema)), name, f"day={day}", "part.parquet")


def write_columns_of(to: ExportPlace, forms: Mapping[str, pa.Schema]) -> None:
    """The list of the columns of some tables beside them; what stands there of other tables stays."""
    try:
        before = [row for row in json.loads(to.read_text(_COLUMNS)) if row["table"] not in forms]
    except (OSError, ValueError, TypeError, KeyError, pa.ArrowException):
        before = []
    rows = listed({name: schema_of(name, form) for name, form in forms.items()})
    to.write_text(json.dumps([*before, *rows], indent=1, ensure_ascii=False), _COLUMNS)


def _by_day(to: ExportPlace, name: str, data: pa.Table, when: str, clock: WorksClock, schema: pa.Schema) -> int:
    """Rows of a small table, each into the folder of its production day; all days of it are written anew."""
    to.drop(name)
    for day, numbers in _rows_of_days(data.column(when), clock).items():
        to.write(written(name, data.take(pa.array(numbers)), schema), name, f"day={day}", "part.parquet")
    return int(data.num_rows)


def _rows_of_days(moments: pa.ChunkedArray, clock: WorksClock) -> dict[date, np.ndarray]:
    """The numbers of the rows of each production day, in their order. moments: UTC without a zone, or days."""
    if not len(moments):
        return {}
    first, last = (bound.as_py() for bound in pc.min_max(moments).values())
    if isinstance(first, datetime):
        first, last = (clock.day_of(bound.replace(tzinfo=UTC)) for bound in (first, last))
        days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        starts = np.array([clock.day(day).start.replace(tzinfo=None) for day in days], "datetime64[us]")
    else:
        days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
        starts = np.array(days, "datetime64[us]")
    of_row = np.searchsorted(starts, moments.to_numpy().astype("datetime64[us]"), side="right") - 1
    order = np.argsort(of_row, kind="stable")
    found, begins = np.unique(of_row[order], return_index=True)
    return {days[n]: rows for n, rows in zip(found, np.split(order, begins[1:]), strict=True)}


def works_of(place: ExportPlace) -> str:
    """The works.toml of an export; WrongUse where the place holds none."""
    try:
        answer = json.loads(place.read_text(_ABOUT))
        return str(answer["works_toml"])
    except (OSError, ValueError, KeyError, pa.ArrowException):
        raise WrongUse(f"{place.root} is no export; `coldledger export --to {place.root}` makes one") from None


def days_of(place: ExportPlace) -> list[date]:
    """The production days of which an export has cold-end counts."""
    names = {path.split("/day=")[1].split("/")[0] for path in place.files("station_counts") if "/day=" in path}
    return sorted(date.fromisoformat(name) for name in names)


@contextmanager
def reading_export(
    place: ExportPlace, days: Sequence[date] | None, lines: Sequence[str] = (), but: Sequence[str] = ()
) -> Iterator[Reader]:
    """A reader that answers every query from an export. days: of the great tables, None for all.  lines: only theirs.
    but: tables left empty.
    """
    con = duckdb.connect(":memory:", config={"python_enable_replacements": "false"})
    try:
        con.execute("set timezone = 'UTC'")
        for _, text in statements("migrations"):
            con.execute(text)
        for table in [*ALL_FEEDS, *TABLES]:
            if table in but:
                continue
            data = _loaded(con, place, table, days if table in GREAT or table in MARTS else None, lines)
            if data is not None:
                _put(con, table, data)
        for _, text in statements("core"):
            con.execute(text)
        yield Reader(con)
    finally:
        con.close()


def _loaded(
    con: duckdb.DuckDBPyConnection, place: ExportPlace, table: str, days: Sequence[date] | None, lines: Sequence[str]
) -> pa.Table | None:
    """Rows of an export, None where it has none. Files of versions that knew fewer columns stand beside later ones:
    what they lack is empty.
    """
    files = place.files(table)
    if days is not None:
        wanted = {f"/day={day}/" for day in days}
        files = [path for path in files if any(part in path for part in wanted)]
    if not files:
        return None
    form = None if has_shapes(table) else in_utc(con.table(table).limit(0).to_arrow_table().schema)
    parts = []
    for paths in [files] if form is not None else [[path] for path in files]:
        found = ds.dataset(paths, schema=form, filesystem=place.fs, format="parquet")
        only = pc.field("line").isin(list(lines)) if lines and "line" in found.schema.names else None
        parts.append(as_kept(table, found.to_table(filter=only)).replace_schema_metadata(None))
    return pa.concat_tables(parts, promote_options="default")


def _put(con: duckdb.DuckDBPyConnection, table: str, data: pa.Table) -> None:
    """Arrow rows into an empty table of the ledger's own form: moments without zone, no replaced version."""
    for number, field in enumerate(data.schema):
        if pa.types.is_timestamp(field.type) and field.type.tz is not None:
            data = data.set_column(number, field.name, data.column(number).cast(pa.timestamp("us")))
    columns: list[Any] = []
    for name, kind in zip(con.table(table).columns, con.table(table).types, strict=True):
        known = name in data.column_names
        columns.append(
            duckdb.ColumnExpression(name) if known else duckdb.ConstantExpression(None).cast(kind).alias(name)
        )
    con.from_arrow(data).select(*columns).insert_into(table)


def around(days: Sequence[date], before: int, after: int) -> list[date]:
    """Some days with those before and after them."""
    return sorted({day + timedelta(days=n) for day in days for n in range(-before, after + 1)})
