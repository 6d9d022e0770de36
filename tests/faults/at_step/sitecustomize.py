"""Put first on the path of a served site's processes: counts the moments at which each of them touches the site, and
ends one with SIGKILL.

COLDLEDGER_TEST_STEPS names a folder outside the site; its file `plan` holds `ROLE STEP`: the first process of that role
is killed before that step, once. Counts lie in `ROLE.PID`.
A step is an event by which Python touches the world (PEP 578) that names the site's folder, or by which a process or a
connection begins.
"""

import os
import signal
import struct
import sys
from mmap import mmap
from pathlib import Path

ROLES = {"pipelines.flows.child": "flow", "clerk": "clerk", "pages": "pages", "serve": "supervisor"}
ALWAYS = ("subprocess.Popen", "os.posix_spawn", "socket.connect", "socket.bind")
SEEN = ("open", "os.", "shutil.", "sqlite3.connect", "mmap.__new__", "fcntl.flock")


def role_of(command: list[str]) -> str:
    """Which part of a served site a process is; empty for any other."""
    return next((role for word, role in ROLES.items() if word in command), "")


def count(role: str, folder: Path) -> None:
    """Begin to count, and end the process at the step that is planned for it."""
    root = os.environ["COLDLEDGER_TEST_SITE"]
    plan = (folder / "plan").read_text().split() if (folder / "plan").exists() else []
    last = int(plan[1]) if plan and plan[0] == role else 0
    with (folder / f"{role}.{os.getpid()}").open("w+b") as file:
        file.write(bytes(8))
        file.flush()
        kept = mmap(file.fileno(), 8)
    steps = 0

    def step(name: str, args: tuple[object, ...]) -> None:
        nonlocal steps
        if name not in ALWAYS and not (name.startswith(SEEN) and any(root in str(arg) for arg in args)):
            return
        steps += 1
        kept[:] = struct.pack("q", steps)
        if steps == last:
            try:
                os.close(os.open(folder / "killed", os.O_CREAT | os.O_EXCL))
            except FileExistsError:
                return
            os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(step)


if "COLDLEDGER_TEST_STEPS" in os.environ and role_of(sys.orig_argv):
    count(role_of(sys.orig_argv), Path(os.environ["COLDLEDGER_TEST_STEPS"]))
