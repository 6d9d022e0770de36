"""Each chart is a valid declaration, draws its data, and takes its colours from the page."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from itertools import pairwise

import pytest

from pipelines.reports.frame import charts
from pipelines.reports.laboratory import charts as charts_laboratory

BARS = [
    {"label": "B one", "value": 3, "plain": 3, "shown": "3", "expected": None, "top": 3},
    {"label": "A two", "value": 9, "plain": 9, "shown": "9", "expected": 12.0, "top": 12.0},
]
TREND = [
    {"label": "06:00", "rate": 2.0, "low": 1.5, "high": 2.5, "now": False},
    {"label": "07:00", "rate": 4.0, "low": 3.0, "high": 5.0, "now": True},
]
FALL = [
    {"label": "melted", "low": 0.0, "high": 9.0, "shown": "9 kg", "kind": "stock", "top": 9.0},
    {"label": "unseen", "low": 8.0, "high": 9.0, "shown": "−1 kg", "kind": "unaccounted", "top": 9.0},
]
DOTS = [{"label": "11", "mean": 182.0, "low": 181.0, "high": 183.5}]


@pytest.mark.parametrize(
    ("draw", "rows", "more", "words"),
    [
        (charts.bars, BARS, {}, ["B one", "A two", ">9<"]),
        (charts.trend, TREND, {}, ["06:00", "07:00"]),
        (charts.waterfall, FALL, {}, ["melted", "−1 kg", 'stroke-dasharray="4,3"']),
        (charts.weight_dots, DOTS, {"limits": [{"at": 176.0}, {"at": 188.0}]}, [">11<"]),
        (charts.columns, [{"label": "x", "value": 2}], {}, [">x<"]),
    ],
    ids=lambda answer: getattr(answer, "__name__", ""),
)
def test_a_chart_is_valid_and_drawn(draw, rows, more, words) -> None:  # type: ignore[no-untyped-def]
    draw("unit").to_dict()  # Altair checks the declaration against the schema of Vega-Lite
    text = charts.svg(draw, 'a "label" & more', rows, "unit", **more)
    assert text.startswith('<svg role="img" aria-label="a &quot;label&quot; &amp; more"')
    assert all(word in text for word in words) and "var(--ink)" in text
    assert not [sentinel for sentinel in charts._VARIABLES if f'"{sentinel}"' in text]


def test_bars_stand_in_the_order_given() -> None:
    text = charts.svg(charts.bars, "order", BARS, "calls")
    assert text.index("B one") < text.index("A two")


LABEL, TIME = 185.5, 57.5  # px that Chromium gives the texts below in DejaVu Sans at 12 px


def test_a_long_label_has_room_for_letters_wider_than_it_was_measured_with() -> None:
    label = "LGL loose glass inside (critical)"
    row = {"label": label, "value": 2, "plain": 2, "shown": "2", "expected": None, "top": 2}
    text = charts.svg(charts.bars, "x", [row], "calls")
    left = float(re.findall(r"translate\(([\d.]+),", text)[0])
    assert left - 7 >= LABEL


@pytest.mark.parametrize("first", [0, 2], ids=["from a tick", "from between two"])
def test_times_under_gob_positions_do_not_lie_over_each_other(first: int) -> None:
    at = datetime(2026, 3, 3, 18, tzinfo=UTC).timestamp() * 1000
    rows = [
        {"at": at + n * 3_600_000.0, "gob": gob, "value": 0.1 * (n % 3), "average": 0.05, "from": -0.3, "to": 0.3}
        for gob in "AB"
        for n in range(first, 36)
    ]
    text = charts.svg(charts_laboratory.drifts, "x", rows, "g")
    places = [
        float(found[1]) for found in re.finditer(r"<text[^>]*translate\(([\d.]+),\d+\)[^>]*>\d\d\. \d\d:\d\d<", text)
    ]
    gaps = [late - early for early, late in pairwise(places) if late > early]
    assert len(gaps) >= 4 and min(gaps) > TIME + 4
