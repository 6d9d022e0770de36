"""One file's bytes into cells, by its kind."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pyarrow as pa

from pipelines.intake.cast import Reading
from pipelines.intake.find import Kind
from pipelines.intake.raw import CELL, Raw
from pipelines.intake.read_csv import parse_csv, unpack
from pipelines.intake.read_other import parse_jsonl, parse_parquet
from pipelines.plant import Mapping, Plant
from pipelines.settings import Settings


def parse_file(data: bytes, kind: Kind, settings: Settings) -> Raw:
    """The cells of a file; FileRefused when it cannot be read at all."""
    if kind.format == ".parquet":
        return parse_parquet(data, kind.feed, settings.largest_file)
    if kind.format == ".csv.gz":
        data = unpack(data, settings.largest_file)
    if kind.format == ".jsonl":
        return parse_jsonl(data, kind.feed, settings.longest_line)
    if kind.mapping is None:
        return parse_csv(data, kind.feed, settings.longest_line)
    raw = parse_csv(data, kind.feed, settings.longest_line, kind.mapping.separator, kind.mapping.columns)
    return Raw(_translated(raw.table, kind.mapping), raw.lines, raw.broken, raw.note)


def _translated(table: pa.Table, mapping: Mapping) -> pa.Table:
    columns = {}
    for name in table.column_names:
        codes = mapping.values.get(name)
        column = table.column(name).unify_dictionaries()
        columns[name] = (
            column if codes is None else pa.chunked_array([_recoded(chunk, codes) for chunk in column.chunks], CELL)
        )
    for name, value in mapping.constants.items():
        word = pa.array([str(value)], pa.string())
        zeros = pa.array([0] * table.num_rows, pa.int32())
        columns[name] = pa.chunked_array([pa.DictionaryArray.from_arrays(zeros, word)])
    return pa.table(columns)


def _recoded(chunk: pa.DictionaryArray, codes: dict[str, str]) -> pa.DictionaryArray:
    words = [codes.get(word.strip(), word) for word in chunk.dictionary.to_pylist()]
    return (
        pa.DictionaryArray.from_arrays(chunk.indices, pa.array(words, pa.string()))
        .cast(pa.string())
        .dictionary_encode()
    )


def reading_for(plant: Plant, mapping: Mapping | None, latest: datetime) -> Reading:
    """How the cells of files of one mapping are to be read."""
    if mapping is None:
        return Reading(plant, latest)
    zone = ZoneInfo(mapping.timezone) if mapping.timezone else None
    return Reading(plant, latest, zone, mapping.time_format)
