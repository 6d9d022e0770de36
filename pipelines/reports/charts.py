"""Charts, declared with Altair and rendered to SVG. Colours are the page's own variables, so that dark mode and print work."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

import altair as alt
import vl_convert
from altair.utils.schemapi import debug_mode

# Colours that stand for variables of the style sheet until the SVG is written into a page.
INK, MUTED, GRID = "#010101", "#020202", "#030303"
CRITICAL, MAJOR, MINOR, ACCENT, BACK = "#040404", "#050505", "#060606", "#070707", "#080808"
_VARIABLES = {
    INK: "ink", MUTED: "muted", GRID: "grid", CRITICAL: "critical", MAJOR: "major", MINOR: "minor", ACCENT: "accent", BACK: "paper",
}  # fmt: skip
SEVERITY_COLOURS = {"critical": CRITICAL, "major": MAJOR, "minor": MINOR}
_CONFIG = {
    "background": None,
    "font": "sans-serif",
    "view": {"stroke": None},
    "axis": {"labelColor": INK, "titleColor": MUTED, "gridColor": GRID, "domainColor": MUTED, "tickColor": MUTED, "labelFontSize": 12,
             "titleFontSize": 12, "titleFontWeight": "normal", "labelLimit": 220},
    "legend": {"labelColor": INK, "titleColor": MUTED, "labelFontSize": 12, "titleFontSize": 12, "orient": "top"},
    "header": {"labelColor": INK, "titleColor": MUTED, "labelFontSize": 12},
    "text": {"color": INK, "fontSize": 12},
}  # fmt: skip


def svg(draw: Callable[..., alt.LayerChart | alt.Chart], label: str, *data: Any) -> str:
    """The chart that `draw` declares of `data` as an SVG for a page, named by `label` for those who cannot see it.

    Altair's own validation of every channel is left to the tests: it would take most of a page's time.
    """
    with debug_mode(False):
        spec = draw(*data).to_dict()
    spec["config"] = _CONFIG
    text = vl_convert.vegalite_to_svg(spec)
    for sentinel, name in _VARIABLES.items():
        text = text.replace(f'"{sentinel}"', f'"var(--{name})"')
    words = label.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    return re.sub(r"<svg ", f'<svg role="img" aria-label="{words}" ', text, count=1)


def _data(rows: Sequence[dict[str, Any]]) -> alt.Data:
    return alt.Data(values=list(rows))


def bars(rows: Sequence[dict[str, Any]], unit: str, width: int = 330) -> alt.LayerChart:
    """Horizontal bars: rows of label, value, shown (its text), kind (severity), expected or None (a tick)."""
    order = [row["label"] for row in rows]
    colours = alt.Scale(domain=list(SEVERITY_COLOURS), range=list(SEVERITY_COLOURS.values()))
    base = alt.Chart(_data(rows)).encode(y=alt.Y("label:N", sort=order, title=None))
    bar = base.mark_bar(height={"band": 0.7}).encode(
        x=alt.X("value:Q", title=unit, axis=alt.Axis(tickMinStep=1, tickCount=5)),
        color=alt.Color("kind:N", scale=colours, legend=None),
    )
    ends = base.mark_text(align="left", dx=4).encode(x=alt.X("top:Q"), text="shown:N")
    expected = [row for row in rows if row.get("expected") is not None]
    ticks = (
        alt.Chart(_data(expected))
        .mark_tick(color=INK, thickness=3, size=16)
        .encode(y=alt.Y("label:N", sort=order), x="expected:Q")
    )
    return alt.layer(bar, ticks, ends).properties(width=width, height=alt.Step(22))


def trend(rows: Sequence[dict[str, Any]], title: str, width: int = 380, height: int = 150) -> alt.LayerChart:
    """A rate by hour: rows of label (in order), rate [%], low, high, now (bool)."""
    order = [row["label"] for row in rows]
    x = alt.X("label:O", sort=order, title=None, axis=alt.Axis(labelAngle=-45))
    base = alt.Chart(_data(rows)).encode(x=x)
    rule = base.mark_rule(color=MUTED).encode(y=alt.Y("low:Q", title=title, scale=alt.Scale(zero=True)), y2="high:Q")
    line = base.mark_line(color=MAJOR, strokeWidth=2).encode(y="rate:Q")
    point = base.mark_point(size=60, filled=True, opacity=1).encode(
        y="rate:Q",
        color=alt.condition(alt.datum.now, alt.value(CRITICAL), alt.value(MAJOR)),
        shape=alt.condition(alt.datum.now, alt.value("diamond"), alt.value("circle")),
    )
    return alt.layer(rule, line, point).properties(width=width, height=height)


def loss_bars(rows: Sequence[dict[str, Any]], unit: str, width: int = 300) -> alt.LayerChart:
    """Losses by step: rows of label, value, shown, measured. Unaccounted steps are outlined, not filled."""
    order = [row["label"] for row in rows]
    base = alt.Chart(_data(rows)).encode(y=alt.Y("label:N", sort=order, title=None), x=alt.X("value:Q", title=unit))
    bar = base.mark_bar(stroke=INK, strokeWidth=1.2, height={"band": 0.7}).encode(
        color=alt.condition(alt.datum.measured, alt.value(MAJOR), alt.value("transparent")),
        strokeDash=alt.condition(alt.datum.measured, alt.value([1, 0]), alt.value([4, 3])),
    )
    ends = base.mark_text(align="left", dx=4).encode(x=alt.X("top:Q"), text="shown:N")
    zero = alt.Chart(_data([{"at": 0}])).mark_rule(color=INK).encode(x="at:Q")
    return alt.layer(bar, zero, ends).properties(width=width, height=alt.Step(22))


def weight_dots(rows: Sequence[dict[str, Any]], limits: Sequence[float], width: int = 380) -> alt.LayerChart:
    """Mean weight a mould with its least and greatest weighing: rows of label, mean, low, high. Limits as dashed rules."""
    order = [row["label"] for row in rows]
    y = alt.Y("label:N", sort=order, title="mould")
    base = alt.Chart(_data(rows)).encode(y=y)
    span = base.mark_rule(color=MUTED, strokeWidth=2).encode(x=alt.X("low:Q", title="g", scale=alt.Scale(zero=False)), x2="high:Q")
    dot = base.mark_point(filled=True, size=50, color=MAJOR, opacity=1).encode(x="mean:Q")
    bounds = alt.Chart(_data([{"at": at} for at in limits])).mark_rule(color=CRITICAL, strokeDash=[5, 4], strokeWidth=2).encode(x="at:Q")
    return alt.layer(bounds, span, dot).properties(width=width, height=alt.Step(15))


def columns(rows: Sequence[dict[str, Any]], title: str, width: int = 420, height: int = 130) -> alt.Chart:
    """Counts in time: rows of label (in order) and value."""
    order = [row["label"] for row in rows]
    x = alt.X("label:O", sort=order, title=None, axis=alt.Axis(labelAngle=-45, labelOverlap=True))
    y = alt.Y("value:Q", title=title, axis=alt.Axis(tickMinStep=1, tickCount=4))
    return alt.Chart(_data(rows)).mark_bar(color=MAJOR).encode(x=x, y=y).properties(width=width, height=height)
