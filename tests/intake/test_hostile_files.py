"""All hostile files at once: nothing stops, every good row is kept, what is wrong is said, and the next run has nothing
to do.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipelines.intake import IntakeReport
from pipelines.intake.filing import quarantine_entries
from pipelines.intake.net import plain_name
from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.check import check_site
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.settings import Settings
from tests.conftest import NOW, Place
from tests.intake.hostile import Entry, entries, others

LIMITS = Settings(fixed_now=NOW, lock_wait_s=5, largest_file=32 << 20, most_lines=500_000)
LEFT = 11  # what is no file, or is still being written


@dataclass
class Taken:
    place: Place
    files: list[Entry]
    report: IntakeReport


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> Taken:
    place = Place(tmp_path_factory.mktemp("hostile") / "site", settings=LIMITS)
    files = entries()
    for name, data, _ in files:
        with open(os.fsencode(place.site.inbox) + b"/" + name, "wb") as file:  # noqa: PTH123
            file.write(data)
    for other in others(place.site.inbox):
        other.close()
    return Taken(place, files, place.take())


def test_there_are_at_least_90(taken: Taken) -> None:
    assert len(taken.files) + LEFT >= 90


def test_every_good_row_is_kept_and_every_file_is_taken_in(taken: Taken) -> None:
    with taken.place.opened.ledger.reading() as reader:
        kept = {row["archived_as"]: row["rows_kept"] for row in reader.whole("batches").to_pylist()}
    names = {os.fsdecode(name): good for name, _, good in taken.files}
    by_name: dict[str, int] = {}
    for row in taken.place.ask("batches_all").iter_rows(named=True):
        by_name[row["file"]] = by_name.get(row["file"], 0) + row["rows_kept"]
    wrong = {
        name: (good, by_name.get(plain_name(name)))
        for name, good in names.items()
        if by_name.get(plain_name(name)) != good
    }
    assert wrong == {} and len(kept) == len(taken.files) == taken.report.files
    assert taken.place.facts("station_counts").height == sum(good for _, _, good in taken.files)


def test_a_file_that_gives_no_row_is_refused_or_has_none(taken: Taken) -> None:
    """What is lost in silence is worse than what stops."""
    silent = taken.place.ask("batches_all").filter(rows_kept=0).filter(rows_refused=0).select("batch", "file")
    refused = taken.place.ask("open_refused_batches")["batch"].to_list()
    files = [file for batch, file in silent.iter_rows() if batch not in refused]
    assert sorted(files) == ["station_counts.end-header-only.csv", "station_counts.pq-no-rows.parquet"]


def test_nothing_in_it_is_a_fault_of_ours_and_all_that_is_said_can_be_printed(taken: Taken) -> None:
    said = [
        *taken.report.messages,
        *(f"{file} {column} {reason}" for file, _, column, reason in taken.place.refusals()),
    ]
    assert taken.report.needs_a_person
    assert not [text for text in said if "fault of this program" in text or "our_fault" in text]
    assert all(text.isprintable() and text.encode() for text in said)


def test_what_is_no_file_is_left_alone_and_said(taken: Taken) -> None:
    left = {path.name for path in taken.place.site.inbox.iterdir()}
    assert len(left) == LEFT
    for name in left:
        being_written = name.startswith(".") or name.endswith(".part")
        assert being_written != any(f"inbox/{name} is " in text for text in taken.report.messages), name
    assert "2026-03-20" not in str(taken.place.facts("station_counts")["window_start"].max())


def test_every_byte_is_in_the_archive(taken: Taken) -> None:
    archived = sorted(
        p.read_bytes() for p in taken.place.site.archive.rglob("*") if p.is_file() and p.name != "received.jsonl"
    )
    assert archived == sorted(data for _, data, _ in taken.files)


def test_the_next_run_finds_nothing_to_do_and_the_same_files_again_change_nothing(taken: Taken) -> None:
    place = taken.place
    again = place.take()
    assert (again.files, again.repeated, again.rows_kept, again.rows_refused) == (0, 0, 0, 0)
    assert len(again.messages) == LEFT - 3, "only what is no file is said again"
    for name, data, _ in taken.files:
        with open(os.fsencode(place.site.inbox) + b"/" + name, "wb") as file:  # noqa: PTH123
            file.write(data)
    again = place.take()
    assert (again.files, again.repeated) == (0, len(taken.files))
    assert check_site(place.opened, rows=True).findings == []


def test_a_retry_of_all_that_was_refused_takes_nothing_in_and_jams_nothing(taken: Taken) -> None:
    before = {path.name for path in taken.place.site.quarantine.iterdir()}
    report = retry_quarantine(taken.place.site, taken.place.plant, taken.place.settings)
    assert (report.files, report.rows_kept) == (0, 0)
    assert (
        {path.name for path in taken.place.site.quarantine.iterdir()}
        == before
        == {path.name for path in quarantine_entries(taken.place.site).values()}
    )


def test_the_archive_gives_the_same_ledger_again(taken: Taken) -> None:
    before = taken.place.facts("station_counts"), taken.place.refusals()
    rebuild_from_archive(taken.place.opened)
    assert taken.place.facts("station_counts").equals(before[0]) and taken.place.refusals() == before[1]


def test_a_bomb_of_line_ends_takes_no_memory(tmp_path: Path) -> None:
    """450 MB of line ends in 459 kB, with the limits that hold outside tests, in a process of its own."""
    code = (
        "import gzip, sys\nfrom pathlib import Path\nfrom tests.benchmarks.intake import peak_mb\nfrom "
        "tests.conftest import HEAD, Place\n"
        "place = Place(Path(sys.argv[1]))\n"
        "for n in range(3):\n"
        "    with gzip.open(place.site.inbox / f'station_counts.{n}.csv.gz', 'wb', 9) as file:\n"
        "        file.write(HEAD.encode())\n"
        "        for _ in range(30):\n            file.write(b'\\n' * 15_000_000)\n"
        "before = peak_mb()\nprint(place.take().files_refused, before, peak_mb())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "site")], capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr[-2000:]
    refused, _, peak = map(float, done.stdout.split())
    assert refused == 3 and peak < 700, done.stdout


def test_wrong_rows_as_long_as_they_may_be_stop_nothing(tmp_path: Path) -> None:
    """Files of 100 kB a row, none of it right: told row by row up to 32 MB a file, set aside whole above; longer rows
    are told without their text.
    """
    code = (
        "import gzip, sys\nfrom pathlib import Path\nfrom tests.benchmarks.intake import peak_mb\nfrom "
        "tests.conftest import HEAD, Place\n"
        "place = Place(Path(sys.argv[1]))\n"
        "row = '2026-03-02T08:00:00Z,K1,K1-side-a,' + '{0:0{1}d},60,12,1\\n'\n"
        "for n, (rows, long) in enumerate([(300, 100_000)] * 8 + [(400, 100_000), (300, 900_000)]):\n"
        "    with gzip.open(place.site.inbox / f'station_counts.{n}.csv.gz', 'wb', 1) as file:\n"
        "        file.write(HEAD.encode())\n"
        "        for _ in range(rows):\n            file.write(row.format(n, long).encode())\n"
        "told = place.take()\nagain = place.take()\n"
        "print(told.rows_refused, told.files_refused, len(list(place.site.quarantine.iterdir())), again.files, "
        "peak_mb())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "site")], capture_output=True, text=True, timeout=300
    )
    assert done.returncode == 0, done.stderr[-2000:]
    *counts, peak = map(float, done.stdout.split())
    assert counts == [8 * 300 + 300, 1, 10, 0] and peak < 1500, done.stdout
