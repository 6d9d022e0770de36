"""What is said of a meter that lies, of a loss beyond its usual, and of a yield that is no one number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from schemas.answers.yields import CouldBe, SuspectMeter, Yield

KINDS = {
    "cut": "counts",
    "inspected": "counts",
    "rejected": "counts",
    "hot": "counts",
    "packed": "counts",
    "weight": "reads",
    "melt": "reads",
}


def meter_sentences(told: Yield) -> list[str]:
    """All that a day's yields have to say of its meters: who lies, what is lost beyond its usual, and what else it
    could be.
    """
    return [
        *suspect_sentences(told.suspect_meters),
        *unusual_sentences(told.unusual_losses),
        *could_be_sentences(told.could_be),
    ]


def suspect_sentences(suspects: Iterable[SuspectMeter]) -> list[str]:
    """A sentence for each: what it read, what all explanations together make of it, by how much it is off if it is the
    one, since when, what to do.
    """
    said = []
    for one in suspects:
        text = (
            f"{one.meter} reads {_count(one.reading)} {one.unit}; all explanations together make it "
            f"{_count(one.reconciled)}"
        )
        text += f" ({_sure(one.probability)}z {one.z:+.1f})"
        if one.off_pct is not None:
            text += (
                f"; where it is this one, {one.off_pct:+.2f} % off, 95 % {_end(one.off_low)} to {_end(one.off_high)} "
                f"% of what was there, {_since(one)}"
            )
        text += ". Have it checked"
        if one.rivals:
            text += f"; it may as well be {' or '.join(_rival(name) for name in one.rivals)}"
        said.append(f"{text}; glass that left unseen can look the same." if "melt" in one.meter else f"{text}.")
    return said


def unusual_sentences(losses: Iterable[SuspectMeter]) -> list[str]:
    """A sentence for each loss beyond its usual."""
    said = []
    for one in losses:
        text = f"{one.meter}: {_count(one.reconciled)} {one.unit} lost unseen, where {_count(one.reading)} are usual"
        if one.probability is not None:
            text += f" ({100 * one.probability:.0f} % sure)"
        text += f", {_since(one)}" if one.since is not None else ""
        said.append(f"{text}{_or_meters(one.rivals)}.")
    return said


def could_be_sentences(many: Sequence[CouldBe]) -> list[str]:
    """Where several explanations remain, one sentence a furnace: each with its probability and the yield that it
    makes.
    """
    said = []
    for furnace in dict.fromkeys(one.furnace for one in many):
        mine = [one for one in many if one.furnace == furnace]
        if len(mine) > 1:
            head = {2: "one of these two", 3: "one of these three"}.get(len(mine), "one of these")
            said.append(f"{furnace}, {head}: {'; '.join(_explanation(one) for one in mine)}.")
    return said


def yield_words(value: float | None, low: float | None, high: float | None) -> str:
    """A yield in percent: a number with its 95 % interval, a range where it is no one number, a dash where nothing can
    be told.
    """
    if low is None or high is None:
        return "–"
    between = f"{100 * low:.1f} to {100 * high:.1f}"
    return f"{100 * value:.1f} % (95 %: {between})" if value is not None else f"{between} %, no one number"


def _explanation(one: CouldBe) -> str:
    what = " and ".join(_cause(one, n) for n in range(len(one.causes))) or "every meter is honest"
    found = f"{what} ({100 * one.probability:.0f} %)"
    name = "pack-to-melt" if one.of == "melted" else "packed over cut"
    lines = {line: share for line, share in one.lines.items() if any(line in cause for cause in one.causes)}
    for line, share in lines.items():
        found += f", {line} packed over cut {yield_words(*share)}"
    return found if one.low is None else f"{found}, {name} {yield_words(one.pack_to_melt, one.low, one.high)}"


def _cause(one: CouldBe, place: int) -> str:
    name, kind = one.causes[place], one.kinds[place]
    off = one.off_pct if place == len(one.causes) - 1 else one.off_pcts[place] if one.off_pcts else None
    if kind == "loss":
        more = "more than usual" if off is None else f"{abs(off):.1f} % more than usual"
        return f"{more} lost at {name}"
    how = " wrong" if off is None else f" {'high' if off > 0 else 'low'} by {abs(off):.1f} % of what was there"
    return f"{name} {KINDS.get(kind, 'reads')}{how}"


def _end(value: float | None) -> str:
    return "anything" if value is None else f"{value:+.2f}"


def _since(one: SuspectMeter) -> str:
    if one.since is None:
        return "on this day; something else is off as well, and since when this meter is cannot be told"
    if one.days == 1:
        return "this day alone"
    between = (
        "" if one.since_low == one.since_high else f"; the first lies between {one.since_low} and {one.since_high}"
    )
    return f"since {one.since} ({one.days} days{between})"


def _sure(probability: float | None) -> str:
    return "" if probability is None else f"{100 * probability:.0f} % sure, "


def _or_meters(rivals: Sequence[str]) -> str:
    return f"; it may as well be {' or '.join(_rival(name) for name in rivals)}" if rivals else ""


def _rival(name: str) -> str:
    """A meter by its name; a loss as what it would be."""
    return f"more than usual lost at {name}" if ", " in name else name


def _count(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ") if abs(value) >= 1000 else f"{value:.4g}"
