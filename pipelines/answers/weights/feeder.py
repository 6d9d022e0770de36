"""One feeder correction a gob position in an answer about weights: hot and cold, and all items of the line,
taken together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipelines.measures.lehr.lehr_time import LehrTime
from pipelines.measures.weights import GobFound, ItemStudy, Study
from pipelines.measures.weights.drift import fit
from pipelines.measures.weights.feeder import CorrectedTogether, Weighed, together
from schemas.answers.weights import FeederCorrection, FeederWeighed, GobWeights


def with_feeder(studies: Sequence[ItemStudy], lehr: LehrTime) -> list[ItemStudy]:
    """The studies of a line, where a gob position drifts with one correction for it, the same wherever it was
    weighed."""
    letters = {gob.gob for item_study in studies for study in item_study.points for gob in study.gobs if gob.still}
    found = {letter: _weighed(studies, letter, lehr) for letter in sorted(letters)}
    drift = {letter: together(weighed) for letter, weighed in found.items()}
    return [_of_item(study, found, drift) for study in studies]


def _weighed(studies: Sequence[ItemStudy], letter: str, lehr: LehrTime) -> list[Weighed]:
    found = []
    for item_study in studies:
        for study in item_study.points:
            for gob in study.gobs:
                share = _share(study, gob, lehr) if gob.gob == letter else None
                if share is not None:
                    found.append(Weighed(item_study.weights.item, study.point, *share, gob.still))
    return found


def _share(study: Study, gob: GobFound, lehr: LehrTime) -> tuple[float, float] | None:
    """Drift at the feeder as a share of the weight, and its standard deviation; also where it was not called
    there."""
    weight = _weight(study, gob)
    ahead = lehr.minutes * 60 if study.point == "cold" else 0.0
    drift = gob.fit or fit(gob.series, weight, ahead)
    if drift is None:
        return None
    return drift.feeder / weight, (drift.feeder_high - drift.feeder_low) / 3.92 / weight


def _weight(study: Study, gob: GobFound) -> float:
    return study.item.weight_g if study.item else gob.usual_g


def _of_item(item_study: ItemStudy, found: dict[str, list[Weighed]], drift: dict[str, CorrectedTogether]) -> ItemStudy:
    usual = {(study.point, gob.gob): (study, gob) for study in item_study.points for gob in study.gobs}
    gobs = tuple(
        _corrected(gob, *usual[gob.point, gob.gob], drift[gob.gob], item_study.weights.point) if gob.drifting else gob
        for gob in item_study.weights.gobs
    )
    main = {gob.gob: (item_study.points[0], gob) for gob in item_study.points[0].gobs}
    feeder = tuple(
        _correction(letter, found[letter], corrected_together, _weight(*main[letter]), gobs)
        for letter, corrected_together in drift.items()
        if letter in main
    )
    return replace(item_study, weights=item_study.weights.model_copy(update={"gobs": gobs, "feeder": feeder}))


def _corrected(weights: GobWeights, study: Study, gob: GobFound, drift: CorrectedTogether, main: str) -> GobWeights:
    """The same correction at every point; none where they disagree. To nominal by the scale of the main point
    only."""
    if not drift.agree:
        nothing = dict.fromkeys(("correction_g", "correction_low", "correction_high", "to_nominal_g"))
        return weights.model_copy(update=nothing)
    weight = _weight(study, gob)
    nominal = study.item.weight_g if study.item and study.point == main else None
    return weights.model_copy(
        update={
            "correction_g": -drift.share * weight,
            "correction_low": -drift.high * weight,
            "correction_high": -drift.low * weight,
            "to_nominal_g": nominal - gob.usual_g - drift.share * weight if nominal is not None else None,
        }
    )


def _correction(
    letter: str, weighed: list[Weighed], drift: CorrectedTogether, weight: float, gobs: Sequence[GobWeights]
) -> FeederCorrection:
    sources = tuple(
        FeederWeighed(
            item=w.item,
            point=w.point,
            drift_percent=100 * w.share,
            low=100 * (w.share - 1.96 * w.sd),
            high=100 * (w.share + 1.96 * w.sd),
            drifting=w.drifting,
        )
        for w in weighed
    )
    mine = [gob for gob in gobs if gob.gob == letter]
    seen = next((gob for gob in mine if gob.drifting), None)
    nominal = next((gob.to_nominal_g for gob in mine if gob.drifting and gob.to_nominal_g is not None), None)
    grams = (-drift.share * weight, -drift.high * weight, -drift.low * weight) if drift.agree else (None, None, None)
    return FeederCorrection(
        gob=letter,
        correction_g=grams[0],
        correction_low=grams[1],
        correction_high=grams[2],
        agree=drift.agree,
        chance=drift.chance,
        weighed=sources,
        to_nominal_g=nominal,
        seen_at=seen.seen_at if seen else None,
        seen_low=seen.seen_low if seen else None,
        seen_high=seen.seen_high if seen else None,
    )
