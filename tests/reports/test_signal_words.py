"""A place that is not sure says so, on the page and in the terminal, in both languages."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from pipelines.pages.texts import texts
from pipelines.plant.works import Plant
from pipelines.reports.signals import place_words, sureness
from pipelines.reports.terminal.signals import _words
from schemas.answers.signals import Signal

AT = datetime(2026, 3, 2, 9, tzinfo=UTC)


def signal(**row: object) -> Signal:
    usual: dict[str, object] = {
        "id": "K1-STN-1",
        "kind": "excess",
        "line": "K1",
        "furnace": "F1",
        "defect": "STN",
        "name": "stone",
        "severity": "major",
        "scope": "station",
        "members": ("K1-side-a",),
        "raised": AT,
        "onset": AT,
        "onset_low": AT,
        "onset_high": AT,
        "formed": AT,
        "formed_low": AT,
        "formed_high": AT,
        "calls": 40,
        "expected": 12.0,
        "ware": 9000.0,
        "rate_before": 0.001,
        "rate_after": 0.004,
        "lost_per_hour": 8.0,
        "q": 1e-5,
        "probability": 0.52,
        "scopes": {"station": 0.52, "line": 0.46, "mould": 0.02},
    }
    return Signal.model_validate(usual | row)


def test_an_undecided_place_says_between_what(plant: Plant) -> None:
    this_signal = signal(undecided=True)
    assert sureness(this_signal) == "undecided: station 52 %; else line 46 %"
    assert "undecided between it and line 46 %" in _words(plant, this_signal)
    assert texts("de").say(sureness(this_signal)) == "unentschieden: Prüfstation 52 %; sonst Linie 46 %"


@pytest.mark.parametrize(("p", "doubt"), [(0.95, ""), (0.7, "a guess")])
def test_a_decided_place_is_a_guess_or_not(p: float, doubt: str) -> None:
    assert signal(probability=p).doubt == doubt


def test_a_station_that_finds_less_is_named_with_what_it_does(plant: Plant) -> None:
    words = place_words(plant, signal(blinded=True))
    assert words == "station K1-side-a lets pass what it found before"
    assert texts("de").say(words) == "Station K1-side-a lässt durch, was sie bisher fand"
    assert place_words(plant, signal()) == "station K1-side-a alone"
