"""Stations that nobody challenged: a sentence and what is assumed, not an empty table."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from pipelines.answers.trace.trust import answer_trust
from pipelines.clock import Span
from pipelines.reports.terminal.formats import Format
from pipelines.reports.terminal.trust import show_trust
from schemas.answers.trust import Trust
from tests.conftest import Place

AT = datetime(2026, 3, 10, 4, tzinfo=UTC)
HEAD = "checked_at,line,station,defect,passes,caught\n"


def asked(place: Place, line: str | None = None) -> Trust:
    with place.opened.ledger.reading() as reader:
        return answer_trust(reader, place.plant, Span(AT, AT + timedelta(hours=8)), line)


def shown(place: Place, trust: Trust, capsys: pytest.CaptureFixture[str]) -> str:
    show_trust(place.plant, trust, Format.table)
    return " ".join(capsys.readouterr().out.split())


def test_without_any_challenge_a_sentence_stands_in_the_table_s_place(
    place: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    place.put(
        "station_counts.K1.csv",
        "window_start,line,station,mould,window_s,inspected,rejected\n2026-03-10T05:00:00Z,K1,K1-mouth,,60,20,0\n",
    )
    place.take()
    trust = asked(place)
    text = shown(place, trust, capsys)
    assert "No challenge: in the days asked" in text and "A challenge is for this" in text
    assert "No station of the works was challenged: traces give no number of escapes" in text
    assert "Detection by challenge passes" not in text and "In doubt:" not in text
    assert not trust.works_challenged and {a.station for a in trust.assumed} == {
        s.id for s in place.plant.station if any(s.can_call(code) for code in place.plant.faults)
    }
    assert {(a.missed, a.challenged) for a in trust.assumed} == {(0.5, 0)}
    assert all(a.station in text for a in trust.assumed) and "one half, a guess" in text


def test_a_line_without_a_challenge_is_taken_to_do_as_the_works_stations_do(
    place: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    """One station of K1 was challenged, with one defect: 8 of 10 caught. By hand (2 + 0.5) / (10 + 1) missed."""
    place.put("challenge_checks.K1.csv", HEAD + "2026-03-10T05:00:00Z,K1,K1-mouth,CHF,10,8\n")
    place.take()
    other = asked(place, "K2")
    text = shown(place, other, capsys)
    assert "No challenge: in the days asked" in text and "as the works' challenged stations do" in text
    assert other.assumed and all(a.line == "K2" and a.challenged == 0 for a in other.assumed)
    assert {round(a.missed, 6) for a in other.assumed} == {round(2.5 / 11, 6)} and "challenged too little" in text
    mine = asked(place, "K1")
    mouth = next(a for a in mine.assumed if a.station == "K1-mouth")
    assert mouth.challenged == 1 and "CHF" not in mouth.defects and "OVP" in mouth.defects
    text = shown(place, mine, capsys)
    assert "No challenge" not in text and "Detection by challenge passes" in text
