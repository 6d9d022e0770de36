"""Every sentence of the program stands in every catalogue, with the same places and all plural forms, and no other."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from pipelines.plant.works import Plant
from pipelines.words import LANGUAGES, catalogue, say
from pipelines.words.message import PLACE
from tests.words.templates import PIPELINES, said

OTHERS = [language for language in LANGUAGES if language != "en"]
OWN = PIPELINES / "words"


def _wanted() -> dict[str, tuple[str, ...]]:
    return {texts[0]: texts for _, texts in said() if any(letter.isalpha() for letter in PLACE.sub("", texts[0]))}


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_is_whole_and_has_nothing_else(language: str) -> None:
    entries = {template: texts for (context, template), texts in catalogue(language).entries.items() if not context}
    wanted = _wanted()
    assert len(wanted) > 600
    lacking, stale = sorted(wanted.keys() - entries.keys()), sorted(entries.keys() - wanted.keys())
    assert not lacking, f"said and not in words/{language}.po:\n" + "\n".join(lacking)
    assert not stale, f"in words/{language}.po and said nowhere:\n" + "\n".join(stale)
    for template, texts in entries.items():
        forms = wanted[template]
        assert len(texts) == (1 if len(forms) == 1 else 2), template
        for text in texts:
            assert sorted(set(PLACE.findall(text))) == sorted(set(PLACE.findall(template))), (template, text)
            assert text.strip() and text[:1].isspace() == template[:1].isspace(), (template, text)


@pytest.mark.parametrize("language", OTHERS)
def test_the_defects_of_the_invented_works_have_the_trades_names(language: str, plant: Plant) -> None:
    entries = {template for context, template in catalogue(language).entries if context == "defect"}
    assert {defect.name for defect in plant.defects.values()} <= entries
    assert catalogue(language).write(plant.defects["STN"].name) != plant.defects["STN"].name == "stone"


def test_every_message_is_said_by_a_template_that_can_be_read_in_the_text() -> None:
    """`say(words)` would be found by nobody: the template stands there, or is a name made by `template`."""
    hidden = []
    for path in sorted(PIPELINES.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if path.is_relative_to(OWN) or "pipelines.words import" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("say", "say_n"):
                first = node.args[0]
                named = isinstance(first, ast.Name) and first.id.lstrip("_").isupper()
                if not named and not (isinstance(first, ast.Constant) and isinstance(first.value, str)):
                    hidden.append((path.relative_to(PIPELINES).as_posix(), ast.unparse(node)))
    known = {"say(of_line, at=at)", "say(of_section, section=section, at=at)", "say(found.why_ended)"}
    known |= {"say(LOOK_BLINDED if where.blinded else LOOK_FIRST[where.scope])"}
    known |= {"say(template, '', **fields)", "say(NOTHING_CAME, line=line)"}
    known |= {"say(source, low=f'{low:.0f}', high=f'{high:.0f}')"}
    assert [(path, call) for path, call in hidden if call not in known] == []


def test_numbers_of_one_and_of_many_follow_the_language() -> None:
    german = catalogue("de")
    assert [german.form(n) for n in (0, 1, 2)] == [1, 0, 1]
    assert german.write(say("{rejected} of {ware} containers", rejected=940, ware="27 047")) == "940 von 27 047 Stück"


def test_nothing_matches_finished_sentences_any_more() -> None:
    assert not (PIPELINES / "pages" / "texts.toml").exists()
    assert [path.name for path in Path(OWN).glob("*.po")] == [f"{language}.po" for language in OTHERS]
