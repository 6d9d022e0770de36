"""`coldledger weights` from feed files: its contract, and weighings that are odd in every way."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest
from typer.testing import CliRunner

from pipelines.answers.weights.answer import answer_weights
from pipelines.cli import app
from pipelines.clock import Span
from pipelines.errors import WrongUse
from pipelines.measures.laboratory.weight_sentences import glass_sentences, gob_sentences
from sample_feeds.simulator import Simulated
from schemas.answers.weights import Weights
from tests.conftest import WORKS, Place

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
HALF = timedelta(minutes=30)
DAY = Span(START, START + timedelta(days=1))
HEAD = "sampled_at,line,point,mould,sample,weight_g\n"
LOG = "fitted_at,line,section,gob,part,number\n"


def rows(many: list[tuple[int, str, float]], point: str = "cold", sample: int = 1) -> str:
    """Weighings of K1 by half hours after START."""
    return "".join(
        f"{(START + n * HALF).isoformat()},K1,{point},{mould},{sample},{grams}\n" for n, mould, grams in many
    )


def steady(moulds: str = "12", hours: float = 6) -> list[tuple[int, str, float]]:
    return [(n, mould, 182 + (n * 7 % 5) / 10) for n in range(int(hours * 2)) for mould in moulds]


def asked(place: Place, item: str | None = None, line: str = "K1") -> Weights:
    with place.opened.ledger.reading() as reader:
        return answer_weights(reader, place.plant, line, DAY, item)


def logs(place: Place, item: str = "J370", moulds: str = "12") -> None:
    place.put("job_log.K1.csv", f"started_at,line,job,item\n{(START - timedelta(days=9)).isoformat()},K1,J,{item}\n")
    fitted = "".join(
        f"{(START - timedelta(days=9)).isoformat()},K1,{n + 1},A,mould,{m}\n" for n, m in enumerate(moulds)
    )
    place.put("mould_log.K1.csv", LOG + fitted)


def test_the_contract(day_taken: Place, day_of_truth: Simulated) -> None:
    """The fields that the contract names, by the names it gives them; counts and means against the simulated feed."""
    span = day_taken.plant.clock.day(datetime(2026, 3, 10).date())
    with day_taken.opened.ledger.reading() as reader:
        row = answer_weights(reader, day_taken.plant, "K1", span).told()
    assert {"line", "from", "to", "item", "moulds", "components", "drift_g_per_day"} <= row.keys()
    assert {"mould", "n", "mean_g", "sd_g", "cp", "cpk", "cpk_low", "signals"} <= row["moulds"][0].keys()
    assert {"between_moulds_g2", "between_times_g2", "within_g2"} <= row["components"].keys()
    assert row["from"].endswith("Z") and json.dumps(row)
    true = day_of_truth.feeds["weight_checks"].filter(
        (day_of_truth.feeds["weight_checks"]["line"] == "K1") & (day_of_truth.feeds["weight_checks"]["point"] == "cold")
    )
    mine = true.filter(
        (true["sampled_at"] >= span.start)
        & (true["sampled_at"] < span.end)
        & (true["mould"] == row["moulds"][0]["mould"])
    )
    assert row["moulds"][0]["n"] == mine.height and row["moulds"][0]["mean_g"] == pytest.approx(mine["weight_g"].mean())
    assert row["components"]["within_g2"] == pytest.approx(0.25, rel=0.15), (
        "the simulated weighing has a standard deviation of 0.5 g"
    )


def test_giveaway_of_two_weighings_has_no_interval_and_says_why(place: Place) -> None:
    logs(place)
    place.put("weight_checks.K1.csv", HEAD + rows([(2, "1", 182.0), (4, "1", 183.0)]))
    packed = [(START + n * HALF).isoformat() for n in (2, 8)]
    place.put(
        "pallets.K1.csv",
        "pallet,line,item,packed_from,packed_to,units,state\n" + f"P-1,K1,J370,{packed[0]},{packed[1]},2000,packed\n",
    )
    place.take()
    weights = asked(place)
    assert weights.n == 2 and weights.giveaway_kg is not None and weights.giveaway_low is weights.giveaway_high is None
    giveaway = next(text for text in glass_sentences(weights) if text.startswith("Giveaway"))
    assert "no interval: 2 weighings are too few" in giveaway


def test_hot_weighings_stand_beside_cold_ones(day_taken: Place) -> None:
    """The invented first line's hot scale reads 0.4 g high."""
    span = day_taken.plant.clock.day(datetime(2026, 3, 10).date())
    with day_taken.opened.ledger.reading() as reader:
        weights = answer_weights(reader, day_taken.plant, "K1", span)
    assert weights.hot_cold is not None and weights.hot_cold.low is not None and weights.hot_cold.high is not None
    assert weights.hot_cold.low < 0.4 < weights.hot_cold.high and weights.hot_cold.low > 0
    assert {gob.point for gob in weights.gobs} == {"hot", "cold"}


def test_several_items_of_one_line_stand_apart(day_taken: Place) -> None:
    span = day_taken.plant.clock.day(datetime(2026, 3, 10).date())
    with day_taken.opened.ledger.reading() as reader:
        weights = answer_weights(reader, day_taken.plant, "K2", span)
        answer = answer_weights(reader, day_taken.plant, "K2", span, "P200")
    assert {weights.item, *(other.item for other in weights.others)} == {"P100", "P200", "P250"}
    assert answer.item == "P200" and answer.others == () and answer.nominal_g == 148


def test_an_item_without_limits_is_refused_its_capability(place: Place) -> None:
    place.site.works_toml.write_text(WORKS.replace("weight_min_g = 176.0\nweight_max_g = 188.0\n", "", 1))
    logs(place)
    place.put("weight_checks.a.csv", HEAD + rows(steady()))
    place.take()
    weights = asked(place)
    assert (
        all(m.cp is None and m.cpk is None and m.ppk is None for m in weights.moulds)
        and weights.outside == 0
        and weights.lowest_mean_g is None
    )
    assert any("gives J370 no weight limits" in note for note in weights.notes)


def test_one_limit_gives_cpk_and_no_cp(place: Place) -> None:
    place.site.works_toml.write_text(WORKS.replace("weight_max_g = 188.0\n", "", 1))
    logs(place)
    place.put("weight_checks.a.csv", HEAD + rows([*steady(), (11, "1", 170.0)]))
    place.take()
    weights = asked(place)
    assert all(m.cp is None and m.cpk is not None for m in weights.moulds) and weights.outside == 1
    assert any("one weight limit only" in note for note in weights.notes)


def test_without_a_log_there_is_no_item_and_it_says_so(place: Place) -> None:
    place.put("weight_checks.a.csv", HEAD + rows(steady()))
    place.take()
    weights = asked(place)
    assert weights.item is None and weights.n == 24 and weights.nominal_g is None and weights.giveaway_kg is None
    assert any("no job or mould log tells which item" in note for note in weights.notes)
    assert any("in no mould log: 1, 2" in note for note in weights.notes) and weights.gobs == ()


def test_a_mould_changed_in_mid_day_is_two_moulds_in_one_cavity(place: Place) -> None:
    """Mould 2 leaves cavity 2A at 09:00 (forming), mould 3 takes its place: ware of 2 is met for a lehr time more, and
    a weighing of it long after is doubted.
    """
    logs(place)
    changed = START + timedelta(hours=2)
    place.put("mould_log.later.csv", LOG + f"{changed.isoformat()},K1,2,A,mould,3\n")
    before = [(n, "2", 182.0 + n % 2) for n in range(7)]
    after = [(n, "3", 185.0 + n % 2) for n in range(7, 14)]
    place.put("weight_checks.a.csv", HEAD + rows([*steady("1", 7), *before, *after, (13, "2", 182.0)]))
    place.take()
    mould_weights = {m.mould: m for m in asked(place).moulds}
    assert mould_weights["2"].cavities == mould_weights["3"].cavities == ("2A",)
    assert (mould_weights["2"].n, mould_weights["3"].n) == (8, 7) and mould_weights["3"].mean_g > 185
    assert any("after the log says they were taken out: 2" in note for note in asked(place).notes)


def test_a_mould_moved_to_another_cavity_names_both(place: Place) -> None:
    logs(place)
    place.put("mould_log.later.csv", LOG + f"{(START + timedelta(hours=2)).isoformat()},K1,7,B,mould,2\n")
    place.put("weight_checks.a.csv", HEAD + rows(steady(hours=8)))
    place.take()
    mould_weights = {m.mould: m for m in asked(place).moulds}
    assert set(mould_weights["2"].cavities) == {"2A", "7B"} and mould_weights["2"].n == 16


def test_weighings_sent_twice_and_corrected_ones_count_once(place: Place) -> None:
    logs(place)
    place.put("weight_checks.a.csv", HEAD + rows(steady()))
    place.take()
    first = asked(place)
    place.put("weight_checks.again.csv", HEAD + rows(steady()))
    place.put("weight_checks.more.csv", HEAD + rows([(3, "1", 190.0)]))
    place.take()
    weights = asked(place)
    assert weights.n == first.n == 24 and weights.outside == 1 and max(m.greatest_g for m in weights.moulds) == 190.0


def test_samples_of_unequal_number_and_missing_moulds(place: Place) -> None:
    logs(place)
    second = [(n, m, g + 0.2) for n, m, g in steady() if n % 3 == 0]
    place.put(
        "weight_checks.a.csv",
        HEAD + rows([r for r in steady() if r[:2] not in ((2, "1"), (5, "2"))]) + rows(second, sample=2),
    )
    place.take()
    weights = asked(place)
    assert weights.n == 24 - 2 + 8 and all(
        m.cpk is not None and m.cpk_low is not None and m.cpk_low < m.cpk for m in weights.moulds
    )


def test_hot_weighings_alone_are_taken_and_said(place: Place) -> None:
    logs(place)
    place.put("weight_checks.a.csv", HEAD + rows(steady(), point="hot"))
    place.take()
    weights = asked(place)
    assert weights.point == "hot" and weights.n == 24 and any("these are hot ones" in note for note in weights.notes)


def test_no_weighing_is_an_answer(place: Place) -> None:
    logs(place)
    place.take()
    weights = asked(place)
    assert (weights.n, weights.moulds, weights.item) == (0, (), None) and "no weighing came" in weights.notes[0]
    assert "no weighing of P100 came" in asked(place, "P100").notes[0]


def test_what_is_not_there_is_refused(place: Place) -> None:
    logs(place)
    place.take()
    with pytest.raises(WrongUse, match="no line 'K9'"):
        asked(place, line="K9")
    with pytest.raises(WrongUse, match="no item 'X'"):
        asked(place, "X")


def test_all_gob_positions_together_point_at_the_scale_or_the_glass(new_place: Callable[[], Place]) -> None:
    """From the sixth hour on every weighing reads 3 g more: no gob is blamed alone."""
    place = new_place()
    place.put("job_log.K1.csv", f"started_at,line,job,item\n{(START - timedelta(days=9)).isoformat()},K1,J,J370\n")
    places = [(s, g) for s in range(1, 9) for g in "AB"]
    fitted = "".join(
        f"{(START - timedelta(days=9)).isoformat()},K1,{s},{g},mould,{n}\n" for n, (s, g) in enumerate(places, start=1)
    )
    place.put("mould_log.K1.csv", LOG + fitted)
    weights = [
        (n, str(m), 182 + m % 3 + (n * m * 7 % 11) / 10 + (3 if n > 12 else 0))
        for n in range(-90, 30)
        for m in range(1, 17)
    ]
    place.put("weight_checks.a.csv", HEAD + rows(weights))
    place.take()
    answer = asked(place)
    assert [gob.gob for gob in answer.gobs if gob.drifting] == ["A", "B"]
    assert all(gob.correction_g is not None and gob.correction_g == pytest.approx(-3, abs=0.3) for gob in answer.gobs)
    assert any("weigh a mass standard" in note for note in answer.notes)


def drifting_gob(place: Place, hot_g: float, cold_g: float) -> Weights:
    """Gob position A grows from the sixth hour on, by these grams at either scale; both gobs are weighed at both."""
    logs_of_gobs(place)
    for point, grown in (("hot", hot_g), ("cold", cold_g)):
        weights = [
            (n, str(m), 182 + m % 3 + (n * m * 7 % 11) / 10 + (grown if n > 12 and m % 2 else 0))
            for n in range(-90, 40)
            for m in range(1, 17)
        ]
        place.put(f"weight_checks.{point}.csv", HEAD + rows(weights, point))
    place.take()
    return asked(place)


def logs_of_gobs(place: Place) -> None:
    """Moulds 1 to 16 of J370, the odd ones in gob position A."""
    start = (START - timedelta(days=9)).isoformat()
    place.put("job_log.K1.csv", f"started_at,line,job,item\n{start},K1,J,J370\n")
    places = [(s, g) for s in range(1, 9) for g in "AB"]
    place.put(
        "mould_log.K1.csv", LOG + "".join(f"{start},K1,{s},{g},mould,{n}\n" for n, (s, g) in enumerate(places, start=1))
    )


def test_hot_and_cold_weighings_make_one_correction(new_place: Callable[[], Place]) -> None:
    """Both scales see gob A 2 g heavier: one correction of about -2 g, narrower than either alone, the same wherever it
    stands.
    """
    place = new_place()
    weights = drifting_gob(place, 2.0, 2.0)
    feeder_correction = weights.feeder[0]
    assert (
        len(weights.feeder) == 1
        and feeder_correction.gob == "A"
        and feeder_correction.agree
        and {w.point for w in feeder_correction.weighed} == {"hot", "cold"}
    )
    assert (
        feeder_correction.correction_g == pytest.approx(-2, abs=0.25)
        and feeder_correction.correction_low is not None
        and feeder_correction.correction_high is not None
    )
    assert feeder_correction.correction_low < -2 + 0.1 and feeder_correction.correction_high > -2 - 0.1
    assert {gob.correction_g for gob in weights.gobs if gob.drifting} == {feeder_correction.correction_g}
    widest = [182 * (w.high - w.low) / 100 for w in feeder_correction.weighed]
    assert feeder_correction.correction_high - feeder_correction.correction_low < min(widest)
    said = [text for text in gob_sentences(place.plant, weights) if "Correction at the feeder" in text]
    assert len(said) == 1 and "cold and hot weighings of J370 together" in said[0]


def test_scales_that_disagree_give_no_correction(new_place: Callable[[], Place]) -> None:
    place = new_place()
    weights = drifting_gob(place, 0.0, 2.0)
    feeder_correction = weights.feeder[0]
    assert not feeder_correction.agree and feeder_correction.correction_g is None and feeder_correction.chance < 0.01
    assert all(gob.correction_g is None for gob in weights.gobs)
    said = " ".join(gob_sentences(place.plant, weights))
    assert "no correction is told" in said and "mass standard" in said and "Correction at the feeder" not in said


@pytest.mark.parametrize(
    ("format", "says"), [("table", "Correction"), ("csv", "line,item,point,mould"), ("json", '"drift_g_per_day"')]
)
def test_the_command_in_every_format(format: str, says: str, day_taken: Place) -> None:
    args = [
        "weights",
        "--site",
        str(day_taken.site.root),
        "--line",
        "K4",
        "--from",
        "2026-03-10T06:00",
        "--to",
        "2026-03-11T06:00",
        "--format",
        format,
    ]
    done = CliRunner().invoke(app, args)
    assert done.exit_code == 0, done.output
    assert says in done.output or (format == "table" and "A mould is called beyond" in done.output)
    if format == "csv":
        assert len({len(line.split(",")) for line in done.output.splitlines() if '"' not in line}) == 1
