"""Charts, declared with Altair and rendered to SVG. Colours are the page's own variables, so that dark mode and print
work.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import cache
from html import unescape
from typing import Any

import altair as alt
import vl_convert

from pipelines.numbers import marks
from pipelines.words import Drawing, Message, say

Chart = alt.LayerChart | alt.FacetChart | alt.Chart

# Colours that stand for variables of the style sheet until the SVG is written into a page.
INK, MUTED, GRID = "#010101", "#020202", "#030303"
CRITICAL, MAJOR, MINOR, ACCENT, BACK = "#040404", "#050505", "#060606", "#070707", "#080808"
_VARIABLES = {
    INK: "ink",
    MUTED: "muted",
    GRID: "grid",
    CRITICAL: "critical",
    MAJOR: "major",
    MINOR: "minor",
    ACCENT: "accent",
    BACK: "paper",
}
MOULD, ACCEPTED = say("mould"), say("accepted, % of lots")
MOULD_BY_GOB, WEIGHT, GOB = say("mould, by gob position"), say("weight, g"), say("gob")
OWN_WORDS = (MOULD, ACCEPTED, MOULD_BY_GOB, WEIGHT)  # that charts say of themselves
_CONFIG: dict[str, Any] = {
    "background": None,
    "font": "sans-serif",
    "view": {"stroke": None},
    "axis": {
        "labelColor": INK,
        "titleColor": MUTED,
        "gridColor": GRID,
        "domainColor": MUTED,
        "tickColor": MUTED,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "labelLimit": 220,
    },
    "legend": {"labelColor": INK, "titleColor": MUTED, "labelFontSize": 12, "titleFontSize": 12, "orient": "top"},
    "header": {"labelColor": INK, "titleColor": MUTED, "labelFontSize": 12},
    "text": {"color": INK, "fontSize": 12},
}


PHONE_WIDTH = {"bars": 90, "waterfall": 60, "control": 190}  # px beside long labels; other charts have more room
PHONE_LETTERS = 15


def _config(phone: bool) -> dict[str, Any]:
    """Letters for a desk, or as large as a phone asks."""
    if not phone:
        return _CONFIG
    size = {"labelFontSize": PHONE_LETTERS, "titleFontSize": PHONE_LETTERS}
    return {
        **_CONFIG,
        "axis": {**_CONFIG["axis"], **size, "labelLimit": 400},
        "legend": {**_CONFIG["legend"], **size},
        "header": {**_CONFIG["header"], **size},
        "text": {**_CONFIG["text"], "fontSize": PHONE_LETTERS},
    }


def svg(
    draw: Callable[..., Chart],
    label: str,
    rows: Sequence[dict[str, Any]],
    *texts: str,
    **more: list[dict[str, Any]],
) -> Drawing:
    """The chart that `draw` declares, with its data, as an SVG for a page, named by `label` for those who cannot see
    it.

    rows: the chart's data in the order of its axis; `more`: further named data. A chart is declared once and then only
    given other data, because a declaration takes longer than the drawing. It is drawn in English; the messages among
    its texts go with it.
    """
    numbered = [{**row, "order": number} for number, row in enumerate(rows)]
    values = {"rows": numbered, **more}
    named = "".join(_drawn(draw, label, texts, values, phone) for phone in (False, True))
    cells = (cell for each in (rows, *more.values()) for row in each for cell in row.values())
    drawn = [unescape(found) for found in re.findall(r">([^<]+)</text>", named)]
    short = tuple(text[:-1] for text in drawn if text.endswith("…"))
    return Drawing(
        named,
        (
            said
            for said in (label, *texts, *OWN_WORDS, *cells)
            if isinstance(said, Message) and (said is label or said in drawn or (short and said.startswith(short)))
        ),
    )


def _drawn(
    draw: Callable[..., Chart], label: str, texts: tuple[str, ...], values: dict[str, list[dict[str, Any]]], phone: bool
) -> str:
    """The chart once, for a desk or with the letters and the width of a phone; the style sheet shows one of the two."""
    spec = _declared(draw, texts, tuple(values), phone)
    data = [{**each, "values": values[each["name"]]} if each["name"] in values else each for each in spec["data"]]
    text = vl_convert.vega_to_svg({**spec, "data": data}, format_locale=_number_marks())
    for sentinel, name in _VARIABLES.items():
        text = text.replace(f'"{sentinel}"', f'"var(--{name})"')
    words = label.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
    role = "group" if "<a " in text else "img"
    wide = re.search(r'<svg[^>]*? width="([\d.]+)"', text)
    own = f' style="--own:{float(wide[1]) / 16:.2f}rem"' if wide else ""  # pages enlarge a small chart only so far
    kind = f' class="chart-{"phone" if phone else "desk"}"'
    return re.sub(r"<svg ", f'<svg role="{role}" aria-label="{words}"{kind}{own} ', _lean(text), count=1)


def _number_marks() -> dict[str, Any]:
    """How an axis writes numbers: as the page does."""
    decimal, thousands = marks()
    return {"decimal": decimal, "thousands": thousands, "grouping": [3], "currency": ["", ""]}


_NOT_SEEN = (
    r'<path class="(?:background|foreground)"[^>]*?(?:display="none"|d="M0,0h0v0h0Z")[^>]*?/>',
    r'<text[^>]*? opacity="0"[^>]*?>[^<]*</text>',
    # the chart as a whole has a name; its parts are no graphics of their own
    r' (?:aria-[a-z]+|role|class|pointer-events)="[^"]*"',
    r' opacity="1"',
)


_LONG = re.compile(r"\d+\.\d{3,}(?:e-?\d+)?")


def _lean(text: str) -> str:
    """The same picture in fewer bytes: nothing that is not drawn, no digits beyond a hundredth of a pixel. Links lead
    within the page, and stay out of the keyboard's way: tables hold the same.
    """
    for pattern in _NOT_SEEN:
        text = re.sub(pattern, "", text)
    text = re.sub(r'<a xlink:href="[^"#]*(#[^"]*)"[^>]*>', r'<a href="\1" tabindex="-1" aria-hidden="true">', text)
    return re.sub(r"<[^>]+>", lambda tag: _LONG.sub(lambda found: f"{float(found[0]):.2f}", tag[0]), text)


@cache
def _declared(
    draw: Callable[..., Chart], texts: tuple[str, ...], names: tuple[str, ...], phone: bool
) -> dict[str, Any]:
    """The chart compiled once, with data sets of these names still empty."""
    chart = draw(*texts).to_dict()
    if phone:
        for part in (chart, chart.get("spec", {})):
            if isinstance(part.get("width"), int | float):
                part["width"] = min(part["width"], PHONE_WIDTH.get(draw.__name__, 235))
    spec = {**chart, "config": _config(phone), "datasets": {name: [] for name in names}}
    compiled: dict[str, Any] = vl_convert.vegalite_to_vega(spec)
    return compiled


_ROWS = alt.NamedData(name="rows")
_WHOLE = alt.Axis(
    tickCount=5, labelExpr="datum.value % 1 == 0 ? format(datum.value, ',d') : ''"
)  # counts have no halves
_WIDER = {
    "left": 34,
    "top": 5,
    "right": 12,
    "bottom": 5,
}  # a reader's letters are wider than those that labels are measured with
_BARE = alt.Axis(labels=False, ticks=False, grid=False, titlePadding=2)  # each bar carries its number
_TIMES = alt.Axis(labelAngle=0, labelOverlap=True, labelSeparation=7)
_BEYOND = "datum.to != null && datum.rate > datum.to"
_IN_ORDER = alt.EncodingSortField(field="order", op="min", order="ascending")


def bars(unit: str) -> Chart:
    """Horizontal bars: rows of label, value, plain (how much of it is not filled strongly), shown (its text), top
    (where the text stands), expected or None (a tick).
    """
    base = alt.Chart(_ROWS).encode(y=alt.Y("label:N", sort=_IN_ORDER, title=None))
    bar = base.mark_bar(height={"band": 0.7}, color=MINOR).encode(x=alt.X("plain:Q", title=unit, axis=_BARE))
    lit = (
        base.transform_filter("datum.plain < datum.value")
        .mark_bar(height={"band": 0.7}, color=MAJOR)
        .encode(x="plain:Q", x2="value:Q")
    )
    ticks = (
        base.transform_filter("datum.expected != null")
        .mark_tick(color=INK, thickness=3, size=14)
        .encode(x="expected:Q")
    )
    ends = base.mark_text(align="left", dx=4).encode(x="top:Q", text="shown:N")
    return alt.layer(bar, lit, ticks, ends).properties(width=190, height=alt.Step(18), padding=_WIDER)


def trend(title: str) -> Chart:
    """A rate by hour: rows of label, rate [%], low, high, now (bool), and limits from and to (None where there are
    none).
    """
    base = alt.Chart(_ROWS).encode(x=alt.X("label:O", sort=_IN_ORDER, title=None, axis=_TIMES))
    rule = base.mark_rule(color=MUTED).encode(
        y=alt.Y("low:Q", title=title, scale=alt.Scale(zero=True), axis=alt.Axis(tickCount=4)), y2="high:Q"
    )
    line = base.mark_line(color=MINOR, strokeWidth=2).encode(y="rate:Q")
    point = base.mark_point(size=60, filled=True, opacity=1).encode(
        y="rate:Q",
        color=alt.condition(_BEYOND, alt.value(MAJOR), alt.value(INK)),
        shape=alt.condition(alt.datum.now, alt.value("diamond"), alt.value("circle")),
    )
    dashed = base.transform_filter("datum.to != null").mark_line(color=MUTED, strokeDash=[4, 4], interpolate="step")
    return alt.layer(dashed.encode(y="from:Q"), dashed.encode(y="to:Q"), rule, line, point).properties(
        width=380, height=112
    )


def waterfall(unit: str) -> Chart:
    """From what came in to what went out, bar under bar: rows of label, low, high, shown, top, kind. Dark bars are what
    is there, light ones were counted as lost, dashed empty ones no meter names; the figures stand beside them, so that
    no colour is needed.
    """
    kinds = ["stock", "counted", "unaccounted", "kept"]
    fills = alt.Scale(domain=kinds, range=[MAJOR, GRID, "transparent", BACK])
    dashes = alt.Scale(domain=kinds, range=[[1, 0], [1, 0], [4, 3], [1, 2]])
    base = alt.Chart(_ROWS).encode(y=alt.Y("label:N", sort=_IN_ORDER, title=None))
    bar = base.mark_bar(stroke=INK, strokeWidth=1.2, height={"band": 0.72}).encode(
        x=alt.X("low:Q", title=unit, axis=alt.Axis(tickCount=4, grid=False), scale=alt.Scale(zero=False, nice=False)),
        x2="high:Q",
        color=alt.Color("kind:N", scale=fills, legend=None),
        strokeDash=alt.StrokeDash("kind:N", scale=dashes, legend=None),
    )
    ends = base.mark_text(align="left", dx=4).encode(x="top:Q", text="shown:N")
    return alt.layer(bar, ends).properties(
        width=250, height=alt.Step(24), padding=_WIDER
    )  # with that room no wider than before


def weight_dots(unit: str) -> Chart:
    """Mean weight a mould with its least and greatest weighing: rows of label, mean, low, high; `limits` of at,
    dashed.
    """
    base = alt.Chart(_ROWS).encode(y=alt.Y("label:N", sort=_IN_ORDER, title=MOULD))
    span = base.mark_rule(color=MUTED, strokeWidth=2).encode(
        x=alt.X("low:Q", title=unit, scale=alt.Scale(zero=False)), x2="high:Q"
    )
    dot = base.mark_point(filled=True, size=50, color=MAJOR, opacity=1).encode(x="mean:Q")
    limits = (
        alt.Chart(alt.NamedData(name="limits"))
        .mark_rule(color=CRITICAL, strokeDash=[5, 4], strokeWidth=2)
        .encode(x="at:Q")
    )
    return alt.layer(limits, span, dot).properties(width=320, height=alt.Step(16))


def columns(title: str) -> Chart:
    """Counts in time: rows of label and value."""
    x = alt.X("label:O", sort=_IN_ORDER, title=None, axis=alt.Axis(labelAngle=-45, labelOverlap=True))
    y = alt.Y("value:Q", title=title, axis=_WHOLE)
    return alt.Chart(_ROWS).mark_bar(color=MAJOR).encode(x=x, y=y).properties(width=340, height=130)


def acceptance(title: str) -> Chart:
    """Operating characteristics: rows of plan, share [% nonconforming] and accepted [%]; a line a plan, told apart by
    its dashes and named in a legend;
    `limits` of at, dashed."""
    x = alt.X("share:Q", title=title)
    line = (
        alt.Chart(_ROWS)
        .mark_line(color=MAJOR, strokeWidth=2)
        .encode(
            x=x,
            y=alt.Y("accepted:Q", title=ACCEPTED, scale=alt.Scale(domain=[0, 100])),
            strokeDash=alt.StrokeDash(
                "plan:N", title=None, sort=None, legend=alt.Legend(symbolSize=400, labelLimit=300, direction="vertical")
            ),
        )
    )
    rule = alt.Chart(alt.NamedData(name="limits")).mark_rule(color=CRITICAL, strokeDash=[2, 3]).encode(x="at:Q")
    return alt.layer(line, rule).properties(width=330, height=170)
