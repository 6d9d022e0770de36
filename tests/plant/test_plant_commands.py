"""`init --workbook`, `init --from`, `works check`: what they write, say, and end with."""

from __future__ import annotations

import csv
import io
import json
from datetime import time
from pathlib import Path

import pytest

from pipelines.plant.works import read_plant
from pipelines.site.folder import init_site
from tests.conftest import SAMPLES, WORKS, Place
from tests.intake import books
from tests.plant.clerk import changed, filled, put
from tests.plant.test_clerk import codes
from tests.test_cli import run


def saved(folder: Path, data: bytes, name: str = "plant.xlsx") -> Path:
    (folder / name).write_bytes(data)
    return folder / name


@pytest.mark.quick
def test_from_a_workbook_to_a_site(tmp_path: Path) -> None:
    made = run("init", str(tmp_path), "--workbook")
    assert made.returncode == 0 and "coldledger init my-works --from" in made.stdout
    again = run("init", str(tmp_path), "--workbook")
    assert (again.returncode, again.stdout) == (2, "") and "is there already; nothing was changed" in again.stderr
    plant = saved(tmp_path, filled(), "ours.xlsx")
    site = run("init", str(tmp_path / "site"), "--from", str(plant))
    assert site.returncode == 0, site.stderr
    assert read_plant((tmp_path / "site" / "works.toml").read_text()) == read_plant(WORKS)
    assert run("works", "check", site=tmp_path / "site").returncode == 0


def test_a_workbook_with_mistakes_makes_nothing(tmp_path: Path) -> None:
    plant = saved(tmp_path, changed(put("Stations!C7", "K9"), put("Lines!D2", 0)))
    finished = run("init", str(tmp_path / "site"), "--from", str(plant))
    assert finished.returncode == 2 and not (tmp_path / "site").exists() and not finished.stdout
    assert finished.stderr.splitlines() == [
        "plant.xlsx has 2 mistakes:",
        "  Lines!D2, Sections: '0' is too small; it must be 1 at the least",
        "  Stations!C7, Line: 'K9' is not a line here (K1, K2, K3, K4)",
    ]


def test_a_site_that_is_there_is_left_alone(tmp_path: Path) -> None:
    site = init_site(tmp_path / "site", "# mine\n")
    finished = run("init", str(site.root), "--from", str(saved(tmp_path, filled())))
    assert finished.returncode == 2 and site.works_toml.read_text() == "# mine\n"


def test_a_workbook_of_a_site(tmp_path: Path) -> None:
    init_site(tmp_path / "site", WORKS)
    assert run("init", str(tmp_path), "--workbook", "--of", str(tmp_path / "site")).returncode == 0
    fits = run("works", "check", str(tmp_path / "plant.xlsx"))
    assert fits.returncode == 0
    assert fits.stdout == (
        "plant.xlsx fits: Sowia Glassworks (invented), 2 furnaces, 4 lines, 13 stations, 26 defects, 8 items.\n"
    )


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("init",), "say which folder"),
        (("init", "x", "--of", "y"), "say one of them"),
        (("init", "x", "--workbook", "--from", "y"), "say one of them"),
        (("init", "x", "--from", "nothing.xlsx"), "there is no file nothing.xlsx"),
        (("works", "check", "nothing.toml"), "there is no file nothing.toml"),
        (("works", "check", str(SAMPLES / "now-page.png")), "is neither a workbook (.xlsx, .xls, .ods) nor UTF-8 text"),
    ],
)
def test_wrong_use_is_a_sentence_and_2(args: tuple[str, ...], says: str) -> None:
    finished = run(*args)
    assert finished.returncode == 2 and says in finished.stderr and not finished.stdout
    assert not Path("x").exists()


@pytest.mark.quick
def test_check_names_each_mistake_in_three_formats_and_ends_with_1(tmp_path: Path) -> None:
    text = WORKS.replace('furnace = "F2"', 'furnace = "F9"', 1) + '\n[[mapping]]\nfiles = "x"\nfeed = "reject_count"\n'
    site = init_site(tmp_path / "site", text)
    table = run("works", "check", site=site.root)
    assert table.returncode == 1 and table.stdout.startswith("works.toml has 1 mistake:\n") and not table.stderr
    answer = json.loads(run("works", "check", "--format", "json", site=site.root).stdout)
    assert not answer["fits"] and answer["mistakes"] == [
        {"place": "line 38, [[line]] K3, furnace", "says": "'F9' is not a furnace here (F1, F2)"}
    ]
    rows = list(csv.DictReader(io.StringIO(run("works", "check", "--format", "csv", site=site.root).stdout)))
    assert rows == answer["mistakes"]
    site.works_toml.write_text(text.replace('furnace = "F9"', 'furnace = "F2"'))
    mapping = run("works", "check", site=site.root)
    assert mapping.returncode == 1 and "[[mapping]] number 1 (x), feed: 'reject_count' is no feed" in mapping.stdout


def test_codes_of_a_station_become_the_works_own_as_its_files_are_taken_in(tmp_path: Path) -> None:
    data = changed(codes(("K1-foot", 17, "SPK"), ("K1-mouth", 17, "OVP")))
    assert run("init", str(tmp_path / "site"), "--from", str(saved(tmp_path, data))).returncode == 0
    place = Place.at(tmp_path / "site")
    head = "window_start,line,station,mould,defect,window_s,rejected\n"
    for station in ("K1-foot", "K1-mouth"):
        row = f"2026-03-02T09:00:00+01:00,K1,{station},11,17,60,1\n"
        place.put(f"reject_counts.{station}.1.csv", head + row)
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (2, 0)
    rows = place.facts("reject_counts").select("station", "defect").sort("station").rows()
    assert rows == [("K1-foot", "SPK"), ("K1-mouth", "OVP")]


def in_ods(cell: object) -> object:
    return cell.isoformat() if isinstance(cell, time) else cell


def test_an_open_document_is_read_as_a_workbook_is(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(filled()))
    sheets = {
        sheet.title: [[in_ods(cell) for cell in row] for row in sheet.iter_rows(values_only=True)] for sheet in book
    }
    done = run("init", str(tmp_path / "site"), "--from", str(saved(tmp_path, books.ods(sheets), "plant.ods")))
    assert done.returncode == 0, done.stderr
    assert read_plant((tmp_path / "site" / "works.toml").read_text()) == read_plant(WORKS)


def test_an_old_workbook_of_something_else_is_told_what_it_lacks(tmp_path: Path) -> None:
    done = run("works", "check", str(SAMPLES / "foreign" / "waage_K1-2026-03-02.xls"))
    assert done.returncode == 1
    assert "there is no sheet Works; copy it from a new workbook" in done.stdout and "Traceback" not in done.stderr


@pytest.mark.parametrize("data", [b"PK\x03\x04 nothing", b""], ids=["broken", "empty"])
def test_a_broken_workbook_is_a_sentence(data: bytes, tmp_path: Path) -> None:
    done = run("works", "check", str(saved(tmp_path, data)))
    assert done.returncode in (1, 2) and "Traceback" not in done.stderr and (done.stdout + done.stderr).strip()
