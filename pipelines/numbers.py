"""Numbers in the works' way: one decimal mark, one sign between thousands."""

from __future__ import annotations

from pipelines.plant import Pages

_WAY = [Pages()]


def use(way: Pages) -> None:
    """Write numbers in this way from now on, in the whole process: a process speaks for one works."""
    _WAY[0] = way


def decimals(value: float | None, digits: int = 0) -> str:
    """A number for people; thousands stand apart by a thin space where the works says a blank; a dash for nothing."""
    if value is None:
        return "–"
    way = _WAY[0]
    apart = "\u2009" if way.thousands == " " else way.thousands
    return f"{value:,.{digits}f}".replace(",", "\0").replace(".", way.decimal).replace("\0", apart).replace("-", "−")
