"""What each field of a shape says: the docstring under the field, after what its type says everywhere.

A docstring ends with the unit of a number, or with the clock of a time, in brackets: `[containers]`, `[0..1 of calls]`,
`[forming clock]`. It is read from the source when somebody asks. pydantic can read them too
(`use_attribute_docstrings`), but does so whenever a shape is imported: half a second more for every command on
Python 3.11.
"""

from __future__ import annotations

import ast
import inspect
import re
import sys
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from typing import Any, get_args

from schemas.answers.shape import Meaning, Result

_UNIT = re.compile(r"^(.*?)\s*\[([^\[\]]+)\]$")


@cache
def meanings(shape: type[Result]) -> dict[str, Meaning]:
    """What every field of a shape says, by the field's name in Python; no words where nobody wrote any."""
    own = {name: said for each in reversed(shape.__mro__) for name, said in _under_fields(each).items()}
    return {name: _joined([*_shared(shape, name), own.get(name, Meaning(""))]) for name in shape.model_fields}


def _joined(parts: list[Meaning]) -> Meaning:
    """What the type says, then what the docstring adds: "lower end of the 95 % interval", "of mean_g"."""
    words = ""
    for part in parts:
        between = "" if not (words and part.words) else " " if part.words.startswith(("of ", "that ")) else "; "
        words += between + part.words
    return Meaning(words, next((part.unit for part in reversed(parts) if part.unit), ""))


def _shared(shape: type[Result], name: str) -> Iterator[Meaning]:
    field = shape.model_fields[name]
    yield from (each for each in field.metadata if isinstance(each, Meaning))
    yield from _inside(field.annotation)


def _inside(annotation: Any) -> Iterator[Meaning]:
    for part in get_args(annotation):
        if isinstance(part, Meaning):
            yield part
        yield from _inside(part)


def _under_fields(shape: type) -> dict[str, Meaning]:
    return _of_module(shape.__module__).get(shape.__name__, {}) if issubclass(shape, Result) else {}


@cache
def _of_module(name: str) -> dict[str, dict[str, Meaning]]:
    tree = ast.parse(inspect.getsource(sys.modules[name]))
    return {each.name: dict(_docstrings(each)) for each in tree.body if isinstance(each, ast.ClassDef)}


def _docstrings(shape: ast.ClassDef) -> Iterator[tuple[str, Meaning]]:
    for field, below in pairwise(shape.body):
        if isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
            match below:
                case ast.Expr(ast.Constant(str() as text)):
                    yield field.target.id, _read(" ".join(text.split()))


def _read(said: str) -> Meaning:
    found = _UNIT.match(said)
    return Meaning(found[1], found[2]) if found else Meaning(said)
