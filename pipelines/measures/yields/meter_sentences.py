"""What is said of a meter that lies, of a loss beyond its usual, and of a yield that is no one number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from schemas.answers.meters import CouldBe, SuspectMeter
from schemas.answers.yields import Yield

KINDS = {
    "cut": "counts",
    "inspected": "counts",
    "rejected": "counts",
    "hot": "counts",
    "packed": "counts",
    "weight": "reads",
    "melt": "reads",
}


def meter_sentences(day_yield: Yield) -> list[str]:
    """All that a day's yields have to say of its meters: who lies, what is lost beyond its usual, and what else it
    could be.
    """
    return [
        *suspect_sentences(day_yield.suspect_meters),
        *unusual_sentences(day_yield.unusual_losses),
        *could_be_sentences(day_yield.could_be),
    ]


def suspect_sentences(suspects: Iterable[SuspectMeter]) -> list[str]:
    """A sentence for each: what it read, what all explanations together make of it, by how much it is off if it is the
    one, since when, what to do.
    """
    said = []
    for suspect in suspects:
        text = (
            f"{suspect.meter} reads {_count(suspect.reading)} {suspect.unit}; all explanations together make it "
            f"{_count(suspect.reconciled)}"
        )
        text += f" ({_sure(suspect.probability)}z {suspect.z:+.1f})"
        if suspect.off_pct is not None:
            text += (
                f"; where it is this one, {suspect.off_pct:+.2f} % off, 95 % {_end(suspect.off_low)} to "
                f"{_end(suspect.off_high)} % of what was there, {_since(suspect)}"
            )
        text += ". Have it checked"
        if suspect.rivals:
            text += f"; it may as well be {' or '.join(_rival(name) for name in suspect.rivals)}"
        said.append(f"{text}; glass that left unseen can look the same." if "melt" in suspect.meter else f"{text}.")
    return said


def unusual_sentences(losses: Iterable[SuspectMeter]) -> list[str]:
    """A sentence for each loss beyond its usual."""
    said = []
    for loss in losses:
        text = (
            f"{loss.meter}: {_count(loss.reconciled)} {loss.unit} lost unseen, where {_count(loss.reading)} are usual"
        )
        if loss.probability is not None:
            text += f" ({100 * loss.probability:.0f} % sure)"
        text += f", {_since(loss)}" if loss.since is not None else ""
        said.append(f"{text}{_or_meters(loss.rivals)}.")
    return said


def could_be_sentences(many: Sequence[CouldBe]) -> list[str]:
    """Where several explanations remain, one sentence a furnace: each with its probability and the yield that it
    makes.
    """
    said = []
    for furnace in dict.fromkeys(cause.furnace for cause in many):
        mine = [cause for cause in many if cause.furnace == furnace]
        if len(mine) > 1:
            head = {2: "one of these two", 3: "one of these three"}.get(len(mine), "one of these")
            said.append(f"{furnace}, {head}: {'; '.join(_explanation(each) for each in mine)}.")
    return said


def yield_words(value: float | None, low: float | None, high: float | None) -> str:
    """A yield in percent: a number with its 95 % interval, a range where it is no one number, a dash where nothing can
    be told.
    """
    if low is None or high is None:
        return "–"
    between = f"{100 * low:.1f} to {100 * high:.1f}"
    return f"{100 * value:.1f} % (95 %: {between})" if value is not None else f"{between} %, no one number"


def _explanation(could_be: CouldBe) -> str:
    what = " and ".join(_cause(could_be, n) for n in range(len(could_be.causes))) or "every meter is honest"
    found = f"{what} ({100 * could_be.probability:.0f} %)"
    name = "pack-to-melt" if could_be.of == "melted" else "packed over cut"
    lines = {line: share for line, share in could_be.lines.items() if any(line in cause for cause in could_be.causes)}
    for line, share in lines.items():
        found += f", {line} packed over cut {yield_words(*share)}"
    return (
        found
        if could_be.low is None
        else f"{found}, {name} {yield_words(could_be.pack_to_melt, could_be.low, could_be.high)}"
    )


def _cause(cause: CouldBe, place: int) -> str:
    name, kind = cause.causes[place], cause.kinds[place]
    off = cause.off_pct if place == len(cause.causes) - 1 else cause.off_pcts[place] if cause.off_pcts else None
    if kind == "loss":
        more = "more than usual" if off is None else f"{abs(off):.1f} % more than usual"
        return f"{more} lost at {name}"
    how = " wrong" if off is None else f" {'high' if off > 0 else 'low'} by {abs(off):.1f} % of what was there"
    return f"{name} {KINDS.get(kind, 'reads')}{how}"


def _end(value: float | None) -> str:
    return "anything" if value is None else f"{value:+.2f}"


def _since(suspect: SuspectMeter) -> str:
    if suspect.since is None:
        return "on this day; something else is off as well, and since when this meter is cannot be told"
    if suspect.days == 1:
        return "this day alone"
    between = (
        ""
        if suspect.since_low == suspect.since_high
        else f"; the first lies between {suspect.since_low} and {suspect.since_high}"
    )
    return f"since {suspect.since} ({suspect.days} days{between})"


def _sure(probability: float | None) -> str:
    return "" if probability is None else f"{100 * probability:.0f} % sure, "


def _or_meters(rivals: Sequence[str]) -> str:
    return f"; it may as well be {' or '.join(_rival(name) for name in rivals)}" if rivals else ""


def _rival(name: str) -> str:
    """A meter by its name; a loss as what it would be."""
    return f"more than usual lost at {name}" if ", " in name else name


def _count(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ") if abs(value) >= 1000 else f"{value:.4g}"
