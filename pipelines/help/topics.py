"""Which topics there are, where each is written, and which commands it is about."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from pipelines.errors import WrongUse
from pipelines.typed import shown

_LIST = re.compile(r"^\{([a-z]+)(?:: ([\w.]+))?\}$", re.M)


@dataclass(frozen=True)
class Topic:
    """name: what is typed, and how the file is called.  place: the package in whose folder the file lies.
    commands: whose `--help` names this topic."""

    name: str
    place: str
    commands: tuple[str, ...] = ()

    @property
    def written(self) -> str:
        """The Markdown as it lies beside the code; lists are not made yet."""
        return files(self.place).joinpath(f"{self.name}.md").read_text(encoding="utf-8")

    @property
    def about(self) -> str:
        """What it is about, in a line: its heading."""
        return self.written.split("\n", 1)[0].removeprefix("# ")

    @property
    def lists(self) -> tuple[tuple[str, str], ...]:
        """(kind, of what) of each list that is made from the code."""
        return tuple((found[1], found[2] or "") for found in _LIST.finditer(self.written))


TOPICS = (
    Topic("commands", "pipelines.commands", ("demo", "help")),
    Topic("first-day", "pipelines.commands"),
    Topic("cautions", "pipelines"),
    Topic("pages", "pipelines.pages"),
    Topic("pareto", "pipelines.measures.pareto", ("pareto",)),
    Topic("signals", "pipelines.measures.signals", ("signals",)),
    Topic("day", "pipelines.reports.day", ("day",)),
    Topic("yield", "pipelines.measures.yields", ("yield",)),
    Topic("weights", "pipelines.measures.weights", ("weights",)),
    Topic("laboratory", "pipelines.measures.laboratory", ("lab",)),
    Topic("trace", "pipelines.measures.trace", ("trace", "trust", "pallet", "mould")),
    Topic("holds", "pipelines.measures.holds", ("holds",)),
    Topic("intake", "pipelines.intake", ("intake", "feeds")),
    Topic("feeds", "schemas.feeds"),
    Topic("mapping", "pipelines.plant", ("feeds try",)),
    Topic("listen", "pipelines.sources.broker", ("listen",)),
    Topic("works", "pipelines.plant", ("init", "works")),
    Topic("sources", "pipelines.sources.database", ("sources",)),
    Topic("site", "pipelines.site"),
    Topic("close", "pipelines.jobs", ("close", "rebuild")),
    Topic("serve", "pipelines.serve", ("serve", "schedule", "runs")),
    Topic("people", "pipelines.people", ("people",)),
    Topic("notices", "pipelines.serve", ("notices",)),
    Topic("deployments", "pipelines.flows", ("deployments",)),
    Topic("keeping", "pipelines.jobs", ("backup", "restore", "check", "compact", "rollup")),
    Topic("export", "pipelines.ledger", ("export",)),
    Topic("python", "pipelines"),
    Topic("environment", "pipelines"),
    Topic("limits", "pipelines"),
    Topic("changes", "pipelines"),
)


def topic_of(word: str) -> Topic:
    """The topic of that name, or the one about the command of that name. WrongUse with what is near."""
    by_name = {topic.name: topic for topic in TOPICS}
    by_command = {command: topic for topic in TOPICS for command in topic.commands}
    found = by_name.get(word) or by_command.get(word)
    if found is None:
        near = get_close_matches(word, [*by_name, *by_command], 1)
        hint = f"; perhaps {near[0]} is meant" if near else ""
        raise WrongUse(f"there is no topic '{shown(word)}'{hint}; `coldledger help` lists all")
    return found


def named_by(command: str) -> Topic | None:
    """The topic that a command's `--help` names: its own, else that of the command it belongs to."""
    for topic in TOPICS:
        if command in topic.commands:
            return topic
    above = command.rpartition(" ")[0]
    return named_by(above) if above else None


@cache
def text_of(topic: Topic) -> str:
    """The whole topic in Markdown, its lists made."""
    from pipelines.help.lists import made_list

    return _LIST.sub(lambda found: made_list(found[1], found[2] or ""), topic.written)
