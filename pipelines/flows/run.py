"""Running a flow from the command line: quiet, local, with its progress shown."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.request import urlopen

import typer

from pipelines.errors import DONE, NEEDS_A_PERSON, ColdledgerError, SiteError, named_line
from pipelines.flows.noted import BY_COMMAND, noted
from pipelines.flows.steps import FLOWS, Steps, plainly
from pipelines.ledger.sentences import unwritable_prefect
from pipelines.site.folder import OpenSite
from pipelines.site.locks import one_run_at_a_time

REACH_S = 10.0  # a server that does not say in this time that it lives counts as away
_QUIET = {
    "PREFECT_LOGGING_LEVEL": "CRITICAL",  # what went wrong is said once, in a sentence, by the command itself
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "DO_NOT_TRACK": "1",
    # work on Dask alone, where no server is named: Prefect begins one for it, which takes its time on a loaded computer
    "PREFECT_SERVER_ALLOW_EPHEMERAL_MODE": "true",
    "PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS": "300",
}


def prepare(opened: OpenSite) -> None:
    """Settings of Prefect: quiet, its own files in the site's folder unless the environment says otherwise."""
    home = opened.site.root / ".prefect"
    os.environ.setdefault("PREFECT_HOME", str(home))
    try:
        Path(os.environ["PREFECT_HOME"]).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SiteError(unwritable_prefect(opened.site, os.environ["PREFECT_HOME"], error)) from error
    keep_quiet()


def keep_quiet() -> None:
    """Prefect calls nobody and says nothing by itself, with or without a site."""
    for name, value in _QUIET.items():
        os.environ.setdefault(name, value)


def unreachable(address: str) -> str | None:
    """Why the Prefect server at `address` cannot be reached; None where it can."""
    try:
        with urlopen(f"{address.rstrip('/')}/health", timeout=REACH_S):
            return None
    except HTTPError as error:
        return None if error.code < 500 else f"{address} answers {error.code}"
    except (URLError, OSError, ValueError) as error:
        return f"{address}: {getattr(error, 'reason', None) or error}"


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


def call_flow(name: str, opened: OpenSite, why: str = BY_COMMAND, **values: Any) -> Any:
    """Run a flow by name and give back its answer. LedgerBusy while the same flow runs already: none overlaps itself.

    The run is noted in the site's books (why: by whom; empty where whoever begins it notes it). Where PREFECT_API_URL
    names a server it is a flow run of that server too; where that cannot be reached, or fails on the way, the work is
    done all the same, each step once, and that is said on the error stream.
    """
    with one_run_at_a_time(opened.site, name, opened.settings.lock_wait_s):
        if not why:
            return _worked(name, opened, values)
        return noted(opened, name, why, lambda: _worked(name, opened, values))


def _worked(name: str, opened: OpenSite, values: dict[str, Any]) -> Any:
    steps, address = Steps(), os.environ.get("PREFECT_API_URL", "")
    away = None
    if address:
        try:
            prepare(opened)
            away = unreachable(address)
            if away is None:
                return _with_prefect(name, steps, opened, values)
        except ColdledgerError:
            raise
        except Exception as error:
            if error is steps.failed:
                raise
            away = named_line(error)
        typer.echo(
            f"The Prefect server cannot be reached ({away}); {name} works without it, and the site's own run history "
            "has the run.",
            err=True,
        )
    return FLOWS[name](steps.begin(plainly), opened, **values)


def _with_prefect(name: str, steps: Steps, opened: OpenSite, values: dict[str, Any]) -> Any:
    from prefect.settings import PREFECT_FLOWS_HEARTBEAT_FREQUENCY, temporary_settings

    from pipelines.flows.flows import with_prefect

    with temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None}):
        return with_prefect(name, steps, opened, **values)


def run_flow(name: str, opened: OpenSite, **values: Any) -> int:
    """Run a flow, show what it did, and say how the command should end."""
    with shown_progress({"intake": "files", "close": "days", "rebuild": "days"}[name]) as progress:
        answer = call_flow(name, opened, progress=progress, **values)
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
