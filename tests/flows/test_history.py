"""The one run history lies in the site's books, whoever began a run; a Prefect server that is named and away, slow or
failing on the way stops no work: each step is done once.
"""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from pipelines.errors import LedgerBusy, WrongUse
from pipelines.flows import steps as steps_of
from pipelines.flows.noted import BY_COMMAND, NotedRun
from pipelines.flows.run import call_flow
from pipelines.flows.steps import Steps, plainly
from pipelines.people.books import Books
from tests.conftest import HEAD, Place

ROW = "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n"
NOWHERE = "http://127.0.0.1:9/api"  # the discard port: nothing listens there
DAY = date(2026, 3, 2)
VALUES: dict[str, dict[str, Any]] = {"close": {}, "rebuild": {"first": DAY, "last": DAY}, "follow": {"days": [DAY]}}


def noted(place: Place) -> list[tuple[str, str, str]]:
    """Flow, why and state of every run in the books, the oldest first."""
    rows = Books(place.site.serve).ask("newest_runs", most=50)
    return [(row["flow"], row["why"], row["state"]) for row in reversed(rows)]


@pytest.fixture
def waiting(place: Place, monkeypatch: pytest.MonkeyPatch) -> Place:
    """A site with a file in its inbox, and no Prefect server named."""
    monkeypatch.delenv("PREFECT_API_URL", raising=False)
    place.put("station_counts.K1.csv", HEAD + ROW)
    return place


@pytest.fixture
def away(waiting: Place, monkeypatch: pytest.MonkeyPatch) -> Place:
    """The same with a server named that is not there."""
    monkeypatch.setenv("PREFECT_API_URL", NOWHERE)
    monkeypatch.setenv("PREFECT_HOME", str(waiting.site.root / ".prefect"))
    return waiting


@pytest.mark.parametrize("flow", ["close", "follow"])
def test_every_run_is_in_the_books(flow: str, waiting: Place) -> None:
    call_flow("intake", waiting.opened)
    answer = call_flow(flow, waiting.opened, **VALUES[flow])
    assert noted(waiting) == [("intake", BY_COMMAND, "done"), (flow, BY_COMMAND, "done")]
    rows = Books(waiting.site.serve).ask("newest_runs", most=2)
    assert "1 files, 1 rows kept" in rows[1]["told"] and all(row["ended_at"] >= row["begun_at"] for row in rows)
    if flow != "follow":
        assert [each.day for each in answer] == [DAY] and DAY.isoformat() in rows[0]["told"]
    assert not (waiting.site.root / ".prefect").exists(), "no server, nothing of one"


def test_what_asks_for_a_person_is_noted_so(waiting: Place) -> None:
    waiting.put("station_counts.K2.csv", HEAD + "rubbish\n")
    call_flow("intake", waiting.opened)
    assert noted(waiting) == [("intake", BY_COMMAND, "needs a person")]


def test_whoever_notes_a_run_themselves_has_it_once(waiting: Place) -> None:
    call_flow("intake", waiting.opened, why="")
    assert noted(waiting) == []


def test_a_run_that_was_killed_is_said_to_be_by_the_next(waiting: Place) -> None:
    NotedRun(waiting.opened, "intake", BY_COMMAND)  # and its process is gone
    NotedRun(waiting.opened, "close", BY_COMMAND)
    call_flow("intake", waiting.opened)
    assert noted(waiting) == [
        ("intake", BY_COMMAND, "cut off"),
        ("close", BY_COMMAND, "running"),  # another flow: it may run now
        ("intake", BY_COMMAND, "done"),
    ]


def test_books_that_cannot_be_written_stop_no_work(waiting: Place, caplog: pytest.LogCaptureFixture) -> None:
    waiting.site.serve.write_text("no folder")
    report, _ = call_flow("intake", waiting.opened)
    assert report.rows_kept == 1 and "cannot be noted" in caplog.text


def test_an_intake_without_its_server_takes_in_and_says_so(away: Place, capsys: pytest.CaptureFixture[str]) -> None:
    report, _ = call_flow("intake", away.opened)
    assert report.rows_kept == 1 and away.facts("station_counts").height == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "Prefect server cannot be reached" in said and NOWHERE in said
    assert noted(away) == [("intake", BY_COMMAND, "done")]


@pytest.mark.parametrize("flow", ["close", "rebuild", "follow"])
def test_every_flow_does(flow: str, away: Place) -> None:
    call_flow("intake", away.opened)
    answer = call_flow(flow, away.opened, **VALUES[flow])
    assert [name for name, _, _ in noted(away)] == ["intake", flow]
    if flow != "follow":
        assert [each.day for each in answer] == [DAY]


def test_a_failure_of_the_work_itself_is_no_failure_of_the_server(away: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any) -> None:
        raise ValueError("a bug")

    monkeypatch.setattr(steps_of, "take_in", broken)
    with pytest.raises(ValueError, match="a bug"):
        call_flow("intake", away.opened)
    (row,) = Books(away.site.serve).ask("newest_runs", most=5)
    assert (row["state"], row["told"]) == ("failed", "ValueError: a bug")


def test_a_server_that_fails_midway_repeats_no_step() -> None:
    done: list[str] = []

    def failing(name: str, work: Callable[..., Any], args: Sequence[Any]) -> Any:
        answer = work(*args)
        if name == "second":
            raise ConnectionError("the server went away after the step")
        return answer

    def body(step: Steps) -> list[str]:
        return [
            step(name, lambda answer: done.append(answer) or answer.upper(), name)
            for name in ("first", "second", "third")
        ]

    steps = Steps()
    with pytest.raises(ConnectionError):
        body(steps.begin(failing))
    assert steps.failed is None
    assert body(steps.begin(plainly)) == ["FIRST", "SECOND", "THIRD"]
    assert done == ["first", "second", "third"]


@pytest.mark.parametrize(("error", "tries"), [(OSError("locked"), 3), (LedgerBusy("busy"), 3), (WrongUse("no"), 1)])
def test_steps_are_tried_again_where_it_can_help(error: Exception, tries: int, monkeypatch: pytest.MonkeyPatch) -> None:
    waited: list[float] = []
    monkeypatch.setattr(steps_of.time, "sleep", waited.append)

    def work() -> None:
        seen.append(1)
        raise error

    seen: list[int] = []
    with pytest.raises(type(error)):
        plainly("step", work, ())
    assert len(seen) == tries and waited == [5.0, 30.0][: tries - 1]


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
    assert noted(away) == [("intake", BY_COMMAND, "cut off")]
