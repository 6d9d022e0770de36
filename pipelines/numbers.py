"""Numbers in the works' way: one decimal mark, one sign between thousands."""

from __future__ import annotations

from pipelines.plant.tables import Pages
from pipelines.words import use_marks

_WAY = [Pages()]


def use(way: Pages) -> None:
    """Write numbers in this way from now on, in the whole process: a process speaks for one works."""
    _WAY[0] = way
    decimal, apart = marks()
    use_marks(decimal, apart.replace("\u202f", " "))


def marks() -> tuple[str, str]:
    """The decimal mark, and the sign between thousands: where the works says a blank a narrow one, at which no line
    breaks.
    """
    way = _WAY[0]
    return way.decimal, "\u202f" if way.thousands == " " else way.thousands


def decimals(value: float | None, digits: int = 0) -> str:
    """A number for people, thousands apart by the works' sign; a dash for nothing."""
    if value is None:
        return "–"
    decimal, apart = marks()
    return f"{value:,.{digits}f}".replace(",", "\0").replace(".", decimal).replace("\0", apart).replace("-", "−")


LEAST_SHOWN = 0.05  # below it an expected number would be written 0.0, and nothing that can happen is expected 0 times


def expected(value: float | None) -> str:
    """An expected number of containers or calls: one decimal, "< 0.1" where that would say nothing at all."""
    if value is not None and value < LEAST_SHOWN:
        return f"< {decimals(0.1, 1)}"
    return decimals(value, 1)


def percent(value: float | None, digits: int = 2) -> str:
    return "–" if value is None else f"{decimals(100 * value, digits)} %"


def count(value: float | None) -> str:
    return "–" if value is None else decimals(value).replace("\u202f", " ")


LEAST_CHANCE = 0.0001


def chance(value: float) -> str:
    """A probability of chance: one figure of it; of a very small one that it is."""
    if value < LEAST_CHANCE:
        return f"< {LEAST_CHANCE:.4f}".replace(".", marks()[0])
    return f"{value:.1g}".replace(".", marks()[0])


def probability(value: float) -> str:
    """A probability as a table has it: three decimals, and never 0.000, which would say that it cannot be."""
    return decimals(value, 3) if value >= 0.0005 else f"< {decimals(0.001, 3)}"
