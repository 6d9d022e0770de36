"""Every template that the program says, found in its text."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from babel.messages.extract import extract_from_dir

from schemas.reasons import Reason

PIPELINES = Path(__file__).parent.parent.parent / "pipelines"
KEYWORDS = {"say": None, "t": None, "template": None, "say_n": (1, 2)}
OWN = ("words/message.py", "words/recall.py", "words/__init__.py")
METHODS = [("**.j2", "jinja2.ext:babel_extract")]


@cache
def _is_said(file: str) -> bool:
    """Whether `say` and `t` mean messages in a file: elsewhere they are a caller's own."""
    if file in OWN:
        return False
    return file.startswith("pages/") or "pipelines.words" in (PIPELINES / file).read_text(encoding="utf-8")


def _of_code(text: str) -> Iterator[tuple[str, ...]]:
    """The templates of a Python module; Babel's own reader of Python passes over those within another call's."""
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
        if name in KEYWORDS:
            wanted = node.args[: 2 if KEYWORDS[name] else 1]
            words = [word.value for word in wanted if isinstance(word, ast.Constant)]
            if len(words) == len(wanted) and words and all(isinstance(word, str) for word in words):
                yield tuple(str(word) for word in words)


def said() -> Iterator[tuple[str, tuple[str, ...]]]:
    """(file, template); with plural forms (file, singular, plural)."""
    for path in sorted(PIPELINES.rglob("*.py")):
        file = path.relative_to(PIPELINES).as_posix()
        if _is_said(file):
            yield from ((file, texts) for texts in _of_code(path.read_text(encoding="utf-8")))
    for file, _, message, _, _ in extract_from_dir(PIPELINES, METHODS, keywords=KEYWORDS, options_map={}):  # type: ignore[arg-type]
        if message and _is_said(file):
            yield file, (message,) if isinstance(message, str) else tuple(message[:2])
    for reason in Reason:
        yield "schemas/reasons.py", (reason.value,)
