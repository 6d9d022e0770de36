"""The run history when it is away: whether it can be reached, and runs that are noted in it afterwards."""

from __future__ import annotations

import json
import logging
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.request import urlopen

from pipelines.settings import Site
from pipelines.whole_files import written_whole

REACH_S = 10.0  # a server that does not say in this time that it lives counts as away
MOST = 500  # runs kept to be noted later; the oldest go first
_LOG = logging.getLogger(__name__)


def unreachable(address: str) -> str | None:
    """Why the history's server at `address` cannot be reached; None where it can, or where none is named and one is
    started for the run.
    """
    if not address:
        return None
    try:
        with urlopen(f"{address.rstrip('/')}/health", timeout=REACH_S):
            return None
    except HTTPError as error:
        return None if error.code < 500 else f"{address} answers {error.code}"
    except (URLError, OSError, ValueError) as error:
        return f"{address}: {getattr(error, 'reason', None) or error}"


def _file(site: Site) -> Path:
    return site.root / ".prefect" / "unnoted.jsonl"


class Unnoted:
    """A run without the history: how it went is kept in a line, to be noted later. What cannot be kept does not stop
    it.
    """

    def __init__(self, flow: str, begun: datetime, site: Site):
        self.flow, self.begun, self.site = flow, begun, site

    def __enter__(self) -> Unnoted:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        state = "completed" if error is None else "failed" if isinstance(error, Exception) else "crashed"
        told = {
            "flow": self.flow,
            "begun": self.begun.isoformat(),
            "ended": datetime.now(UTC).isoformat(),
            "state": state,
            "why": "" if error is None else f"{type(error).__name__}: {error}"[:500],
        }
        path = _file(self.site)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            lines = _lines(path)[1 - MOST :]
            with written_whole(path) as part:
                part.write_text("".join(f"{line}\n" for line in [*lines, json.dumps(told)]), encoding="utf-8")
        except OSError as trouble:
            _LOG.warning("a run without history could not be kept to be noted later: %s", trouble)


def _lines(path: Path) -> list[str]:
    with suppress(FileNotFoundError):
        return [line for line in path.read_text(encoding="utf-8", errors="replace").splitlines() if line.strip()]
    return []


def note_later_runs(site: Site) -> int:
    """Note in the history, which can be reached now, the runs that were done without it; how many. What fails is tried
    next time.
    """
    path = _file(site)
    if not path.exists():
        return 0
    noted = 0
    lines = _lines(path)
    try:
        from prefect.client.orchestration import get_client

        with get_client(sync_client=True) as client:
            for line in lines:
                with suppress(ValueError, KeyError, TypeError):  # a line cut off by a power cut
                    _note(client, json.loads(line))
                noted += 1
    except Exception as error:
        _LOG.warning("runs without history could not be noted yet: %s", error)
    rest = "".join(f"{line}\n" for line in lines[noted:])
    with suppress(OSError):
        path.write_text(rest, encoding="utf-8") if rest else path.unlink()
    return noted


def _note(client: object, told: dict[str, str]) -> None:
    from prefect import flow
    from prefect.client.orchestration import SyncPrefectClient
    from prefect.states import Completed, Crashed, Failed, Running

    assert isinstance(client, SyncPrefectClient)
    begun, ended = (datetime.fromisoformat(told[name]) for name in ("begun", "ended"))
    last = {"completed": Completed, "failed": Failed, "crashed": Crashed}[told["state"]]
    named: Any = flow(name=told["flow"], validate_parameters=False)(_nothing)
    why = told["why"] or f"done from {told['begun']} to {told['ended']}, while the history could not be reached"
    run = client.create_flow_run(
        named,
        state=Running(timestamp=begun),
        tags=["noted later"],
        name=f"{told['flow']} of {begun:%Y-%m-%d %H:%M} UTC",
    )
    client.set_flow_run_state(run.id, last(message=why, timestamp=ended), force=True)


def _nothing() -> None:
    """Stands for a flow whose name is all that is noted."""
