"""Several complaints together: what their questions have in common, and where they can all come from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from pipelines.answers.trace.question import Question
from pipelines.measures.trace.escapes import (
    EscapesTogether,
    Place,
)
from pipelines.words import numeral, say
from schemas.answers.trace import Cavity, Trace


def by_place(cavities: Sequence[Cavity]) -> dict[Place, float]:
    values: dict[Place, float] = {}
    for c in cavities:
        values[c.line, c.section, c.gob, c.mould] = values.get((c.line, c.section, c.gob, c.mould), 0.0) + c.probability
    return values


def joined_question(questions: Sequence[Question], parts: Sequence[Trace]) -> Question:
    """One question that holds all of them: what they have in common, and the hull of their times."""

    def common(name: str) -> Any:
        values = {getattr(q, name) for q in questions}
        return values.pop() if len(values) == 1 else None

    starts, ends = [t.formed_from for t in parts if t.formed_from], [t.formed_to for t in parts if t.formed_to]
    lines = {c.line for t in parts for c in t.cavities}
    line = common("line") or (lines.pop() if len(lines) == 1 else None)
    start, end = (min(starts), max(ends)) if starts else (None, None)
    if start is not None and end is not None and start >= end:
        end = start + timedelta(minutes=1)
    return Question(None, common("item"), line, common("mould"), common("defect"), None, start, end, None)


def source_sentence(ranking: EscapesTogether) -> str:
    if not ranking.common:
        return say(
            "no one cavity can have made all of these: they have more than one source, or something of what was told "
            "is wrong"
        )
    return say(
        "one cavity made them all with probability {share}%, at even odds beforehand: a guess",
        share=numeral(100 * ranking.one_source, ".0f"),
    )
