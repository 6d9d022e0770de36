"""Work from an export on a Dask engine: one flow run, whose tasks are parts of the jobs, because a task run for each
would cost more than the job. Needs the extra `dask`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, cast

from prefect import flow, task

from pipelines.errors import SiteError, WrongUse

JOBS_A_TASK = 4


@task(name="jobs from an export", persist_result=False)
def some_jobs(work: Callable[[Any], Any], jobs: Sequence[Any]) -> list[Any]:
    """What a pure function makes of some jobs, in their order."""
    return [work(job) for job in jobs]


def _fan(work: Callable[[Any], Any], jobs: Sequence[Any]) -> Iterator[Any]:
    parts = [list(jobs[start : start + JOBS_A_TASK]) for start in range(0, len(jobs), JOBS_A_TASK)]
    futures = [some_jobs.submit(work, part) for part in parts]
    for future in futures:
        yield from future.result()


def on_dask(address: str, ask: Callable[[Any], Any]) -> Any:
    """Run `ask(fan)` with a fan that gives its jobs to a Dask scheduler. address: of the scheduler (tcp://...), or
    `local` for two workers here.

    WrongUse without the extra, or where no scheduler answers.
    """
    try:
        from prefect_dask import DaskTaskRunner
    except ImportError:
        raise WrongUse("working on Dask needs the extra `dask`: install coldledger[dask]") from None
    kwargs: dict[str, Any] = {"address": address}
    if address == "local":
        kwargs = {
            "cluster_kwargs": {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
        }

    runner: Any = cast(Any, DaskTaskRunner(**kwargs))

    @flow(
        name="work from an export",
        task_runner=runner,
        validate_parameters=False,
        persist_result=False,
    )
    def whole() -> Any:
        return ask(_fan)

    try:
        return whole()
    except (OSError, TimeoutError) as error:
        raise WrongUse(f"no Dask scheduler answers at {address}: {error}") from None
    except RuntimeError as error:
        if "ephemeral" not in str(error):
            raise
        raise SiteError(f"Prefect's server for the work on Dask did not start: {error} Run this again") from None
