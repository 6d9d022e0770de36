"""Samples that people look at, in sentences, the same on pages and on the terminal."""

from __future__ import annotations

from pipelines.measures.laboratory.words import clock_words, whole
from pipelines.plant.works import Plant
from pipelines.words import joined, numeral, say, worded
from schemas.answers.laboratory import RunningQuality, Visual, VisualSample


def refused_sentences(plant: Plant, line: str, visual: Visual) -> list[str]:
    """Samples that were not accepted."""
    return [_refused(plant, line, sample) for sample in visual.samples if sample.accepted is False]


def _refused(plant: Plant, line: str, sample: VisualSample) -> str:
    rule = (
        say("no critical defect is accepted")
        if sample.severity == "critical"
        else say("AQL {aql} accepts {ac}", aql=numeral(sample.aql or 0.0, "g"), ac=sample.ac)
    )
    return say(
        "{line} {taken_of}, {at}: {found} {severity} in {n} looked at ({defects}); {rule}. What becomes of the ware is "
        "for the authorised person to say.",
        line=line,
        taken_of=taken_of(sample),
        at=clock_words(plant, sample.at),
        found=sample.found,
        severity=worded(sample.severity),
        n=sample.n,
        defects=joined(", ", sample.defects),
        rule=rule,
    )


def taken_of(sample: VisualSample) -> str:
    """The item, and the mould where the sample is of one alone."""
    if sample.mould is None:
        return sample.item
    return say("{item}, mould {mould}", item=sample.item, mould=sample.mould)


def visual_sentences(plant: Plant, line: str, visual: Visual) -> list[str]:
    """Samples that were not accepted, critical ones first, and what the samples of some days say together."""
    said = refused_sentences(plant, line, visual)
    small = {(sample.severity, sample.n, sample.aql) for sample in visual.samples if sample.ac is None}
    said += [
        say(
            "{line}: samples of {n} are too small to judge {severity} defects by AQL {aql}.",
            line=line,
            n=n,
            severity=worded(severity),
            aql=numeral(aql or 0.0, "g"),
        )
        for severity, n, aql in sorted(small)
    ]
    said += [_running(line, visual, run) for run in visual.running]
    return said or [say("{line}: nobody's sample came for this day.", line=line)]


def _running(line: str, visual: Visual, run: RunningQuality) -> str:
    inspection = say("; inspection by ISO 2859-1: {inspection}", inspection=worded(run.inspection or ""))
    return say(
        "{line}, {severity}, last {days} days: {found} in {n} looked at ({share} %, 95 %: {low} to {high} "
        "%){aql}{inspection}.",
        line=line,
        severity=worded(run.severity),
        days=visual.days,
        found=_faulty(run),
        n=whole(run.n),
        share=numeral(100 * run.share, ".3f"),
        low=numeral(100 * run.low, ".3f"),
        high=numeral(100 * run.high, ".3f"),
        aql=say("; AQL {aql} %", aql=numeral(run.aql, "g")) if run.aql is not None else say("; none is accepted"),
        inspection=inspection if run.inspection else "",
    )


def _faulty(run: RunningQuality) -> str:
    """How many faulty containers the counts by defect allow: one container can have several defects."""
    return f"{run.found}" if run.fewest in (0, run.found) else say("{low} to {high}", low=run.fewest, high=run.found)
