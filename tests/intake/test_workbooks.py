"""Workbooks come in through a [[mapping]]: sheets, ranges, merged cells, values above the table, typed days and times;
each wrong cell is named by its sheet and cell, kept, mended and retried.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from pathlib import Path

import polars as pl
import pytest

from pipelines.intake.retry import retry_quarantine
from pipelines.jobs.repair import refused_rows, repair
from tests.conftest import SAMPLES, WORKS, Place
from tests.intake import books

WEIGHTS = """
[[mapping]]
files = "weights*"
feed = "weight_checks"
timezone = "Europe/Warsaw"
decimal = ","
time_format = "%d.%m.%Y %H:%M"
columns = { "Zeit" = "sampled_at", "Form" = "mould", "Gewicht" = "weight_g" }
constants = { line = "K1", point = "cold", sample = 1 }
"""
HEADS = ["Zeit", "Form", "Gewicht"]
NINE, TEN = datetime(2026, 3, 2, 9), datetime(2026, 3, 2, 10)


@pytest.fixture
def mapped(tmp_path: Path) -> Callable[[str], Place]:
    return lambda text: Place(tmp_path / "site", WORKS + text)


def weights(place: Place) -> list[tuple[object, ...]]:
    return place.facts("weight_checks").select("sampled_at", "mould", "weight_g").sort(pl.all()).rows()


def sentences(place: Place) -> list[str]:
    from pipelines.answers.feeds import answer_feeds

    with place.opened.ledger.reading() as reader:
        return [row["sentence"] for row in answer_feeds(reader, place.plant)["refused"]]


def test_moments_numbers_and_texts_of_a_sheet_are_read_as_they_are(mapped: Callable[[str], Place]) -> None:
    place = mapped(WEIGHTS)
    rows = [HEADS, [NINE, 11, 339.8], ["02.03.2026 10:00", "12", "341,25"], [None, None, None], [TEN, 11.0, 340]]
    place.put("weights.xlsx", books.xlsx({"Shift": rows}))
    report = place.take()
    assert (report.rows_kept, report.rows_refused, report.messages) == (3, 0, [])
    eight, nine = datetime(2026, 3, 2, 8, tzinfo=UTC), datetime(2026, 3, 2, 9, tzinfo=UTC)
    assert weights(place) == [(eight, "11", 339.8), (nine, "11", 340.0), (nine, "12", 341.25)]
    (original,) = place.site.archive.rglob("*.xlsx")
    assert original.read_bytes() == books_bytes(original) and not list(place.site.inbox.iterdir())


def books_bytes(path: Path) -> bytes:
    """What was handed over: the archive keeps the original, which can be opened."""
    import openpyxl

    assert openpyxl.load_workbook(path).sheetnames == ["Shift"]
    return path.read_bytes()


def test_each_refusal_names_sheet_and_cell(mapped: Callable[[str], Place]) -> None:
    place = mapped(WEIGHTS)
    rows = [HEADS, [NINE, "11", 339.8], [TEN, "12", "n.a."], ["gestern", "13", 340]]
    place.put("weights.xlsx", books.xlsx({"Schicht 1": rows}))
    assert place.take().rows_kept == 1
    assert [said.split(". The")[0] for said in sentences(place)] == [
        "weights.xlsx 'Schicht 1'!C3, column weight_g: 'n.a.' is not a number with a decimal point",
        "weights.xlsx 'Schicht 1'!A4, column sampled_at: 'gestern' is not a time such as 2026-03-02T09:00:00+01:00",
    ]


def test_a_refused_row_of_a_workbook_is_kept_as_text_cells_mended_and_retried(mapped: Callable[[str], Place]) -> None:
    place = mapped(WEIGHTS)
    place.put("weights.xlsx", books.xlsx({"Shift": [HEADS, [NINE, "11", "x"]]}))
    place.take()
    pair = refused_rows(place.opened, 1)
    assert pair is not None
    row = pair[1].row(0, named=True)
    assert (row["sampled_at"], row["mould"], row["weight_g"]) == ("2026-03-02T08:00:00Z", "11", "x")
    assert row["refused_cells"] == "sampled_at Shift!A2, mould Shift!B2, weight_g Shift!C2"
    assert row["refused_why"].startswith("Shift!C2, weight_g: 'x'")
    repair(place.opened, 1, {"2": {"weight_g": "339.9"}})
    assert [weight for *_, weight in weights(place)] == [339.9] and sentences(place) == []


def test_two_wrong_cells_of_one_line_are_told_kept_and_mended_apart(mapped: Callable[[str], Place]) -> None:
    wide = WEIGHTS.replace(
        ', "Form" = "mould", "Gewicht" = "weight_g" }',
        ' }\nwide = [{ columns = "Form *", name = "mould", value = "weight_g" }]',
    )
    place = mapped(wide)
    rows = [["Zeit", "Form 11", "Form 12", "Form 13"], [NINE, "x", 340.5, "y"]]
    place.put("weights.xlsx", books.xlsx({"S": rows}))
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (1, 2)
    assert [said.split(",")[0] for said in sentences(place)] == ["weights.xlsx S!B2", "weights.xlsx S!D2"]
    pair = refused_rows(place.opened, 1)
    assert pair is not None and pair[1]["refused_line"].to_list() == ["2", "2-2"]
    repair(place.opened, 1, {"2": {"weight_g": "339.8"}, "2-2": {"weight_g": "341"}})
    assert [row[1:] for row in weights(place)] == [("11", 339.8), ("12", 340.5), ("13", 341.0)]


SHIFT = """
[[mapping]]
files = "shift*"
feed = "weight_checks"
sheet = "Shift"
range = "B4:F"
header_lines = 2
fill_down = ["Zeit"]
from_lines = { day = "Datum: (?P<value>\\\\S+)", line = "Linie (?P<value>\\\\S+)" }
timezone = "Europe/Warsaw"
columns = { "day" = "sampled_at", "Zeit" = "sampled_at", "Probe" = "sample" }
wide = [{ columns = "Form *", name = "mould", value = "weight_g" }]
constants = { point = "cold" }
"""


def shift_sheet() -> list[list[object]]:
    return [
        ["Schichtblatt", None, "Datum:", date(2026, 3, 2), None, "Linie K1"],
        [],
        [None, None, None, "erste Prüfung"],
        [None, "Zeit", "Probe", "Form", None, "Bemerkung"],
        [None, None, None, 11, 12],
        [None, time(9, 0), 1, 339.8, 341.2, "neben der Tabelle"],
        [None, None, 2, 340.1, None],
        [None, time(10, 20), 1, None, 341],
    ]


def test_a_typed_shift_sheet_with_range_merged_cells_and_values_above(mapped: Callable[[str], Place]) -> None:
    place = mapped(SHIFT)
    merged = {"Shift": ["B6:B7", "D4:E4"]}
    place.put("shift.xlsx", books.xlsx({"Notes": [["nothing"]], "Shift": shift_sheet()}, merged))
    report = place.take()
    assert (report.rows_refused, report.messages) == (0, [])
    rows = place.facts("weight_checks").select("sampled_at", "line", "mould", "sample", "weight_g").rows()
    eight, later = datetime(2026, 3, 2, 8, tzinfo=UTC), datetime(2026, 3, 2, 9, 20, tzinfo=UTC)
    assert sorted(rows) == [
        (eight, "K1", "11", 1, 339.8),
        (eight, "K1", "11", 2, 340.1),
        (eight, "K1", "12", 1, 341.2),
        (later, "K1", "12", 1, 341.0),
    ]


BLOCKS = """
[[mapping]]
files = "blocks*"
feed = "weight_checks"
skip_lines = 2
from_lines = { day = "vom (?P<value>\\\\S+)", mould = "Form:? (?P<value>\\\\d+)" }
timezone = "Europe/Warsaw"
time_format = "%d.%m.%Y %H:%M"
columns = { "day" = "sampled_at", "Uhr" = "sampled_at", "g" = "weight_g" }
constants = { line = "K1", point = "cold", sample = 1 }
"""
BLOCK_ROWS: list[list[object]] = [
    ["Blatt vom 02.03.2026"],
    ["Form:", 11],
    ["Uhr", "g"],
    ["09:00", 339.8],
    ["10:00", 340],
    [],
    ["Form:", 12],
    ["Uhr", "g"],
    ["09:00", 341],
    ["10:00", "zu leicht"],
]


def test_a_block_a_mould_has_its_number_above_it(mapped: Callable[[str], Place]) -> None:
    place = mapped(BLOCKS)
    place.put("blocks.xlsx", books.xlsx({"S": BLOCK_ROWS}))
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (3, 1)
    assert [(mould, weight) for _, mould, weight in weights(place)] == [("11", 339.8), ("12", 341.0), ("11", 340.0)]
    assert sentences(place)[0].startswith("blocks.xlsx S!B10, column weight_g: 'zu leicht'")
    pair = refused_rows(place.opened, 1)
    assert pair is not None and "mould S!B7" in pair[1]["refused_cells"][0]


def test_the_same_blocks_as_text_are_read_alike(mapped: Callable[[str], Place]) -> None:
    place = mapped(BLOCKS)
    text = "\n".join(",".join(str(cell) for cell in row) for row in BLOCK_ROWS) + "\n"
    place.put("blocks.csv", text)
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (3, 1)
    assert [(mould, weight) for _, mould, weight in weights(place)] == [("11", 339.8), ("12", 341.0), ("11", 340.0)]
    assert place.refusals() == [("blocks.csv", 10, "weight_g", "not_a_number")]


def test_formulas_count_by_their_value_and_one_without_is_named(mapped: Callable[[str], Place]) -> None:
    import io

    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    sheet = book.add_worksheet("S")
    sheet.write_row(0, 0, HEADS)
    sheet.write_row(1, 0, ["02.03.2026 09:00", "11"])
    sheet.write_formula(1, 2, "=300+39.8", None, 339.8)
    sheet.write_row(2, 0, ["02.03.2026 10:00", "11"])
    sheet.write_formula(2, 2, "=1/0", None, "#DIV/0!")
    book.close()
    place = mapped(WEIGHTS)
    place.put("weights.xlsx", out.getvalue())
    place.put("weights-bare.xlsx", books.xlsx({"S": [HEADS, ["02.03.2026 11:00", "11", "=300+1"]]}))
    assert place.take().rows_kept == 1
    assert [weight for *_, weight in weights(place)] == [339.8]
    said = sorted(sentences(place))
    assert "weights-bare.xlsx S!C2, column weight_g: '(a formula without its value)'" in said[0]
    assert "weights.xlsx S!C3, column weight_g: '#DIV/0!'" in said[1]


def test_open_documents_and_old_workbooks_are_read_alike(mapped: Callable[[str], Place]) -> None:
    place = mapped(WEIGHTS)
    rows = [HEADS, [("date", "2026-03-02T09:00:00"), "11", 339.8], ["02.03.2026 10:00", 12.0, ("formula", 341.5)]]
    place.put("weights.ods", books.ods({"Blatt": rows}))
    report = place.take()
    assert (report.rows_refused, report.messages) == (0, [])
    assert [row[1:] for row in weights(place)] == [("11", 339.8), ("12", 341.5)]


def test_a_workbook_of_the_old_kind_is_read_by_its_mapping(mapped: Callable[[str], Place]) -> None:
    """The sample was written by an office program from rows that test and program did not share."""
    place = mapped((SAMPLES / "foreign" / "mappings.toml").read_text(encoding="utf-8"))
    sample = SAMPLES / "foreign" / "waage_K1-2026-03-02.xls"
    place.put(sample.name, sample.read_bytes())
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (2, 1)
    eight = datetime(2026, 3, 2, 8, tzinfo=UTC)
    assert weights(place) == [(eight, "11", 339.8), (eight, "12", 341.25)]
    assert sentences(place)[0].startswith(f"{sample.name} Waage!C7, column weight_g: 'fehlt'")


def test_a_sheet_is_named_by_name_number_or_glob_and_a_missing_one_is_said(tmp_path: Path) -> None:
    data = books.xlsx({"Info": [["x"]], "Shift 1": [HEADS, [NINE, "11", 339.8]], "Shift 2": [HEADS, [TEN, "12", "y"]]})
    for number, (sheet, kept, refused) in enumerate(
        (('"Shift 1"', 1, 0), ("2", 1, 0), ('"Shift *"', 1, 1), ('["Shift 1", 3]', 1, 1))
    ):
        place = Place(tmp_path / str(number), WORKS + WEIGHTS + f"sheet = {sheet}\n")
        place.put("weights.xlsx", data)
        report = place.take()
        assert (report.rows_kept, report.rows_refused) == (kept, refused), sheet
        if refused:
            assert sentences(place)[0].startswith("weights.xlsx 'Shift 2'!C2, ")
    place = Place(tmp_path / "none", WORKS + WEIGHTS + 'sheet = "Nacht"\n')
    place.put("weights.xlsx", data)
    (said,) = place.take().messages
    assert "the workbook has no sheet 'Nacht'; it has 'Info', 'Shift 1', 'Shift 2'" in said


def test_two_mappings_of_one_feed_take_both_their_parts_of_a_file(mapped: Callable[[str], Place]) -> None:
    """Before, what the second made was passed over as known."""
    two = WEIGHTS + 'sheet = "A"\n' + WEIGHTS.replace('"K1"', '"K2"') + 'sheet = "B"\n'
    place = mapped(two)
    place.put(
        "weights.xlsx", books.xlsx({"A": [HEADS, [NINE, "11", 339]], "B": [HEADS, [NINE, "11", 340], [TEN, "1", "z"]]})
    )
    report = place.take()
    assert (report.files, report.rows_kept, report.repeated) == (1, 2, 0)
    assert place.facts("weight_checks").select("line", "weight_g").rows() == [("K1", 339.0), ("K2", 340.0)]
    assert sentences(place)[0].startswith("weights.xlsx B!C3, ")


def test_the_same_workbook_again_changes_nothing_and_one_that_was_refused_whole_is_retried(
    mapped: Callable[[str], Place],
) -> None:
    place = mapped(WEIGHTS.replace('"Gewicht"', '"Masse"'))
    data = books.xlsx({"S": [HEADS, [NINE, "11", 339]]})
    place.put("weights.xlsx", data)
    assert place.take().files_refused == 1
    (waiting,) = place.site.quarantine.iterdir()
    assert waiting.read_bytes() == data
    place.site.works_toml.write_text(WORKS + WEIGHTS, encoding="utf-8")
    assert retry_quarantine(place.site, place.plant, place.settings).rows_kept == 1
    place.put("weights-copy.xlsx", data)
    assert place.take().files == 0 or len(weights(place)) == 1


def test_text_under_a_mapping_of_sheets_is_told_so(mapped: Callable[[str], Place]) -> None:
    place = mapped(WEIGHTS + 'sheet = "S"\n')
    place.put("weights.xlsx", "Zeit;Form;Gewicht\n")
    (said,) = place.take().messages
    assert "names a sheet or a range, but the file is text" in said


def test_a_ledger_made_again_from_the_archive_says_the_same_of_workbooks(mapped: Callable[[str], Place]) -> None:
    from pipelines.jobs.from_archive import rebuild_from_archive

    place = mapped(WEIGHTS)
    place.put("weights.xlsx", books.xlsx({"Shift": [HEADS, [NINE, "11", 339.8], [TEN, "12", "x"], [TEN, "13", 341]]}))
    place.put(
        "weights-b.ods", books.ods({"Blatt": [HEADS, ["02.03.2026 11:00", "11", "y"], ["02.03.2026 12:00", "12", 5.5]]})
    )
    place.take()
    before, said = weights(place), sentences(place)
    place.site.ledger.unlink()
    rebuild_from_archive(place.opened)
    assert weights(place) == before and len(before) == 3
    assert sentences(place) == said and [each.split(",")[0] for each in said] == [
        "weights.xlsx Shift!C3",
        "weights-b.ods Blatt!C2",
    ]
