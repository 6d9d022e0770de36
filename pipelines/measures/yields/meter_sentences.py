"""What is said of a meter that lies, of a loss beyond its usual, and of a yield that is no one number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pipelines.measures.yields.names import meter_name, plain_word
from pipelines.words import Numeral, joined, numeral, say
from schemas.answers.meters import CouldBe, SuspectMeter
from schemas.answers.yields import Yield

COUNTS = ("cut", "inspected", "rejected", "hot", "packed")  # kinds of meters that count; the others read


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
    return [_suspect(suspect) for suspect in suspects]


def _suspect(suspect: SuspectMeter) -> str:
    sure = say("{share} % sure, ", share=_whole(suspect.probability)) if suspect.probability is not None else ""
    unseen = say("; glass that left unseen can look the same") if "melt" in suspect.meter else ""
    return say(
        "{meter} reads {reading} {unit}; all explanations together make it {reconciled} ({sure}z {z}){off}. Have it "
        "checked{rivals}{unseen}.",
        meter=meter_name(suspect.meter),
        reading=_count(suspect.reading),
        unit=plain_word(suspect.unit),
        reconciled=_count(suspect.reconciled),
        sure=sure,
        z=numeral(suspect.z, "+.1f"),
        off=_off(suspect),
        rivals=_or_meters(suspect.rivals),
        unseen=unseen,
    )


def _off(suspect: SuspectMeter) -> str:
    if suspect.off_pct is None:
        return ""
    return say(
        "; where it is this one, {off} % off, 95 % {low} to {high} % of what was there, {since}",
        off=numeral(suspect.off_pct, "+.2f"),
        low=_end(suspect.off_low),
        high=_end(suspect.off_high),
        since=_since(suspect),
    )


def unusual_sentences(losses: Iterable[SuspectMeter]) -> list[str]:
    """A sentence for each loss beyond its usual."""
    return [
        say(
            "{loss}: {lost} {unit} lost unseen, where {usual} are usual{sure}{since}{rivals}.",
            loss=meter_name(loss.meter),
            lost=_count(loss.reconciled),
            unit=plain_word(loss.unit),
            usual=_count(loss.reading),
            sure=say(" ({share} % sure)", share=_whole(loss.probability)) if loss.probability is not None else "",
            since=say(", {since}", since=_since(loss)) if loss.since is not None else "",
            rivals=_or_meters(loss.rivals),
        )
        for loss in losses
    ]


def could_be_sentences(many: Sequence[CouldBe]) -> list[str]:
    """Where several explanations remain, one sentence a furnace: each with its probability and the yield that it
    makes.
    """
    said = []
    for furnace in dict.fromkeys(cause.furnace for cause in many):
        mine = [cause for cause in many if cause.furnace == furnace]
        if len(mine) > 1:
            each = joined("; ", (_explanation(this_could_be) for this_could_be in mine))
            said.append(
                say("{furnace}, one of these two: {explanations}.", furnace=furnace, explanations=each)
                if len(mine) == 2
                else say("{furnace}, one of these three: {explanations}.", furnace=furnace, explanations=each)
                if len(mine) == 3
                else say("{furnace}, one of these: {explanations}.", furnace=furnace, explanations=each)
            )
    return said


def yield_words(value: float | None, low: float | None, high: float | None) -> str:
    """A yield in percent: a number with its 95 % interval, a range where it is no one number, a dash where nothing can
    be told.
    """
    if low is None or high is None:
        return "–"
    least, most = numeral(100 * low, ".1f"), numeral(100 * high, ".1f")
    if value is None:
        return say("{low} to {high} %, no one number", low=least, high=most)
    return say("{value} % (95 %: {low} to {high})", value=numeral(100 * value, ".1f"), low=least, high=most)


def _explanation(could_be: CouldBe) -> str:
    what = joined(say(" and "), (_cause(could_be, n) for n in range(len(could_be.causes))))
    parts = [say("{what} ({share} %)", what=what or say("every meter is honest"), share=_whole(could_be.probability))]
    lines = {line: share for line, share in could_be.lines.items() if any(line in cause for cause in could_be.causes)}
    parts += [
        say("{line} packed over cut {share}", line=line, share=yield_words(*share)) for line, share in lines.items()
    ]
    if could_be.low is not None:
        share = yield_words(could_be.pack_to_melt, could_be.low, could_be.high)
        parts.append(
            say("pack-to-melt {share}", share=share)
            if could_be.of == "melted"
            else say("packed over cut {share}", share=share)
        )
    return joined(", ", parts)


def _cause(cause: CouldBe, place: int) -> str:
    name, kind = meter_name(cause.causes[place]), cause.kinds[place]
    off = cause.off_pct if place == len(cause.causes) - 1 else cause.off_pcts[place] if cause.off_pcts else None
    if kind == "loss":
        if off is None:
            return say("more than usual lost at {name}", name=name)
        return say("{off} % more than usual lost at {name}", off=numeral(abs(off), ".1f"), name=name)
    how = say("wrong")
    if off is not None:
        by = numeral(abs(off), ".1f")
        how = (
            say("high by {off} % of what was there", off=by)
            if off > 0
            else say("low by {off} % of what was there", off=by)
        )
    return (
        say("{name} counts {how}", name=name, how=how)
        if kind in COUNTS
        else say("{name} reads {how}", name=name, how=how)
    )


def _end(value: float | None) -> str:
    return say("anything") if value is None else numeral(value, "+.2f")


def _since(suspect: SuspectMeter) -> str:
    if suspect.since is None:
        return say("on this day; something else is off as well, and since when this meter is cannot be told")
    if suspect.days == 1:
        return say("this day alone")
    between = (
        ""
        if suspect.since_low == suspect.since_high
        else say("; the first lies between {low} and {high}", low=suspect.since_low, high=suspect.since_high)
    )
    return say("since {since} ({days} days{between})", since=suspect.since, days=suspect.days, between=between)


def _whole(probability: float) -> str:
    return f"{100 * probability:.0f}"


def _or_meters(rivals: Sequence[str]) -> str:
    if not rivals:
        return ""
    return say("; it may as well be {rivals}", rivals=joined(say(" or "), (_rival(name) for name in rivals)))


def _rival(name: str) -> str:
    """A meter by its name; a loss as what it would be."""
    return say("more than usual lost at {name}", name=meter_name(name)) if ", " in name else meter_name(name)


def _count(value: float) -> str:
    return Numeral(f"{value:,.0f}".replace(",", " ")) if abs(value) >= 1000 else numeral(value, ".4g")
