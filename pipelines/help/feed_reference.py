"""The reference of the feeds, printed from the pandera classes and the glossary."""

from __future__ import annotations

from typing import Any

from schemas.feeds import ALL_FEEDS, Feed


def described() -> list[dict[str, Any]]:
    """Every feed with its columns, as JSON values."""
    return [
        {
            "feed": feed.name,
            "about": " ".join((feed.model.__doc__ or "").split()),
            "grain": feed.grain,
            "key": list(feed.key),
            "columns": [_column(feed, name) for name in feed.columns],
            "example": example(feed),
        }
        for feed in ALL_FEEDS.values()
    ]


def example(feed: Feed) -> str:
    """Header and one row of the feed as CSV."""
    values = [feed.example.get(name) or feed.quantity(name).example for name in feed.columns]
    return ",".join(feed.columns) + "\n" + ",".join(values)


def _column(feed: Feed, name: str) -> dict[str, Any]:
    quantity = feed.quantity(name)
    return {
        "column": name,
        "meaning": quantity.meaning + (f"; {quantity.lacking}" if quantity.lacking else ""),
        "unit": quantity.unit,
        "limits": limits(feed, name),
        "key": name in feed.key,
        "optional": name in feed.omittable,
        "default": feed.defaults.get(name),
    }


def limits(feed: Feed, name: str) -> str:
    """The allowed range in words."""
    quantity = feed.quantity(name)
    if quantity.kind in ("count", "number"):
        return f"{quantity.low:,g} to {quantity.high:,.0f}"
    if quantity.known_as:
        lists = quantity.known_as.split()
        named = ", ".join(lists[:-1]) + (" or " if lists[:-1] else "") + lists[-1]
        return f"a {named} in works.toml" + (" or one of these" if quantity.choices else "")
    if quantity.choices:
        return "one of these"
    if quantity.planned:
        return "may lie ahead"
    return f"at most {quantity.high:g} characters" if quantity.high else "not in the future"


def describe_feeds() -> str:
    """The whole reference as text."""
    parts = [
        "FEEDS\n\nA file lies in inbox/ as <feed>.<anything>.<csv|csv.gz|parquet|jsonl>. CSV is UTF-8 with commas "
        "and a header line;"
        "\ncolumns come in any order. A writer makes it under a name that begins with . or ends in .part, and "
        "renames it when whole.\n"
    ]
    for feed in described():
        parts.append(
            f"\n{feed['feed']}\n  {feed['about']}\n  One row: {feed['grain']}. Key: {', '.join(feed['key'])}.\n"
        )
        for column in feed["columns"]:
            marks = ("key" if column["key"] else "", "may be empty" if column["optional"] else "")
            default = f" (empty means {column['default']})" if column["default"] is not None else ""
            mark = ", ".join(mark for mark in marks if mark)
            parts.append(f"    {column['column']:<16} {column['meaning']}{default}\n")
            parts.append(f"    {'':<16} {column['unit']}; {column['limits']}{'; ' + mark if mark else ''}\n")
        parts.append("  Example:\n" + "".join(f"    {line}\n" for line in feed["example"].splitlines()))
    return "".join(parts)
