"""The sentences of signals and of what could not be judged, as templates: the ledger keeps the sentences, and reading
one back finds the template that it was made of.
"""

from __future__ import annotations

from pipelines.measures.lehr.sources import ESTIMATED, NEAREST, NOMINAL
from pipelines.measures.signals.closing import BACK, GONE
from pipelines.measures.signals.scope import LOOK_BLINDED, LOOK_FIRST
from pipelines.words import defect_name, recalled, template
from schemas.answers.signals import Signal

LEHR = template("{minutes} min, {source}")
JOB_STARTED = template("job {job} started {at}")
FITTED, TAKEN_OUT = template("{part} {number} fitted at {place}, {at}"), template("{part} taken out at {place}, {at}")
STOPPED, RUNNING = template("line stopped {at}"), template("line running again {at}")
SECTION_STOPPED = template("section {section} stopped {at}")
SECTION_RUNNING = template("section {section} running again {at}")
CAUSED = template("{event} ({cause})")
CLOSED = template("closed: {why}")
CLOSES = template("closes when ware of this place passes again at the rate before")
CLOSES_AFTER = template("closes after about {minutes} min ({ware} containers of this place) at the rate before")
SEEN_AFTER = template("{closes}; what is put right at the hot end shows here after {minutes} min")
LOOK_CRITICAL = template("every container of a critical defect: where it was made, and whether all of it was caught")

NO_WARE = template("No ware was counted in this hour: nothing could be judged.")
NO_PAST = template(
    "There is no past to compare with yet: at least {ware} containers of this job, or a former job of the line, are "
    "needed. Critical calls are shown all the same."
)
NEW_JOB = template(
    "New job: what is expected leans on the last job of the same item, or of this line; early signals are cautious."
)
NO_MOULDS = template(
    "No station read mould numbers: excesses are judged for the line and its stations only, not for moulds, sections "
    "or gobs."
)
SILENT = template("{station} sent no counts for {minutes} min of the hour: what it alone can call was not judged then.")
COARSE = template(
    "{station} sends one count for {minutes} min: what it alone calls shows up to {late} min late, and its onset is "
    "known no closer."
)
TOO_COARSE = template("{station} sends one count for {minutes} min: too long to judge or to date anything in it.")
TWO_ITEMS = template("A job began inside a window of {station}: its counts mix two items and were not judged.")

OF_LEHR = (LEHR, NOMINAL, NEAREST, ESTIMATED)
OF_LOGS = (CAUSED, JOB_STARTED, FITTED, TAKEN_OUT, SECTION_STOPPED, SECTION_RUNNING, STOPPED, RUNNING)
OF_CLOSING = (SEEN_AFTER, CLOSED, CLOSES, CLOSES_AFTER, BACK, GONE)
OF_LOOKING = (*LOOK_FIRST.values(), LOOK_BLINDED, LOOK_CRITICAL)
OF_DOUBTS = (NO_WARE, NO_PAST, NEW_JOB, NO_MOULDS, SILENT, COARSE, TOO_COARSE, TWO_ITEMS)


def recalled_signal(signal: Signal) -> Signal:
    """A signal that was kept, its sentences messages again."""
    return signal.model_copy(
        update={
            "name": defect_name(signal.name),
            "lehr": recalled(signal.lehr, OF_LEHR),
            "look_first": recalled(signal.look_first, OF_LOOKING),
            "happened": tuple(recalled(text, OF_LOGS) for text in signal.happened),
            "closes": recalled(signal.closes, OF_CLOSING),
        }
    )


def recalled_doubt(text: str) -> str:
    """A kept sentence about what could not be judged, as a message again."""
    return recalled(text, OF_DOUBTS)
