"""A works that throws ware out for no fault of its own, and puts some on again, answers as the same works that does
neither.

The truth is the works itself: one simulated day of two lines taken in as it is, and once more with calls of other kinds
and re-fed ware added to its counts. Nothing of what the ware was is changed by that, so no rate, signal, doubt or
escape may be.
"""

from __future__ import annotations

from datetime import date, timedelta

import polars as pl
import pytest

from pipelines.answers.hour import answer_hour
from pipelines.answers.moulds import answer_moulds
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.signals import answer_signals
from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.contents import answer_contents, answer_mould
from pipelines.answers.trace.question import Question
from pipelines.answers.trace.trust import answer_trust
from pipelines.answers.yields.answer import answer_yield
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.ledger.reader import Reader
from pipelines.measures.pareto.hour_figures import pulse
from pipelines.measures.pareto.ranking import DIMENSIONS
from pipelines.reports.hour import hour_page
from sample_feeds.simulator import Simulated
from sample_feeds.simulator.write import encode
from schemas.answers.pareto import Pareto
from tests.conftest import WORKS, Place
from tests.measures.pareto.test_kinds import ADDED

DAY = date(2026, 3, 10)
FEEDS = (
    "station_counts",
    "reject_counts",
    "forming_counts",
    "mould_log",
    "job_log",
    "stoppages",
    "pallets",
    "challenge_checks",
    "weight_checks",
    "melt_log",
)
LINE, FIRST, OTHER = "K1", "K1-side-a", "K1-side-b"
MOULD = "20"  # rejected by its number at the first station all day


def written(place: Place, feeds: dict[str, pl.DataFrame]) -> Place:
    for name in FEEDS:
        frame = feeds[name]
        mine = frame.filter(pl.col("line").is_in(["K1", "K2"])) if "line" in frame.columns else frame
        (place.site.inbox / f"{name}.all.parquet").write_bytes(encode(mine, "parquet", "UTC"))
    report = place.take()
    assert (report.rows_refused, report.files_refused, report.messages) == (0, 0, [])
    return place


def disturbed(feeds: dict[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """At the first station of K1: of a mould all that is good is thrown out by its number, of all others one container
    in 20 min is diverted or taken as a sample; and every tenth window two containers go through again, at every station
    of the line.
    """
    counts, calls = feeds["station_counts"], feeds["reject_counts"]
    minute = pl.col("window_start").dt.epoch("s") // 60
    here = pl.col("station").is_in([FIRST, OTHER])
    good = pl.col("inspected") - pl.col("rejected")
    code = (
        pl.when(pl.col("mould") == MOULD)
        .then(pl.lit("MRJ"))
        .when(minute % 40 == 0)
        .then(pl.lit("DIV"))
        .when(minute % 40 == 20)
        .then(pl.lit("SMP"))
    )
    thrown = (
        pl.when(here & code.is_not_null())
        .then(
            good
            if MOULD is None
            else pl.when(pl.col("mould") == MOULD).then(good).otherwise(pl.min_horizontal(good, 1))
        )
        .otherwise(0)
    )
    frame = counts.with_columns(code=code, thrown=thrown)
    more = frame.filter(pl.col("thrown") > 0).select(
        "window_start",
        "line",
        "station",
        "mould",
        pl.col("code").alias("defect"),
        "window_s",
        pl.col("thrown").alias("rejected"),
    )
    again = pl.when((pl.col("line") == LINE) & (minute % 10 == 0)).then(2).otherwise(0)
    frame = frame.with_columns(rejected=pl.col("rejected") + pl.col("thrown"), refed=again)
    frame = frame.with_columns(inspected=pl.col("inspected") + pl.col("refed")).drop("code", "thrown")
    return feeds | {"station_counts": frame, "reject_counts": pl.concat([calls, more.select(calls.columns)])}


@pytest.fixture(scope="module")
def both(day_of_truth: Simulated, tmp_path_factory: pytest.TempPathFactory) -> tuple[Place, Place]:
    plain = Place(tmp_path_factory.mktemp("plain") / "site", WORKS + ADDED)
    other = Place(tmp_path_factory.mktemp("disturbed") / "site", WORKS + ADDED)
    return written(plain, day_of_truth.feeds), written(other, disturbed(day_of_truth.feeds))


def day_of(place: Place) -> Span:
    return place.plant.clock.day(DAY)


def paretos(reader: Reader, place: Place) -> dict[str, Pareto]:
    return {by: answer_pareto(reader, place.plant, LINE, day_of(place), by) for by in DIMENSIONS}


def test_the_two_works_differ_by_what_was_added(both: tuple[Place, Place]) -> None:
    plain, other = (place.facts("station_counts") for place in both)
    assert other["refed"].sum() > 1_000 and plain["refed"].null_count() == plain.height
    assert other["rejected"].sum() - plain["rejected"].sum() > 2_000


def test_paretos_of_faults_are_the_same_and_the_rest_stands_apart(both: tuple[Place, Place]) -> None:
    found = []
    for place in both:
        with place.opened.ledger.reading() as reader:
            found.append(paretos(reader, place))
    plain, other = found
    for by in DIMENSIONS:
        assert other[by].rows == plain[by].rows and (other[by].ware, other[by].calls) == (
            plain[by].ware,
            plain[by].calls,
        )
        assert other[by].rejected_for_faults == plain[by].rejected and other[by].refed > 0
    assert {each.kind for each in other["defect"].apart} == {"mould_rejection", "sample", "diverted"}
    assert {each.key for each in other["mould"].apart if each.kind == "mould_rejection"} == {MOULD}


def test_signals_expectations_and_the_hour_are_the_same(both: tuple[Place, Place]) -> None:
    found = []
    for place in both:
        with place.opened.ledger.reading() as reader:
            day = day_of(place)
            signals = answer_signals(reader, place.plant, Span(day.start, day.end), LINE)
            expected = reader.ask("expected_of_line", line=LINE, from_time=day.start, to_time=day.end)
            span = Span(day.start + timedelta(hours=15), day.start + timedelta(hours=16))
            hour = answer_hour(reader, place.plant, LINE, span)
            page = hour_page(reader, place.plant, LINE, span)
            calls, ware = (reader.ask(n, line=LINE, from_time=span.start, to_time=span.end) for n in ("calls", "ware"))
            beat = pulse(place.plant, LINE, 3600, calls, ware, expected)
            cavities = answer_moulds(reader, place.plant, LINE, span).cavities
        found.append(
            (
                [s.told() for s in signals],
                expected,
                hour.trend,
                hour.coverage,
                page.figures,
                beat.share,
                beat.q,
                cavities,
            )
        )
    (signals, expected, trend, coverage, *rest), (signals2, expected2, trend2, coverage2, *rest2) = found
    assert signals == signals2 and rest == rest2
    assert expected.equals(expected2) and trend.equals(trend2) and coverage.equals(coverage2)


def test_trust_escapes_and_pallets_are_the_same(both: tuple[Place, Place]) -> None:
    """What was put on again goes onto the pallets too and moves the time to the pallet by a trifle: expectations to
    half a percent.
    """
    found, expected = [], []
    for place in both:
        with place.opened.ledger.reading() as reader:
            day = day_of(place)
            noon = day.start + timedelta(hours=7)
            hours = {"made_from": noon - timedelta(hours=2), "made_to": noon + timedelta(hours=2)}
            trace = answer_trace(reader, place.plant, Question(line=LINE, mould="14", defect="CHS", **hours))
            trust = answer_trust(reader, place.plant, day, LINE)
            contents = answer_contents(reader, place.plant, trace.pallets[0].pallet)
        evidence = {name: trace.evidence[name] for name in ("calls", "ware_of_mould", "minutes", "detection")}
        rows = [
            {k: v for k, v in row.items() if "batch" not in k and k != "file_line"} for row in evidence.pop("minutes")
        ]
        called = [(d.defect, d.calls) for d in contents.defects]
        found.append(
            ([c.mould for c in trace.cavities], [p.pallet for p in trace.pallets], evidence, rows, trust.told(), called)
        )
        defective = [
            trace.expected_defective,
            *(p.expected_defective for p in trace.pallets),
            *(d.expected or 0.0 for d in contents.defects),
        ]
        expected.append((defective, [p.mould_units for p in trace.pallets]))
    (defective, units), (defective2, units2) = expected
    assert found[0] == found[1] and defective[0] > 0
    assert defective2 == pytest.approx(defective, rel=5e-3, abs=1e-4) and units2 == pytest.approx(units, abs=0.3)


def test_the_mould_that_is_rejected_by_its_number_says_so_without_a_rate(both: tuple[Place, Place]) -> None:
    with both[1].opened.ledger.reading() as reader:
        life = answer_mould(reader, both[1].plant, LINE, MOULD)
        with pytest.raises(WrongUse, match="no fault of the ware"):
            answer_trace(reader, both[1].plant, Question(line=LINE, mould=MOULD, defect="MRJ"))
    last = life.calls[-1]
    assert (last["defect"], last["kind"], last["rate"], last["low"]) == ("MRJ", "mould_rejection", None, None)
    assert all(call["kind"] == "fault" and call["rate"] for call in life.calls[:-1])


def test_the_yield_names_each_loss_and_counts_new_ware(both: tuple[Place, Place]) -> None:
    found = []
    for place in both:
        with place.opened.ledger.reading() as reader:
            found.append(next(line for line in answer_yield(reader, place.plant, DAY, line=LINE).lines))
    plain, other = found
    assert other.inspected == plain.inspected
    kinds = {
        kind: sum(c.units for c in other.causes if c.kind == kind)
        for kind in ("rejected by mould number", "samples", "diverted")
    }
    thrown = both[1].facts("reject_counts").filter(pl.col("line") == LINE)
    for kind, code in (("rejected by mould number", "MRJ"), ("samples", "SMP"), ("diverted", "DIV")):
        assert kinds[kind] == pytest.approx(thrown.filter(pl.col("defect") == code)["rejected"].sum(), rel=0.05)
    assert other.rejected_apart == pytest.approx(sum(kinds.values()), abs=1) and plain.rejected_apart == 0
    assert any("went through it again" in note for note in other.notes)
