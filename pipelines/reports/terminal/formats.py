"""What an answer is written as: table, JSON or CSV. Every command reads this module to tell its options, so the writers
are loaded only when something is written.
"""

from __future__ import annotations

import json
import sys
from enum import StrEnum
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipelines.reports.frame.sheet import Sheet


class Format(StrEnum):
    table = "table"
    json = "json"
    csv = "csv"


def print_csv(sheet: Sheet) -> None:
    from pipelines.reports.frame.table_csv import command_csv

    sys.stdout.write(command_csv(sheet))


def print_json(answer: Any) -> None:
    sys.stdout.write(json.dumps(answer, ensure_ascii=False, indent=1, default=str) + "\n")


def print_as(sheet: Sheet, format: Format, answer: Any) -> None:
    """A table that is all of an answer, or as JSON the answer."""
    from pipelines.reports.frame.table_terminal import print_sheet

    if format is Format.json:
        print_json(answer)
    else:
        print_csv(sheet) if format is Format.csv else print_sheet(sheet)


class Part(StrEnum):
    """What `coldledger feeds` answers with: three tables, and one of databases where some are read."""

    feeds = "feeds"
    stations = "stations"
    sources = "sources"
    refused = "refused"
