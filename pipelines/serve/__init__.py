"""One command for a works' PC: the pages and the schedules, supervised.

**Serving** (`serve/`). `supervise.py` starts two children (pages, clerk; a third where a broker is heard, one where
databases are read), begins again what dies, ends them in order; a child ends when its standard input does, so that a
killed supervisor leaves nothing behind. The clerk begins every flow as a process of its own (`flows/child.py`) under a
lock that the kernel frees: memory stays flat, nothing overlaps itself, a run can be killed. No Prefect deployment and
no Prefect schedule: "a file has come" and "the day's last feed has come" need to look anyway, and after an outage there
is nothing to catch up but one intake and one close. What ran stands in the books: `flows/__init__.py` says why not in a
server. `jobs/due.py` is pure.

**Notices** are noted before they are sent: at most once, so a failed sending is shown and not repeated.
"""
