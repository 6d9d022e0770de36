"""The files behind a page are named with how many of their rows it used."""

from __future__ import annotations

import polars as pl
import pytest

from pipelines.reports.frame.sources import sources
from pipelines.words import catalogue


@pytest.mark.parametrize(("rows", "english", "german"), [(1, "1 row of", "1 Zeile aus"), (2, "2 rows of", "2 Zeilen")])
def test_the_rows_of_a_file_are_counted_in_each_language(rows: int, english: str, german: str) -> None:
    files = pl.DataFrame({"feed": ["jobs"], "rows_used": [rows], "archived_as": ["a.csv"], "sha256": ["0" * 64]})
    said = sources(("ware",), files)[1]
    assert english in said and german in catalogue("de").write(said)
