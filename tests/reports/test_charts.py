"""Each chart is a valid declaration, draws its data, and takes its colours from the page."""

from __future__ import annotations

import pytest

from pipelines.reports import charts

BARS = [
    {"label": "B one", "value": 3, "shown": "3", "kind": "critical", "expected": None, "top": 3},
    {"label": "A two", "value": 9, "shown": "9", "kind": "minor", "expected": 12.0, "top": 12.0},
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
    ids=lambda one: getattr(one, "__name__", ""),
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
