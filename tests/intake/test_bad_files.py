"""Every file of sample_feeds/faults becomes what becomes.toml says, with one clear sentence each."""

from __future__ import annotations

import gzip
import tomllib

import pytest

from pipelines.answers.feeds import answer_feeds
from pipelines.settings import Settings
from tests.conftest import HEAD, NOW, SAMPLES, Place

FAULTS = tomllib.loads((SAMPLES / "faults" / "becomes.toml").read_text(encoding="utf-8"))["file"]
ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"


@pytest.mark.parametrize("entry", FAULTS, ids=lambda answer: answer["name"])
def test_a_faulty_file_becomes_what_is_written(entry: dict, place: Place) -> None:
    data = (SAMPLES / "faults" / entry["name"]).read_bytes()
    place.put(entry["name"], data)
    report = place.take()
    assert report.needs_a_person == bool(entry.get("whole") or entry.get("refused"))
    assert not list(place.site.inbox.iterdir())
    archived = [path for path in place.site.archive.rglob("*") if path.is_file() and path.parent != place.site.archive]
    assert [path.read_bytes() for path in archived] == [data]
    if "whole" in entry:
        assert [(line, reason) for _, line, _, reason in place.refusals()] == [(0, entry["whole"])]
        assert [path.read_bytes() for path in place.site.quarantine.iterdir()] == [data]
    else:
        assert report.rows_kept == entry["kept"]
        expected = sorted((entry["name"], r["line"], r["column"], r["reason"]) for r in entry["refused"])
        assert place.refusals() == expected


def test_every_fault_has_a_sentence_of_what_where_and_what_to_do(place: Place) -> None:
    for fault in FAULTS:
        place.put(fault["name"], (SAMPLES / "faults" / fault["name"]).read_bytes())
    place.take()
    with place.opened.ledger.reading() as reader:
        refused = answer_feeds(reader, place.plant, most=1000)["refused"]
    assert {r["file"] for r in refused} == {t["name"] for t in FAULTS if t.get("whole") or t.get("refused")}
    for each in refused:
        assert each["sentence"].startswith(each["file"]) and each["sentence"].endswith("`coldledger feeds retry`.")
        assert "{" not in each["sentence"] and "??" not in each["sentence"]
    by_file = {r["file"]: r["sentence"] for r in refused}
    assert by_file["station_counts.no-offset.csv"] == (
        "station_counts.no-offset.csv line 2, column window_start: '2026-03-02T09:00:00' has no offset (Z or +01:00), "
        "and works.toml gives this feed no time zone. The row was set aside; correct it in quarantine/ and run "
        "`coldledger feeds retry`."
    )


def test_a_line_of_10_mb_is_refused_and_its_neighbours_kept(place: Place) -> None:
    long = ROW.replace(",11,", f",{'x' * 10_000_000},")
    place.put("station_counts.long.csv", HEAD + ROW + long + ROW.replace(",11,", ",12,"))
    report = place.take()
    assert report.rows_kept == 2
    assert place.refusals() == [("station_counts.long.csv", 3, "", "line_too_long")]


def test_a_gz_bomb_is_refused_without_being_unpacked(tmp_path) -> None:  # type: ignore[no-untyped-def]
    place = Place(tmp_path / "site", settings=Settings(fixed_now=NOW, largest_file=4 << 20))
    place.put("station_counts.bomb.csv.gz", gzip.compress(b"0" * (64 << 20)))
    place.put("station_counts.large.csv", HEAD + ROW * 100_000)
    place.take()
    assert [(name, reason) for name, _, _, reason in place.refusals()] == [
        ("station_counts.bomb.csv.gz", "too_large"),
        ("station_counts.large.csv", "too_large"),
    ]
    assert len([p for p in place.site.archive.rglob("*") if p.is_file() and p.parent != place.site.archive]) == 2


def test_a_folder_in_the_inbox_is_left_alone_and_said(place: Place) -> None:
    (place.site.inbox / "old").mkdir()
    place.put("station_counts.K1.csv", HEAD + ROW)
    report = place.take()
    assert report.rows_kept == 1
    assert report.messages == ["inbox/old is a folder and was left alone; put feed files into inbox/ itself"]
    assert (place.site.inbox / "old").is_dir()


def test_files_still_being_written_are_left_alone(place: Place) -> None:
    place.put(".station_counts.K1.csv", HEAD + ROW)
    place.put("station_counts.K1.csv.part", HEAD + ROW)
    assert place.take().files == 0
    assert len(list(place.site.inbox.iterdir())) == 2


def test_a_time_ahead_of_the_works_by_more_than_an_hour_is_refused(place: Place) -> None:
    near, far = "2026-04-01T00:59:00Z", "2026-04-01T01:01:00Z"
    place.put(
        "station_counts.K1.csv",
        HEAD + "".join(ROW.replace("2026-03-02T09:00:00+01:00", at) for at in (near, far)),
    )
    assert place.take().rows_kept == 1
    assert place.refusals() == [("station_counts.K1.csv", 3, "window_start", "in_future")]
