"""Whether a [[mapping]] fits its feed."""

from __future__ import annotations

from collections.abc import Iterator

from pipelines.plant.mapping import Mapping
from schemas.feeds import Feed

_JOINED = {"columns", "from_name", "from_lines", "wide"}  # keys that can each give a part of a time or a day
_ADDED = "; name the headings that are added up in `sums`"


def mapping_faults(feed: Feed, mapping: Mapping) -> list[str]:
    """What a mapping names that its feed does not have, and columns that it fills in two ways."""
    return [*_unknown(feed, mapping), *_shape(feed, mapping), *_twice(feed, mapping)]


def filled(feed: Feed, mapping: Mapping) -> tuple[str, ...]:
    """The feed's columns that a mapping fills; what is only a part of a sum is none."""
    return tuple(c for c in mapping.targets if c in feed.columns or c not in mapping.parts)


def _unknown(feed: Feed, mapping: Mapping) -> Iterator[str]:
    named = dict.fromkeys((*filled(feed, mapping), *mapping.values, *mapping.leave_values, *mapping.factors))
    for column in named:
        if column not in feed.columns:
            yield f"{column} is no column of {feed.name}"


def _shape(feed: Feed, mapping: Mapping) -> Iterator[str]:
    if len({part.name for part in mapping.wide}) > 1:
        yield "all of `wide` must give its headings to one column"
    bare = [part for part in mapping.wide if not part.value]
    if bare and mapping.pivot is None:
        yield "`wide` does not say which column gets its cells: value"
    if mapping.pivot is not None:
        gives = bool(bare) + (mapping.pivot.value is not None)
        if gives != 1 or len(bare) != len(mapping.wide):
            yield "`pivot` must have its cells from one place: its own value, or a `wide` that names no value"
    if mapping.window == "end" and not {"window_start", "window_s"} <= {*feed.columns}:
        yield f'`window = "end"`: {feed.name} has no windows'


def _twice(feed: Feed, mapping: Mapping) -> Iterator[str]:
    keys: dict[str, list[str]] = {}
    for column, key in mapping.ways:
        if column in feed.columns:
            keys.setdefault(column, []).append(key)
    for column, ways in keys.items():
        if len(ways) == 1:
            continue
        kind = feed.quantity(column).kind
        different = list(dict.fromkeys(ways))
        if len(different) > 1 and not (kind in ("time", "date") and set(ways) <= _JOINED):
            yield f"{column} is filled twice, by {' and by '.join(f'`{way}`' for way in different)}"
        elif len(different) == 1 and kind in ("count", "number"):
            yield f"{column} is filled twice, by two headings of `{different[0]}`{_ADDED}"
