"""What came, and how every station stands by the clock: the command says of it what the pages say."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from pipelines.answers.feeds import answer_feeds, first_refused
from pipelines.answers.now import stations_alive
from pipelines.reports.terminal.feeds import MOST_OF_INTAKE, show_intake
from tests.conftest import HEAD, Place

LAST = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)  # where the newest window ends
Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """A command as a person types it: how it ends, and what it says on both streams."""
    from pipelines.cli import main

    def typed(*args: str, now: datetime, site: Place) -> tuple[int, str]:
        monkeypatch.setenv("COLDLEDGER_NOW", now.isoformat())
        monkeypatch.setattr("sys.argv", ["coldledger", *args, "--site", str(site.site.root)])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0), capsys.readouterr().out

    return typed


def counts(station: str, until: datetime, line: str = "K1") -> str:
    return f"{(until - timedelta(minutes=1)).isoformat()},{line},{station},11,60,60,1\n"


@pytest.fixture
def both(place: Place) -> Place:
    """Two stations of a line that spoke until the same moment."""
    place.put("station_counts.K1.csv", HEAD + counts("K1-side-a", LAST) + counts("K1-side-b", LAST))
    place.take()
    return place


def station_of(text: str, station: str) -> dict[str, Any]:
    return next(each for each in json.loads(text)["stations"] if each["station"] == station)


def test_a_works_that_went_silent_as_a_whole_is_late_by_the_clock(both: Place, run: Run) -> None:
    code, text = run("feeds", "--format", "json", now=LAST + timedelta(minutes=20), site=both)
    assert code == 0 and station_of(text, "K1-side-a")["verdict"] == "ok"
    code, text = run("feeds", "--format", "json", now=LAST + timedelta(minutes=107), site=both)
    station = station_of(text, "K1-side-a")
    assert (station["verdict"], station["behind_min"]) == ("late: 107 min behind the clock", 107)
    assert (station["line"], station["last_window"]) == ("K1", "2026-03-10T09:00:00Z")
    assert code == 1, "who calls it from cron learns of it"
    code, text = run("feeds", now=LAST + timedelta(minutes=107), site=both)
    assert code == 1 and "late: 107 min behind the clock" in text and "Behind" in text


def test_a_station_whose_line_goes_on_is_silent(both: Place, run: Run) -> None:
    later = LAST + timedelta(minutes=40)
    both.put("station_counts.K1.later.csv", HEAD + counts("K1-side-b", later))
    both.take()
    code, text = run("feeds", "--format", "json", now=later + timedelta(minutes=5), site=both)
    assert station_of(text, "K1-side-a")["verdict"] == "silent: 45 min behind the clock, its line's others go on"
    assert code == 1


def test_one_that_was_never_heard_of_alone_ends_no_command_with_1(both: Place, run: Run) -> None:
    """A station that is not connected yet would make cron shout for ever."""
    code, text = run("feeds", "--format", "json", now=LAST, site=both)
    assert code == 0 and station_of(text, "K2-side")["verdict"] == "never heard of"


def test_one_that_stopped_days_ago_is_not_called_never_heard_of(both: Place, run: Run) -> None:
    later = LAST + timedelta(days=9)
    both.put("station_counts.K1.later.csv", HEAD + counts("K1-side-b", later))
    both.take()
    code, text = run("feeds", "--format", "json", now=later, site=both)
    station = station_of(text, "K1-side-a")
    assert code == 1 and (station["state"], station["behind_min"]) == ("silent", 9 * 24 * 60)


@pytest.mark.parametrize("minutes", [0, 20, 74, 76, 107, 600])
def test_the_command_and_the_pages_have_one_definition(both: Place, minutes: int) -> None:
    now = LAST + timedelta(minutes=minutes)
    both.settings = replace(both.settings, fixed_now=now)
    with both.opened.ledger.reading() as reader:
        answer = answer_feeds(reader, both.plant, now=now)["stations"]
        pages = stations_alive(reader, both.plant, now)
    assert [(each["station"], each["state"]) for each in answer] == [(page.station, page.state) for page in pages]


def test_no_station_is_asked_for_where_no_moment_is_told(both: Place) -> None:
    with both.opened.ledger.reading() as reader:
        assert answer_feeds(reader, both.plant)["stations"] == []


@pytest.fixture
def rubbish(place: Place) -> Place:
    """Thirteen files that are refused whole, two of them by their names, and one of which thirty rows are."""
    for number in range(11):
        place.put(f"station_counts.K{number}.csv", f"no such column {number}\n1\n")
    for name in ("counts.csv", "more.csv"):
        place.put(name, f"{HEAD}{name}\n")
    place.put("station_counts.rows.csv", HEAD + "".join(f"{n},K1,K1-side-a,11,60,60,1\n" for n in range(30)))
    return place


def test_rows_and_whole_files_that_wait_are_told_apart(rubbish: Place, run: Run) -> None:
    rubbish.take()
    _, text = run("feeds", "--format", "json", now=LAST, site=rubbish)
    feeds = {feed["feed"]: feed for feed in json.loads(text)["feeds"]}
    assert (feeds["station_counts"]["rows_still_refused"], feeds["station_counts"]["files_still_refused"]) == (30, 11)
    assert feeds["unknown"]["files_still_refused"] == 2
    _, text = run("feeds", now=LAST, site=rubbish)
    assert "... and 3 more rows and files; all of them lie in quarantine/" in text


def test_each_of_the_three_tables_can_be_had_as_csv(rubbish: Place, run: Run) -> None:
    rubbish.take()
    heads = {
        (): "feed,files,came_again",
        ("--of", "feeds"): "feed,files,came_again",
        ("--of", "stations"): "line,station,last_window,behind_min,verdict",
        ("--of", "refused"): "batch,feed,file,file_line,column_name,value,reason,expected,sentence",
    }
    for more, head in heads.items():
        assert run("feeds", "--format", "csv", *more, now=LAST, site=rubbish)[1].startswith(head)
    assert len(run("feeds", "--format", "csv", "--of", "refused", now=LAST, site=rubbish)[1].splitlines()) == 1 + 43
    assert set(json.loads(run("feeds", "--format", "json", "--of", "stations", now=LAST, site=rubbish)[1])) == {
        "stations"
    }


def test_an_intake_says_each_sentence_once_and_twenty_at_most(
    rubbish: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    (rubbish.site.inbox / "old").mkdir()
    report = rubbish.take()
    show_intake(report, first_refused(rubbish.opened.ledger, report.first_batch, MOST_OF_INTAKE))
    said = capsys.readouterr().err.splitlines()
    assert len(said) == len(set(said)) == 1 + 20 + 1
    assert said[0].startswith("inbox/old is a folder"), "what is no file is said beside the twenty"
    assert sum("set aside whole" in text for text in said) == 13
    assert sum("The row was set aside" in text for text in said) == 7
    assert said[-1] == "and 23 more rows and files: `coldledger feeds`"
    named = [text for text in said if "`coldledger help feeds` lists them" in text]
    assert len(named) == 2 and max(map(len, named)) < 250, "where the feeds are listed, not all of them"


def test_an_intake_of_good_files_says_nothing_of_what_waits_from_before(
    rubbish: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    rubbish.take()
    rubbish.put("station_counts.good.csv", HEAD + counts("K1-side-a", LAST))
    for _ in range(2):
        report = rubbish.take()
        show_intake(report, first_refused(rubbish.opened.ledger, report.first_batch, MOST_OF_INTAKE))
    assert capsys.readouterr().err == ""
