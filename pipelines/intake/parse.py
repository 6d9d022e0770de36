"""One file's bytes into cells, by its kind."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from pipelines.intake.by_bytes import check_bytes
from pipelines.intake.cast import Reading
from pipelines.intake.find import Kind
from pipelines.intake.foreign.cells import parse_foreign
from pipelines.intake.foreign.workbook import is_workbook
from pipelines.intake.raw import Raw, joined
from pipelines.intake.read_csv import check_size, lines_in, parse_csv, unpack
from pipelines.intake.read_other import parse_jsonl
from pipelines.intake.read_parquet import parse_parquet
from pipelines.plant.works import Mapping, Plant
from pipelines.settings import Settings


def parse_file(data: bytes, kind: Kind, settings: Settings, name: str = "") -> Raw:
    """The cells of a file; FileRefused when it cannot be read at all."""
    if kind.format == ".parquet":
        check_bytes(data, kind.format)
        return parse_parquet(data, kind.feed, settings)
    if kind.format == ".csv.gz":
        data = unpack(data, settings.largest_file, settings.most_lines)
    workbook = kind.mapping is not None and is_workbook(data)
    if kind.format != ".csv.gz":
        check_size(len(data), 0 if workbook else lines_in(data), settings.largest_file, settings.most_lines)
    if not workbook:
        check_bytes(data, ".csv")
    if kind.format == ".jsonl" and kind.mapping is None:
        return parse_jsonl(data, kind.feed, settings.longest_line)
    if kind.mapping is None:
        return parse_csv(data, kind.feed, settings.longest_line)
    parts = [parse_foreign(data, kind.feed, mapping, name, settings) for mapping in (kind.mapping, *kind.others)]
    return parts[0] if len(parts) == 1 else joined(parts)


def reading_for(
    plant: Plant, mapping: Mapping | None, latest: datetime, rolled_until: datetime | None = None
) -> Reading:
    """How the cells of files of one mapping are to be read."""
    zone = ZoneInfo(mapping.timezone) if mapping is not None and mapping.timezone else None
    return Reading(plant, latest, zone, rolled_until)
