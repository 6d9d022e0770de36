"""[[mapping]] of works.toml: how a foreign export becomes a feed, without code."""

from __future__ import annotations

import codecs
import re
from fnmatch import fnmatchcase
from typing import Annotated, ClassVar, Literal
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field


def known_zone(name: str) -> str:
    """The name, where it is a zone of the IANA list; ValueError otherwise."""
    try:
        ZoneInfo(name)
    except Exception:
        raise ValueError(f"'{name}' is not a time zone of the IANA list, such as Europe/Lisbon") from None
    return name


def _encoding(name: str) -> str:
    try:
        codecs.lookup(name)
        "".encode(name)
    except (LookupError, UnicodeError):
        raise ValueError(f"'{name}' is no encoding known here; try utf-8, cp1252, cp1250, latin-1, utf-16") from None
    return name


def _pattern(text: str) -> str:
    try:
        groups = re.compile(text).groupindex
    except re.error as error:
        raise ValueError(f"'{text}' is no regular expression: {error}") from None
    if not groups:
        raise ValueError(f"'{text}' names no column; write one as (?P<line>[^_]+)")
    return text


def _valued(text: str) -> str:
    if "value" not in re.compile(_pattern(text)).groupindex:
        raise ValueError(f"'{text}' does not say which part is the value; write it as (?P<value>\\\\S+)")
    return text


def _range(text: str) -> str:
    found = re.fullmatch(r"([A-Z]{1,3})([1-9]\d{0,6})(?::([A-Z]{1,3})([1-9]\d{0,6})?)?", text.strip().upper())
    if not found:
        raise ValueError(
            f"'{text}' is no range of a sheet; write B6:AF40, B6:AF (to the last row) or B6 (to both ends)"
        )
    first, top, last, bottom = found.groups()
    if (last and (len(last), last) < (len(first), first)) or (bottom and int(bottom) < int(top)):
        raise ValueError(f"'{text}' ends before it begins")
    return found[0]


def _topic(text: str) -> str:
    levels = text.split("/")
    for level in levels:
        if ("{" in level or "}" in level) and not re.fullmatch(r"\{[a-z0-9_]+\}", level):
            raise ValueError(f"'{level}' of '{text}' is no level such as {{station}}")
    if ("#" in text and not re.fullmatch(r"[^#]*/#|#", text)) or any("+" in level and level != "+" for level in levels):
        raise ValueError(
            f"'{text}' is no topic filter: + stands for one whole level, # for all that follow, at the end"
        )
    return text


def _several(answer: object) -> object:
    return (answer,) if isinstance(answer, str | int) else answer


Globs = Annotated[tuple[str, ...], BeforeValidator(_several), Field(min_length=1)]
Sheets = Annotated[tuple[str | int, ...], BeforeValidator(_several)]
Zone = Annotated[str, AfterValidator(known_zone)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Wide(_Part):
    """Headings that are values: `columns` (names or globs) whose headings go into the column `name` and whose cells
    into `value`. Where a glob has one `*`, what it stands for is the value; else the whole heading."""

    columns: Globs = Field(description="names or globs of headings that are values")
    name: str = Field(description="column that gets what the heading says")
    value: str = Field("", description="column that gets the cells; must be said, but with `pivot`")


class Pivot(_Part):
    """Kinds of row that are columns of one row. What is the same otherwise, in the feed's key, is one row."""

    by: str = Field(description="heading that says the kind of row")
    into: Annotated[dict[str, str], Field(min_length=1)] = Field(
        description="kind of row -> column; rows of other kinds are left out, and counted in the file's note"
    )
    value: str | None = Field(None, description="heading of the cells, where `wide` does not give them")


class Translation(_Part):
    """How rows in other words become a feed, wherever they come from."""

    feed: str = Field(description="what they become. One export with several feeds in it has several mappings")
    decimal: Literal[".", ","] = Field(
        ".",
        description=(
            "as the file is written. Where the mark is a comma, a point that is no thousands mark makes no "
            "number: it is set aside"
        ),
    )
    thousands: Literal["", ".", ",", " ", "'"] = Field("", description="as the file is written")
    timezone: Zone | None = Field(None, description="of times without an offset")
    time_format: str | None = Field(
        None, description='as Python\'s strptime has it, or `"seconds since 1970"`, `"milliseconds since 1970"`'
    )
    date_format: str | None = Field(None, description="of days, as Python's strptime has it")
    columns: dict[str, str] = Field(
        {},
        description=(
            "heading -> column; two headings of one column are joined by a blank (a day and a time of day), and so is "
            "a part of a time from `from_name` or `from_lines`"
        ),
    )
    wide: tuple[Wide, ...] = Field(
        (),
        description=(
            'headings that are values: `[{ columns = "Form *", name = "mould", value = "weight_g" }]`; several '
            "where each mould has several columns"
        ),
    )
    pivot: Pivot | None = Field(None, description="kinds of row that are columns of one row")
    sums: dict[str, Annotated[tuple[str, ...], Field(min_length=2)]] = Field(
        {},
        description=(
            "a column that is the sum of several headings, or of names that `wide` and `pivot` give: "
            '`{ inspected = ["GOOD", "BAD"] }`'
        ),
    )
    window: Literal["start", "end"] = Field("start", description="what the time stamp of a window marks")
    constants: dict[str, str | int | float] = Field({}, description="columns that are always the same")
    values: dict[str, dict[str, str]] = Field(
        {},
        description="codes in the works' words, column by column (counts under codes that mean the same are added up)",
    )
    leave_values: dict[str, tuple[str, ...]] = Field(
        {}, description="codes that are no rows of this feed, column by column"
    )
    factors: dict[str, Annotated[float, Field(gt=0, allow_inf_nan=False)]] = Field(
        {}, description="what a number is multiplied by: `{ batch_kg = 1000 }` for tonnes"
    )


class Mapping(Translation):
    """How a foreign export becomes a feed. `coldledger help mapping` tells each key."""

    typed: ClassVar[bool] = False  # whether a cell can have been a time of its own kind, whatever `time_format` says

    files: Globs = Field(description="names or globs of the files")
    encoding: Annotated[str, AfterValidator(_encoding)] = Field("utf-8", description="as the file is written")
    separator: str = Field(default=",", min_length=1, max_length=1, description="as the file is written")
    skip_lines: int = Field(default=0, ge=0, le=1000, description="lines before the header")
    header_lines: int = Field(
        default=1,
        ge=0,
        le=10,
        description=(
            'lines of the header, read downwards (`"Rejects" over "17"` is `"Rejects 17"`; 0: columns are called '
            "1, 2, ...)"
        ),
    )
    leave_lines: tuple[str, ...] = Field((), description='lines to leave out, such as `["Total*"]`')
    sheet: Sheets = Field(
        (),
        description=(
            "of a workbook (.xlsx, .xls, .ods): its name or number, or several, or a glob; else the first that is shown"
        ),
    )
    range: Annotated[str, AfterValidator(_range)] | None = Field(
        None, description="of a sheet, header included, where the table does not begin at the top: `B6:AF40`, `B6:AF`"
    )
    fill_down: tuple[str, ...] = Field(
        (), description="headings whose empty cells mean the value above them (merged cells)"
    )
    from_lines: dict[str, Annotated[str, AfterValidator(_valued)]] = Field(
        {},
        description=(
            "values that stand above the table or above a block of it, by a regular expression over the cells of a "
            'line, joined by blanks: `{ mould = "Form: (?P<value>\\\\d+)" }`; a column, or a heading for `columns`'
        ),
    )
    from_name: Annotated[str, AfterValidator(_pattern)] | None = Field(
        None, description='columns from the file\'s name (`"gauge_(?P<line>[^_]+)_"`)'
    )

    def takes(self, name: str) -> bool:
        """Whether a file of this name is one of this export's."""
        return any(fnmatchcase(name, glob) for glob in self.files)

    @property
    def named(self) -> tuple[str, ...]:
        """What the file's name gives: columns, or headings that `columns` names."""
        return tuple(re.compile(self.from_name).groupindex) if self.from_name else ()

    @property
    def parts(self) -> tuple[str, ...]:
        """What is added up: headings, or names that `wide` and `pivot` give."""
        return tuple(dict.fromkeys(part for parts in self.sums.values() for part in parts))

    @property
    def ways(self) -> list[tuple[str, str]]:
        """(column, key that fills it) of every column that this mapping names, in the order in which it names them."""
        wide = [(column, "wide") for part in self.wide for column in (part.name, part.value) if column]
        return [
            *((column, "columns") for column in self.columns.values()),
            *dict.fromkeys(wide),
            *((column, "pivot") for column in dict.fromkeys(self.pivot.into.values() if self.pivot else ())),
            *((column, "sums") for column in self.sums),
            *((name, "from_name") for name in self.named if name not in self.columns),
            *((name, "from_lines") for name in self.from_lines if name not in self.columns),
            *((column, "constants") for column in self.constants),
        ]

    @property
    def targets(self) -> tuple[str, ...]:
        """What this mapping fills, in the order in which it names them."""
        return tuple(dict.fromkeys(column for column, _ in self.ways))


class Listener(_Part):
    """The broker that live stations speak to. The password stands in .listen/password.txt, never in works.toml.

    file_seconds: a file at least so often while messages come.
    """

    broker: str = Field(description="its name or address")
    port: int = Field(default=1883, ge=1, le=65535, description="where it listens")
    tls: bool = Field(False, description="true: encrypted, and the broker must prove who it is")
    ca_file: str | None = Field(None, description="certificates to trust, where the works has its own")
    user: str | None = Field(
        None, description="name at the broker; the password stands in .listen/password.txt, never in works.toml"
    )
    client: str = Field("coldledger", description="name of this listener at the broker")
    file_seconds: float = Field(default=60.0, ge=1, le=3600, description="a file at least so often while messages come")


class BrokerTopic(_Part):
    """Messages that become rows. topic: `{column}` at a level is any word there, and fills that column.

    name: how the files' names begin: a feed, or what a [[mapping]] takes. arrival: column that gets the time of
    arrival where the message has none."""

    topic: Annotated[str, AfterValidator(_topic)] = Field(
        description="topic filter; a level in braces (`{station}`) is any word there, and fills that column"
    )
    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$", max_length=60)] = Field(
        description=(
            'how the files\' names begin: a feed, or what the files of a [[mapping]] take (nested keys: "read.g")'
        )
    )
    arrival: str | None = Field(None, description="column that gets the time of arrival where the message has none")
