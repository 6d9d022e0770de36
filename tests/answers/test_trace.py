"""Traces, holds and the reverse questions on a real small day, and questions that cannot be."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pytest

from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.contents import answer_contents, answer_mould
from pipelines.answers.trace.question import Question
from pipelines.answers.trace.trust import answer_trust
from pipelines.clock import Span
from pipelines.errors import PlantError, WrongUse
from pipelines.plant.works import read_plant
from sample_feeds.simulator import Simulated
from schemas.answers.trace import Trace
from tests.conftest import WORKS, Place

NOON = datetime(2026, 3, 10, 11, tzinfo=UTC)
HOUR = timedelta(hours=1)


def traced(place: Place, question: Question, *also: Question) -> Trace:
    with place.opened.ledger.reading() as reader:
        return answer_trace(reader, place.plant, question, also)


@pytest.fixture(scope="module")
def known(day_taken: Place) -> Trace:
    return traced(
        day_taken, Question(line="K1", mould="20", defect="CHS", made_from=NOON - 2 * HOUR, made_to=NOON + 2 * HOUR)
    )


def test_a_trace_tells_blank_and_neck_ring_and_its_lists(known: Trace) -> None:
    first = known.cavities[0]
    assert (first.mould, first.blank, first.neck_ring) == ("20", "B20", "R20") and first.probability == pytest.approx(1)
    assert known.proposed is not None and known.possible is not None
    assert set(known.proposed.pallets) <= set(known.possible.pallets) and known.proposed.units <= known.possible.units
    assert (
        known.proposed.covers is not None
        and known.proposed.covers >= 0.95
        and known.possible.covers == pytest.approx(1)
    )
    assert known.expected_defective == pytest.approx(sum(p.expected_defective or 0 for p in known.pallets), rel=1e-3)
    assert sum(p.probability or 0 for p in known.pallets) == pytest.approx(1, abs=0.02)
    assert all(p.mould_units <= p.units for p in known.pallets)


def test_the_evidence_names_its_source_rows(known: Trace, day_taken: Place) -> None:
    seen = known.evidence
    batches = {row["batch"] for row in seen["files"]}
    for name in ("minutes", "weighings", "moulds_there"):
        assert seen[name] and all({"batch", "file_line"} <= set(row) for row in seen[name]), name
    assert {row["batch"] for row in seen["minutes"]} <= batches | {
        row[0]
        for row in day_taken.ask(
            "files_since", after_batch=0, from_time=NOON - 24 * HOUR, to_time=NOON + 24 * HOUR
        ).iter_rows()
    }
    assert {row["part"] for row in seen["moulds_there"]} == {"mould", "blank", "neck_ring"}
    stations = {row["station"]: row for row in seen["stations"]}
    assert set(stations) == {"K1-side-a", "K1-side-b"}
    for row in stations.values():
        assert row["before"]["checked_at"] < seen["seen_from"] and row["after"]["checked_at"] >= seen["seen_to"]


def test_a_minor_defect_gets_a_sampling_plan_and_a_critical_one_does_not(known: Trace, day_taken: Place) -> None:
    assert known.severity == "major" and [p.inspection for p in known.plans] == ["normal", "tightened", "reduced"]
    assert all(p.lot == known.proposed.units for p in known.plans if known.proposed)
    critical = traced(day_taken, Question(line="K1", mould="20", defect="OVP", made_from=NOON, made_to=NOON + HOUR))
    assert (critical.severity, critical.plans) == ("critical", ())


def test_what_was_never_challenged_is_taken_as_the_works_stations_are_and_said_to_be_a_guess(day_taken: Place) -> None:
    """SED is minor and no station is challenged with it; K1's side lanes call it."""
    trace = traced(day_taken, Question(line="K1", mould="20", defect="SED", made_from=NOON, made_to=NOON + HOUR))
    assert trace.guessed == ("K1-side-a", "K1-side-b")
    assert trace.expected_defective is not None and trace.expected_defective > 0
    assert any("challenged with SED: K1-side-a, K1-side-b" in note and "a guess" in note for note in trace.notes)
    assert any("calls of good ware; an estimate" in note for note in trace.notes)
    assert trace.proposed is not None and trace.proposed.covers is not None


def test_without_any_challenge_in_the_works_no_number_of_escapes_is_told(place: Place) -> None:
    place.put(
        "mould_log.K1.csv", "fitted_at,line,section,gob,part,number,item\n2026-03-10T00:00:00Z,K1,1,A,mould,20,J370\n"
    )
    head = "window_start,line,station,mould,window_s,inspected,rejected\n"
    rows = [f"2026-03-10T{h:02d}:{m:02d}:00Z,K1,K1-side-a,20,60,18,1\n" for h in range(4, 10) for m in range(60)]
    place.put("station_counts.K1.csv", head + "".join(rows))
    place.put(
        "reject_counts.K1.csv",
        "window_start,line,station,mould,defect,window_s,rejected\n2026-03-10T06:00:00Z,K1,K1-side-a,20,CHS,60,1\n",
    )
    place.take()
    start = datetime(2026, 3, 10, 4, tzinfo=UTC)
    trace = traced(place, Question(line="K1", mould="20", defect="CHS", made_from=start, made_to=start + 2 * HOUR))
    assert trace.expected_defective is None and trace.guessed == ()
    assert any("no station of the works was challenged" in note for note in trace.notes)


def test_several_complaints_are_traced_together(day_taken: Place) -> None:
    question = Question(line="K1", mould="20", defect="CHS", made_from=NOON, made_to=NOON + HOUR)
    other = replace(question, made_from=NOON + 2 * HOUR, made_to=NOON + 3 * HOUR)
    trace = traced(day_taken, question, other)
    assert trace.cavities[0].mould == "20" and trace.one_source is not None and len(trace.parts) == 2
    assert trace.formed_from is not None and trace.formed_to is not None
    assert trace.formed_from <= NOON and trace.formed_to >= NOON + 3 * HOUR
    with pytest.raises(WrongUse, match="only for one defect"):
        traced(day_taken, question, replace(other, defect="THN"))


def test_complaints_with_different_moulds_have_more_than_one_source(day_taken: Place) -> None:
    question = Question(line="K1", mould="20", defect="CHS", made_from=NOON, made_to=NOON + HOUR)
    trace = traced(day_taken, question, replace(question, mould="21"))
    assert trace.one_source == 0.0 and any("more than one source" in note for note in trace.notes)


@pytest.mark.parametrize(
    ("asked", "impossible", "nearest"),
    [
        (Question(line="K1", mould="999", made_from=NOON, made_to=NOON + HOUR), "mould 999 was not fitted on K1", ""),
        (
            Question(line="K1", mould="02", made_from=NOON, made_to=NOON + HOUR),
            "mould 02 was not fitted",
            "moulds with a like number fitted then: 12, 20, 22",
        ),
        (
            Question(line="K1", mould="20", made_from=NOON - 900 * HOUR, made_to=NOON - 890 * HOUR),
            "the ledger holds ware formed from",
            "the first ware in the ledger",
        ),
        (
            Question(line="K1", mould="20", made_from=NOON + 900 * HOUR, made_to=NOON + 910 * HOUR),
            "nothing of the time asked for",
            "the last ware in the ledger",
        ),
        (Question(pallet="359012340099999999"), "no pallet '359012340099999999' was ever received", ""),
        (
            Question(item="J370", defect="CHS", made_from=NOON, made_to=NOON + HOUR, received=date(2026, 3, 1)),
            "nothing of the time asked for",
            "",
        ),
        (
            Question(item="J370", defect="CHS", made_from=NOON, made_to=NOON + HOUR, received=date(2026, 3, 1)),
            "received before it was made",
            "",
        ),
    ],
)
def test_questions_that_cannot_be_say_so_and_what_is_nearest(
    asked: Question, impossible: str, nearest: str, day_taken: Place
) -> None:
    trace = traced(day_taken, asked)
    assert trace.cavities == () and trace.pallets == () and trace.expected_defective is None
    assert any(impossible in text for text in trace.impossible), trace.impossible
    assert not nearest or any(nearest in text for text in trace.nearest), trace.nearest


def test_a_misread_pallet_is_found_by_its_check_digit_and_its_nearest(
    day_taken: Place, day_of_truth: Simulated
) -> None:
    right = day_of_truth.feeds["pallets"]["pallet"][10]
    wrong = right[:-1] + str((int(right[-1]) + 3) % 10)
    trace = traced(day_taken, Question(pallet=wrong))
    assert f"should be {right[-1]}, so a digit was misread" in trace.impossible[0]
    assert any(right in text for text in trace.nearest)


def test_a_pallet_that_holds_something_else_is_believed(day_taken: Place, day_of_truth: Simulated) -> None:
    row = day_of_truth.feeds["pallets"].filter(pl.col("line") == "K1").row(10, named=True)
    trace = traced(day_taken, Question(pallet=row["pallet"], item="B500", line="K3", defect="CHS"))
    assert len(trace.impossible) == 2 and trace.cavities and trace.cavities[0].line == "K1"


def test_a_pallet_that_was_packed_after_it_was_received_is_traced_and_that_is_said(
    day_taken: Place, day_of_truth: Simulated
) -> None:
    row = day_of_truth.feeds["pallets"].filter(pl.col("line") == "K1").row(10, named=True)
    packed = day_taken.plant.clock.day_of(row["packed_to"])
    before, same = (
        traced(day_taken, Question(pallet=row["pallet"], defect="CHS", received=day))
        for day in (packed - timedelta(days=1), packed)
    )
    assert len(before.impossible) == 1 and "after it was received" in before.impossible[0]
    assert before.cavities and same.impossible == ()


def test_times_of_making_that_reach_beyond_the_day_it_was_received_are_cut_and_that_is_said(day_taken: Place) -> None:
    late = Question(line="K1", mould="20", made_from=NOON, made_to=NOON + 48 * HOUR, received=date(2026, 3, 10))
    for asked, cut in ((late, True), (replace(late, received=date(2026, 4, 1)), False)):
        notes = traced(day_taken, asked).notes
        assert any("nothing made later was looked at" in note for note in notes) is cut


def test_two_moulds_with_one_number_on_one_machine_are_both_listed(place: Place) -> None:
    place.put(
        "mould_log.K1.csv",
        "fitted_at,line,section,gob,part,number,item\n"
        "2026-03-10T00:00:00Z,K1,1,A,mould,20,J370\n2026-03-10T00:00:00Z,K1,2,B,mould,20,J370\n"
        "2026-03-10T00:00:00Z,K1,3,B,mould,21,J370\n",
    )
    head = "window_start,line,station,mould,window_s,inspected,rejected\n"
    rows = [
        f"2026-03-10T{h:02d}:{m:02d}:00Z,K1,K1-side-a,{mould},60,18,0\n"
        for h in range(4, 10)
        for m in range(60)
        for mould in (20, 21)
    ]
    place.put("station_counts.K1.csv", head + "".join(rows))
    place.put(
        "pallets.K1.csv",
        "pallet,line,item,packed_from,packed_to,units,state\n"
        "P1,K1,J370,2026-03-10T06:00:00Z,2026-03-10T07:00:00Z,2000,packed\n",
    )
    place.take()
    trace = traced(
        place,
        Question(
            line="K1",
            mould="20",
            made_from=datetime(2026, 3, 10, 4, tzinfo=UTC),
            made_to=datetime(2026, 3, 10, 6, tzinfo=UTC),
        ),
    )
    assert [(c.section, c.gob, round(c.probability, 3)) for c in trace.cavities] == [(1, "A", 0.5), (2, "B", 0.5)]
    assert "1A and 2B of K1 at the same time" in trace.impossible[0]


def test_the_contents_of_a_pallet_add_up_to_its_units(day_taken: Place, day_of_truth: Simulated) -> None:
    """Against the truth: the moulds' shares of a pallet within a tenth, the forming window about the true mean."""
    row = day_of_truth.feeds["pallets"].filter(pl.col("line") == "K1").row(20, named=True)
    with day_taken.opened.ledger.reading() as reader:
        contents = answer_contents(reader, day_taken.plant, row["pallet"])
    assert sum(p.units for p in contents.parts) == pytest.approx(row["units"], rel=0.02) and len(contents.parts) == 16
    assert {d.defect for d in contents.defects if d.severity == "critical"} == {"BSW", "SPK", "OVP", "SPF", "LGL"}
    assert (
        contents.formed_from is not None
        and contents.formed_to is not None
        and contents.formed_from < contents.formed_to < row["packed_from"]
    )
    assert [state["state"] for state in contents.states] == ["packed"]
    with day_taken.opened.ledger.reading() as reader, pytest.raises(WrongUse, match="nearest"):
        answer_contents(reader, day_taken.plant, row["pallet"][:-1])


def test_everything_a_mould_made_is_found(day_taken: Place, day_of_truth: Simulated) -> None:
    with day_taken.opened.ledger.reading() as reader:
        life = answer_mould(reader, day_taken.plant, "K1", "20")
        never = answer_mould(reader, day_taken.plant, "K1", "777")
    assert life.stays and life.stays[0].blank == "B20"
    truth = day_of_truth.truth["defects"].filter(
        (pl.col("line") == "K1") & (pl.col("mould") == "20") & pl.col("pallet").is_not_null()
    )
    begun = datetime(2026, 3, 10, 5, 10, tzinfo=UTC)  # pallets of the time before the counts began are not told
    packed = set(day_of_truth.feeds["pallets"].filter(pl.col("packed_from") > begun)["pallet"])
    assert set(truth["pallet"]) & packed <= {p["pallet"] for p in life.pallets}
    assert all(c["low"] <= c["rate"] <= c["high"] for c in life.calls)
    assert never.stays == () and "was not fitted on K1" in never.impossible[0]


def test_a_failed_challenge_lists_containers_and_pallets_in_doubt(place: Place) -> None:
    """By hand: 20 containers a minute at K1-mouth; good at 04:00, failed at 06:00, good again at 08:00: 240 minutes,
    4800 containers.
    """
    head = "window_start,line,station,mould,window_s,inspected,rejected\n"
    place.put(
        "station_counts.K1.csv",
        head
        + "".join(f"2026-03-10T{h:02d}:{m:02d}:00Z,K1,K1-mouth,,60,20,0\n" for h in range(3, 10) for m in range(60)),
    )
    place.put(
        "challenge_checks.K1.csv",
        "checked_at,line,station,defect,passes,caught\n"
        "2026-03-10T04:00:00Z,K1,K1-mouth,CHF,10,10\n2026-03-10T06:00:00Z,K1,K1-mouth,CHF,10,3\n"
        "2026-03-10T08:00:00Z,K1,K1-mouth,CHF,263,263\n",
    )
    place.put(
        "pallets.K1.csv",
        "pallet,line,item,packed_from,packed_to,units,state\n"
        "P0,K1,J370,2026-03-10T03:00:00Z,2026-03-10T03:50:00Z,1000,packed\n"
        "P1,K1,J370,2026-03-10T03:50:00Z,2026-03-10T05:00:00Z,1000,packed\n"
        "P2,K1,J370,2026-03-10T05:00:00Z,2026-03-10T06:00:00Z,1000,released\n"
        "P9,K1,J370,2026-03-10T09:00:00Z,2026-03-10T10:00:00Z,1000,packed\n",
    )
    place.take()
    with place.opened.ledger.reading() as reader:
        trust = answer_trust(
            reader, place.plant, Span(datetime(2026, 3, 10, 3, tzinfo=UTC), datetime(2026, 3, 10, 10, tzinfo=UTC)), "K1"
        )
    assert [(d.why, d.containers, d.pallets, d.released, d.units) for d in trust.doubts] == [
        ("failed", 4800, ("P2", "P1"), 1, 2000)
    ]
    assert any(text.startswith("K1-mouth: ") and "OVP" in text for text in trust.never)


def test_clopper_pearson_through_the_challenge_feed(place: Place) -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857, table I: 81 of 263, Clopper-Pearson 0.2527 to 0.3676."""
    place.put(
        "challenge_checks.K1.csv",
        "checked_at,line,station,defect,passes,caught\n2026-03-10T04:00:00Z,K1,K1-mouth,CHF,200,61\n"
        "2026-03-10T05:00:00Z,K1,K1-mouth,CHF,63,20\n",
    )
    place.take()
    at = datetime(2026, 3, 10, 4, tzinfo=UTC)
    with place.opened.ledger.reading() as reader:
        trust = answer_trust(reader, place.plant, Span(at, at + 4 * HOUR))
    assert (trust.rates[0].passes, trust.rates[0].caught) == (263, 81)
    assert (round(trust.rates[0].low, 4), round(trust.rates[0].high, 4)) == (0.2527, 0.3676)


def test_the_works_may_ask_more_of_a_challenge() -> None:
    plain = WORKS[: WORKS.index("[checks]")]
    more = '[checks]\nchallenge_hours = 4.0\nchallenge_must_catch = 1.0\n\n[sampling]\nlevel = "S-3"\naql_major = 1.0\n'
    assert read_plant(plain).checks.challenge_hours == 8.0
    plant = read_plant(plain + more)
    assert (plant.checks.challenge_hours, plant.sampling.level, plant.sampling.aql_minor) == (4.0, "S-3", 2.5)
    assert (plant.must_catch("CHS"), plant.must_catch("OVP")) == (1.0, 1.0)
    assert (read_plant(plain).must_catch("CHS"), read_plant(plain).must_catch("OVP")) == (0.8, 1.0)
    table = read_plant(plain + "[checks]\nchallenge_must_catch = { critical = 0.9, minor = 0.5 }\n")
    assert (table.must_catch("OVP"), table.must_catch("CHS"), table.must_catch("SED")) == (0.9, 0.8, 0.5)
    with pytest.raises(PlantError, match="challenge_must_catch"):
        read_plant(plain + "[checks]\nchallenge_must_catch = { critical = 1.1 }\n")


def test_a_year_without_a_mould_number_is_narrowed_and_said(day_taken: Place) -> None:
    from pipelines.answers.trace.question import LONGEST, AskedTrace, _narrowed

    asked = AskedTrace(Question(item="J370"))
    wide = Span(NOON - 400 * 24 * HOUR, NOON)
    span = _narrowed(day_taken.plant, asked, wide)
    assert (span.start, span.end) == (NOON - LONGEST, NOON) and "only the last 31 days" in asked.notes[0]
    assert _narrowed(day_taken.plant, AskedTrace(asked.question), span) == span


def test_a_number_that_was_read_but_never_logged_is_told(place: Place) -> None:
    head = "window_start,line,station,mould,window_s,inspected,rejected\n"
    place.put(
        "station_counts.K1.csv",
        head + "".join(f"2026-03-10T06:{m:02d}:00Z,K1,K1-side-a,20,60,5,0\n" for m in range(60)),
    )
    place.put(
        "mould_log.K1.csv", "fitted_at,line,section,gob,part,number,item\n2026-03-10T00:00:00Z,K1,2,B,mould,21,J370\n"
    )
    place.take()
    start = datetime(2026, 3, 10, 4, tzinfo=UTC)
    trace = traced(place, Question(line="K1", mould="20", made_from=start, made_to=start + 2 * HOUR))
    assert any("read mould 20 on" in text and "lacks its fitting" in text for text in trace.nearest), trace.nearest
    other = traced(place, Question(line="K1", mould="21", made_from=start, made_to=start + 2 * HOUR))
    assert other.pallets == () and any("no pallet was reported" in note for note in other.notes)


def test_of_a_critical_defect_the_whole_stay_since_the_last_good_challenge_is_told(place: Place) -> None:
    """By hand: lehr 92 min, K1-mouth 1.5 min behind the first station; good at 05:00, so ware formed from 03:26:30 on
    was never vouched for.
    """
    place.put(
        "mould_log.K1.csv", "fitted_at,line,section,gob,part,number,item\n2026-03-10T00:00:00Z,K1,1,A,mould,20,J370\n"
    )
    head = "window_start,line,station,mould,window_s,inspected,rejected\n"
    rows = [f"2026-03-10T{h:02d}:{m:02d}:00Z,K1,K1-side-a,20,60,10,0\n" for h in range(3, 12) for m in range(60)]
    place.put("station_counts.K1.csv", head + "".join(rows))
    place.put(
        "challenge_checks.K1.csv",
        "checked_at,line,station,defect,passes,caught\n"
        "2026-03-10T05:00:00Z,K1,K1-mouth,OVP,10,10\n2026-03-10T06:00:00Z,K1,K1-mouth,OVP,10,9\n",
    )
    place.put(
        "pallets.K1.csv",
        "pallet,line,item,packed_from,packed_to,units,state\n"
        "P0,K1,J370,2026-03-10T03:30:00Z,2026-03-10T04:30:00Z,600,released\n"
        "P1,K1,J370,2026-03-10T06:00:00Z,2026-03-10T07:00:00Z,600,released\n"
        "P2,K1,J370,2026-03-10T07:00:00Z,2026-03-10T08:00:00Z,600,packed\n",
    )
    place.take()
    start = datetime(2026, 3, 10, 5, tzinfo=UTC)
    asked = Question(line="K1", mould="20", defect="OVP", made_from=start, made_to=start + timedelta(minutes=20))
    stay = traced(place, asked).whole_stay
    assert stay is not None and stay.check == "challenge of K1-mouth, 10 of 10", (
        "nine of ten is no good challenge of a critical defect"
    )
    assert stay.from_ == datetime(2026, 3, 10, 3, 26, 30, tzinfo=UTC) and stay.to is None
    assert set(stay.pallets) == {"P1", "P2"} and (stay.units, stay.cleared) == (1200, 1)
    assert (
        traced(place, replace(asked, defect="CHF")).whole_stay is None
        or place.plant.defects["CHF"].severity == "critical"
    )
