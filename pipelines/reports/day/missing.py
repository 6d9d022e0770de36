"""What is missing or doubtful of a production day, in sentences."""

from __future__ import annotations

from pipelines.answers.day import Day
from pipelines.measures.statistics.shares import more_than_whole
from pipelines.measures.yields.meter_sentences import meter_sentences
from pipelines.numbers import decimals
from pipelines.plant.works import Plant
from pipelines.reports.missing import uncalled_sentence, waiting_words
from pipelines.words import say


def missing_of(plant: Plant, day: Day) -> list[str]:
    """All of it: meters, yields, signals, stations, quarantine."""
    said = meter_sentences(day.yields)
    said += [say("{of}: {why}.", of=each.furnace, why=each.why) for each in day.yields.furnaces if each.why]
    said += [say("{of}: {why}.", of=each.line, why=each.why) for each in day.yields.lines if each.why]
    said += [
        say("{line}, from {hour}: {doubt}", line=line, hour=f"{plant.clock.local(hour):%H:%M}", doubt=doubt)
        for line, hour, doubt in day.doubts
    ]
    for line, cover in day.coverage.items():
        covered = {row["station"]: row["covered_s"] for row in cover.iter_rows(named=True)}
        for station in plant.stations_of(line):
            share = covered.get(station.id, 0) / day.span.seconds
            if share < 0.99:
                said.append(
                    say(
                        "{station}: counts for {share} % of the day.",
                        station=station.id,
                        share=decimals(100 * share, 1),
                    )
                )
        said.extend(uncalled_sentence(row) for row in day.uncalled[line].iter_rows(named=True))
        wrong = more_than_whole(day.paretos[line].rejected_for_faults, day.paretos[line].ware)
        said += [say("{line}: {wrong}", line=line, wrong=wrong)] if wrong else []
        if not any(weight.point == "cold" for weight in day.weights[line]):
            said.append(say("{line}: no cold weighing; nominal weights were used.", line=line))
    notes = [
        say("{of}: {note}", of=y.line, note=note)
        for y in day.yields.lines
        for note in y.notes
        if not note.startswith("lehr time")
    ]
    if any(day.waiting):
        waiting = waiting_words(*day.waiting)
        said.append(say("{waiting}, of all feeds; `coldledger feeds` says why.", waiting=waiting))
    return (
        said + notes + [say("{of}: {note}", of=f.furnace, note=note) for f in day.yields.furnaces for note in f.notes]
    )
