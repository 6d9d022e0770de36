"""The flows of the run history. Each is a thin wrapper around plain functions; a schedule that calls one is only a wake-up call."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from prefect import flow, task

from pipelines.flows.steps import FLOWS, RETRY_S, Steps, can_help
from pipelines.site.folder import OpenSite


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
    one: Any = task(name=name, **_IO)(work)
    return one(*args)


def with_history(name: str, steps: Steps, opened: OpenSite, **told: Any) -> Any:
    """Run a flow of `steps.FLOWS` under Prefect, its steps as tasks."""

    def whole(opened: OpenSite) -> Any:
        return FLOWS[name](steps.begin(_as_task), opened, **told)

    one: Any = flow(name=name, validate_parameters=False, persist_result=False)(whole)
    return one(opened)
