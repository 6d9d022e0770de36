"""Refused rows can be seen, mended and retried; whole files too; nothing of them is lost on the way."""

from __future__ import annotations

from pathlib import Path

from pipelines.intake.retry import retry_quarantine
from tests.conftest import HEAD, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"
BAD = ROW.replace(",12,", ",1O,").replace(",11,", ",13,")


def only(folder: Path) -> Path:
    found = list(folder.iterdir())
    assert len(found) == 1
    return found[0]


def retry(place: Place):  # type: ignore[no-untyped-def]
    return retry_quarantine(place.site, place.plant, place.settings)


def test_the_quarantine_shows_the_row_and_why(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW + BAD)
    place.take()
    head, row = only(place.site.quarantine).read_text().splitlines()
    assert head == HEAD.strip() + ",refed,refused_file,refused_line,refused_why,refused_text"
    text = ",station_counts.K1.csv,3,inspected: '1O' is not a whole number"
    assert row.startswith(BAD.strip() + ',""' + text)  # `refed`, which the file did not have, is empty


def test_a_mended_row_is_kept_and_leaves_the_quarantine(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW + BAD)
    place.take()
    entry = only(place.site.quarantine)
    entry.write_text(entry.read_text().replace("1O", "10"))
    report = retry(place)
    assert (report.rows_kept, report.needs_a_person) == (1, False)
    assert place.facts("station_counts")["inspected"].to_list() == [12, 10]
    assert place.refusals() == [] and not list(place.site.quarantine.iterdir())
    archived = sorted(path.name for path in place.site.archive.rglob("*.csv"))
    assert archived == ["station_counts.K1.csv", "station_counts.retry-1.csv"]


def test_rows_still_wrong_come_back(place: Place) -> None:
    worse = BAD.replace(",13,", ",14,")
    place.put("station_counts.K1.csv", HEAD + BAD + worse)
    place.take()
    entry = only(place.site.quarantine)
    entry.write_text(entry.read_text().replace("1O", "10", 1))
    report = retry(place)
    assert (report.rows_kept, report.rows_refused) == (1, 1)
    assert len(place.refusals()) == 1
    assert only(place.site.quarantine).name == "b000002.station_counts.rows.csv"


def test_an_unchanged_file_is_left_as_it_is(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + BAD)
    place.take()
    before = only(place.site.quarantine).read_bytes()
    report = retry(place)
    assert report.files == 0 and "as wrong as before" in report.messages[0]
    assert only(place.site.quarantine).read_bytes() == before and len(place.refusals()) == 1


def test_rows_become_right_when_the_plant_file_learns_the_code(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW.replace("K1-side-a", "K1-new"))
    place.take()
    text = place.site.works_toml.read_text()
    place.site.works_toml.write_text(text + '\n[[station]]\nid = "K1-new"\nline = "K1"\norder = 9\n')
    assert retry(place).rows_kept == 1
    assert place.refusals() == []


def test_a_whole_file_is_mended_in_place(place: Place) -> None:
    place.put("station_counts.K1.csv", "Zeit,Linie\n1,2\n")
    place.take()
    entry = only(place.site.quarantine)
    assert entry.name == "b000001.station_counts.K1.csv"
    entry.write_text(HEAD + ROW)
    assert retry(place).rows_kept == 1
    assert place.refusals() == [] and not list(place.site.quarantine.iterdir())


def test_a_lost_quarantine_folder_is_made_again(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + ROW + BAD)
    place.take()
    entry = only(place.site.quarantine)
    text = entry.read_text()
    entry.unlink()
    place.take()
    assert only(place.site.quarantine).read_text() == text
