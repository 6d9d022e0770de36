"""The parts of a started `coldledger serve`, each a process of its own: the pages, the clerk, the
listener, the reader of databases.
"""

from __future__ import annotations

import json
import logging
import os
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from pipelines import logs
from pipelines.errors import ColdledgerError
from pipelines.settings import keep_private, settings_from_environment

TOLD = "COLDLEDGER_SERVE"  # what the supervisor tells its children, as JSON
LESS_URGENT, HAND_OVER_S = 3, 0.001
log = logging.getLogger("coldledger.serve")


def pages(row: Mapping[str, Any]) -> None:
    """Answer the pages until told to stop."""
    import uvicorn

    from pipelines.pages.app import create_app
    from pipelines.pages.web import Options

    if hasattr(os, "nice"):
        os.nice(LESS_URGENT)
    sys.setswitchinterval(HAND_OVER_S)  # what only passes an answer on does not wait long behind what makes pages
    options = Options(row["open_reading"], row["address"], tuple(row["hosts"]))
    app = create_app(Path(row["root"]), settings_from_environment(), options)
    uvicorn.run(
        app,
        host=row["host"],
        port=row["port"],
        log_config=None,
        log_level="warning",
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=3,
        proxy_headers=bool(row["address"]),
        forwarded_allow_ips="127.0.0.1",
    )


def clerk(row: Mapping[str, Any]) -> None:
    """Wake the flows when they are due."""
    from pipelines.serve.clerk import Clerk

    this_clerk = Clerk(Path(row["root"]), settings_from_environment())

    def stop(*_: object) -> None:
        this_clerk.stopping.set()
        threading.Thread(target=this_clerk.stop, daemon=True).start()

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    this_clerk.start()
    this_clerk.loop()


def listener(row: Mapping[str, Any]) -> None:
    """Hear the broker until told to stop."""
    from pipelines.site.folder import open_site
    from pipelines.sources.broker.listener import Hearing

    hearing = Hearing(open_site(Path(row["root"]), settings_from_environment()))
    signal.signal(signal.SIGTERM, lambda *_: hearing.stopping.set())
    hearing.run()


def sources(row: Mapping[str, Any]) -> None:
    """Read databases when they are due until told to stop."""
    from pipelines.serve.sources import SourceWatch

    watch = SourceWatch(Path(row["root"]), settings_from_environment())
    signal.signal(signal.SIGTERM, lambda *_: watch.stopping.set())
    watch.loop()


ROLES: dict[str, Callable[[Mapping[str, Any]], None]] = {
    "pages": pages,
    "clerk": clerk,
    "listener": listener,
    "sources": sources,
}


def _end_with_parent() -> None:
    """A part whose supervisor was killed ends too: its standard input ends then."""
    while os.read(0, 4096):  # not by sys.stdin: its lock would be held at the interpreter's end
        pass
    os._exit(1)


def main() -> None:
    """`ROLE`: play one part."""
    logs.start()
    keep_private()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the supervisor; it ends its children in order
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        ROLES[sys.argv[1]](json.loads(os.environ[TOLD]))
    except ColdledgerError as error:
        log.error("%s", error)
        sys.exit(error.exit_status)


if __name__ == "__main__":
    main()
