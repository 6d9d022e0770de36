"""A reading is killed before each of its steps: the next one loses nothing and doubles nothing.

Steps are counted as in tests/intake/killed.py: by what Python tells of a process that touches the world (PEP 578).
"""

from __future__ import annotations

import csv
import signal
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from pipelines.sources.database import progress as progress_of
from pipelines.sources.database import reading
from tests.conftest import Place
from tests.intake.killed import killed_before
from tests.sources.database.conftest import progress, read, site
from tests.sources.database.test_sqlite import ROW, TABLE

ROWS = [(f"P{n}", f"2026-03-02 09:0{n}:00") for n in range(5)]


def killed(place: Place, number: int) -> tuple[int, int]:
    """A reading, killed before its step `number` (0: not at all); how it ended, its steps."""

    def prepare() -> Callable[[], object]:
        opened = place.opened
        return lambda: reading.read_source(opened, opened.plant.source[0], lambda *_: None)

    return killed_before(number, prepare, lambda name: name.startswith(("open", "os.", "shutil.")))


def given(place: Place) -> list[str]:
    found: list[str] = []
    for path in place.site.inbox.glob("*.csv"):
        with path.open() as file:
            found += [row["no"] for row in csv.DictReader(file)]
    return sorted(found)


def test_killed_before_any_step_a_reading_loses_and_doubles_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "BATCH_ROWS", 2)
    with sqlite3.connect(tmp_path / "store.db") as connection:
        connection.execute(TABLE)
        connection.executemany(ROW, ROWS)
    read(site(tmp_path / "warm", "sqlite:///../store.db", password=None))  # so that nothing is imported below
    _, steps = killed(site(tmp_path / "whole", "sqlite:///../store.db", password=None), 0)
    assert 40 < steps < 400
    kinds = set()
    for number in range(1, steps + 1):
        place = site(tmp_path / str(number), "sqlite:///../store.db", password=None)
        assert killed(place, number)[0] == -signal.SIGKILL
        kinds.add((len(given(place)), (place.site.root / ".sources" / "palletiser.pending.json").exists()))
        read(place)
        assert given(place) == [name for name, _ in ROWS], number
        assert not list(place.site.inbox.glob(".*")) and progress(place).so_far().watermark is not None
        assert not (place.site.root / ".sources" / "palletiser.pending.json").exists()
    # both sides of the moment at which a file has its name and the watermark has not moved
    assert {(0, False), (0, True), (2, True), (2, False), (4, True), (5, True)} <= kinds


def test_a_file_that_was_noted_and_taken_in_before_the_note_took_effect_is_not_written_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with sqlite3.connect(tmp_path / "store.db") as connection:
        connection.execute(TABLE)
        connection.executemany(ROW, ROWS)
    place = site(tmp_path / "site", "sqlite:///../store.db", password=None)

    class Killed(BaseException):
        pass

    def stop(self: object, file: Path) -> None:
        progress_of.beside(file).rename(file)
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(progress_of.Progress, "_name", stop)
        with pytest.raises(Killed):
            read(place)
    assert place.take().rows_kept == 5
    assert read(place).rows == 0 and not given(place)


def test_a_full_disk_is_told_and_moves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with sqlite3.connect(tmp_path / "store.db") as connection:
        connection.execute(TABLE)
        connection.executemany(ROW, ROWS)
    place = site(tmp_path / "site", "sqlite:///../store.db", password=None)

    def full(number: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(progress_of.os, "fsync", full)
        with pytest.raises(reading.SourceTrouble, match=r"cannot be written \(No space left"):
            read(place)
    assert not list(place.site.inbox.iterdir())
    assert read(place).rows == 5


@pytest.mark.parametrize("name", ["palletiser.read.json", "palletiser.pending.json", "palletiser.times.json"])
@pytest.mark.parametrize("spoilt", ["", "{", "[]", '{"file": 1}'])
def test_a_note_that_was_spoilt_is_told_and_read_anew(tmp_path: Path, name: str, spoilt: str) -> None:
    with sqlite3.connect(tmp_path / "store.db") as connection:
        connection.execute(TABLE)
        connection.executemany(ROW, ROWS)
    place = site(tmp_path / "site", "sqlite:///../store.db", password=None)
    read(place)
    place.take()
    note = place.site.root / ".sources" / name
    note.write_text(spoilt)
    if "times" not in name:
        with pytest.raises(reading.SourceTrouble, match=rf"\.sources/{name} is spoilt; .* --anew"):
            read(place)
        assert progress(place).times().trouble
    assert read(place, anew="times" not in name).rows == (0 if "times" in name else 5)
    assert place.take().rows_kept in (0, 5) and place.facts("pallets").height == 5
