"""The lists of the topics, made from what the code declares."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator

from pipelines import errors, typed
from pipelines.help.feed_reference import described
from pipelines.help.keys import keys_of
from pipelines.help.markdown import table
from pipelines.help.shapes import shape_of
from pipelines.intake import raw
from pipelines.people import access
from pipelines.settings import ENVIRONMENT, MIB, Settings
from schemas.reasons import Reason

EXITS = {
    errors.DONE: "done",
    errors.NEEDS_A_PERSON: "something needs a person",
    errors.WRONG_USE: "wrong use or unreadable site",
    errors.INTERRUPTED: "interrupted",
}


def made_list(kind: str, name: str) -> str:
    """The list that stands for `{kind}` or `{kind: name}` in a topic."""
    return LISTS[kind](name)


def _feeds(_: str) -> str:
    return "\n\n".join(_feed(feed) for feed in described())


def _feed(feed: dict[str, object]) -> str:
    columns: list[dict[str, object]] = feed["columns"]  # type: ignore[assignment]
    rows = (
        (f"`{column['column']}`", column["meaning"], column["unit"], column["limits"], ", ".join(_marks(column)))
        for column in columns
    )
    key: list[str] = feed["key"]  # type: ignore[assignment]
    return (
        f"### {feed['feed']}\n\n{feed['about']}\n\nOne row: {feed['grain']}. Key: {', '.join(key)}.\n\n"
        + table(("column", "meaning", "unit", "limits", "marks"), rows)
        + f"\n\n```text\n{feed['example']}\n```"
    )


def _marks(column: dict[str, object]) -> Iterator[str]:
    if column["key"]:
        yield "key"
    if column["optional"]:
        yield "may be empty"
    if column["default"] is not None:
        yield f"empty means {column['default']}"


def _refusals(_: str) -> str:
    places = {"value": "(what stood there)", "expected": "(what would be right)"}
    return table(("code", "says"), ((f"`{each.code}`", each.value.format(**places)) for each in Reason))


def _roles(_: str) -> str:
    return table(
        ("role", "may"),
        (
            (role, ", ".join(access.MEANS[act] for act in access.MEANS if act in acts))
            for role, acts in access.ACTS.items()
        ),
    )


def _environment(_: str) -> str:
    return table(("variable", "says"), ((f"`{name}`", says) for name, says in ENVIRONMENT.items()))


def _exits(_: str) -> str:
    return table(("exit status", "means"), EXITS.items())


def limits() -> dict[str, tuple[str, str]]:
    """Every limit of the settings by its name, in words: what it is of, how much."""
    settings = Settings()
    return {
        "largest_file": ("a file, unpacked", f"{settings.largest_file // MIB} MB"),
        "most_lines": ("lines of a file", f"{settings.most_lines:,}"),
        "longest_line": ("a row", f"{settings.longest_line // 1024} KiB"),
        "rows_at_once": ("rows committed together", f"{settings.rows_at_once:,}"),
        "ahead": (
            "how far a time may lie ahead of the moment of receipt",
            f"{settings.ahead.total_seconds() / 3600:g} h",
        ),
        "lock_wait_s": ("how long a command waits for another that writes", f"{settings.lock_wait_s:g} s"),
        "writer_memory": ("memory of the ledger while something is written", settings.writer_memory),
        "reader_memory": ("memory of the ledger while something is read", settings.reader_memory),
    }


def _limits(_: str) -> str:
    more = (  # of intake and people
        ("different texts of a file", f"{raw.MOST_WORDS:,}, {raw.MOST_WORD_BYTES // MIB} MB"),
        ("wrong rows of a file that are told one by one", f"{raw.MOST_WRONG:,}, {raw.MOST_WRONG_BYTES // MIB} MB"),
        ("columns of a file", f"{raw.MOST_COLUMNS:,}"),
        ("days of a works", f"{typed.FIRST} to {typed.LAST}"),
        ("letters of a password", f"{access.SHORTEST} to {access.LONGEST}"),
    )
    return table(("of what", "limit"), (*limits().values(), *more))


def _questions(_: str) -> str:
    return table(("question", "days at most"), typed.LONGEST.items())


def _python(_: str) -> str:
    from pipelines.inquiry import Inquiry

    rows = ((name, member) for name, member in vars(Inquiry).items() if not name.startswith("_"))
    return table(("of a site", "is"), ((f"`{name}{_way(member)}`", _first(member)) for name, member in rows))


def _way(member: object) -> str:
    if isinstance(member, property):
        return ""
    names = list(inspect.signature(member).parameters)[1:]  # type: ignore[arg-type]
    return f"({', '.join(names)})"


def _first(member: object) -> str:
    return " ".join((inspect.getdoc(member) or "").split("\n\n")[0].split())


def _keys(name: str) -> str:
    return table(("key", "is", "means"), keys_of(name))


LISTS: dict[str, Callable[[str], str]] = {
    "feeds": _feeds,
    "refusals": _refusals,
    "keys": _keys,
    "roles": _roles,
    "environment": _environment,
    "exits": _exits,
    "limits": _limits,
    "questions": _questions,
    "python": _python,
    "answer": shape_of,
}
