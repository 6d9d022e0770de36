"""Minutes of long ago rolled into hours: what was answered by them, and what the archive gives back."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from pipelines.answers.pareto import answer_pareto
from pipelines.answers.trace.answer import answer_trace
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.jobs.check import check_site
from pipelines.jobs.from_archive import rebuild_from_archive
from pipelines.jobs.rollup import days_to_roll
from pipelines.ledger.keeping import roll_day
from pipelines.settings import Settings
from sample_feeds.simulator import Simulated, write_feeds
from tests.conftest import HEAD, NOW, Place
from tests.shared import Shared


@pytest.fixture
def rolled(day_of_truth: Simulated, shared: Shared, tmp_path: Path) -> tuple[Place, dict[str, object]]:
    """The simulated day taken in, asked, and rolled into hours."""

    def make(root: Path) -> dict[str, object]:
        place = Place(root)
        write_feeds(day_of_truth, place.site.inbox, dirty=False)
        place.take()
        day = place.plant.clock.day(date(2026, 3, 10))
        before = asked(place)
        done = roll_day(place.opened.ledger, date(2026, 3, 10), day.start, day.end, NOW)
        return {"before": before, "rows": (done.before, done.after)}

    root, row = shared.made("rolled", make)
    return Place.at(root).copied(tmp_path / "rolled"), row


def asked(place: Place) -> dict[str, object]:
    plant, day = place.plant, place.plant.clock.day(date(2026, 3, 10))
    hour = Span(day.start + timedelta(hours=5), day.start + timedelta(hours=6))
    with place.opened.ledger.reading() as reader:
        paretos = {
            (line, by): [
                (r.key, r.calls, round(r.rate or 0, 9)) for r in answer_pareto(reader, plant, line, span, by).rows
            ]
            for line in plant.lines
            for by in ("defect", "mould", "station")
            for span in (Span(day.start, day.end), hour)
        }
    return {"paretos": paretos, "trace": traced(place)}


def traced(place: Place) -> tuple[list[tuple[object, ...]], float, float]:
    from pipelines.answers.trace.question import Question

    day = place.plant.clock.day(date(2026, 3, 10))
    with place.opened.ledger.reading() as reader:
        mould = reader.ask("mould_spans_of_line", line="K1", from_time=day.start, to_time=day.end)["number"][0]
        start, end = day.start + timedelta(hours=4), day.start + timedelta(hours=8)
        question = Question(line="K1", mould=mould, made_from=start, made_to=end, defect="BSW")
        trace = answer_trace(reader, place.plant, question)
    cavities = [(c.line, c.section, c.gob, c.mould) for c in trace.cavities]
    units = sum(p.mould_units or 0 for p in trace.pallets)
    return cavities, float(len(trace.pallets)), float(units)


def test_paretos_of_whole_hours_are_the_same_after_the_minutes_were_rolled(
    rolled: tuple[Place, dict[str, object]],
) -> None:
    place, row = rolled
    before, after = row["before"], asked(place)
    assert before["paretos"] == after["paretos"]  # type: ignore[index]
    rows = row["rows"]
    assert rows[1] < rows[0] / 10  # type: ignore[index]


def test_a_trace_is_still_right_after_the_minutes_were_rolled(rolled: tuple[Place, dict[str, object]]) -> None:
    place, row = rolled
    cavities, pallets, units = row["before"]["trace"]  # type: ignore[index]
    again = traced(place)
    assert again[0] == cavities, "the same cavity, first and only"
    assert abs(again[1] - pallets) <= 2 and again[2] == pytest.approx(units, rel=0.03)


def test_a_rolled_ledger_is_whole_and_refuses_minutes_of_then(rolled: tuple[Place, dict[str, object]]) -> None:
    place, _ = rolled
    assert check_site(place.opened, rows=True).whole
    place.put(
        "station_counts.late.csv",
        HEAD + "2026-03-10T12:00:00Z,K1,K1-side-a,11,60,12,1\n2026-03-20T12:00:00Z,K1,K1-side-a,11,60,12,1\n",
    )
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (1, 1)
    assert ("station_counts.late.csv", 2, "window_start", "minutes_rolled") in place.refusals()


def test_the_archive_gives_the_minutes_back(rolled: tuple[Place, dict[str, object]]) -> None:
    place, row = rolled
    rebuild_from_archive(place.opened)
    again = asked(place)
    assert again == row["before"]


def test_only_closed_days_are_rolled_in_order_and_not_before_their_time(
    rolled: tuple[Place, dict[str, object]],
) -> None:
    place, _ = rolled
    with pytest.raises(WrongUse, match="60 days"):
        days_to_roll(place.opened, date(2026, 3, 20))
    place.settings = Settings(fixed_now=NOW + timedelta(days=120), lock_wait_s=5)
    assert days_to_roll(place.opened, date(2026, 5, 1)) == [], "none of the later days was closed"


def test_as_known_before_the_minutes_were_rolled_their_hours_stand_for_them(
    rolled: tuple[Place, dict[str, object]],
) -> None:
    place, _ = rolled
    day = place.plant.clock.day(date(2026, 3, 10))
    with place.opened.ledger.reading(NOW - timedelta(days=1)) as reader:
        assert answer_pareto(reader, place.plant, "K1", Span(day.start, day.end)).ware > 0
