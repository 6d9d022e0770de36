"""A short fuzz of every parser in each run of the tests; the long one is `python -m tests.fuzz.parsers`. And what it
has found, as cases.
"""

from __future__ import annotations

import contextlib
import random

import pytest

from pipelines.errors import FileRefused, WrongUse
from pipelines.intake.find import kinds_of
from pipelines.intake.foreign.propose import propose
from pipelines.intake.parse import parse_file
from pipelines.plant.works import Plant, read_plant
from pipelines.settings import Settings
from tests.conftest import WORKS
from tests.fuzz.parsers import MAPPINGS, read_file, tries


@pytest.fixture(scope="module")
def plant() -> Plant:
    return read_plant(WORKS + "\n" + MAPPINGS)


@pytest.mark.parametrize("what", ["feed files", "proposals", "messages", "works.toml", "times"])
def test_spoiled_input_is_refused_or_read_and_nothing_is_lost(what: str, plant: Plant) -> None:
    rng, work = random.Random(20_261_126), tries(plant)[what]
    for _ in range(150):
        work(rng)


# what the long runs found


@pytest.mark.parametrize(
    "header", [b"window_start,line\rstation,mould,inspected,rejected\n", b'window_start,"line,station\n', b"\r\r\r\n"]
)
def test_a_header_with_odd_line_ends_or_quotes_is_refused(header: bytes, plant: Plant) -> None:
    with pytest.raises(FileRefused):
        read_file(plant, "station_counts.x.csv", header + b"2026-03-02T08:00:00Z,K1,K1-side-a,11,12,1\n")


def test_a_byte_that_is_no_text_in_a_foreign_export_costs_its_row_alone(plant: Plant) -> None:
    read_file(
        plant,
        "totals-K2.log",
        b"read,counted in,counted out\n2026-03-02 09:00:00,482\xe511,310\n2026-03-02 09:05:00,48391,312\n",
    )
    with pytest.raises(FileRefused):
        read_file(plant, "totals-K2.log", b"re\xe5ad,counted in,counted out\n2026-03-02 09:00:00,48211,310\n")


def test_a_cell_longer_than_a_csv_reader_takes_is_read(plant: Plant) -> None:
    long = b'"' + b"x" * 150_000 + b'"'
    kind = kinds_of("complaints.x.csv", plant)[0]
    data = b"complaint,received_on,item,units,note\nC1,2026-03-02,J370,1," + long + b"\n"
    assert parse_file(data, kind, Settings(), "complaints.x.csv").rows == 1


@pytest.mark.parametrize("data", [b"a;b\r;c\n1;2;3\n", b";;\n;;\n", b",,,\n , ,\n"])
def test_a_text_without_a_table_gets_no_proposal_or_one_that_can_be_read(data: bytes, plant: Plant) -> None:
    with contextlib.suppress(WrongUse):
        read_plant(WORKS + "\n" + propose(data, "x.csv", plant).toml)
