"""[[source]] of works.toml: a database whose rows become a feed, without code."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, datetime
from typing import Annotated, ClassVar
from urllib.parse import parse_qsl, urlsplit

from pydantic import AfterValidator, Field, StrictInt

from pipelines.plant.mapping import Mapping, Translation

SINCE = "$since"
KINDS = ("sqlite", "postgresql", "odbc")
_SECRETS = re.compile(r"password|passwd|pwd|passfile|sslpassword", re.I)
# what is no word of the query: comments, texts, names in quotes
_QUOTED = re.compile(
    r"--[^\n]*|/\*.*?(?:\*/|\Z)|'(?:[^']|'')*(?:'|\Z)|\"(?:[^\"]|\"\")*(?:\"|\Z)|`[^`]*(?:`|\Z)|\[[A-Za-z_][^\]]*\]",
    re.S,
)
_SINCE = re.compile(r"\$since\b", re.A)
_WRITES = ("insert", "update", "delete", "merge", "into")


def _url(text: str) -> str:
    """The address of a database. What it says is in no error: it could be a password."""
    try:
        parts = urlsplit(text)
        password = parts.password
        pairs = parse_qsl(parts.query, keep_blank_values=True)
    except ValueError:
        raise ValueError("it is no address such as postgresql://reader@store.works.example/store") from None
    if parts.scheme not in KINDS or not text.startswith(f"{parts.scheme}://"):
        raise ValueError(f"it must begin with one of {', '.join(f'{kind}://' for kind in KINDS)}")
    secret = any(_SECRETS.search(key) or re.search(r"\bpwd\s*=", value, re.I) for key, value in pairs)
    if password is not None or secret:
        raise ValueError("it holds a password; put that into .sources/<name>.password and take it out here")
    return text


def words_alone(query: str) -> str:
    """The query with blanks for comments, texts and names in quotes, letter for letter."""
    return _QUOTED.sub(lambda found: " " * len(found[0]), query)


def places_of_since(query: str) -> Iterator[tuple[int, int]]:
    """Where $since stands outside quotes and comments."""
    return (found.span() for found in _SINCE.finditer(words_alone(query)))


def _query(text: str) -> str:
    plain = words_alone(text).strip().rstrip(";").lower()
    words = re.findall(r"[a-z_]\w*", plain)
    if not words or words[0] not in ("select", "with"):
        raise ValueError("it is no select; only reading is allowed")
    if ";" in plain:
        raise ValueError("it is several statements; it must be one select")
    writing = [word for word in _WRITES if word in words and not re.search(rf"\b{word}\s*\(", plain)]
    if writing:
        raise ValueError(f"it says '{writing[0]}'; it must be a select that only reads")
    if not any(places_of_since(text)):
        raise ValueError(f"it does not say {SINCE}; write it without quotes, as in `where closed_at > {SINCE}`")
    if not re.search(r"\border\s+by\b", plain):
        raise ValueError("it must be in the order of its `since` column: end it with `order by`")
    return text


class RowsOfSource(Mapping):
    """The files that a database's rows come in."""

    typed: ClassVar[bool] = True


class DatabaseSource(Translation):
    """A database, read as if its rows were a file. The password stands in .sources/<name>.password."""

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$", max_length=40)] = Field(
        description="what it is called; its files in the inbox begin so"
    )
    url: Annotated[str, AfterValidator(_url)] = Field(
        description=(
            "where it is: `sqlite:///FILE` (from the site folder, `sqlite:////FILE` from the root), "
            "`postgresql://NAME@HOST/DATABASE`, `odbc://NAME@HOST/DATABASE?driver=DRIVER`; without a password"
        )
    )
    query: Annotated[str, AfterValidator(_query)] = Field(
        description=f"one select that says `{SINCE}`, in the order of its `since` column"
    )
    since: str = Field(min_length=1, description="the column of the query that only grows: a time, a day or a number")
    every_minutes: float = Field(5.0, ge=0.1, le=10_080, description="how often `coldledger serve` reads it")
    begin: datetime | date | StrictInt | str | None = Field(
        None, description=f"{SINCE} of the first reading, as the column is; else everything is read"
    )
    again_minutes: float = Field(
        60.0,
        ge=1,
        le=44_640,
        description="how far before the newest row is asked again, for rows written late; one day at least of days",
    )
    again_numbers: int = Field(1000, ge=1, description="the same, where `since` is a number")
    most_seconds: float = Field(60.0, ge=1, le=3600, description="how long the database may be busy with the query")

    @property
    def kind(self) -> str:
        """sqlite, postgresql or odbc."""
        return self.url.split(":", 1)[0]

    @property
    def mapping(self) -> RowsOfSource:
        """How the files that its rows come in become the feed."""
        same = {name: getattr(self, name) for name in Translation.model_fields}
        return RowsOfSource(files=(f"{self.name}.read.*.csv",), **same)
