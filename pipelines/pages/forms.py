"""Forms as data: a field each, shown by one template."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pipelines.reports.frame.page import Special


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
) -> dict[str, Any]:
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
    }


def choice(
    name: str, label: str, choices: Sequence[tuple[str, str]], value: str = "", needed: bool = False
) -> dict[str, Any]:
    """One of several, each (value, words)."""
    return {
        "name": name,
        "label": label,
        "kind": "choice",
        "choices": choices,
        "value": value,
        "needed": needed,
        "hint": "",
    }


def check(name: str, label: str, value: str, on: bool = False) -> dict[str, Any]:
    """A box to tick."""
    return {"name": name, "label": label, "kind": "check", "value": value, "on": on, "hint": ""}


def form(
    title: str,
    action: str,
    fields: Sequence[dict[str, Any]],
    buttons: Sequence[tuple[str, str]],
    *,
    act: str = "",
    texts: Sequence[str] = (),
    method: str = "post",
    hidden: Sequence[tuple[str, str]] = (),
    button_name: str = "",
    wide: bool = False,
) -> Special:
    """A form. act: what the reader's role must allow for it to be shown; empty: anybody's."""
    words = {
        "texts": texts,
        "method": method,
        "action": action,
        "shown": f"only-{act}" if act else "open",
        "hidden": hidden,
        "fields": fields,
        "buttons": buttons,
        "button_name": button_name,
    }
    return Special("form", title, words, wide=wide)
