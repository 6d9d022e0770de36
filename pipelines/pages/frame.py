"""Writing views as HTML: the part that all readers share, and the frame about it for the one who asks."""

from __future__ import annotations

import base64
import hashlib
import html
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from math import ceil
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote

from jinja2 import DictLoader, Environment, StrictUndefined

from pipelines.pages.leading_on import leading
from pipelines.pages.texts import Texts
from pipelines.pages.view import View
from pipelines.people.access import ACTS, Person
from pipelines.reports.frame.order import Order
from pipelines.reports.frame.page import Special
from pipelines.reports.frame.sorted_table import address, named_sheets
from pipelines.reports.frame.table_html import Dress, table_html
from pipelines.words import LANGUAGES, say

PLACES = (
    ("now", "/now", say("Now")),
    ("hour", "/hour", say("Hour")),
    ("signals", "/signals", say("Signals")),
    ("moulds", "/moulds", say("Moulds")),
    ("day", "/day", say("Day")),
    ("weights", "/weights", say("Weights")),
    ("laboratory", "/laboratory", say("Laboratory")),
    ("trace", "/trace", say("Trace")),
    ("holds", "/holds", say("Holds")),
    ("feeds", "/feeds", say("Feeds")),
    ("enter", "/enter", say("Enter")),
)
NEEDS = {  # what stands in place of a form for who may not use it
    "enter": say("To type something in, somebody of the laboratory, a supervisor or quality manager signs in."),
    "acknowledge": say("To acknowledge a signal, a supervisor or quality manager signs in."),
    "repair": say("To correct rows and retry, a supervisor signs in."),
    "place": say("To propose or place a hold, a supervisor or quality manager signs in."),
    "decide": say("To decide about a hold, a quality manager signs in."),
    "people": say("To change who may do what, an admin signs in."),
}
SCRIPT = (  # what app.js says
    say("renewed"),
    say("no answer; trying again"),
    say("Copied"),
    say("Not saved yet: kept on this device, and sent again by itself. Waiting:"),
    say("Something not saved is kept on this device. It is sent when this person signs in:"),
    say("What was kept on this device is saved now."),
    say("No answer, and this device cannot keep it: write it down."),
    say("Typed before and not saved yet: here again."),
    say("Open it"),
)
# What stands for a reader's own form token in HTML that many share: nothing that a feed could hold, anew for every
# process.
_TOKEN, _HERE = f"@{secrets.token_hex(12)}@", f"@{secrets.token_hex(12)}@"
_LABEL = re.compile(r'<svg role="\w+" aria-label="([^"]*)"')


@cache
def assets() -> dict[str, tuple[bytes, str]]:
    """Everything the pages need beside HTML, from disk: name -> bytes and media type."""
    static = files("pipelines.pages").joinpath("static")
    kinds = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}
    pairs = {
        entry.name: (entry.read_bytes(), kinds[entry.name[entry.name.rindex(".") :]]) for entry in static.iterdir()
    }
    style = files("pipelines.reports").joinpath("templates").joinpath("style.css").read_bytes()
    return {**pairs, "style.css": (style, kinds[".css"])}


@cache
def version() -> str:
    """Changes with the assets, so that a browser may keep them for ever."""
    whole = hashlib.sha256()
    for name in sorted(assets()):
        whole.update(assets()[name][0])
    return whole.hexdigest()[:12]


@cache
def _environment() -> Environment:
    folder = files("pipelines.pages").joinpath("templates")
    texts = {entry.name: entry.read_text(encoding="utf-8") for entry in folder.iterdir() if entry.name.endswith(".j2")}
    environment = Environment(autoescape=True, undefined=StrictUndefined, loader=DictLoader(texts), trim_blocks=True)
    environment.globals["needs"] = NEEDS
    return environment


def _template(name: str) -> Any:
    return _environment().get_template(f"{name}.html.j2")


@dataclass(frozen=True)
class PageRequest:
    """What of a request decides how a shared page is written."""

    query: Mapping[str, str]
    order: Order | None
    texts: Texts
    at: str
    every_s: float = 0  # after which a browser asks again


def body_html(view: View, asked: PageRequest) -> str:
    """The content of a page, with tokens for what differs between readers."""
    write = asked.texts.say
    names = {id(sheet): name for name, sheet in named_sheets(view.page.sheets).items()}
    parts, used = [], set()
    for part in view.page.sections:
        plain = (
            re.sub(r"[^a-z0-9]+", "-", (part.name if isinstance(part, Special) else part.title).lower()).strip("-")
            or "part"
        )
        while plain in used:
            plain += "-"
        used.add(plain)
        table = _table(part.sheet, names[id(part.sheet)], part.title, asked) if part.sheet is not None else ""
        parts.append((_whole(part), plain, table))
    text: str = _template("view").render(
        view=view,
        page=view.page,
        parts=parts,
        t=asked.texts,
        say=write,
        at=asked.at,
        every_s=f"{asked.every_s:g}",
        form_token=_TOKEN,
        to=_HERE,
        has_tables=bool(view.page.sheets),
        workbook=address(asked.query, **{"as": "xlsx"}),
        in_words=lambda chart: _in_words(write(chart)),
    )
    return text


def _whole(part: Any) -> Any:
    """A special part with the same switches as a section."""
    if not isinstance(part, Special):
        return part
    flags = {"sheet_of_paper": False, "on_screen": False, "tall": False}
    none = {**flags, "items": (), "notes": (), "texts": (), "cards": (), "chart": ""}
    return SimpleNamespace(**none, **vars(part))


def _table(sheet: Any, name: str, title: str, asked: PageRequest) -> str:
    write = asked.texts.say
    mine = asked.order if asked.order is not None and asked.order.table == name else None

    def sorted_at(column: str, down: bool) -> str:
        return address(asked.query, sort=Order(name, column, down).text()) + f"#t-{name}"

    text: str = _template("table").render(
        name=name,
        rows=len(sheet.rows),
        csv=address(asked.query, **{"as": "csv", "table": name}, **({"sort": mine.text()} if mine else {})),
        xlsx=address(asked.query, **{"as": "xlsx", "table": name}),
        sorted=mine is not None,
        unsorted=address(asked.query) + f"#t-{name}",
        label=write(title),
        caption=write(sheet.caption),
        t=asked.texts,
        table=table_html(replace(sheet, links=leading(sheet)), Dress(write, mine, sorted_at)),
    )
    return text


def _in_words(chart: str) -> str:
    """What a chart shows, as a text under it: the name the chart has for those who cannot see it."""
    found = _LABEL.search(chart)
    return found[1] if found else ""


@dataclass(frozen=True)
class PageReader:
    """Who asks, from where, in which language; said: a sentence about what they have just done."""

    texts: Texts
    path: str
    person: Person | None = None
    wall: bool = False
    said: str = ""
    said_kind: str = ""
    mistake: str = ""
    age: Mapping[str, str] = field(default_factory=dict)


def page_html(works: str, face: View, refresh_s: float, body: str, reader: PageReader) -> str:
    """A whole page for one reader. face: the view, of which the content may be left out."""
    person = reader.person
    token = masked(person.form_token) if person else ""
    mine = (
        body.replace(_TOKEN, html.escape(token))
        .replace(_HERE, html.escape(reader.path))
        .replace(quote(_HERE), quote(reader.path, safe=""))
    )
    t = reader.texts
    acts = sorted({act for act in frozenset().union(*ACTS.values()) if person and person.may(act)})
    words = "|".join(t.say(words) for words in SCRIPT)
    text: str = _template("frame").render(
        t=t,
        works=works,
        title=t.say(face.page.title),
        here=face.kind,
        first=face.first,
        places=PLACES,
        person=person,
        acts=acts,
        form_token=token,
        refresh_s=ceil(refresh_s),
        age=reader.age,
        body=mine,
        version=version(),
        wall=reader.wall,
        said=reader.said,
        said_kind=reader.said_kind,
        mistake=reader.mistake,
        languages=LANGUAGES.items(),
        to=quote(reader.path, safe=""),
        to_plain=reader.path,
        words=words,
    )
    return text


def masked(token: str) -> str:
    """A form token that looks different in every answer, so that its length under compression tells nothing."""
    plain = token.encode()
    mask = secrets.token_bytes(len(plain))
    return base64.urlsafe_b64encode(mask + bytes(a ^ b for a, b in zip(mask, plain, strict=True))).decode()


def unmasked(text: str) -> str:
    """The token that `masked` hid; empty for anything else."""
    try:
        both = base64.b64decode(text.encode(), altchars=b"-_", validate=True)
        half = len(both) // 2
        return bytes(a ^ b for a, b in zip(both[:half], both[half:], strict=True)).decode()
    except ValueError:
        return ""
