"""One cell as a value of the plant file, whatever way a sheet keeps it. What can be read in two ways is a mistake."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import time
from difflib import get_close_matches
from typing import Any

from pipelines.plant.workbook.sheets import PlantColumn

Cell = str | int | float | bool
_NO_NUMBER = re.compile(r"#[A-Z/0!?]+|\(a formula without its value\)")
_YES = {"yes": True, "y": True, "x": True, "1": True, "true": True, "no": False, "n": False, "0": False, "false": False}
NONE = "none"


class CellMistake(Exception):
    """What is wrong with a cell, in words that say what to do."""


def plain(cell: Cell) -> str:
    """A cell as text: one blank between words, none around them, a whole number without a point."""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return " ".join(str(cell).replace("\u200b", "").replace("\ufeff", "").split())


def value_of(cell: Cell, column: PlantColumn) -> Any:
    """The value; None where the cell is blank. CellMistake."""
    text = plain(cell)
    if not text:
        return None
    if _NO_NUMBER.fullmatch(text):
        raise CellMistake(f"the cell holds {text}, no value; write the value itself")
    return _READERS[column.kind](cell, text, column)


def _text(cell: Cell, text: str, column: PlantColumn) -> str:
    if "(a number of which a sheet keeps fifteen digits)" in text:
        raise CellMistake("a sheet keeps fifteen digits of a number; format the cell as text and write it again")
    return text


def _id(cell: Cell, text: str, column: PlantColumn) -> str:
    if isinstance(cell, float) and not cell.is_integer():
        raise CellMistake(f"the sheet keeps the number {text} here; format the cell as text and write it again")
    return _text(cell, text, column)


def _ids(cell: Cell, text: str, column: PlantColumn) -> list[str]:
    if isinstance(cell, float) and not cell.is_integer():
        raise CellMistake(
            f"the sheet keeps the number {text} here; if two are meant, format the cell as text and write them with a "
            "comma and a blank between them"
        )
    return [part for part in re.split(r"[\s,;]+", text) if part]


def _number(cell: Cell, text: str, column: PlantColumn) -> int | float:
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return cell
    unit = re.escape(column.unit)
    bare = re.sub(rf"\s*{unit}$", "", text) if unit else text
    bare = re.sub(r"(?<=\d)[ '\u202f\u00a0](?=\d{3}\b)", "", bare)
    if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", bare):
        point, whole = bare.replace(",", "."), bare.replace(",", "")
        raise CellMistake(f"'{text}' can be read as {whole} or as {point}; write the one that is meant as a number")
    if re.fullmatch(r"[+-]?\d{1,3}(\.\d{3})+,\d+", bare):
        bare = bare.replace(".", "")
    elif re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+\.\d+", bare):
        bare = bare.replace(",", "")
    bare = bare.replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d+(\.\d*)?|\.\d+)", bare):
        such = f", in {column.unit}" if column.unit else ""
        raise CellMistake(f"'{text}' is no number; write the number alone{such}")
    return float(bare) if "." in bare else int(bare)


def _whole(cell: Cell, text: str, column: PlantColumn) -> int:
    bare = re.sub(r"(?<=\d)[ ',.\u202f\u00a0](?=\d{3}\b)", "", text) if isinstance(cell, str) else text
    if not re.fullmatch(r"[+-]?\d+([.,]0+)?", bare):
        raise CellMistake(f"'{text}' is no whole number; write one without a part behind the point")
    return int(re.split(r"[.,]", bare)[0])


def _time(cell: Cell, text: str, column: PlantColumn) -> str:
    if isinstance(cell, float) and 0 <= cell < 1:  # a sheet keeps a time as a fraction of a day
        minutes = round(cell * 1440)
        return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
    found = re.fullmatch(r"(?:1899-12-3[01] |1904-01-01 )?(\d{1,2})[:.hH](\d{2})(?::(\d{2}))?", text)
    try:
        if found and isinstance(cell, str):
            hour, minute, second = (int(part or 0) for part in found.groups())
            moment = time(hour, minute, second)
            return moment.isoformat() if moment.second else moment.strftime("%H:%M")
    except ValueError:
        pass
    if re.match(r"19\d\d-\d\d-\d\d|18\d\d-", text):
        raise CellMistake("the cell holds a number of days or hours, no time of day; write it as 06:00")
    raise CellMistake(f"'{text}' is no time of day; write it as 06:00")


def _choice(cell: Cell, text: str, column: PlantColumn) -> Any:
    words = {_word(word): value for word, value in column.choices.items()}
    words |= {_word(value): value for value in column.choices.values() if isinstance(value, str) and value.strip()}
    if _word(text) in words:
        return words[_word(text)]
    near = get_close_matches(_word(text), list(words), 1)
    hint = f"; perhaps {near[0]} is meant" if near else ""
    raise CellMistake(f"'{text}' is none of {', '.join(column.choices)}: choose one of them{hint}")


def _choices(cell: Cell, text: str, column: PlantColumn) -> list[Any]:
    if _word(text) == NONE:
        return []
    return [_choice(part, part.strip(), column) for part in re.split(r"[,;\n]+", text) if part.strip()]


def _yes(cell: Cell, text: str, column: PlantColumn) -> bool:
    if text.lower() not in _YES:
        raise CellMistake(f"'{text}' is neither yes nor no: choose one of them")
    return _YES[text.lower()]


def _word(text: str) -> str:
    return " ".join(re.split(r"[\s_]+", text.strip().lower()))


_READERS: dict[str, Callable[[Cell, str, PlantColumn], Any]] = {
    "text": _text,
    "id": _id,
    "id text": _text,
    "ids": _ids,
    "number": _number,
    "whole": _whole,
    "time": _time,
    "choice": _choice,
    "choices": _choices,
    "yes": _yes,
}
