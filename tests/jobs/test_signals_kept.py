"""Signals through the ledger: kept by hour under one name, acknowledged, shown on pages and by the command, made again
the same.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, timedelta

import pytest

from pipelines.answers.lehr import lehr_time
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.signals import answer_signals, hour_signals, kept_signals
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.jobs.signals import acknowledge_signal, days_behind, days_to_follow, refresh_signals
from pipelines.reports.all_reports import ALL_REPORTS, page_html
from sample_feeds.simulator import make_plan, write_feeds
from sample_feeds.simulator.plan import RUN_IN_MIN, PlannedFault
from schemas.answers.signals import Signal
from tests.conftest import HEAD, Place
from tests.shared import Shared
from tests.test_cli import run

DAY = date(2026, 3, 17)
LATE = RUN_IN_MIN + 15 * 60
FAULTS = (
    PlannedFault("mould", "K3", "CHF", ("K3/4B",), LATE, LATE + 200, 60.0),
    PlannedFault("section", "K1", "THN", ("K1/5A", "K1/5B"), LATE + 240, LATE + 1000, 25.0),
)
CONTRACT = (
    "line",
    "furnace",
    "defect",
    "scope",
    "members",
    "onset",
    "onset_low",
    "onset_high",
    "formed",
    "ended",
    "rate_before",
    "rate_after",
    "q",
    "probability",
)


@pytest.fixture(scope="module")
def kept(plant, shared: Shared, tmp_path_factory: pytest.TempPathFactory) -> Place:  # type: ignore[no-untyped-def]
    """A day with two faults, taken in and followed; works.toml is eight minutes wrong about the lehr."""
    plan = make_plan(plant, DAY, 1, seed=313_131, lag_offset=8.0, faults=0)
    plan.faults.extend(FAULTS)
    place = Place(tmp_path_factory.mktemp("signals") / "site")
    write_feeds(shared.simulated(plan), place.site.inbox, dirty=False, every="1d", formats=("csv",))
    place.take()
    assert refresh_signals(place.opened, [DAY]) == 4 * 24
    return place


def excesses(place: Place, span: Span) -> list[Signal]:
    with place.opened.ledger.reading() as reader:
        return [signal for signal in kept_signals(reader, span.start, span.end) if signal.kind == "excess"]


def the_mould(place: Place) -> Signal:
    return next(
        excess
        for excess in excesses(place, place.plant.clock.day(DAY))
        if (excess.line, excess.defect) == ("K3", "CHF")
    )


def test_a_mould_fault_is_kept_with_place_clocks_and_log(kept: Place) -> None:
    signal = the_mould(kept)
    began = kept.plant.clock.day(DAY).start + timedelta(minutes=LATE - RUN_IN_MIN)
    assert (
        signal.scope == "mould"
        and signal.cavities == ("4B",)
        and signal.probability is not None
        and signal.probability > 0.8
    )
    assert (
        abs((signal.formed - began).total_seconds()) <= 15 * 60
        and signal.formed_low <= signal.formed <= signal.formed_high
    )
    lehr = (signal.onset - signal.formed).total_seconds() / 60 - kept.plant.stations["K3-mouth"].after_minutes
    assert abs(lehr - (kept.plant.lines["K3"].lehr_minutes + 8)) <= 4
    assert signal.ended is not None and signal.rate_after is not None and signal.rate_before is not None
    assert signal.rate_after == pytest.approx(signal.calls / signal.ware) and signal.rate_after > 5 * signal.rate_before
    assert sum(signal.scopes.values()) == pytest.approx(1.0, abs=1e-3)


def test_it_keeps_its_name_and_is_listed_as_closed_when_over(kept: Place) -> None:
    name = the_mould(kept).id
    states = []
    for hour in kept.plant.clock.hours_of(DAY):
        with kept.opened.ledger.reading() as reader:
            signals, _ = hour_signals(reader, "K3", hour)
        states += [signal.ended is not None for signal in signals if signal.id == name]
    assert len(states) >= 3 and states[-1] and not any(states[:-1])


def test_the_command_at_any_minute_gives_the_contract(kept: Place) -> None:
    root = kept.site.root
    asked = ("--from", "2026-03-17T22:00", "--to", "2026-03-17T23:37")
    done = run("signals", *asked, "--format", "json", site=root)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert answer and all(set(CONTRACT) <= each.keys() for each in answer)
    mine = [each for each in answer if (each["line"], each["defect"], each["kind"]) == ("K3", "CHF", "excess")]
    assert [each["id"] for each in mine] == [the_mould(kept).id] and mine[0]["onset"].endswith("Z")
    only = json.loads(run("signals", "--line", "K1", *asked, "--format", "json", site=root).stdout)
    assert {each["line"] for each in only} <= {"K1"}
    table = run("signals", *asked, site=root).stdout
    assert "look first at mould equipment" in " ".join(table.split()) and "people" in table
    assert run("signals", *asked, "--format", "csv", site=root).stdout.startswith("id,kind,line")


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("signals",), "--from and --to"),
        (("signals", "--line", "K9", "--from", "2026-03-17T22:00", "--to", "2026-03-17T23:00"), "no line 'K9'"),
        (("signals", "acknowledge", "K1-XXX-1", "--by", "N. Kos"), "no signal 'K1-XXX-1'"),
        (("signals", "acknowledge", "K1-XXX-1", "--by", " "), "--by NAME"),
    ],
)
def test_wrong_use_is_said(args: tuple[str, ...], says: str, kept: Place) -> None:
    done = run(*args, site=kept.site.root)
    assert done.returncode == 2 and says in done.stderr


def test_an_acknowledgement_stays_with_its_signal(kept: Place) -> None:
    name = the_mould(kept).id
    with pytest.raises(WrongUse):
        acknowledge_signal(kept.opened, "K9-NONE", "N. Kos", "")
    assert (
        run(
            "signals", "acknowledge", name, "--by", "N. Kos", "--note", "<b>blank changed</b>", site=kept.site.root
        ).returncode
        == 0
    )
    refresh_signals(kept.opened, [DAY])
    assert the_mould(kept).id == name
    span = kept.plant.clock.hour_of(the_mould(kept).raised)
    with kept.opened.ledger.reading() as reader:
        text = page_html(ALL_REPORTS["hour"].page(reader, kept.plant, "K3", span), "A works")
        day = page_html(ALL_REPORTS["behind the day"].page(reader, kept.plant, "figures", DAY), "A works")
    assert "Seen by N. Kos" in text and "&lt;b&gt;blank changed" in text and "<b>blank" not in text
    assert name in day and "What was not chance" in day


def test_the_hour_page_says_what_where_since_when_and_what_ends_it(kept: Place) -> None:
    span = kept.plant.clock.hour_of(the_mould(kept).raised)
    with kept.opened.ledger.reading() as reader:
        text = page_html(ALL_REPORTS["hour"].page(reader, kept.plant, "K3", span), "A works")
    for words in (
        "What is not chance",
        "CHF finish check (major): mould",
        "Look first: mould equipment",
        "Formed from",
        "containers lost an hour",
        "at the rate before",
        "estimated from forming against station counts",
    ):
        assert words in text, words


def test_the_pareto_has_what_was_expected_and_how_likely_chance_is(kept: Place) -> None:
    thin = next(
        excess for excess in excesses(kept, kept.plant.clock.day(DAY)) if (excess.line, excess.defect) == ("K1", "THN")
    )
    span = kept.plant.clock.hour_of(thin.raised + timedelta(hours=1))
    with kept.opened.ledger.reading() as reader:
        by = {kind: answer_pareto(reader, kept.plant, "K1", span, kind).rows for kind in ("defect", "section", "zone")}
        beyond = answer_pareto(reader, kept.plant, "K1", Span(span.start - timedelta(days=9), span.end))
    called = next(row for row in by["defect"] if row.key == "THN")
    assert called.baseline is not None and called.rate is not None and called.rate > 2 * called.baseline
    assert called.q is not None and called.q < 0.01
    others = [row.q for row in by["defect"] if row.q is not None and row.key != "THN"]
    assert min(others) > 0.001 and max(others) > 0.3
    section = {row.key: row.q for row in by["section"] if row.q is not None}
    assert min(section, key=section.__getitem__) == "5"
    zones = {row.key: row for row in by["zone"]}
    body = [row.baseline or 0.0 for row in by["defect"] if kept.plant.defects[row.key].zone == "body"]
    assert zones["body"].baseline == pytest.approx(sum(body), rel=0.05), (
        "defects of the zone that were not called add a little"
    )
    assert all(row.baseline is None and row.q is None for row in beyond.rows), "no past covers such a window"


def test_the_lehr_time_of_the_answers_is_the_estimated_one(kept: Place) -> None:
    span = kept.plant.clock.day(DAY)
    with kept.opened.ledger.reading() as reader:
        lehr_times = {line: lehr_time(reader, kept.plant, line, span) for line in kept.plant.lines}
    for line, lehr in lehr_times.items():
        assert lehr.measured and abs(lehr.minutes - kept.plant.lines[line].lehr_minutes - 8) <= 3, line


def test_the_same_signals_however_the_files_came(
    kept: Place, plant, shared: Shared, new_place: Callable[[], Place]
) -> None:  # type: ignore[no-untyped-def]
    """Hour by hour or all at once: the ledger's facts alone decide. And a run that was killed is made good by the
    next.
    """
    plan = make_plan(plant, DAY, 1, seed=313_131, lag_offset=8.0, faults=0)
    plan.faults.extend(FAULTS)
    other = new_place()
    write_feeds(shared.simulated(plan), other.site.inbox, dirty=False, every="6h", formats=("parquet",))
    report = other.take()
    assert days_behind(other.opened) == [DAY]
    assert DAY in days_to_follow(plant, [moment for _, moment in report.touched])
    refresh_signals(other.opened, days_to_follow(plant, [moment for _, moment in report.touched]))
    assert days_behind(other.opened) == []
    span = plant.clock.day(DAY)
    assert [excess.told() for excess in excesses(other, span)] == [
        {**excess.told(), "acknowledged_by": None, "acknowledged_at": None, "note": ""}
        for excess in excesses(kept, span)
    ]
    row = {"line": "K3", "from_time": span.start, "to_time": span.end}
    assert other.ask("expected_of_line", **row).equals(kept.ask("expected_of_line", **row))


def test_years_between_two_rows_are_not_followed(place: Place) -> None:
    """A station whose clock began again in 2000 sends one row before it is put right: a new line's first. Its day and
    the week after it, no more.
    """
    at = ("2000-01-01T08:00:00Z", "2026-03-14T08:00:00Z", "2026-03-17T08:00:00Z")
    place.put("station_counts.K1.csv", HEAD + "".join(f"{each},K1,K1-side-a,11,60,12,1\n" for each in at))
    place.take()
    days = [date(2000, 1, 1) + timedelta(days=n) for n in range(8)] + [date(2026, 3, 14 + n) for n in range(4)]
    assert days_behind(place.opened) == days
    refresh_signals(place.opened, [date(2026, 3, 17)])
    assert days_behind(place.opened) == []


def test_one_critical_call_is_shown_whatever_chance_says(place: Place) -> None:
    """A single call of a critical defect in two quiet hours, with no past at all."""
    start = place.plant.clock.day(DAY).start
    rows = "".join(
        f"{(start + timedelta(minutes=n)).isoformat()},K1,K1-foot,,60,150,{int(n == 70)}\n" for n in range(120)
    )
    place.put("station_counts.K1.csv", "window_start,line,station,mould,window_s,inspected,rejected\n" + rows)
    at = (start + timedelta(minutes=70)).isoformat()
    place.put(
        "reject_counts.K1.csv", f"window_start,line,station,mould,defect,window_s,rejected\n{at},K1,K1-foot,,SPK,60,1\n"
    )
    place.take()
    refresh_signals(place.opened, [DAY])
    span = Span(start, start + timedelta(hours=2))
    with place.opened.ledger.reading() as reader:
        signals = answer_signals(reader, place.plant, span, "K1")
        page = page_html(
            ALL_REPORTS["hour"].page(reader, place.plant, "K1", place.plant.clock.hours_of(DAY)[1]), "A works"
        )
    assert [(signal.kind, signal.defect, signal.calls, signal.ware) for signal in signals] == [
        ("critical call", "SPK", 1, 18_000.0)
    ]
    assert "Critical calls, shown whatever chance says: SPK spike inside 1" in page
    assert "sent no counts" in page and "nominal value of works.toml" in page
    said = " ".join(
        run(
            "signals", "--line", "K1", "--from", "2026-03-17T06:00", "--to", "2026-03-17T08:00", site=place.site.root
        ).stdout.split()
    )
    assert "no past to compare with" in said and "K1-mouth sent no counts for 60 min" in said and "SPK" in said


def test_numbers_that_stations_read_before_any_mould_log_came_are_followed_all_the_same(place: Place) -> None:
    """One row of a read mould number in a new ledger: the first thing that a works may send."""
    place.put("station_counts.K1.csv", HEAD + "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,10,1\n")
    place.take()
    assert refresh_signals(place.opened, [date(2026, 3, 2)]) > 0
