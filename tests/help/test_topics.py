"""The reference tells all there is: every command, key, variable, limit, column, reason, role, page, answer."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
import typer

from pipelines import typed
from pipelines.cli import app
from pipelines.errors import WrongUse
from pipelines.help import TOPICS, Topic, text_of, topic_of
from pipelines.help.keys import keys_of, tables
from pipelines.help.lists import LISTS, limits
from pipelines.help.shapes import shapes, within
from pipelines.help.topics import named_by
from pipelines.inquiry import Inquiry
from pipelines.pages.frame import PLACES
from pipelines.people.access import ACTS, MEANS
from pipelines.settings import ENVIRONMENT, Settings
from schemas.feeds import ALL_FEEDS
from schemas.reasons import Reason

ROOT = Path(__file__).parent.parent.parent
INNER = {"COLDLEDGER_SERVE"}  # what a served site's parts tell each other


def commands() -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []

    def look(group: Any, path: str) -> None:
        for name, command in group.commands.items():
            found.append((f"{path} {name}".strip(), command))
            if hasattr(command, "commands"):
                look(command, f"{path} {name}".strip())

    look(typer.main.get_command(app), "")
    return found


def lists_of(kind: str) -> set[str]:
    return {name for topic in TOPICS for each, name in topic.lists if each == kind}


def test_every_file_beside_the_code_is_a_topic_and_every_topic_has_one() -> None:
    written = {
        path.relative_to(ROOT).as_posix() for part in ("pipelines", "schemas") for path in (ROOT / part).rglob("*.md")
    }
    assert written == {f"{topic.place.replace('.', '/')}/{topic.name}.md" for topic in TOPICS}


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: topic.name)
def test_a_topic_has_a_heading_and_all_its_lists_and_leads_to_topics_that_are_there(topic: Topic) -> None:
    text = text_of(topic)
    assert text.startswith("# ") and text.endswith("\n") and 0 < len(topic.about) < 100
    assert not re.findall(r"^\{.*\}$", text, re.M), "a list was not made"
    for word in re.findall(r"`coldledger\s+help\s+([a-z-]+)`", text):
        assert topic_of(word).name == word
    assert not re.findall(r"\]\([^)]*#", text) and "README" not in text and "DEVELOPERS" not in text
    assert not [
        line for line in topic.written.splitlines() if len(line) > 125 and not line.startswith(("|", "coldledger"))
    ]


def test_every_kind_of_list_is_in_a_topic() -> None:
    assert {kind for topic in TOPICS for kind, _ in topic.lists} == set(LISTS)


def test_every_command_is_told_as_its_help_tells_it() -> None:
    text = text_of(topic_of("commands"))
    for name, command in commands():
        about = " ".join(command.help.split("\n\n")[0].split()).replace("|", "\\|")
        topic = named_by(name)
        assert topic is not None, f"no topic in TOPICS (pipelines/help/topics.py) names the command {name}"
        row = f"| `coldledger {name}` | {about} | `coldledger help {topic.name}` |"
        assert row in text.splitlines(), f"pipelines/commands/commands.md wants the row: {row}"
    assert len(re.findall(r"^\| `coldledger ", text, re.M)) == len(commands())


def test_every_commands_help_names_its_topic_and_the_topic_the_command() -> None:
    for name, command in commands():
        topic = named_by(name)
        assert topic is not None, f"no topic in TOPICS (pipelines/help/topics.py) names the command {name}"
        assert command.epilog == f"More: coldledger help {topic.name}", name
        text = text_of(topic)
        assert re.search(rf"coldledger\s+{name.split()[0]}\b|`{name}`", text), name
    known = {name for name, _ in commands()}
    assert {command for topic in TOPICS for command in topic.commands} <= known


def test_every_key_of_works_toml_is_in_a_topic() -> None:
    assert lists_of("keys") == set(tables())
    whole = "\n".join(text_of(topic) for topic in TOPICS)
    for model in tables().values():
        for name, key in model.model_fields.items():
            assert f"| `{key.alias or name}` | " in whole and str(key.description).replace("|", "\\|") in whole, name


def test_every_field_of_every_answer_is_in_a_topic() -> None:
    found = {shape for name in lists_of("answer") for shape in within(shapes()[name])}
    lacking = ", ".join(sorted(set(shapes()) ^ {shape.__name__ for shape in found}))
    assert not lacking, f"no topic has {{answer: ...}} of an answer that holds: {lacking}"
    whole = "\n".join(text_of(topic) for topic in TOPICS)
    assert not [
        f"{shape.__name__}.{name}"
        for shape in found
        for name, key in shape.model_fields.items()
        if f"| `{key.alias or name}` | " not in whole
    ]


def test_every_shape_of_an_answer_says_what_it_is() -> None:
    assert not [name for name, shape in shapes().items() if not (shape.__doc__ or "").strip()]


def test_every_feed_and_column_is_told() -> None:
    text = text_of(topic_of("feeds"))
    for feed in ALL_FEEDS.values():
        part = text.split(f"### {feed.name}\n")[1].split("### ")[0]
        assert not [column for column in feed.columns if f"| `{column}` |" not in part], feed.name


def test_every_reason_for_refusal_is_told() -> None:
    text = text_of(topic_of("feeds"))
    assert not [each.code for each in Reason if f"| `{each.code}` |" not in text]


def test_every_variable_that_the_code_reads_is_told() -> None:
    code = "\n".join(path.read_text() for path in (ROOT / "pipelines").rglob("*.py"))
    assert set(re.findall(r"\bCOLDLEDGER_[A-Z_]*[A-Z]\b", code)) - INNER == {
        name for name in ENVIRONMENT if name.startswith("COLD")
    }
    assert {"PREFECT_API_URL", "PREFECT_HOME"} <= set(ENVIRONMENT)
    text = text_of(topic_of("environment"))
    assert all(f"| `{name}` | {says} |" in text for name, says in ENVIRONMENT.items())


def test_every_limit_is_told() -> None:
    assert set(limits()) == {field.name for field in fields(Settings)} - {"fixed_now", "clock"}
    text = text_of(topic_of("limits"))
    assert all(f"| {what} | {much} |" in text for what, much in limits().values())
    assert all(f"| {question} | {days} |" in text for question, days in typed.LONGEST.items())


def test_every_role_and_act_is_told() -> None:
    assert frozenset().union(*ACTS.values()) == set(MEANS)
    text = text_of(topic_of("people"))
    assert all(f"| {role} | " in text for role in ACTS) and all(words in text for words in MEANS.values())


def test_every_place_of_the_pages_is_told() -> None:
    text = text_of(topic_of("pages"))
    assert re.findall(r"^\| \*(\w+)\* \|", text, re.M) == [name.capitalize() for name, _, _ in PLACES]


def test_every_way_to_ask_from_python_is_told() -> None:
    text = text_of(topic_of("python"))
    names = [name for name in vars(Inquiry) if not name.startswith("_")]
    assert len(names) > 8 and not [name for name in names if not re.search(rf"^\| `{name}\b", text, re.M)]


def test_the_newest_version_is_told_first() -> None:
    from pipelines import __version__

    assert re.findall(r"^## (.+)$", text_of(topic_of("changes")), re.M)[0] == __version__


def test_a_topic_is_found_by_a_command_and_what_is_none_is_wrong_use_with_what_is_near() -> None:
    assert topic_of("lab").name == "laboratory" and topic_of("feeds try").name == "mapping"
    with pytest.raises(WrongUse, match="perhaps mapping is meant; `coldledger help` lists all"):
        topic_of("maping")
    with pytest.raises(WrongUse, match="there is no topic '%'; `coldledger help` lists all"):
        topic_of("%")


def test_a_key_says_its_limits_and_what_stands_where_nothing_is_said() -> None:
    texts = {f"{table} {name}": words for table in tables() for name, words, _ in keys_of(table)}
    assert texts["line `sections`"] == "whole number, from 1 to 40; must be said"
    assert texts["mapping `separator`"] == "text, one letter; else `,`"
    assert texts["mapping `thousands`"] == "nothing, `.`, `,`, a blank, `'`"
    assert (
        texts["station `sees`"] == "list: text"
        and texts["warehouse `released_means_gone`"] == "true or false; else `false`"
    )
    assert (
        texts["clock `from`"] == "time with its offset; must be said"
        and texts["works `shifts`"] == "list: time of day; must be said"
    )
