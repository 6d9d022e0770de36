"""Charts of weights, density and capacity."""

from __future__ import annotations

import altair as alt

from pipelines.reports.frame.charts import (
    ACCENT,
    CRITICAL,
    GRID,
    INK,
    MAJOR,
    MOULD,
    MOULD_BY_GOB,
    MUTED,
    WEIGHT,
    Chart,
)

_ROWS = alt.NamedData(name="rows")
_LIMITS = alt.NamedData(name="limits")
_IN_ORDER = alt.EncodingSortField(field="order", op="min", order="ascending")
_KINDS = ["steady", "with gob", "called"]


def glance() -> Chart:
    """All moulds of a line: rows of label, gob, mean, low, high, kind (steady, with gob, called), mark (the label of a
    called one), address; `limits` of at, dashed and solid.

    A called mould is a large diamond with its number, one that moves with its gob a triangle, so that no colour is
    needed; each mould leads to its chart.
    """
    x = alt.X(
        "label:O",
        sort=_IN_ORDER,
        title=MOULD_BY_GOB,
        axis=alt.Axis(labelAngle=-90, labelOverlap=False, titlePadding=14),
    )
    base = alt.Chart(_ROWS).encode(x=x)
    span = base.mark_rule(strokeWidth=2).encode(
        y=alt.Y("low:Q", title=WEIGHT, scale=alt.Scale(zero=False)),
        y2="high:Q",
        color=alt.Color("kind:N", scale=alt.Scale(domain=_KINDS, range=[MUTED, MUTED, CRITICAL]), legend=None),
    )
    dot = base.mark_point(filled=True, opacity=1).encode(
        y="mean:Q",
        href="address:N",
        shape=alt.Shape(
            "kind:N", scale=alt.Scale(domain=_KINDS, range=["circle", "triangle-up", "diamond"]), legend=None
        ),
        size=alt.Size("kind:N", scale=alt.Scale(domain=_KINDS, range=[55, 110, 260]), legend=None),
        color=alt.Color("kind:N", scale=alt.Scale(domain=_KINDS, range=[MAJOR, ACCENT, CRITICAL]), legend=None),
    )
    name = base.mark_text(dy=-10, fontSize=15, fontWeight="bold", color=INK).encode(y="high:Q", text="mark:N")
    limit = (
        alt.Chart(_LIMITS)
        .mark_rule(strokeWidth=2)
        .encode(
            y="at:Q",
            color=alt.value(CRITICAL),
            strokeDash=alt.StrokeDash(
                "kind:N", scale=alt.Scale(domain=["limit", "nominal"], range=[[6, 4], [1, 0]]), legend=None
            ),
            opacity=alt.Opacity("kind:N", scale=alt.Scale(domain=["limit", "nominal"], range=[1, 0.35]), legend=None),
        )
    )
    layers = alt.layer(limit, span, dot, name).resolve_scale(color="independent")
    return layers.properties(width=alt.Step(26), height=240)


def _track(unit: str, height: int, field: str, low: str, high: str, centre: str, ticks: int, clock: bool) -> Chart:
    axis = alt.Axis(format="%H:%M", tickCount=4, grid=False, labels=clock, ticks=clock)
    base = alt.Chart(_ROWS).encode(x=alt.X("at:T", title=None, axis=axis))
    scale = alt.Scale(zero=False, nice=False, padding=6)
    y = alt.Y(f"{field}:Q", title=unit, scale=scale, axis=alt.Axis(tickCount=ticks))
    known = base.transform_filter(f"isValid(datum.{field})")
    line = known.mark_line(color=MAJOR, strokeWidth=1.5).encode(y=y)
    limits = [
        base.mark_line(color=MUTED, strokeDash=[4, 4], interpolate="step").encode(y=f"{name}:Q") for name in (low, high)
    ]
    middle = base.mark_line(color=MUTED, strokeWidth=1).encode(y=f"{centre}:Q")
    out = known.transform_filter(f"datum.{field} > datum.{high} || datum.{field} < datum.{low}")
    marks = out.mark_point(filled=True, size=70, shape="diamond", color=CRITICAL, opacity=1).encode(y=y)
    return alt.layer(*limits, middle, line, marks).properties(width=300, height=height)


def control(unit: str, spread: str) -> Chart:
    """A mould's X-bar chart over its spread: rows of at (ms, the works' clock), mean, low, high, centre, spread,
    spread_low, spread_high, spread_centre.
    """
    above = _track(unit, 96, "mean", "low", "high", "centre", 3, False)
    return alt.vconcat(
        above, _track(spread, 46, "spread", "spread_low", "spread_high", "spread_centre", 2, True), spacing=6
    )  # type: ignore[return-value]


def drifts(unit: str) -> Chart:
    """Gob positions in time: rows of at (ms), gob (in words), value, average, from and to (limits of the average); a
    small chart a gob position.
    """
    base = alt.Chart().encode(
        x=alt.X(
            "at:T",
            title=None,
            axis=alt.Axis(format="%d. %H:%M", tickCount=4, labelSeparation=24, labelOverlap="greedy", grid=False),
        )
    )
    points = base.mark_point(size=14, color=MUTED).encode(y=alt.Y("value:Q", title=unit, scale=alt.Scale(zero=True)))
    line = base.mark_line(color=MAJOR, strokeWidth=2.5).encode(y="average:Q")
    limits = [base.mark_line(color=CRITICAL, strokeDash=[5, 4]).encode(y=f"{name}:Q") for name in ("from", "to")]
    layers = alt.layer(*limits, points, line).properties(width=310, height=130)
    return layers.facet(facet=alt.Facet("gob:N", title=None), columns=2, data=_ROWS)


def densities(unit: str) -> Chart:
    """Density readings in time: rows of at (ms), value, today (bool), and limits low, high, centre or None."""
    base = alt.Chart(_ROWS).encode(x=alt.X("at:T", title=None, axis=alt.Axis(format="%m-%d", tickCount=8, grid=False)))
    y = alt.Y("value:Q", title=unit, scale=alt.Scale(zero=False), axis=alt.Axis(format=".4f", tickCount=5))
    line = base.mark_line(color=GRID, strokeWidth=1.5).encode(y=y)
    dot = base.mark_point(filled=True, opacity=1).encode(
        y=y,
        size=alt.condition(alt.datum.today, alt.value(130), alt.value(40)),
        color=alt.condition(alt.datum.today, alt.value(CRITICAL), alt.value(MAJOR)),
        shape=alt.condition(alt.datum.today, alt.value("diamond"), alt.value("circle")),
    )
    limits = [
        base.transform_filter("datum.low != null").mark_line(color=MUTED, strokeDash=[4, 4]).encode(y=f"{name}:Q")
        for name in ("low", "high")
    ]
    step = (
        alt.Chart(alt.NamedData(name="steps"))
        .mark_rule(color=ACCENT, strokeWidth=2, strokeDash=[2, 3])
        .encode(x="at:T")
    )
    return alt.layer(*limits, line, dot, step).properties(width=620, height=200)


def capacities(unit: str) -> Chart:
    """Capacity by mould: rows of label, value (checked, or None), mean, low, high (inferred, or None), kind (steady,
    called); `limits` of at, dashed.
    """
    x = alt.X(
        "label:O", sort=_IN_ORDER, title=MOULD, axis=alt.Axis(labelAngle=-90, labelOverlap=False, titlePadding=14)
    )
    base = alt.Chart(_ROWS).encode(x=x)
    scale = alt.Scale(zero=False)
    span = (
        base.transform_filter("datum.low != null")
        .mark_rule(color=MAJOR, strokeWidth=3)
        .encode(y=alt.Y("low:Q", title=unit, scale=scale), y2="high:Q")
    )
    now = (
        base.transform_filter("datum.mean != null")
        .mark_point(filled=True, opacity=1)
        .encode(
            y="mean:Q",
            shape=alt.Shape(
                "kind:N", scale=alt.Scale(domain=_KINDS, range=["circle", "triangle-up", "diamond"]), legend=None
            ),
            size=alt.Size("kind:N", scale=alt.Scale(domain=_KINDS, range=[45, 45, 220]), legend=None),
            color=alt.Color("kind:N", scale=alt.Scale(domain=_KINDS, range=[MAJOR, ACCENT, CRITICAL]), legend=None),
        )
    )
    check = base.transform_filter("datum.value != null").mark_tick(color=INK, thickness=2, size=16).encode(y="value:Q")
    limit = alt.Chart(_LIMITS).mark_rule(color=CRITICAL, strokeDash=[6, 4], strokeWidth=2).encode(y="at:Q")
    return alt.layer(limit, span, now, check).properties(width=alt.Step(24), height=190)
