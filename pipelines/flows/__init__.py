"""The only package that imports prefect: what runs, after what, with retries on input and output only.

**Flows** (`flows/flows.py`) take a folder and plain values with Prefect's own validation on. A command or `serve` has
the site open already and hands it over in a context variable together with the steps that are done, so that a run whose
history fails goes on behind its last step; a worker of a works' own Prefect opens the site itself.
`flows/deployments.py` registers them there.

**Beside a command** that finds no served history Prefect starts a server; `flows/beside.py` begins it in a session of
its own that ends with the command, killed or not. SIGTERM is to a command what Ctrl-C is.

A closed works' network is assumed: nothing calls out, Prefect's analytics are off, its run history lies in the site's
`.prefect/`.
"""
