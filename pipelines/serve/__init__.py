"""One command for a works' PC: the pages, the run history's server, and the schedules, supervised.

**Serving** (`serve/`). `supervise.py` starts three children (pages, run history, clerk), begins again what dies, ends
them in order; a child ends when its standard input does, so that a killed supervisor leaves nothing behind. The clerk
begins every flow as a process of its own (`flows/child.py`) under a lock that the kernel frees: memory stays flat,
nothing overlaps itself, a run can be killed. No Prefect deployment and no Prefect schedule: a run costs 3 s instead of
9 to 20, "a file has come" and "the day's last feed has come" need to look anyway, and after an outage there is nothing
to catch up but one intake and one close. Prefect keeps tasks, retries and the history; `flows/server.py` has its
settings (no UI, no analytics, a password, runs dropped after three days; the books keep 2,000 in words), and
`end_unfinished` notes as crashed what a power cut left. `jobs/due.py` is pure.

**Notices** are noted before they are sent: at most once, so a failed sending is shown and not repeated.
"""
