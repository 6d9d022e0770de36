"""Where the page of a named thing is."""

from __future__ import annotations

from urllib.parse import quote

from pipelines.answers.find import Named


def signal_address(signal: str) -> str:
    return f"/signals/{quote(signal, safe='')}"


def pallet_address(pallet: str) -> str:
    return f"/pallet/{quote(pallet, safe='')}"


def mould_address(line: str, mould: str) -> str:
    return f"/mould/{quote(line, safe='')}/{quote(mould, safe='')}"


def station_address(station: str) -> str:
    return f"/station/{quote(station, safe='')}"


def address_of(named: Named, line: str) -> str:
    """The page of a thing. line: of the works, for what has a page on every line."""
    name = quote(named.name, safe="")
    return {
        "line": f"/hour/{name}",
        "furnace": f"/laboratory/{name}",
        "station": station_address(named.name),
        "item": f"/trace?item={name}",
        "defect": f"/signals?defect={name}",
        "mould": mould_address(named.of or line, named.name),
        "pallet": pallet_address(named.name),
        "signal": signal_address(named.name),
        "complaint": f"/trace?complaint={name}",
        "hold": f"/holds/{name}",
    }[named.kind]


def local(to: str, otherwise: str = "/now") -> str:
    """An address of this site to go on to; `otherwise` for any that could lead elsewhere."""
    plain = to.startswith("/") and not to.startswith("//") and "\\" not in to and all(32 < ord(c) < 127 for c in to)
    return to if plain and len(to) < 2000 else otherwise
