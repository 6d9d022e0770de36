"""`coldledger sources` and what `feeds` and the pages tell of a source that is away."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from tests.conftest import NOW, Place
from tests.pages.conftest import AT, Browser, served
from tests.sources.database.conftest import PASSWORD, QUERY, SOURCE, keep_password, site
from tests.sources.database.test_sqlite import ROW, TABLE

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """A command as a person types it: how it ends, and what it says on each stream."""
    from pipelines.cli import main

    def typed(place: Place, *args: str, minutes: float = 0) -> tuple[int, str, str]:
        monkeypatch.setenv("COLDLEDGER_NOW", (NOW + timedelta(minutes=minutes)).isoformat())
        monkeypatch.setattr("sys.argv", ["coldledger", *args, "--site", str(place.site.root)])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0), *capsys.readouterr()

    return typed


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "store.db"
    with sqlite3.connect(path) as connection:
        connection.execute(TABLE)
        connection.execute(ROW, ("P1", "2026-03-02 09:05:00"))
    return path


@pytest.fixture
def stored(tmp_path: Path, file: Path) -> Place:
    return site(tmp_path / "site", "sqlite:///../store.db", password=None)


def test_a_source_is_tried_read_and_told_of(stored: Place, file: Path, run: Run) -> None:
    code, out, _ = run(stored, "sources")
    assert code == 0 and "palletiser" in out and "not read yet" in out
    code, out, _ = run(stored, "sources", "try", "palletiser")
    assert code == 0 and "pallets, by [[mapping]] palletiser.read.*.csv: 1 rows, 1 would be kept (1 new" in out
    assert json.loads(run(stored, "sources", "try", "palletiser", "--format", "json")[1])["feeds"][0]["kept"] == 1
    code, out, _ = run(stored, "sources", "read")
    assert (code, out) == (0, "palletiser: 1 new rows in 1 files of inbox/.\n")
    assert run(stored, "intake")[0] == 0
    (row,) = json.loads(run(stored, "sources", "--format", "json")[1])
    assert (row["state"], row["watermark"], row["rows"]) == ("read", "2026-03-02 09:05:00", 1)
    (row,) = csv.DictReader(io.StringIO(run(stored, "sources", "--format", "csv")[1]))
    assert row["source"] == "palletiser" and row["last_read"] == "2026-04-01T00:00:00Z"
    assert run(stored, "sources", "try", "palletiser")[1].count("1 known already") == 1
    assert run(stored, "sources", "read", "palletiser", "--anew")[1].startswith("palletiser: 1 new rows")
    assert run(stored, "intake")[0] == 0 and stored.facts("pallets").height == 1


def test_a_source_that_is_away_is_late_and_a_person_learns_of_it(stored: Place, file: Path, run: Run) -> None:
    assert run(stored, "sources", "read")[0] == 0 and run(stored, "intake")[0] == 0
    assert run(stored, "feeds", "--of", "sources")[0] == 0
    file.rename(file.with_name("away.db"))
    code, out, err = run(stored, "sources", "read", minutes=5)
    assert (code, out) == (1, "") and err.startswith("palletiser was not read: there is no file")
    code, out, _ = run(stored, "feeds", minutes=5)
    assert code == 1 and "Sources" in out and "late: not read since 02:00" in " ".join(out.split())
    (row,) = json.loads(run(stored, "feeds", "--format", "json", minutes=5)[1])["sources"]
    assert (row["state"], row["not_read_since"]) == ("late", "2026-04-01T00:00:00Z")
    assert row["trouble"].startswith("there is no file")
    file.with_name("away.db").rename(file)
    assert run(stored, "sources", "read", minutes=6)[0] == 0 and run(stored, "feeds", minutes=6)[0] == 0
    assert run(stored, "sources", minutes=20)[0] == 0 and run(stored, "sources", minutes=40)[0] == 1  # nobody reads it


def test_wrong_use_is_told(stored: Place, file: Path, run: Run, tmp_path: Path) -> None:
    assert run(stored, "sources", "read", "scale")[0::2] == (
        2,
        "there is no [[source]] 'scale'; there are palletiser\n",
    )
    code, _, err = run(Place(tmp_path / "other"), "sources", "try", "scale")
    assert code == 2 and "works.toml has no [[source]]" in err
    file.unlink()
    code, _, err = run(stored, "sources", "try", "palletiser")
    assert code == 1 and "there is no file" in err


def test_rows_that_would_be_set_aside_are_told_by_a_trial(stored: Place, file: Path, run: Run) -> None:
    with sqlite3.connect(file) as connection:
        connection.execute(ROW.replace("K1", "K9"), ("P2", "2026-03-02 09:06:00"))
    code, out, _ = run(stored, "sources", "try", "palletiser")
    assert code == 1 and "1 set aside" in out and "line 3, column line: " in out and "'K9'" in out


def test_the_pages_tell_which_source_is_late_and_no_password(day_taken: Place, tmp_path: Path) -> None:
    place = day_taken.copied(tmp_path / "site")
    works = SOURCE.format(url="postgresql://reader@127.0.0.1:1/store", query=QUERY, more="begin = 2026-01-01")
    with place.site.works_toml.open("a") as file:
        file.write(works)
    keep_password(place, PASSWORD)
    place.settings = served(place.site.root).app.state.web.desk.settings  # type: ignore[attr-defined]
    from pipelines.jobs.sources import read_now
    from pipelines.sources.database.trouble import SourceTrouble

    with pytest.raises(SourceTrouble):
        read_now(place.opened, place.plant.source[0])
    browser = Browser(served(place.site.root))
    feeds, now = browser.get("/feeds"), browser.get("/now")
    since = place.plant.clock.local(AT).strftime("%H:%M")
    assert f"palletiser: not read since {since}." in now
    assert f"late: not read since {since}; the database says:" in feeds
    german = browser.get("/feeds", headers={"Accept-Language": "de"})
    assert f"verspätet: nicht gelesen seit {since}; die Datenbank meldet:" in german
    assert PASSWORD not in feeds + now + german
