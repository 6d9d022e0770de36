"""What is said of a meter that the balances refuse."""

from __future__ import annotations

from collections.abc import Iterable

from schemas.results import SuspectMeter


def suspect_sentences(suspects: Iterable[SuspectMeter]) -> list[str]:
    """A sentence for each: what it read, what the others make of it, by how much it is off, since when, what to do."""
    said = []
    for one in suspects:
        text = f"{one.meter} reads {_count(one.reading)} {one.unit}; the other meters make it {_count(one.reconciled)} (z {one.z:+.1f})"
        if one.since is not None and one.off_pct is not None:
            sure = one.since_low == one.since_high
            between = "" if sure else f"; the first lies between {one.since_low} and {one.since_high}"
            days = "this day alone" if one.days == 1 else f"since {one.since} ({one.days} days{between})"
            text += f": {one.off_pct:+.2f} % off, 95 % {one.off_low:+.2f} to {one.off_high:+.2f} %, {days}"
        text += ". Have it checked"
        if one.rivals:
            text += f"; it may as well be {' or '.join(_rival(name) for name in one.rivals)}"
        said.append(f"{text}; glass that left unseen can look the same." if "melt" in one.meter else f"{text}.")
    return said


def _rival(name: str) -> str:
    """A meter by its name; a loss as what it would be."""
    return f"more than usual lost at {name}" if ", " in name else name


def _count(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ") if abs(value) >= 1000 else f"{value:.4g}"
