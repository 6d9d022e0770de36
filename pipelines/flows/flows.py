"""The flows: they take a site's folder and plain values, so that any Prefect can start them. Each is a thin wrapper
around plain functions.

Started by a command or by `coldledger serve`, a flow finds the site that is open already (`with_prefect`); started by a
worker of a works' own Prefect, it opens the site itself. A schedule that starts one is only a wake-up call: what it
does depends on what it finds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from prefect import flow, get_run_logger, task

from pipelines.flows.noted import BY_DEPLOYMENT, noted
from pipelines.flows.steps import FLOWS, RETRY_S, Steps, can_help, in_words
from pipelines.settings import keep_private, settings_from_environment
from pipelines.site.folder import OpenSite, close_to_others, open_site
from pipelines.site.locks import one_run_at_a_time


@dataclass(frozen=True)
class Run:
    """A run that this process has begun: the open site, the steps that are done, and where progress is shown."""

    opened: OpenSite
    steps: Steps
    progress: Any


_RUN: ContextVar[Run | None] = ContextVar("coldledger_run", default=None)


def _can_help(task: Any, run: Any, state: Any) -> bool:
    try:
        state.result()
    except Exception as error:
        return can_help(error)
    return False


_IO: dict[str, Any] = {
    "retries": len(RETRY_S),
    "retry_delay_seconds": list(RETRY_S),
    "retry_condition_fn": _can_help,
    "persist_result": False,
}


def _as_task(name: str, work: Callable[..., Any], args: Sequence[Any]) -> Any:
    step: Any = task(name=name, **_IO)(work)
    return step(*args)


@flow(persist_result=False)
def intake(site: str) -> Any:
    """Take the inbox in, refresh what it touched, write the hour's pages. site: the folder of works.toml."""
    return _work("intake", site)


@flow(persist_result=False)
def follow(site: str, days: list[date]) -> Any:
    """After rows were corrected: the signals of those production days, and the pages of their hours."""
    return _work("follow", site, days=days)


@flow(persist_result=False)
def close(site: str, day: date | None = None) -> Any:
    """Close a production day, else every day that is over and was not closed since its last feed."""
    return _work("close", site, day=day)


@flow(persist_result=False)
def rebuild(site: str, first: date, last: date) -> Any:
    """Compute production days again from what was taken in, the last included."""
    return _work("rebuild", site, first=first, last=last)


ALL_FLOWS: dict[str, Any] = {"intake": intake, "follow": follow, "close": close, "rebuild": rebuild}


def _work(name: str, site: str, **values: Any) -> Any:
    run = _RUN.get()
    if run is not None:
        shown = {} if run.progress is None else {"progress": run.progress}
        return FLOWS[name](run.steps.begin(_as_task), run.opened, **values, **shown)
    keep_private()
    opened = open_site(Path(site), settings_from_environment())
    close_to_others(opened.site)
    with one_run_at_a_time(opened.site, name, opened.settings.lock_wait_s):
        answer = noted(opened, name, BY_DEPLOYMENT, lambda: FLOWS[name](Steps().begin(_as_task), opened, **values))
    get_run_logger().info("%s of %s: %s", name, opened.site.root, in_words(name, answer))
    return None


def with_prefect(name: str, steps: Steps, opened: OpenSite, progress: Any = None, **values: Any) -> Any:
    """Run a flow in this process under Prefect, its steps as tasks; gives back what the steps give."""
    token = _RUN.set(Run(opened, steps, progress))
    try:
        return ALL_FLOWS[name](site=str(opened.site.root), **values)
    finally:
        _RUN.reset(token)
