"""What a clerk does to a workbook is read as it is meant, or named by its cell in words that say what to do."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from pipelines.plant.works import Plant, read_plant
from tests.conftest import WORKS
from tests.plant.clerk import Change, changed, filled, mistakes, put, read

DEMO = read_plant(WORKS)


def without_marks(book: Any) -> None:
    for sheet in book:
        if sheet["A1"].value == "Example":
            for row in range(2, sheet.max_row + 1):
                sheet.cell(row, 1).value = None


def entries(book: Any) -> None:
    for number, value in enumerate(("Works", "Europe/Lisbon", "06:00", "06:00", "14:00", "22:00"), start=2):
        book["Works"].cell(number, 2).value = value


def rows_between(book: Any) -> None:
    for name in ("Stations", "Defects", "Items"):
        book[name].insert_rows(4, 3)
    book["Lines"].insert_rows(1, 2)
    book["Lines"]["A1"] = "Our lines, as of March"


def other_columns(book: Any) -> None:
    book["Stations"].insert_cols(3)
    book["Stations"]["C1"], book["Stations"]["C4"] = "Bought in", 2019
    book["Items"]["Z3"] = "ask Ewa"
    book.create_sheet("Notes")["A1"] = "to do"
    book["Tests"].sheet_state = "hidden"


def merged_lines(book: Any) -> None:
    sheet = book["Stations"]
    for first, last in ((2, 5), (6, 7), (8, 11), (12, 14)):
        sheet.merge_cells(start_row=first, end_row=last, start_column=3, end_column=3)


def untidy(book: Any) -> None:
    book["Stations"]["B3"] = "  K1-side-b\u00a0"
    book["Stations"]["C3"] = "K1 "
    book["Lines"]["D2"] = "8"
    book["Lines"]["F2"] = "92,0"
    book["Furnaces"]["E2"] = "2,4960 g/cm³"
    book["Items"]["D2"] = "182 g"
    book["Items"]["L2"] = "1 944"
    book["Defects"]["D2"] = "Critical"
    book["Works"]["B4"] = "6:00"
    book["Works"]["B5"] = dt.time(6, 0)
    book["Works"]["B6"] = 14 / 24
    book["Works"]["B7"] = "22.00"
    book["Lines"].title = " lines "
    book["Stations"]["B1"], book["Stations"]["C1"] = " STATION *", "line"
    book["Items"]["D1"] = "Weight  (g)"


@pytest.mark.parametrize("change", [rows_between, other_columns, merged_lines, untidy], ids=lambda f: f.__name__)
def test_what_is_meant_is_read(change: Change) -> None:
    plant, _ = read(changed(change))
    assert plant == DEMO


def test_what_was_not_read_is_said() -> None:
    said = read(changed(other_columns))[1]
    assert said == [
        "the sheet Tests is hidden, and was read",
        "the sheet Notes was not read",
        "the column Stations!C1 'Bought in' was not read",
        "the column Items!Z has no heading, and was not read",
    ]


MISTAKES = [
    ("Stations!C7", None, "Stations!C7, Line: is blank; fill it in"),
    ("Stations!C7", "K9", "Stations!C7, Line: 'K9' is not a line here (K1, K2, K3, K4)"),
    ("Stations!B3", "K1-side-a", "Stations!B3, Station: Station 'K1-side-a' is given twice; first at Stations!B2"),
    ("Stations!B3", "K1 side", "Stations!B3, Station: 'K1 side' has a blank, quote, comma or slash in it; write it"),
    ("Stations!D2", 1.5, "Stations!D2, Order: '1.5' is no whole number"),
    ("Stations!D2", 0, "Stations!D2, Order: '0' is too small; it must be 1 at the least"),
    ("Stations!F2", "BSW, CHX", "Stations!F2, Sees: 'CHX' is not a defect here"),
    ("Stations!F2", 17.23, "Stations!F2, Sees: the sheet keeps the number 17.23 here; if two are meant"),
    ("Lines!D2", 41, "Lines!D2, Sections: '41' is too great; it must be 40 at the most"),
    ("Lines!F2", "about 90", "Lines!F2, Lehr time: 'about 90' is no number; write the number alone, in minutes"),
    ("Furnaces!E2", "2,498", "Furnaces!E2, Density of its glass: '2,498' can be read as 2498 or as 2.498"),
    ("Furnaces!D2", "#DIV/0!", "Furnaces!D2, Melter surface: the cell holds #DIV/0!, no value"),
    ("Furnaces!D2", "=40+2", "Furnaces!D2, Melter surface: the cell holds (a formula without its value), no value"),
    ("Defects!D2", "grave", "Defects!D2, Severity: 'grave' is none of critical, major, minor: choose one of them"),
    ("Defects!E2", "finnish", "perhaps finish is meant"),
    ("Defects!G2", "setting", "Defects!G2, Kind: 'setting' is no fault of the ware and is watched by nothing"),
    ("Items!E2", 190, "Items!E2, Least weight: 190 is above Weight 182"),
    ("Items!M2", "perhaps", "Items!M2, Measuring container: 'perhaps' is neither yes nor no"),
    ("Test limits!B2", "hight", "'Test limits'!B2, Test: 'hight' is not on the sheet Tests (height, wall, pressure)"),
    ("Test limits!C2", "J371", "'Test limits'!C2, Item: 'J371' is not an item here"),
    ("Test limits!D2", 200, "'Test limits'!D2, Least: 200 is above Greatest 140.8; mend one of the two"),
    ("Test limits!C3", "J370", "'Test limits'!B3, Test: height has limits for J370 already"),
    ("Readings!G2", 1000, "Readings!F2, Least: the least, 1090, is above the greatest, 1000"),
    ("Customers!D2", 0.41, "Customers!D2, AQL of major defects: 0.41 is no AQL of ISO 2859-1"),
    ("Works!B3", "Lisbon", "Works!B3, Time zone: 'Lisbon' is not a time zone of the IANA list, such as Europe/Lisbon"),
    ("Works!B4", 6, "Works!B4, The production day begins at: the cell holds a number of days or hours, no time of"),
    ("Works!B5", "07:00", "Works!B5, Shift 1 begins at: the first shift must start when the day starts, at 06:00"),
    ("Works!B2", None, "Works!B2, Name of the works: is blank; fill it in"),
    ("Works!A3", "Timezone", "Works!A3: 'Timezone' is no entry; if Time zone is meant, write that"),
    ("Settings!B21", 0.66, "Settings!B21, AQL of minor defects: 0.66 is no AQL of ISO 2859-1"),
    ("Stations!F1", "See", "Stations!F1: 'See' is no heading of this sheet; if Sees is meant, write that"),
    ("Stations!F1", "Line", "Stations!F1: the heading 'Line' is there twice, first at Stations!C1"),
    ("Stations!C1", "Machine", "Stations: there is no heading Line; add the column and fill it"),
    ("Items!D1", "Weight (kg)", "Items!D1: 'Weight (kg)': this column is in g; give such values and write the heading"),
    ("Stations!A2", "example", "Stations!A2: this row is marked as an example, and is not the one that the workbook"),
]


@pytest.mark.parametrize(("place", "value", "says"), MISTAKES, ids=[f"{p}-{v}" for p, v, _ in MISTAKES])
def test_a_mistake_is_named_by_its_cell_and_says_what_to_do(place: str, value: object, says: str) -> None:
    found = mistakes(changed(put(place, value)))
    assert any(says in each for each in found), found


def test_one_mistake_is_said_once() -> None:
    for place, value, says in MISTAKES:
        found = mistakes(changed(put(place, value)))
        assert len(found) == len(set(found)) and len([each for each in found if says in each]) == 1, found


def test_all_mistakes_are_named_at_once_by_sheets_and_rows() -> None:
    found = mistakes(changed(put("Items!D2", "x"), put("Stations!C7", "K9"), put("Lines!D2", 0), put("Works!B3", "X")))
    assert [each.split(",")[0] for each in found] == ["Works!B3", "Lines!D2", "Stations!C7", "Items!D2"]


@pytest.mark.parametrize(
    ("name", "new", "says"),
    [
        ("Stations", "Station", "the sheet Station is none of ours; rename it Stations"),
        ("Furnaces", "Wannen", "there is no sheet Furnaces; copy it from a new workbook"),
        ("Works", "Our works", "there is no sheet Works"),
    ],
)
def test_a_sheet_that_is_not_there_is_said(name: str, new: str, says: str) -> None:
    def rename(book: Any) -> None:
        book[name].title = new

    assert any(says in each for each in mistakes(changed(rename)))


def test_an_empty_sheet_wants_a_row_and_one_without_headings_its_headings() -> None:
    def empty(book: Any) -> None:
        book["Furnaces"].delete_rows(2, 9)
        book["Items"].delete_rows(1)

    found = mistakes(changed(empty))
    assert "Furnaces: no row is filled; write a row for each furnace" in found
    assert any(
        each.startswith("Items: no row of headings was found; it needs Item, Name, Weight (g)") for each in found
    )


def test_examples_are_none_of_the_works_own() -> None:
    found = mistakes(changed(entries, text=None))
    for name in ("Furnaces", "Lines", "Stations", "Defects", "Items"):
        assert any(each.startswith(f"{name}: no row is filled") for each in found), name
    assert read(changed(entries, without_marks, text=None))[0].lines["A1"].sections == 8


def test_examples_of_which_the_marks_are_gone_are_read_and_said() -> None:
    def column_gone(book: Any) -> None:
        book["Furnaces"].delete_cols(1)

    said = read(changed(entries, without_marks, column_gone, text=None))[1]
    assert said == ["Furnaces!A2: this row is an example of the workbook, and was read as your own"]


def test_an_example_that_was_written_over_is_not_dropped_in_silence() -> None:
    found = mistakes(changed(entries, put("Furnaces!B2", "W7"), text=None))
    assert any(each.startswith("Furnaces!A2: this row is marked as an example") for each in found)


def codes(*rows: tuple[object, ...]) -> Change:
    def change(book: Any) -> None:
        for number, row in enumerate(rows, start=2):
            for at, value in enumerate(row, start=2):
                book["Codes by station"].cell(number, at).value = value

    return change


def test_two_stations_use_one_code_for_different_defects() -> None:
    plant, _ = read(changed(codes(("K1-foot", " 17", "SPK"), ("K1-foot", "007", "BSW"), ("K1-mouth", "17", "OVP"))))
    assert [(m.files, m.feed, m.values) for m in plant.mapping] == [
        (("reject_counts.K1-foot.*",), "reject_counts", {"defect": {"17": "SPK", "007": "BSW"}}),
        (("reject_counts.K1-mouth.*",), "reject_counts", {"defect": {"17": "OVP"}}),
    ]


def test_running_totals_of_a_station_with_codes_of_its_own_are_mapped_too() -> None:
    plant, _ = read(changed(codes(("K2-foot", "1", "SPK"))))
    assert [m.feed for m in plant.mapping] == ["reject_counts", "counter_reads"]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (("K1-foot", "17", "XXX"), "'Codes by station'!D3, Your code: 'XXX' is not on the sheet Defects (BSW, "),
        (("K9", "17", "SPK"), "'Codes by station'!B3, Station: 'K9' is not on the sheet Stations (K1-side-a, "),
        (("K1-foot", "3", "SPK"), "'Codes by station'!C3, Code at the station: '3' is given twice for K1-foot"),
        (("K1-foot", None, "SPK"), "'Codes by station'!C3, Code at the station: is blank; fill it in"),
    ],
)
def test_a_mistake_of_a_code_is_named(row: tuple[object, ...], says: str) -> None:
    assert any(each.startswith(says) for each in mistakes(changed(codes(("K1-foot", 3, "SPK"), row))))


def test_two_hundred_codes_with_zeros_before_them() -> None:
    def many(book: Any) -> None:
        for n in range(200):
            row = (None, f"{n:03d}", f"defect {n}", "major", "body", "glass")
            for at, value in enumerate(row, start=1):
                book["Defects"].cell(60 + n, at).value = value

    plant, _ = read(changed(many))
    assert len(plant.defect) == len(DEMO.defect) + 200 and plant.defects["007"].name == "defect 7"


def test_a_code_that_lost_its_zeros_is_told() -> None:
    found = mistakes(changed(put("Defects!B2", "007"), put("Defects!B3", 8), put("Defects!B4", 100)))
    zeros = [each for each in found if "begin with 0" in each]
    assert len(zeros) == 1 and zeros[0].startswith("Defects!B3, Code: the sheet keeps the number 8 here")
    said = read(changed(codes(("K1-foot", 17, "SPK"))))[1]
    assert said == [
        "'Codes by station'!C2, Code at the station: codes kept as numbers are read without zeros before them, as 17"
    ]


def test_numbers_as_ids_are_whole() -> None:
    def numbers(book: Any) -> None:
        book["Furnaces"]["B2"] = 1.0
        for row in (2, 3):
            book["Lines"][f"C{row}"] = "1"

    assert [line.furnace for line in read(changed(numbers))[0].line][:2] == ["1", "1"]


def test_a_table_without_a_sheet_has_its_mistakes_by_cell() -> None:
    def others(*lines: str) -> Change:
        def change(book: Any) -> None:
            sheet = book.create_sheet("Other tables")
            for number, line in enumerate(lines, start=1):
                sheet.cell(number, 1).value = line

        return change

    found = mistakes(changed(others("[keeping]", "days = 4")))
    assert any(each.startswith("'Other tables'!A1") for each in found), found
    found = mistakes(changed(others("", "[[mapping]]", 'files = "x"')))
    assert any(each.startswith("'Other tables'!A2, [[mapping]] number 1, feed: ") for each in found), found
    found = mistakes(changed(others("[[mapping]]", "files = ")))
    assert any(each.startswith("'Other tables'!A2: it is not TOML") for each in found), found
    found = mistakes(changed(others("[[line]]", 'id = "K7"')))
    assert any(each.startswith("'Other tables'!A1, [[line]]") and "sheet of its own" in each for each in found), found


def plants_of(data: bytes) -> Plant:
    return read(data)[0]


def test_nothing_done_is_the_plant() -> None:
    assert plants_of(filled()) == DEMO and plants_of(changed()) == DEMO
