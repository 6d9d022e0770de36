"""A plant as the text of a works.toml that people go on editing: what was given stands there, what was not is a comment
with what holds then. What a key means stands beside the first of its kind.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import date, time
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pipelines.plant.works import Plant

HEAD = """\
# The plant file of your works. Change what has changed; the tool names whatever does not fit together.
# Every key: coldledger help works. Whether it fits: coldledger works check. The feeds: coldledger help feeds
"""
ELSEWHERE = {  # tables with keys of their own topic
    "mapping": "mapping",
    "listener": "listen",
    "topic": "listen",
    "source": "sources",
    "clock": "intake",
}
_BESIDE = 32  # column of what a key means
_WIDEST = 110


def works_toml(plant: Plant) -> str:
    """The plant as text; `read_plant` makes an equal plant of it."""
    parts = [HEAD]
    for name, key in Plant.model_fields.items():
        table, value = key.alias or name, getattr(plant, name)
        if isinstance(value, tuple):
            rows = [_table(f"[[{table}]]", row, n == 0) for n, row in enumerate(value)]
            parts += rows or [_absent(f"[[{table}]]", table, key)]
        elif value is None or (name not in plant.model_fields_set and table in ELSEWHERE):
            parts.append(_absent(f"[{table}]", table, key))
        else:
            parts.append(_table(f"[{table}]", value, True))
    return "\n".join(parts)


def table_toml(header: str, table: BaseModel) -> str:
    """One table, without a word beside its keys."""
    return _table(header, table, False)


def _table(header: str, table: BaseModel, explained: bool) -> str:
    """A table with its keys; long tables within it stand below under headers of their own."""
    lines, below = [header], []
    for name, key in type(table).model_fields.items():
        called, value = key.alias or name, getattr(table, name)
        about = key.description or "" if explained else ""
        if name not in table.model_fields_set:
            if explained:
                lines.append(_beside(f"# {called} = {_default(value)}", about))
            continue
        text = toml_value(value)
        if isinstance(value, dict) and len(text) > _WIDEST:
            below += list(_below(f"{header.strip('[]')}.{called}", value))
        elif len(text) > _WIDEST and isinstance(value, tuple):
            lines += [_beside(f"{called} = [", about), *_wrapped(value), "]"]
        else:
            lines.append(_beside(f"{called} = {text}", about))
    return "\n".join([*lines, *below, ""])


def _below(path: str, values: dict[str, Any]) -> Iterator[str]:
    inner = {key: value for key, value in values.items() if isinstance(value, dict)}
    if len(inner) < len(values):
        yield f"[{path}]"
        yield from (f"{_key(key)} = {toml_value(value)}" for key, value in values.items() if key not in inner)
    for key, value in inner.items():
        yield from _below(f"{path}.{_key(key)}", value)


def _wrapped(values: tuple[Any, ...]) -> Iterator[str]:
    line = "   "
    for text in map(toml_value, values):
        if len(line) + len(text) > _WIDEST:
            yield line
            line = "   "
        line += f" {text},"
    yield line


def _absent(header: str, table: str, key: FieldInfo) -> str:
    """A table that is not there, as a comment that can be made one."""
    about = " ".join((key.description or "").split())
    if table in ELSEWHERE:
        return _beside(f"# {header}", f"{about}: coldledger help {ELSEWHERE[table]}") + "\n"
    lines = [_beside(f"# {header}", about)]
    for name, each in _model(key.annotation).model_fields.items():
        value = None if each.is_required() else each.get_default(call_default_factory=True)
        lines.append(_beside(f"# {each.alias or name} = {_default(value)}", each.description or ""))
    return "\n".join([*lines, ""])


def _model(annotation: Any) -> type[BaseModel]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(_model(part) for part in get_args(annotation) if part not in (type(None), ...))


def _default(value: object) -> str:
    return "..." if value is None or value == "" else toml_value(value)


def _beside(text: str, about: str) -> str:
    return f"{text:<{_BESIDE - 2}}  # {about}" if about else text


def toml_value(value: object) -> str:
    """A value as TOML 1.0 writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, time):
        return json.dumps(value.isoformat() if value.second else value.strftime("%H:%M"))
    if isinstance(value, date):  # a moment too
        return value.isoformat()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, tuple | list):
        return f"[{', '.join(map(toml_value, value))}]"
    if isinstance(value, BaseModel):
        fields = type(value).model_fields
        value = {fields[name].alias or name: getattr(value, name) for name in fields if name in value.model_fields_set}
    if isinstance(value, dict):
        return (
            f"{{ {', '.join(f'{_key(key)} = {toml_value(each)}' for key, each in value.items())} }}" if value else "{}"
        )
    return repr(value)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else toml_value(key)
