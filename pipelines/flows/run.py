"""Running a flow from the command line: quiet, local, with its progress shown."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from pipelines.errors import DONE, NEEDS_A_PERSON, ColdledgerError, SiteError
from pipelines.flows.history import Unnoted, note_later_runs, unreachable
from pipelines.ledger.sentences import unwritable_history
from pipelines.site.folder import OpenSite
from pipelines.site.locks import one_run_at_a_time, server_of

if TYPE_CHECKING:
    from pipelines.flows.steps import Steps

_QUIET = {
    "PREFECT_LOGGING_LEVEL": "CRITICAL",  # what went wrong is said once, in a sentence, by the command itself
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "DO_NOT_TRACK": "1",
    "PREFECT_SERVER_ALLOW_EPHEMERAL_MODE": "true",
    "PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS": "60",
}


def prepare(opened: OpenSite) -> None:
    """Settings of the run history: kept in the site's own folder unless the environment says otherwise; nothing calls
    out.
    """
    home = opened.site.root / ".prefect"
    os.environ.setdefault("PREFECT_HOME", str(home))
    try:
        Path(os.environ["PREFECT_HOME"]).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SiteError(unwritable_history(opened.site, os.environ["PREFECT_HOME"], error)) from error
    for name, value in {**server_of(opened.site), **_QUIET}.items():
        os.environ.setdefault(name, value)


@contextmanager
def shown_progress(what: str) -> Iterator[Callable[[int, int, str], None]]:
    """A progress line on the error stream; plain lines where that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(file=sys.stderr)
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )
    with bar:
        tasks: dict[str, Any] = {}
        said: dict[str, int] = {}

        def show(done: int, total: int, name: str) -> None:
            kind = _kind_of(name, what)
            if what == "days" and not console.is_terminal and total > 1 and said.get(kind) != done:
                typer.echo(f"{kind}: {done} of {total}", err=True)
            said[kind] = done
            if kind not in tasks:
                tasks[kind] = bar.add_task(kind, total=total)
            bar.update(tasks[kind], completed=done, total=total)

        yield show


def _kind_of(name: str, what: str) -> str:
    """Which bar a step moves."""
    if name == "signals":
        return name
    return "pages" if name.endswith((".html", " hour pages")) else what


def call_flow(name: str, opened: OpenSite, **told: Any) -> Any:
    """Run a flow by name and give back its answer. LedgerBusy while the same flow runs already: none overlaps itself.

    Where the run history cannot be reached, or fails on the way, the work is done all the same, each step once; that is
    said on the error stream, and the run is noted in the history with a later one.
    """
    from pipelines.flows.steps import FLOWS, Steps, plainly

    with one_run_at_a_time(opened.site, name, opened.settings.lock_wait_s):
        steps, begun = Steps(), datetime.now(UTC)
        away = None
        try:
            prepare(opened)
            away = unreachable(os.environ.get("PREFECT_API_URL", ""))
            if away is None:
                answer = _with_history(name, steps, opened, told)
                note_later_runs(opened.site)
                return answer
        except ColdledgerError:
            raise
        except Exception as error:
            if error is steps.failed:
                raise
            away = f"{type(error).__name__}: {str(error).splitlines()[0] if str(error) else 'no words'}"
        typer.echo(
            f"The run history cannot be reached ({away}); {name} works without it, and is noted there with a later "
            "run.",
            err=True,
        )
        run = Unnoted(name, begun, opened.site)
        with run:
            return FLOWS[name](steps.begin(plainly), opened, **told)


def _with_history(name: str, steps: Steps, opened: OpenSite, told: dict[str, Any]) -> Any:
    from prefect.settings import PREFECT_FLOWS_HEARTBEAT_FREQUENCY, temporary_settings

    from pipelines.flows.beside import put_beside
    from pipelines.flows.flows import with_history

    if not os.environ.get("PREFECT_API_URL"):
        put_beside()
    with temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None}):
        return with_history(name, steps, opened, **told)


def run_flow(name: str, opened: OpenSite, **told: Any) -> int:
    """Run a flow, show what it did, and say how the command should end."""
    with shown_progress({"intake": "files", "close": "days", "rebuild": "days"}[name]) as progress:
        answer = call_flow(name, opened, progress=progress, **told)
    return _SHOW[name](opened, answer)


def _show_intake(opened: OpenSite, answer: Any) -> int:
    from pipelines.answers.feeds import first_refused
    from pipelines.reports.terminal.feeds import MOST_OF_INTAKE, show_intake

    report, pages = answer
    show_intake(report, first_refused(opened.ledger, report.first_batch, MOST_OF_INTAKE))
    if pages:
        typer.echo(f"{len(pages)} hour pages written; the newest: {pages[-1]}")
    return NEEDS_A_PERSON if report.needs_a_person else DONE


def _show_close(opened: OpenSite, answer: Any) -> int:
    if not answer:
        typer.echo("No production day to close: all that are over were closed after their last feed.")
    for closed in answer:
        what = {
            None: "closed",
            True: "closed again: later feeds changed its answers",
            False: "looked at again: nothing moved",
        }[closed.changed]
        typer.echo(f"Production day {closed.day} {what}, revision {closed.revision}: {closed.page}")
        for note in closed.missing:
            typer.echo(f"  {note}")
    return DONE


def _show_rebuild(opened: OpenSite, answer: Any) -> int:
    for rebuilt in answer:
        verdict = {
            None: "was never closed",
            True: "same answers as at its last close",
            False: "OTHER answers than at its last close: run `coldledger close`",
        }
        typer.echo(f"Production day {rebuilt.day} rebuilt, {verdict[rebuilt.same]}: {rebuilt.page}")
    return NEEDS_A_PERSON if any(rebuilt.same is False for rebuilt in answer) else DONE


_SHOW: dict[str, Callable[[OpenSite, Any], int]] = {
    "intake": _show_intake,
    "close": _show_close,
    "rebuild": _show_rebuild,
}
