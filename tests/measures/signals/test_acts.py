"""What to act on: a furnace's lines together, the greatest loss first."""

from __future__ import annotations

from datetime import timedelta

from pipelines.measures.signals.acts import acts, of_one_cause
from schemas.answers.signals import Signal
from tests.reports.test_signal_words import AT, signal

HOUR = timedelta(hours=1)


def of_furnace(line: str, lost: float, onset: int = 0, **row: object) -> Signal:
    at = AT + onset * timedelta(minutes=1)
    moments = {"onset": at, "onset_low": at, "onset_high": at, "formed": at - 1.5 * HOUR}
    row = {"id": f"{line}-STN", "line": line, "scope": "furnace", "members": ("K1", "K2"), **moments, **row}
    return signal(lost_per_hour=lost, **row)


def test_a_furnaces_lines_are_one_thing_to_act_on() -> None:
    """62 and 22 lost an hour on two lines of one furnace: 84, as the sum says; begun where it was first seen."""
    first, second = of_furnace("K1", 62, 9), of_furnace("K2", 22)
    alone = signal(
        id="K3-SUN", line="K3", furnace="F2", defect="SUN", scope="section", members=("4",), lost_per_hour=70
    )
    other = of_furnace("K4", 5, furnace="F2", id="K4-STN")
    found = acts([second, alone, other, first])
    losses = [(act.first.id, round(act.lost_per_hour)) for act in found]
    assert losses == [("K1-STN", 84), ("K3-SUN", 70), ("K4-STN", 5)]
    assert found[0].earliest.onset == AT and found[0].lost == 2 * (40 - 12)
    assert round(found[0].in_the_lehr) == round(84 * 1.5), "an hour and a half of it is still in the lehr"


def test_what_is_over_has_only_passed_or_is_a_single_call_asks_for_nobody() -> None:
    over = signal(id="a", ended=AT + HOUR)
    passed, call = signal(id="b", passed=True), signal(id="c", kind="critical call", expected=None)
    assert acts([over, passed, call]) == []


def test_it_is_seen_when_it_was_seen_on_every_line() -> None:
    seen = {"acknowledged_by": "S. Shift", "acknowledged_at": AT}
    both = [of_furnace("K1", 62, **seen), of_furnace("K2", 22, **seen)]
    assert acts(both)[0].seen is not None
    assert acts([both[0], of_furnace("K2", 22)])[0].seen is None


def test_only_the_furnaces_own_open_signals_of_that_defect_are_of_one_cause() -> None:
    first, second = of_furnace("K1", 62), of_furnace("K2", 22)
    others = [first, second, of_furnace("K2", 3, id="x", defect="CRD"), of_furnace("K4", 3, id="y", furnace="F2")]
    others += [of_furnace("K2", 1, id="z", ended=AT + HOUR), signal(id="w", line="K2")]
    assert [other.id for other in of_one_cause(first, others)] == ["K2-STN"]
    assert of_one_cause(signal(id="w"), [signal(id="v")]) == []
