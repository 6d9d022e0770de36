"""What somebody means by a name: a line, a station, a mould, a pallet by its last digits, a signal, a complaint …"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from pipelines.answers.holds import all_holds
from pipelines.ledger.reader import Reader
from pipelines.plant.works import Plant

MOST = 20  # pallets that end alike
LEAST_DIGITS = 4  # of a pallet's identity


@dataclass(frozen=True)
class Named:
    """Something that has a page. kind: line, furnace, station, item, defect, mould, pallet, signal, complaint or hold;
    of: the line that it is on, where its page is that of one line.
    """

    kind: str
    name: str
    of: str = ""


def named(reader: Reader, plant: Plant, text: str) -> list[Named]:
    """Everything of that name, whole names before parts of one. Large and small letters of the works' names are one; a
    pallet may be typed with blanks, as labels group its digits.
    """
    wanted = text.strip()
    if not wanted:
        return []
    exact = [*_of_the_works(plant, wanted), *_of_the_ledger(reader, plant, wanted)]
    if exact or len(wanted) < LEAST_DIGITS:
        return exact
    rows = reader.ask("pallets_ending", ending=_joined(wanted), most=MOST)
    return [Named("pallet", pallet, line) for pallet, line in rows.select("pallet", "line").iter_rows()]


def _joined(text: str) -> str:
    return "".join(text.split())


def nearest(reader: Reader, text: str) -> list[Named]:
    """The pallets whose identity is nearest to a name that nothing has."""
    rows = reader.ask("pallets_like", pallet=text.strip())
    return [Named("pallet", pallet, line) for pallet, line in rows.select("pallet", "line").iter_rows()]


def _of_the_works(plant: Plant, text: str) -> Iterator[Named]:
    kinds: dict[str, Collection[str]] = {
        "line": plant.lines,
        "furnace": plant.furnaces,
        "station": plant.stations,
        "item": plant.items,
        "defect": plant.defects,
    }
    for kind, names in kinds.items():
        for name in names:
            if name.casefold() == text.casefold():
                yield Named(kind, name, plant.stations[name].line if kind == "station" else "")
    for code, defect in plant.defects.items():
        if defect.name.casefold() == text.casefold() != code.casefold():
            yield Named("defect", code)


def _of_the_ledger(reader: Reader, plant: Plant, text: str) -> Iterator[Named]:
    stays = reader.ask("stays_of_mould", number=text)
    for line in stays["line"].unique(maintain_order=True):
        if line in plant.lines:
            yield Named("mould", text, line)
    for name in dict.fromkeys((text, _joined(text))):
        pallet = reader.ask("pallet", pallet=name)
        if pallet.height:
            yield Named("pallet", name, pallet["line"][0])
    signal = reader.ask("signal_by_name", signal=text)
    if signal.height:
        yield Named("signal", text, signal["line"][-1])
    if reader.ask("complaint", complaint=text).height:
        yield Named("complaint", text)
    if text in all_holds(reader):
        yield Named("hold", text)
