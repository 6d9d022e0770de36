"""The work does not depend on the run history: where its server is away, slow or fails on the way, each step is done
once and the run is noted later.
"""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from pipelines.errors import LedgerBusy, WrongUse
from pipelines.flows import steps as steps_of
from pipelines.flows.history import Unnoted, note_later_runs
from pipelines.flows.run import call_flow
from pipelines.flows.steps import Steps, plainly
from tests.conftest import HEAD, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"
NOWHERE = "http://127.0.0.1:9/api"  # the discard port: nothing listens there


def unnoted(place: Place) -> list[dict[str, str]]:
    path = place.site.root / ".prefect" / "unnoted.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


@pytest.fixture
def away(place: Place, monkeypatch: pytest.MonkeyPatch) -> Place:
    monkeypatch.setenv("PREFECT_API_URL", NOWHERE)
    monkeypatch.setenv("PREFECT_HOME", str(place.site.root / ".prefect"))
    place.put("station_counts.K1.csv", HEAD + ROW)
    return place


def test_an_intake_without_its_history_takes_in_and_says_so(away: Place, capsys: pytest.CaptureFixture[str]) -> None:
    report, _ = call_flow("intake", away.opened)
    assert report.rows_kept == 1 and away.facts("station_counts").height == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "run history cannot be reached" in said and NOWHERE in said
    assert [(one["flow"], one["state"]) for one in unnoted(away)] == [("intake", "completed")]


@pytest.mark.parametrize("flow", ["close", "rebuild", "follow"])
def test_every_flow_does(flow: str, away: Place) -> None:
    from datetime import date

    day = date(2026, 3, 2)
    call_flow("intake", away.opened)
    told = {"close": {}, "rebuild": {"first": day, "last": day}, "follow": {"days": [day]}}[flow]
    answer = call_flow(flow, away.opened, **told)
    assert [one["flow"] for one in unnoted(away)] == ["intake", flow]
    if flow != "follow":
        assert [one.day for one in answer] == [day]


def test_a_failure_of_the_work_itself_is_no_failure_of_the_history(
    away: Place, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: Any) -> None:
        raise ValueError("a bug")

    monkeypatch.setattr(steps_of, "take_in", broken)
    with pytest.raises(ValueError, match="a bug"):
        call_flow("intake", away.opened)
    (one,) = unnoted(away)
    assert (one["state"], one["why"]) == ("failed", "ValueError: a bug")


def test_a_history_that_fails_midway_repeats_no_step() -> None:
    done: list[str] = []

    def failing(name: str, work: Callable[..., Any], args: Sequence[Any]) -> Any:
        answer = work(*args)
        if name == "second":
            raise ConnectionError("the history went away after the step")
        return answer

    def body(step: Steps) -> list[str]:
        return [step(name, lambda one: done.append(one) or one.upper(), name) for name in ("first", "second", "third")]

    steps = Steps()
    with pytest.raises(ConnectionError):
        body(steps.begin(failing))
    assert steps.failed is None
    assert body(steps.begin(plainly)) == ["FIRST", "SECOND", "THIRD"]
    assert done == ["first", "second", "third"]


@pytest.mark.parametrize(("error", "tries"), [(OSError("locked"), 3), (LedgerBusy("busy"), 3), (WrongUse("no"), 1)])
def test_steps_without_the_history_are_tried_again_where_it_can_help(
    error: Exception, tries: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[float] = []
    monkeypatch.setattr(steps_of.time, "sleep", waited.append)

    def work() -> None:
        seen.append(1)
        raise error

    seen: list[int] = []
    with pytest.raises(type(error)):
        plainly("step", work, ())
    assert len(seen) == tries and waited == [5.0, 30.0][: tries - 1]


def test_a_run_without_history_is_noted_when_it_can_be(
    place: Place, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Against the history's own database: the flow, its end and when it really ran."""
    from datetime import UTC, datetime

    import prefect.settings

    monkeypatch.setenv("PREFECT_HOME", str(tmp_path / "home"))
    begun = datetime(2026, 3, 2, 4, 0, tzinfo=UTC)
    with Unnoted("close", begun, place.site):
        pass
    with pytest.raises(OSError), Unnoted("intake", begun, place.site):
        raise OSError("the share is away")
    call_flow("intake", place.opened)
    assert unnoted(place) == []
    home = Path(str(prefect.settings.get_current_settings().home))
    told = []
    for path in {home / "prefect.db", tmp_path / "home" / "prefect.db", place.site.root / ".prefect" / "prefect.db"}:
        if path.exists():
            with sqlite3.connect(path) as con:
                told += con.execute(
                    "select f.name, r.name, r.state_type from flow_run r join flow f on f.id = r.flow_id where "
                    "r.tags like '%noted later%'"
                ).fetchall()
    assert ("close", "close of 2026-03-02 04:00 UTC", "COMPLETED") in told
    assert ("intake", "intake of 2026-03-02 04:00 UTC", "FAILED") in told


def test_what_cannot_be_noted_yet_is_kept(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    from datetime import UTC, datetime

    import pipelines.flows.history as history

    with Unnoted("close", datetime(2026, 3, 2, 4, 0, tzinfo=UTC), place.site):
        pass

    def gone(*_: Any) -> None:
        raise ConnectionError("still away")

    monkeypatch.setattr(history, "_note", gone)
    assert note_later_runs(place.site) == 0 and len(unnoted(place)) == 1


def test_an_interrupted_command_ends_with_one_sentence(away: Place, tmp_path: Path) -> None:
    begun = tmp_path / "begun"
    code = (
        "import sys, time, pathlib; import pipelines.intake.run, pipelines.flows.steps as steps\n"
        f"def slow(*_): pathlib.Path({str(begun)!r}).touch(); time.sleep(60)\n"
        "steps.take_in = slow\n"
        f"sys.argv = ['coldledger', 'intake', '--site', {str(away.site.root)!r}]\n"
        "from pipelines.cli import main; main()"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    while not begun.exists() and run.poll() is None:
        time.sleep(0.05)
    run.send_signal(signal.SIGINT)
    out, err = run.communicate(timeout=60)
    assert run.returncode == 130 and "Traceback" not in out + err
    assert err.splitlines()[-1].startswith("Stopped. Nothing received was lost")
