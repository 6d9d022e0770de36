"""Every template that the program says, found in its text."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

from babel.messages.extract import extract_from_dir

from schemas.reasons import Reason

PIPELINES = Path(__file__).parent.parent.parent / "pipelines"
KEYWORDS = {"say": None, "t": None, "template": None, "say_n": (1, 2)}
OWN = ("words/message.py", "words/recall.py", "words/__init__.py")
METHODS = [("**.py", "python"), ("**.j2", "jinja2.ext:babel_extract")]


@cache
def _is_said(file: str) -> bool:
    """Whether `say` and `t` mean messages in a file: elsewhere they are a caller's own."""
    if file in OWN:
        return False
    return file.startswith("pages/") or "pipelines.words" in (PIPELINES / file).read_text(encoding="utf-8")


def said() -> Iterator[tuple[str, tuple[str, ...]]]:
    """(file, template); with plural forms (file, singular, plural)."""
    for file, _, message, _, _ in extract_from_dir(PIPELINES, METHODS, keywords=KEYWORDS, options_map={}):  # type: ignore[arg-type]
        if message and _is_said(file):
            yield file, (message,) if isinstance(message, str) else tuple(message[:2])
    for reason in Reason:
        yield "schemas/reasons.py", (reason.value,)
