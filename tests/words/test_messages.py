"""A message is its English sentence, and keeps what it was made of wherever a page goes."""

from __future__ import annotations

import copy
import json
import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from pipelines.answers.site_marks import SiteMarks
from pipelines.measures.signals import sentences
from pipelines.reports.frame import charts
from pipelines.reports.frame.kept_page import keep_page, kept_page
from pipelines.reports.frame.page import Figure, Page, Section, page_html
from pipelines.reports.frame.sheet import Column, Sheet
from pipelines.words import (
    Catalogue,
    Drawing,
    Message,
    Numeral,
    beginning,
    joined,
    numeral,
    packed,
    recalled,
    say,
    say_n,
    sentence_of,
    unpacked,
)
from schemas.texts import Text

OTHER = Catalogue(
    "xx",
    {
        ("", "{n} of {ware}"): ("{ware}, davon {n}",),
        ("", "calls"): ("Befunde",),
        ("", "{n} file"): ("{n} Datei", "{n} Dateien"),
        ("", "it is {what}"): ("es ist {what}",),
        ("verb", "place"): ("verhängen",),
        ("", "place"): ("Ort",),
        ("", "a very long name"): ("ein noch viel längerer Name in anderer Sprache",),
    },
)


def test_a_message_is_its_sentence_and_is_written_by_its_template() -> None:
    message = say("{n} of {ware}", n=3, ware=say("calls"))
    assert message == "3 of calls" and json.dumps([message]) == '["3 of calls"]' and isinstance(message, Message)
    assert OTHER.write(message) == "Befunde, davon 3"
    assert OTHER.write("calls") == "calls", "what is no message is a name, and names are not translated"
    assert OTHER.write(say("nothing known of {what}", what=say("calls"))) == "nothing known of Befunde"


def test_messages_are_joined_added_and_begun_with_a_capital() -> None:
    both = joined(", ", (say("calls"), "K1", say("it is {what}", what=say("calls"))))
    assert both == "calls, K1, it is calls" and OTHER.write(both) == "Befunde, K1, es ist Befunde"
    assert OTHER.write("K1: " + say("calls") + ".") == "K1: Befunde."
    assert OTHER.write(beginning(say("it is {what}", what=1))) == "Es ist 1" and beginning("abc") == "Abc"
    assert not isinstance(joined(", ", ("a", "b")), Message)


@pytest.mark.parametrize(("n", "english", "other"), [(1, "1 file", "1 Datei"), (0, "0 files", "0 Dateien")])
def test_plural_forms_go_by_the_number(n: int, english: str, other: str) -> None:
    message = say_n("{n} file", "{n} files", n)
    assert message == english and OTHER.write(message) == other


def test_a_context_tells_apart_what_english_says_alike() -> None:
    assert OTHER.write(say("place", "verb")) == "verhängen" and OTHER.write(say("place")) == "Ort"


class Shape(BaseModel):
    text: Text
    more: tuple[Text, ...] = ()


def test_a_message_comes_through_pickle_copy_and_shapes() -> None:
    message = say("{n} of {ware}", n=3, ware=say("calls"))
    shape = Shape(text=message, more=(message,))
    for kept in (pickle.loads(pickle.dumps(message)), copy.deepcopy(message), shape.text, shape.more[0]):
        assert OTHER.write(kept) == "Befunde, davon 3"
    assert shape.model_dump_json() == '{"text":"3 of calls","more":["3 of calls"]}'
    assert Shape.model_validate_json('{"text":"x"}').text == "x"


@given(st.text(max_size=30), st.integers(), st.booleans())
def test_what_is_packed_for_json_is_unpacked_as_it_was(name: str, n: int, large: bool) -> None:
    message = Message("{n} of {ware}", {"n": n, "ware": say("{x}", x=name)}, None, "", large)
    plural = say_n("{n} file", "{n} files", n)
    page = {"title": message, "rows": [{"a": plural, "b": name, "c": None, "d": 1.5}]}
    found = unpacked(json.loads(json.dumps(packed(page))))
    assert found == page and OTHER.write(found["title"]) == OTHER.write(message)
    assert OTHER.write(found["rows"][0]["a"]) == OTHER.write(plural)


def test_a_kept_page_keeps_its_messages_and_drawings(tmp_path: Path) -> None:
    rows = [{"label": "K1", "value": 3, "shown": "3", "kind": "major", "expected": None, "top": 3}]
    sheet = Sheet("t", say("calls"), (Column("a", say("calls")),), [{"a": say("calls")}], links={(0, "a"): "/x"})
    chart = charts.svg(charts.bars, say("it is {what}", what=say("calls")), rows, say("calls"))
    section = Section(say("calls"), (say("calls"),), chart, sheet=sheet)
    keep_page(
        Page(say("calls"), "", (section,), (Figure("1", say("calls")),)),
        tmp_path / "p.html",
        SiteMarks("", 1, 0, 0, 0),
    )
    found = kept_page(tmp_path / "p.html")
    assert found is not None
    page, here = found[0], found[0].sections[0]
    texts = (page.title, page.figures[0].what, here.title, here.texts[0], here.sheet.title, here.sheet.rows[0]["a"])  # type: ignore[union-attr]
    assert {OTHER.write(text) for text in texts} == {"Befunde"}
    assert ">Befunde</text>" in OTHER.write(here.chart) and here.sheet.links == {(0, "a"): "/x"}  # type: ignore[union-attr]


def test_a_page_that_an_earlier_version_kept_is_shown(tmp_path: Path) -> None:
    """Its kinds of columns may have had other names: a close's page is not made again after an upgrade."""
    sheet = Sheet("t", "t", (Column("p", "p", "number3"),), [{"p": 0.0}, {"p": 0.25}])
    keep_page(Page("t", "", (Section("s", sheet=sheet),)), tmp_path / "p.html", SiteMarks("", 1, 0, 0, 0))
    found = kept_page(tmp_path / "p.html")
    assert found is not None and "&lt; 0.001" in page_html(found[0], "A works")


def test_a_drawing_is_drawn_once_and_said_in_any_language() -> None:
    rows = [
        {"label": say("a very long name"), "value": 1200, "plain": 1200, "shown": "1", "expected": None, "top": 1200}
    ]
    chart = charts.svg(charts.bars, say("it is {what}", what=say("calls")), rows, say("calls"))
    assert isinstance(chart, Drawing) and ">calls</text>" in chart and 'aria-label="it is calls"' in chart
    other = OTHER.write(chart)
    assert ">Befunde</text>" in other and 'aria-label="es ist Befunde"' in other and "very long" not in other
    columns = charts.svg(charts.columns, "x", [{"label": "a", "value": 1200}], "calls")
    assert "1\u202f200" in columns, "an axis writes numbers as the page does"
    begin, width = other.index('viewBox="') + 9, chart.index('viewBox="') + 9
    assert float(other[begin:].split(" ")[0]) < 0 and float(other[begin:].split(" ")[2]) > float(
        chart[width:].split(" ")[2]
    ), "a longer label has its room"
    assert OTHER.write(Drawing("<svg/>")) == "<svg/>"


def test_an_error_says_its_message() -> None:
    assert OTHER.write(sentence_of(ValueError(say("calls")))) == "Befunde"
    assert sentence_of(ValueError("plain")) == "plain" and sentence_of(ValueError()) == ""


def test_sentences_of_the_ledger_are_read_back_by_their_templates() -> None:
    lehr = say(sentences.LEHR, minutes=31, source=say(sentences.NEAREST, low=30, high=33))
    event = say(sentences.SECTION_STOPPED, section=4, at="2026-03-10 08:00+01:00")
    caused = say(sentences.CAUSED, event=event, cause="swabbing")
    closes = say(sentences.SEEN_AFTER, closes=say(sentences.CLOSES_AFTER, minutes=5, ware="1 200"), minutes=31)
    for said, templates in (
        (lehr, sentences.OF_LEHR),
        (event, sentences.OF_LOGS),
        (caused, sentences.OF_LOGS),
        (closes, sentences.OF_CLOSING),
        (say(sentences.CLOSED, why=say(sentences.BACK)), sentences.OF_CLOSING),
        *((say(text), sentences.OF_LOOKING) for text in sentences.OF_LOOKING),
        (say(sentences.SILENT, station="K1-a", minutes=20), sentences.OF_DOUBTS),
        (say(sentences.COARSE, station="K1-a", minutes=20, late=20), sentences.OF_DOUBTS),
    ):
        found = recalled(str(said), templates)
        assert isinstance(found, Message) and found == said
        assert _shape(found) == _shape(said), said
    assert recalled("somebody's own words", sentences.OF_LOGS) == "somebody's own words"


def _shape(text: object) -> object:
    """A message's template and those of its fields."""
    if not isinstance(text, Message):
        return str(text)
    return text.template, {name: _shape(value) for name, value in text.fields.items()}


def test_a_numeral_is_english_for_programs_and_the_works_own_on_a_page() -> None:
    from pipelines import numbers
    from pipelines.plant.tables import Pages

    message = say("{n} of {ware}", n=numeral(-1708.5, ",.1f"), ware=Numeral("12 345"))
    assert message == "-1,708.5 of 12 345" and json.dumps([message]) == '["-1,708.5 of 12 345"]'
    found = unpacked(json.loads(json.dumps(packed({"a": message}))))["a"]
    try:
        numbers.use(Pages(decimal=",", thousands="."))
        for kept in (message, found, pickle.loads(pickle.dumps(message)), copy.deepcopy(message)):
            assert OTHER.write(kept) == "12.345, davon −1.708,5"
    finally:
        numbers.use(Pages())
    assert OTHER.write(message) == "12 345, davon −1 708.5"
    assert OTHER.write(joined(", ", (numeral(1.5, "g"), "x"))) == "1.5, x"
