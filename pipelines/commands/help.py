"""`coldledger help`: the topics, or one of them; and which topic each command's `--help` names."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from pipelines.help.topics import TOPICS, named_by, text_of, topic_of
from pipelines.reports.terminal.formats import Format, print_as

WIDEST = 110  # columns of a page of text; longer lines are hard to read


def help_(
    topic: Annotated[
        list[str] | None, typer.Argument(metavar="[TOPIC]", help="A topic, or a command, such as trace or feeds try.")
    ] = None,
    format: Annotated[
        Format, typer.Option("--format", help="How to show the topics; a topic itself is Markdown.")
    ] = Format.table,
) -> None:
    """The reference: all topics with a line each, or one topic."""
    if topic:
        show(text_of(topic_of(" ".join(topic))))
    elif format is Format.table:
        width = max(len(this_topic.name) for this_topic in TOPICS)
        lines = "".join(f"  {each.name:<{width}}  {plain(each.about)}\n" for each in TOPICS)
        typer.echo(
            f"coldledger help TOPIC, for one of these:\n\n{lines}\nWhat a command takes: coldledger COMMAND --help"
        )
    else:
        show_rows(format)


def plain(text: str) -> str:
    """A heading without its marks."""
    return text.replace("`", "").replace("*", "")


def show(text: str) -> None:
    """Laid out where somebody reads it, as it is written where it is piped."""
    if not sys.stdout.isatty():
        typer.echo(text, nl=False)
        return
    from rich.console import Console
    from rich.markdown import Markdown

    console = Console()
    console.print(Markdown(text, hyperlinks=False), width=min(console.width, WIDEST))


def show_rows(format: Format) -> None:
    """The list of topics for machines."""
    from pipelines.reports.frame.sheet import Sheet, in_csv

    rows = [{"topic": topic.name, "about": plain(topic.about), "commands": list(topic.commands)} for topic in TOPICS]
    cells = [{**row, "commands": " ".join(row["commands"])} for row in rows]
    print_as(Sheet("topics", "Topics", in_csv("topic", "about", "commands"), cells), format, rows)


def name_topics(app: typer.Typer, above: Sequence[str] = ()) -> None:
    """Every command's `--help` ends with its topic."""
    for command in app.registered_commands:
        name = command.name or (command.callback.__name__ if command.callback else "")
        command.epilog = _more((*above, name), command.epilog)
    for group in app.registered_groups:
        if group.typer_instance is not None and group.name:
            group.epilog = _more((*above, group.name), None)
            name_topics(group.typer_instance, (*above, group.name))


def _more(path: Sequence[str], said: str | None) -> str | None:
    topic = named_by(" ".join(path))
    if topic is None:
        return said
    return f"More: coldledger help {topic.name}"
