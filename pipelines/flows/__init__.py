"""The only package that imports prefect: what runs, after what, with retries on input and output only.

**Flows** (`flows/flows.py`) take a folder and plain values with Prefect's own validation on. A command or `serve` has
the site open already and hands it over in a context variable together with the steps that are done, so that a run whose
server fails goes on behind its last step; a worker of a works' own Prefect opens the site itself.
`flows/deployments.py` registers them there.

**One run history**, in the site's books (`flows/noted.py`): every run, whoever began it, by `coldledger runs` and on
*Feeds*. Until 0.2 each command without a server began one of Prefect's beside it, and `serve` kept another: an intake
of 20 rows took 39 to 61 s and 25 to 37 s of processor time on two busy cores, without them 8.5 to 9.3 s and 5 s (the
same machine, one after the other; November 2026), and 250 MB less. The books say the same in words, need no server, and
survive a power cut. Where PREFECT_API_URL names a server of the works' own, runs are flow runs of it too.

SIGTERM is to a command what Ctrl-C is. A closed works' network is assumed: nothing calls out, Prefect's analytics are
off.
"""
