"""The Prefect server that keeps the run history: on a loopback port of its own, without its web pages, asking nothing
of any network.
"""

from __future__ import annotations

import os
from collections.abc import Mapping

KEEP_DAYS = 3  # of the run history; the books keep what each run did for longer
LOOP = "PREFECT_SERVER_SERVICES_DB_VACUUM_LOOP_SECONDS"  # how often old runs are dropped; may be set from outside

_SETTINGS = {
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "DO_NOT_TRACK": "1",
    "PREFECT_SERVER_UI_ENABLED": "false",
    "PREFECT_SERVER_LOGGING_LEVEL": "ERROR",
    "PREFECT_LOGGING_LEVEL": "ERROR",
    # runs are begun by `coldledger serve` itself: what would begin, expire or clean up deployments has nothing to do
    "PREFECT_SERVER_SERVICES_SCHEDULER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_LATE_RUNS_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_FOREMAN_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_PAUSE_EXPIRATIONS_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_CANCELLATION_CLEANUP_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_REPOSSESSOR_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_TRIGGERS_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_CLEANUP_RECONCILER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_EVENT_PERSISTER_ENABLED": "false",
    "PREFECT_SERVER_SERVICES_DB_VACUUM_ENABLED": "events,flow_runs",
    LOOP: "900",
    "PREFECT_SERVER_SERVICES_DB_VACUUM_RETENTION_PERIOD": str(KEEP_DAYS * 86400),
    "PREFECT_SERVER_CONCURRENCY_LEASE_STORAGE": "prefect.server.concurrency.lease_storage.filesystem",
}


def settings_of_server(home: str, secret: str) -> dict[str, str]:
    """Environment of the server. secret: what its callers must show, so that no other account of the computer can."""
    return {**_SETTINGS, "PREFECT_HOME": home, "PREFECT_SERVER_API_AUTH_STRING": f"coldledger:{secret}"}


def settings_of_callers(port: int, secret: str) -> dict[str, str]:
    """Environment by which flows reach that server."""
    return {
        "PREFECT_API_URL": f"http://127.0.0.1:{port}/api",
        "PREFECT_API_AUTH_STRING": f"coldledger:{secret}",
        "PREFECT_LOGGING_TO_API_ENABLED": "false",
    }


def serve_history(port: int, environment: Mapping[str, str]) -> None:
    """Run the server in this process until it is told to stop."""
    os.environ.update({name: value for name, value in environment.items() if name != LOOP or LOOP not in os.environ})
    import uvicorn
    from prefect.server.api.server import create_app

    uvicorn.run(
        create_app(), host="127.0.0.1", port=port, log_level="error", access_log=False, timeout_graceful_shutdown=3
    )


def end_unfinished(flows: list[str]) -> int:
    """Say of runs of these flows that nothing runs any more, and that the history still has as begun, that they
    crashed; how many.

    To be called only while none of them runs: after a power cut a run would else stand as running for ever.
    """
    from prefect.client.orchestration import get_client
    from prefect.client.schemas.filters import (
        FlowFilter,
        FlowFilterName,
        FlowRunFilter,
        FlowRunFilterState,
        FlowRunFilterStateType,
    )
    from prefect.client.schemas.objects import StateType
    from prefect.states import Crashed

    open_states = [StateType.RUNNING, StateType.PENDING, StateType.SCHEDULED, StateType.CANCELLING]
    done = 0
    with get_client(sync_client=True) as client:
        while True:
            found = client.read_flow_runs(
                flow_filter=FlowFilter(name=FlowFilterName(any_=flows)),
                flow_run_filter=FlowRunFilter(state=FlowRunFilterState(type=FlowRunFilterStateType(any_=open_states))),
                limit=200,
            )
            for run in found:
                client.set_flow_run_state(run.id, Crashed(message="the process ended before the run did"), force=True)
            done += len(found)
            if len(found) < 200:
                return done
