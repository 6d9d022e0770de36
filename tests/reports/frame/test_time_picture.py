"""The time picture: each mark under its own clock, only the excess coloured, words that never lie over each other."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.clock import Span
from pipelines.reports.frame.time_marks import GLYPHS, SIGN, Mark, placed
from pipelines.reports.frame.time_picture import DESK, PHONE, MarkedOnset, PictureWords, TimePicture, Track, drawn

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
LEHR = timedelta(minutes=90)
HOUR = timedelta(hours=1)
NAN = float("nan")
WIDTH = DESK.width - DESK.right - DESK.left


def track(values: list[float], beyond: list[float] | None = None, expected: float = 4.0) -> Track:
    n = len(values)
    return Track("Calls", ("K1, per 30 min",), 1800, values, [expected] * n, [1.0] * n, [8.0] * n, beyond or [0.0] * n)


def picture(**more: object) -> TimePicture:
    given: dict[str, object] = {
        "name": "K1 in time",
        "span": Span(START, START + 12 * HOUR),
        "lehr": LEHR,
        "tracks": (track([4.0] * 24),),
        "marks": (),
        "words": PictureWords(
            "cold end", "formed", "90 min before", "no ware", "no counts", ("in the", "lehr"), "now 18:06"
        ),
        "local": lambda moment: moment,
    }
    return TimePicture(**{**given, **more})  # type: ignore[arg-type]


def parts(svg: str) -> list[ElementTree.Element]:
    """The two pictures, as a parser of XML reads them."""
    return list(ElementTree.fromstring(f"<both>{svg}</both>"))


def texts(element: ElementTree.Element) -> dict[str, float]:
    """Every text and its x."""
    return {text.text or "": float(text.attrib["x"]) for text in element.iter("text")}


def test_what_stands_under_a_count_was_made_then() -> None:
    """09:00 of the forming clock stands where 10:30 of the cold end's would."""
    for element, layout in zip(parts(drawn(picture())), (DESK, PHONE), strict=True):
        svg = ElementTree.tostring(element, encoding="unicode")
        x = {
            text: float(at) for at, text in re.findall(r'x="([\d.]+)" y="[\d.]+" text-anchor="middle">(\d\d:00)<', svg)
        }
        an_hour = (layout.width - layout.right - layout.left) / 12
        names = [name for name in x if name != "06:00"]
        assert names, svg[:500]
        both = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" text-anchor="middle">12:00<', svg)
        (above, high), (below, low) = sorted(both, key=lambda pair: float(pair[1]))
        assert float(high) < float(low)
        assert float(below) - float(above) == pytest.approx(1.5 * an_hour, abs=0.2)


def test_marks_stand_on_their_own_clock() -> None:
    at = START + 6 * HOUR
    marks = (Mark(at, "challenge", "at the cold end", cold_end=True), Mark(at, "fitted", "at the machine"))
    wide = parts(drawn(picture(marks=marks)))[0]
    groups = [g.attrib["transform"] for g in wide.iter("g")]
    cold, formed = (float(re.findall(r"\(([\d.]+)", text)[0]) for text in groups)
    an_hour = (DESK.width - DESK.right - DESK.left) / 12
    assert formed - cold == pytest.approx(1.5 * an_hour, abs=0.2), "made 90 minutes before it is seen"
    height = {text.text: float(text.attrib["y"]) for text in wide.iter("text")}
    assert height["at the cold end"] < height["cold end"] < height["formed"] < height["at the machine"]


def test_only_the_excess_is_coloured() -> None:
    values = [9.0] * 20 + [12.0] * 4
    plain = parts(drawn(picture(tracks=(track(values),))))[0]
    assert not [path for path in plain.iter("path") if path.attrib["class"] == "beyond"], "high bars are no signal"
    lit = parts(drawn(picture(tracks=(track(values, [0.0] * 20 + [8.0] * 4),))))[0]
    (path,) = [path for path in lit.iter("path") if path.attrib["class"] == "beyond"]
    ends = [float(x) for x in re.findall(r"[MH]([\d.]+)", path.attrib["d"])]
    assert min(ends) == pytest.approx(DESK.left + 20 / 24 * WIDTH, abs=0.2), "from the first bin that lies above"
    assert max(ends) == pytest.approx(DESK.left + WIDTH, abs=0.2)
    heights = [float(y) for y in re.findall(r"V([\d.]+)", path.attrib["d"])]
    assert max(heights) - min(heights) == pytest.approx(8 / 20 * DESK.track, abs=1.1), "8 of a scale that ends at 20"


def test_what_is_unknown_is_not_drawn_as_nothing() -> None:
    """A bin without counts has no bar, no band and no expectation; one with no call has its band."""
    some = Track(
        "Calls",
        (),
        1800,
        [3.0, NAN, 0.0, 5.0],
        [2.0, NAN, 2.0, 2.0],
        [0.0, NAN, 0.0, 0.0],
        [5.0, NAN, 5.0, 5.0],
        [0.0] * 4,
    )
    wide = parts(drawn(picture(span=Span(START, START + 2 * HOUR), tracks=(some,))))[0]
    kinds = [path.attrib["class"] for path in wide.iter("path")]
    assert kinds.count("band") == 2 and kinds.count("expected") == 2, "one on each side of the hole"
    (bars,) = [path.attrib["d"] for path in wide.iter("path") if path.attrib["class"] == "plain"]
    starts = [float(x) for x in re.findall(r"M([\d.]+)", bars)]
    assert starts == pytest.approx([DESK.left, DESK.left + 3 / 4 * WIDTH], abs=0.2), "no bar where none was called"


def test_a_live_picture_shows_what_nobody_has_seen_yet() -> None:
    now = START + 12 * HOUR + timedelta(minutes=6)
    live = picture(now=now)
    assert live.end == now + LEHR
    wide = parts(drawn(live))[0]
    (unseen,) = [rect for rect in wide.iter("rect") if rect.attrib["class"] == "unseen"]
    seconds = (live.end - START).total_seconds()
    width = DESK.width - DESK.right - DESK.left
    assert float(unseen.attrib["width"]) == pytest.approx(LEHR.total_seconds() / seconds * width, abs=0.3)
    assert {"now 18:06", "18:06", "in the", "lehr"} <= texts(wide).keys(), "formed now: at the axis' end"
    past = parts(drawn(picture()))[0]
    assert not [rect for rect in past.iter("rect") if rect.attrib["class"] == "unseen"]


def test_an_onset_outside_the_window_stays_inside_the_picture() -> None:
    before = MarkedOnset(START - HOUR, START - 2 * HOUR, START - HOUR / 2, "onset 05:00 (04:00 to 05:30)")
    for element, layout in zip(parts(drawn(picture(onset=before))), (DESK, PHONE), strict=True):
        (circle,) = element.iter("circle")
        assert layout.left <= float(circle.attrib["cx"]) <= layout.width


def test_text_is_text() -> None:
    """Names of a works are written as such, whatever they hold."""
    marks = (Mark(START + HOUR, "fitted", '<b>"mould" & 4</b>'),)
    wide = parts(drawn(picture(name='K<1> & "2"', marks=marks)))[0]
    assert wide.attrib["aria-label"] == 'K<1> & "2"'
    assert '<b>"mould" & 4</b>' in texts(wide)


WORDS = st.text("abcdefg 0123", min_size=1, max_size=40)
MARKS = st.lists(st.tuples(st.floats(100, 1100), WORDS, st.booleans()), max_size=60)


@given(MARKS)
def test_no_words_lie_over_other_words_and_no_mark_is_lost(marks: list[tuple[float, str, bool]]) -> None:
    given_marks = [(x, Mark(START, "fitted", words, bad=bad)) for x, words, bad in marks]
    rows = placed(given_marks, 100, 1100, 7.5, 3)
    assert len(rows) <= 3
    assert sorted(id(mark) for row in rows for *_, mark in row) == sorted(id(mark) for _, mark in given_marks)
    for row in rows:
        spans = []
        for _, words_x, anchor, mark in row:
            room = len(mark.words) * 7.5
            if anchor:
                spans.append((words_x, words_x + room) if anchor == "start" else (words_x - room, words_x))
        assert all(first[1] <= second[0] for first, second in pairwise(sorted(spans)))
        assert all(low >= 100 - SIGN and high <= 1100 + SIGN for low, high in spans)


def test_what_is_bad_finds_room_first() -> None:
    marks = [(500.0 + n, Mark(START, "challenge", "challenge, 20 of 20", True)) for n in range(5)]
    marks.append((500.0, Mark(START, "missed", "1 of 20 not caught", True, bad=True)))
    rows = placed(marks, 100, 1100, 7.5, 1)
    with_words = [mark.words for row in rows for _, _, anchor, mark in row if anchor]
    assert "1 of 20 not caught" in with_words


def test_every_kind_of_mark_has_a_sign_of_its_own() -> None:
    assert len(set(GLYPHS.values())) == len(GLYPHS)
    for sign in GLYPHS.values():
        ElementTree.fromstring(sign)
