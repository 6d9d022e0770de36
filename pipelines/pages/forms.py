"""Forms as data, shown by one template: a field each, the mistake at its field, what was typed kept.

A button that cannot be taken back is `careful`: a harmless one stands before it, which Enter presses.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fastapi import Request

from pipelines.errors import WrongUse
from pipelines.local_times import EXAMPLES
from pipelines.pages.view import View
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Part, Special
from pipelines.words import joined, say, say_n

Field = dict[str, Any]
Sent = Mapping[str, list[str]]
Stands = Callable[[Request, Sent], tuple[View, str]]  # on which page a form stands, and its key there
SECRET = "password"
CHECKED = say("Nothing is wrong with it, and nothing was done yet: press what is to be done.")
_LOCAL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d|")


class Mistakes(WrongUse):
    """What was typed into a form and cannot be: a sentence at each field; under no name what is of no field."""

    def __init__(self, at: Mapping[str, str]):
        super().__init__(joined("\n", at.values()))
        self.at = dict(at)


def field(
    name: str,
    label: str,
    value: object = "",
    kind: str = "text",
    needed: bool = False,
    most: int = 200,
    hint: str = "",
    choices: Sequence[str] = (),
    complete: str = "off",
) -> Field:
    """A line of a form. choices: what is offered while one types."""
    return {
        "name": name,
        "label": label,
        "value": value,
        "kind": kind,
        "needed": needed,
        "most": most,
        "hint": hint,
        "list": choices,
        "complete": complete,
        "mode": "",
    }


def moment(name: str, label: str, value: str, plant: Plant, hint: str = "") -> Field:
    """A time by the works' clock: picked, or written as people write it. value: as `WorksClock.typed` has it."""
    zone = say("the clock of {zone}, {examples}", zone=plant.works.timezone, examples=EXAMPLES)
    kind = "datetime-local" if _LOCAL.fullmatch(value) else "text"
    return field(name, label, value, kind, most=40, hint=say("{hint}; {zone}", hint=hint, zone=zone) if hint else zone)


def choice(name: str, label: str, choices: Sequence[tuple[str, str]], value: str = "", needed: bool = False) -> Field:
    """One of several, each (value, words)."""
    return {**field(name, label, value, "choice", needed), "choices": choices}


def check(name: str, label: str, value: str, on: bool = False) -> Field:
    """A box to tick."""
    return {**field(name, label, value, "check"), "on": on}


@dataclass(frozen=True)
class Group:
    """Fields of a form under a heading of their own. why: what is wrong with what they speak of."""

    title: str
    fields: tuple[Field, ...]
    why: str = ""


def form(
    title: str,
    action: str,
    fields: Sequence[Field],
    buttons: Sequence[tuple[str, str]],
    *,
    act: str = "",
    texts: Sequence[str] = (),
    method: str = "post",
    hidden: Sequence[tuple[str, str]] = (),
    button_name: str = "",
    wide: bool = False,
    careful: Sequence[str] = (),
    harmless: str = "",
    marked: Sequence[str] = (),
    groups: Sequence[Group] = (),
    kept: bool = False,
) -> Special:
    """A form. act: what the reader's role must allow for it to be shown; empty: anybody's. careful: the values of the
    buttons that cannot be taken back; harmless: what the one before them sends as `look`, which reads what was typed.
    marked: values of buttons that take something away and stand behind a harmless one anyhow. kept: a browser keeps
    what was typed where the network is away, and sends it later.
    """
    key = _slug(title)
    parts = [{"title": "", "why": "", "fields": list(fields)}, *({**vars(group)} for group in groups)]
    number = 0
    for part in parts:
        part["fields"] = [{**each, "id": f"f-{key}-{(number := number + 1)}", "wrong": ""} for each in part["fields"]]
    words = {
        "key": key,
        "texts": texts,
        "method": method,
        "action": action,
        "shown": f"only-{act}" if act else "open",
        "kept": kept,
        "hidden": hidden,
        "parts": parts,
        "buttons": buttons,
        "button_name": button_name,
        "careful": list(careful),
        "harmless": harmless,
        "marked": [*careful, *marked],
        "wrong": [],
        "checked": "",
    }
    return Special("form", title, words, wide=wide)


def _slug(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")


def filled(view: View, key: str, sent: Mapping[str, Sequence[str]], at: Mapping[str, str]) -> View:
    """The page with one of its forms as it was sent, and its mistakes; without any it says that nothing was done."""
    notes = (say_n("Nothing was done: {n} mistake.", "Nothing was done: {n} mistakes.", len(at)),) if at else ()
    view = _with_form(view, key, lambda values: _filled(values, sent, at))
    return replace(view, notes=(*notes, *view.notes), refresh_s=0)


def has_form(view: View, key: str) -> bool:
    """Whether a form stands on a page."""
    return any(_is(part, key) for part in view.page.sections)


def _is(part: Part, key: str) -> bool:
    return isinstance(part, Special) and part.name == "form" and part.values["key"] == key


def _with_form(view: View, key: str, other: Callable[[Mapping[str, Any]], dict[str, Any]]) -> View:
    sections = tuple(
        replace(part, values=other(part.values)) if isinstance(part, Special) and _is(part, key) else part
        for part in view.page.sections
    )
    return replace(view, page=replace(view.page, sections=sections))


def begun(view: View, key: str, in_hand: Mapping[str, Sequence[str]]) -> View:
    """The page with one of its forms begun with what is in hand."""
    given = {name: texts for name, texts in in_hand.items() if any(texts)}
    return _with_form(view, key, lambda values: {**_filled(values, given, {}), "checked": ""})


def _filled(values: Mapping[str, Any], sent: Mapping[str, Sequence[str]], at: Mapping[str, str]) -> dict[str, Any]:
    left, parts = dict(at), []
    wrong: list[tuple[str, str, str]] = []
    for part in values["parts"]:
        fields = []
        for each in part["fields"]:
            mine = _sent(each, sent)
            text = left.pop(each["name"], "")
            if text:
                mine.update(wrong=text, first=not wrong, kind=_as_text(each["kind"]))
                wrong.append((each["id"], each["label"], text))
            fields.append(mine)
        parts.append({**part, "fields": fields})
    hidden = [(name, next(iter(sent.get(name, ())), value)) for name, value in values["hidden"]]
    wrong = [*(("", "", text) for text in left.values()), *wrong]
    return {**values, "parts": parts, "hidden": hidden, "wrong": wrong, "checked": "" if wrong else CHECKED}


def _sent(each: Field, sent: Mapping[str, Sequence[str]]) -> Field:
    """A field with what was sent for it; a password is never sent back."""
    given = sent.get(each["name"], ())
    if each["kind"] == "check":
        return {**each, "on": str(each["value"]) in given}
    if each["kind"] == SECRET or not given:
        return {**each, "value": "" if each["kind"] == SECRET else each["value"]}
    kind = each["kind"]
    return {
        **each,
        "value": given[0],
        "kind": kind if kind != "datetime-local" or _LOCAL.fullmatch(given[0]) else "text",
    }


def _as_text(kind: str) -> str:
    """What a picker cannot show is shown as it was written."""
    return "text" if kind in ("datetime-local", "date", "number") else kind
