"""Times, dates and numbers of a foreign export in the contract's words. What cannot be read stays as it came and is
refused later, with its reason.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal, InvalidOperation
from zoneinfo import ZoneInfo

import polars as pl

from pipelines.clock import BadTime, local_to_utc, parse_timestamp
from pipelines.intake.foreign.repeated_hour import order_says
from pipelines.plant.mapping import Mapping
from schemas.feeds import Feed
from schemas.reasons import Reason

_SECONDS = re.compile(r"\d{9,10}(\.\d+)?\Z", re.ASCII)
_MILLISECONDS = re.compile(r"\d{12,13}\Z", re.ASCII)
_PLAIN_LOCAL = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d)?(\.\d+)?\Z", re.ASCII)

_TYPED_MOMENT = re.compile(r"\d{4}-\d\d-\d\d( \d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)?)?\Z", re.ASCII)
_END = "(the end of its window)"


def in_our_words(cells: pl.DataFrame, feed: Feed, mapping: Mapping, typed: bool = False) -> pl.DataFrame:
    """The frame with every word of a time, a date and a number as the contract writes it.

    typed: a cell can have been a day or a moment already, whatever `time_format` says of texts.
    """
    for column in cells.columns:
        kind = feed.quantity(column).kind if column in feed.columns else "text"
        if kind == "time":
            cells = cells.with_columns(_times(cells, column, feed, mapping, typed))
        elif kind == "date" and mapping.date_format:
            cells = cells.with_columns(_each(cells[column], _date_word(mapping.date_format)))
        elif kind in ("count", "number") and column not in mapping.constants:
            cells = cells.with_columns(_each(cells[column], number_word(mapping, mapping.factors.get(column))))
    return cells


def _each(words: pl.Series, this_callable: Callable[[str], str]) -> pl.Series:
    """Every word told anew; each distinct word once."""
    distinct = words.unique().to_list()
    return words.replace_strict(
        distinct, [this_callable((word or "").strip()) for word in distinct], return_dtype=pl.String
    )


def number_word(mapping: Mapping, factor: float | None) -> Callable[[str], str]:
    """What makes a number of the export one with a decimal point; what is none stays as it came."""
    grouped = (
        re.compile(rf"[+-]?\d{{1,3}}({re.escape(mapping.thousands)}\d{{3}})+(?!\d)") if mapping.thousands else None
    )

    def told(word: str) -> str:
        plain = word.replace("\u00a0", " ").replace("\u202f", " ")
        if grouped and grouped.match(plain):
            plain = plain.replace(mapping.thousands, "")
        if mapping.decimal == "," and "." in plain and any(c.isdigit() for c in plain):
            return f"{word} (decimal mark: comma)"  # 1.234 might be a thousand or a little over one: a person must say
        if mapping.decimal == ",":
            plain = plain.replace(",", ".")
        return plain if factor is None else _times_factor(plain, factor)

    return told


def _times_factor(word: str, factor: float) -> str:
    try:
        return f"{Decimal(word) * Decimal(str(factor)):f}" if word else word
    except InvalidOperation:
        return word


def _date_word(form: str) -> Callable[[str], str]:
    def told(word: str) -> str:
        try:
            return datetime.strptime(word, form).date().isoformat()
        except ValueError:
            return word

    return told


def _times(cells: pl.DataFrame, column: str, feed: Feed, mapping: Mapping, typed: bool) -> pl.Series:
    zone = ZoneInfo(mapping.timezone) if mapping.timezone else None
    words = cells[column].str.strip_chars()
    texts: dict[str, str] = {}
    local: dict[str, datetime] = {}  # times that came twice, by the word
    for word in words.unique().to_list():
        moment = read_moment(word, mapping.time_format, zone, typed)
        if isinstance(moment, datetime) and moment.tzinfo is None:
            local[word] = moment
            texts[word] = moment.isoformat()
        else:
            texts[word] = moment.isoformat().replace("+00:00", "Z") if isinstance(moment, datetime) else moment
    said = words.replace_strict(list(texts), list(texts.values()), return_dtype=pl.String)
    if not local or zone is None:
        return said.alias(column)
    late = _order_of(cells, column, words, feed, mapping, zone, typed)
    first, second = (words.replace(list(local), [_instant(at, zone, fold) for at in local.values()]) for fold in (0, 1))
    twice = words.is_in(list(local))
    settled = pl.when(twice & (late == 0)).then(first).when(twice & (late == 1)).then(second).otherwise(said)
    return pl.select(settled).to_series().alias(column)


def _instant(local: datetime, zone: ZoneInfo, fold: int) -> str:
    return local.replace(tzinfo=zone, fold=fold).astimezone(UTC).isoformat().replace("+00:00", "Z")


def read_moment(word: str, form: str | None, zone: ZoneInfo | None, typed: bool = False) -> datetime | str:
    """The moment in UTC; a naive local one where the clock showed it twice or not at all; the word itself where it is
    no time. typed: it can be of a sheet's own kind.
    """
    naive = _of_kind(word) if typed else None
    naive = _naive(word, form) if naive is None else naive
    if naive is None:
        return word
    if naive.tzinfo is not None:
        return naive.astimezone(UTC)
    if zone is None:
        return naive.isoformat()
    try:
        return local_to_utc(naive, zone)
    except BadTime as error:
        return naive if error.reason is Reason.TIME_TWICE else naive.isoformat()


def _of_kind(word: str) -> datetime | None:
    """A day or a moment as a sheet or a database has it of its own kind; a day alone is its beginning."""
    try:
        return datetime.fromisoformat(word.replace(" ", "T")) if _TYPED_MOMENT.match(word) else None
    except ValueError:
        return None


def _naive(word: str, form: str | None) -> datetime | None:
    """A time as it is written, with its offset where it has one."""
    try:
        if form == "seconds since 1970":
            return datetime.fromtimestamp(0, UTC) + timedelta(seconds=float(word)) if _SECONDS.match(word) else None
        if form == "milliseconds since 1970":
            return (
                datetime.fromtimestamp(0, UTC) + timedelta(milliseconds=int(word))
                if _MILLISECONDS.match(word)
                else None
            )
        if form is not None:
            return datetime.strptime(word, form)
        return datetime.fromisoformat(word.replace(" ", "T")) if _PLAIN_LOCAL.match(word) else parse_timestamp(word)
    except (ValueError, OverflowError, BadTime):
        return None


def _order_of(
    cells: pl.DataFrame, column: str, words: pl.Series, feed: Feed, mapping: Mapping, zone: ZoneInfo, typed: bool
) -> pl.Series:
    """Whether times that came twice that night are the first (0) or the second (1), by the order of the rows; -1 where
    that is not certain.
    """
    form = mapping.time_format
    moments = {w: (_of_kind(w) if typed else None) or _naive(w, form) for w in words.unique().to_list()}
    plain = {word: _local(moment, zone) for word, moment in moments.items() if moment is not None}
    clock = words.replace_strict(list(plain), list(plain.values()), default=None, return_dtype=pl.Datetime("us"))
    groups = [c for c in feed.key if c in cells.columns and c != column]
    return order_says(clock, zone, cells.select(groups))


def _local(moment: datetime, zone: ZoneInfo) -> datetime:
    return moment.astimezone(zone).replace(tzinfo=None) if moment.tzinfo is not None else moment


def at_window_start(cells: pl.DataFrame, feed: Feed, mapping: Mapping) -> pl.DataFrame:
    """Windows by their start where the export marks their end. Where that cannot be told (no length, a time that came
    twice) the word says that it is the end, and is refused.
    """
    if mapping.window != "end" or "window_start" not in cells.columns:
        return cells
    length = pl.col("window_s") if "window_s" in cells.columns else pl.lit("")
    usual = str(feed.defaults.get("window_s", ""))
    pairs = cells.select("window_start", length.fill_null("").str.strip_chars().replace("", usual).alias("length"))
    distinct = pairs.unique()
    starts = [_start_of(end or "", seconds) for end, seconds in distinct.iter_rows()]
    table = distinct.with_columns(pl.Series("start", starts, dtype=pl.String))
    joined = pairs.join(table, on=["window_start", "length"], how="left", maintain_order="left", nulls_equal=True)
    return cells.with_columns(joined["start"].alias("window_start"))


def _start_of(end: str, seconds: str) -> str:
    if not end.strip():
        return end
    if not (end.endswith("Z") and seconds.isdigit() and len(seconds) < 7):
        return f"{end} {_END}"
    try:
        start = datetime.fromisoformat(end) - timedelta(seconds=int(seconds))
    except (ValueError, OverflowError):
        return f"{end} {_END}"
    return start.isoformat().replace("+00:00", "Z")
