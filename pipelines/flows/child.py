"""A flow as a process of its own: what it did goes to its parent as one line of JSON."""

from __future__ import annotations

import json
import logging
import os
import sys
import threading
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from pipelines import logs
from pipelines.errors import ColdledgerError, named_line
from pipelines.flows.run import call_flow
from pipelines.settings import settings_from_environment
from pipelines.site.folder import OpenSite, open_site


@dataclass
class Outcome:
    """What a run did, in words. state: done, needs a person, failed, busy. days: production days that a close
    closed.
    """

    state: str
    words: str
    messages: list[str] = field(default_factory=list)
    days: list[str] = field(default_factory=list)
    rows: int = 0
    files: int = 0


def run_child(flow: str, root: Path, days: list[date]) -> Outcome:
    """Run a flow and tell what it did; what goes wrong is told and never raised."""
    try:
        opened = open_site(root, settings_from_environment())
        return {"intake": _intake, "close": _close, "follow": _follow}[flow](opened, days)
    except ColdledgerError as error:
        busy = type(error).__name__ == "LedgerBusy"
        return Outcome("busy" if busy else "failed", str(error))
    except OSError as error:
        return Outcome("failed", f"{error.filename or ''} {error.strerror or error}".strip())
    except Exception as error:
        logging.getLogger(__name__).exception("%s failed", flow)
        return Outcome("failed", named_line(error))


def _intake(opened: OpenSite, days: list[date]) -> Outcome:
    from pipelines.flows.steps import in_words

    answer = call_flow("intake", opened, why="")
    report, _ = answer
    state = "needs a person" if report.needs_a_person else "done"
    return Outcome(state, in_words("intake", answer), report.messages[:20], rows=report.rows_kept, files=report.files)


def _close(opened: OpenSite, days: list[date]) -> Outcome:
    from pipelines.flows.steps import in_words

    closed = call_flow("close", opened, why="", day=days[0] if days else None)
    done = [each.day.isoformat() for each in closed]
    return Outcome("done", in_words("close", closed), [note for each in closed for note in each.missing][:20], done)


def _follow(opened: OpenSite, days: list[date]) -> Outcome:
    from pipelines.flows.steps import in_words

    pages = call_flow("follow", opened, why="", days=days)
    return Outcome("done", f"signals of {len(days)} days followed, {in_words('follow', pages)}")


def main(argv: list[str]) -> None:
    """`FLOW SITE [DAY …]`: run it and write the outcome to standard output. Ends at once when who began it does: its
    standard input ends then.
    """
    logs.start()
    logging.getLogger().setLevel(logging.WARNING)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    days = [date.fromisoformat(text) for text in argv[2:]]
    row: dict[str, Any] = vars(run_child(argv[0], Path(argv[1]), days))
    sys.stdout.write(json.dumps(row) + "\n")
    sys.stdout.flush()
    os._exit(0)  # threads of libraries that would still wait for something have nothing to add


def _end_with_parent() -> None:
    if sys.stdin is not None and not sys.stdin.isatty():
        sys.stdin.buffer.read()
        os._exit(1)


if __name__ == "__main__":
    main(sys.argv[1:])
