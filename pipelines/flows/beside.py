"""The run history's server beside a command, where none is served: it ends with the command however that ends, and
nothing is heard of it.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from typing import Any

PATIENCE_S = 5.0  # from the command's end to that of a server which has something to finish


def put_beside() -> None:
    """Have Prefect begin the server that it starts for a process in this way. Its own hears every Ctrl-C of the
    terminal and outlives a command that is killed.
    """
    from prefect.server.api.server import SubprocessASGIServer

    server: Any = SubprocessASGIServer()  # one a process; Prefect asks for the same

    def begin() -> subprocess.Popen[bytes]:
        return _begin(int(server.port))

    server._run_uvicorn_command = begin


def _begin(port: int) -> subprocess.Popen[bytes]:
    """A session of its own: signals to the command's group are not for it. Its standard input ends with this
    process.
    """
    from prefect.settings import get_current_settings

    told = get_current_settings().to_environment_variables(exclude_unset=True)
    environment = {
        **os.environ,
        **told,
        "PREFECT_UI_ENABLED": "0",
        "PREFECT__SERVER_EPHEMERAL": "1",
        "PREFECT__SERVER_FINAL": "1",
    }
    command = [sys.executable, "-m", "pipelines.flows.beside", str(port)]
    nothing = subprocess.DEVNULL
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=nothing, stderr=nothing, env=environment, start_new_session=True
    )


def main() -> None:
    """`PORT`: the server, until told to stop or until standard input ends."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    import uvicorn

    uvicorn.run(
        "prefect.server.api.server:create_app",
        factory=True,
        host="127.0.0.1",
        port=int(sys.argv[1]),
        log_level="error",
        lifespan="on",
    )


def _end_with_parent() -> None:
    sys.stdin.buffer.read()
    threading.Timer(PATIENCE_S, os._exit, (1,)).start()
    os.kill(os.getpid(), signal.SIGTERM)


if __name__ == "__main__":
    main()
