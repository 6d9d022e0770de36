"""Half of a line's calls came without a mould number: whoever is told counts by mould is told so."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from pipelines.answers.moulds import answer_moulds
from pipelines.answers.pareto import answer_pareto
from pipelines.answers.trace.answer import answer_trace
from pipelines.answers.trace.contents import answer_mould
from pipelines.answers.trace.question import Question
from pipelines.clock import Span
from pipelines.reports.pareto import pareto_sheet
from tests.conftest import Place

AT = datetime(2026, 3, 10, 4, tzinfo=UTC)
SPAN = Span(AT, AT + timedelta(hours=4))


@pytest.fixture(scope="module")
def half(new_site) -> Place:  # type: ignore[no-untyped-def]
    """Two lanes: one reads nothing of what it calls, the other all of it."""

    def fill(place: Place) -> None:
        place.put(
            "mould_log.K1.csv",
            "fitted_at,line,section,gob,part,number,item\n2026-03-10T00:00:00Z,K1,1,A,mould,20,J370\n",
        )
        head = "window_start,line,station,mould,window_s,inspected,rejected\n"
        when = [f"2026-03-10T{h:02d}:{m:02d}:00Z" for h in range(3, 9) for m in range(60)]
        rows = [f"{t},K1,{lane},20,60,10,1\n" for t in when for lane in ("K1-side-a", "K1-side-b")]
        place.put("station_counts.K1.csv", head + "".join(rows))
        head = "window_start,line,station,mould,defect,window_s,rejected\n"
        rows = [f"{t},K1,K1-side-a,,CHS,60,1\n{t},K1,K1-side-b,20,CHS,60,1\n" for t in when]
        place.put("reject_counts.K1.csv", head + "".join(rows))
        place.take()

    return new_site("unread", fill)


WORDS = "50.0 % of the calls had no mould number (K1-side-a 100 %, K1-side-b 0 %)"


def test_a_pareto_by_mould_tells_it(half: Place) -> None:
    with half.opened.ledger.reading() as reader:
        pareto = answer_pareto(reader, half.plant, "K1", SPAN, "mould")
        by_defect = answer_pareto(reader, half.plant, "K1", SPAN, "defect")
    assert WORDS in pareto_sheet(pareto, "mould", "By mould").caption
    assert "mould number" not in pareto_sheet(by_defect, "defect", "By defect").caption


def test_the_map_of_cavities_tells_it(half: Place) -> None:
    with half.opened.ledger.reading() as reader:
        machine = answer_moulds(reader, half.plant, "K1", SPAN)
    assert any(text.startswith(WORDS) for text in machine.doubts)


def test_a_mould_s_own_record_tells_it(half: Place) -> None:
    with half.opened.ledger.reading() as reader:
        life = answer_mould(reader, half.plant, "K1", "20")
    assert any(text.startswith(WORDS) for text in life.notes)


def test_a_trace_tells_it(half: Place) -> None:
    asked = Question(line="K1", mould="20", defect="CHS", made_from=AT, made_to=AT + timedelta(hours=1))
    with half.opened.ledger.reading() as reader:
        trace = answer_trace(reader, half.plant, asked)
    assert any("50.0 % of the calls of CHS had no mould number (K1-side-a 100 %" in note for note in trace.notes)
