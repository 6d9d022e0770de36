"""What of a day's pallets is held, and what nobody vouches for."""

from __future__ import annotations

from pipelines.answers.day import Day
from pipelines.measures.yields.names import state_name
from pipelines.numbers import count, percent
from pipelines.plant.works import Plant
from pipelines.reports.frame.page import Section
from pipelines.reports.trace.whereabouts import released_words
from pipelines.words import joined, say, say_n, worded
from schemas.answers.trust import StationDoubt


def holds_section(plant: Plant, day: Day) -> Section:
    """Pallets that stand in another state than packed or released, decisions about holds, and stations that nobody
    vouches for.
    """
    said = []
    for (state,), rows in day.held.sort("state").group_by(["state"], maintain_order=True):
        said.append(
            say(
                "{state}: {pallets}, {units} containers ({named})",
                state=state_name(str(state)),
                pallets=say_n("{n} pallet", "{n} pallets", rows.height),
                units=count(float(rows["units"].sum())),
                named=_first(rows["pallet"].to_list(), 4),
            )
        )
    head = (
        say("As the warehouse last told it; releasing is a decision of the works' authorised people.")
        if said
        else say("No pallet is held or to be re-sorted by what the warehouse sent.")
    )
    said = [*_decided(day), *said, *(_doubt(plant, doubt) for doubt in day.unvouched[:6]), *_usual_doubts(plant, day)]
    return Section(say("Holds"), (head,), items=tuple(said), warn=bool(said), wide=True)


def _decided(day: Day) -> list[str]:
    out = [h.pallet for h in day.holds if h.state == "held" and h.warehouse == "released"]
    waits, held = ([h for h in day.holds if h.state == state] for state in ("proposed", "held"))
    words = (
        [say("held by decision and given out all the same: {pallets}", pallets=joined(", ", out[:6]))] if out else []
    )
    if waits:
        many = say_n("{n} pallet", "{n} pallets", len(waits))
        words.append(say("proposed, waiting for a person: {pallets}", pallets=many))
    if held:
        many = say_n("{n} pallet", "{n} pallets", len(held))
        words.append(say("held by decision: {pallets}", pallets=many))
    return words


def _first(names: list[str], most: int) -> str:
    """The first of some names, and how many more there are."""
    first = joined(", ", names[:most])
    return say("{first} and {more} more", first=first, more=len(names) - most) if len(names) > most else first


def _usual_doubts(plant: Plant, day: Day) -> list[str]:
    """What is folded away, in a sentence; the critical ones of it by name."""
    if not day.usual_doubts:
        return []
    severe = [
        d for d in day.usual_doubts if d.defect in plant.defects and plant.defects[d.defect].severity == "critical"
    ]
    names = sorted({f"{d.station} {d.defect}" for d in severe})
    said = [
        say(
            "failed challenges that are usual for their stations: {usual}; `coldledger trust` lists them",
            usual=len(day.usual_doubts),
        )
    ]
    if names:
        said.append(say("of them critical, each with at least a pass missed: {named}", named=_first(names, 6)))
    return said


def _doubt(plant: Plant, doubt: StationDoubt) -> str:
    since = say("since {at}", at=plant.clock.show(doubt.from_)) if doubt.from_ else say("never vouched for")
    until = say("until {at}", at=plant.clock.show(doubt.to)) if doubt.to else say("no good one yet")
    likely = (
        say(", really failed with {likely} (estimate)", likely=percent(doubt.likely, 0))
        if doubt.failed_at and doubt.likely is not None
        else ""
    )
    return say(
        "in doubt: {station} {defect}, challenge {why}{likely}, {since}, {until}: {containers} containers inspected, "
        "{pallets}{gone}",
        station=doubt.station,
        defect=doubt.defect,
        why=worded(doubt.why),
        likely=likely,
        since=since,
        until=until,
        containers=count(doubt.containers),
        pallets=say_n("{n} pallet", "{n} pallets", len(doubt.pallets)),
        gone=say(", {released}", released=released_words(plant, doubt.released)) if doubt.released else "",
    )
