"""The flows on a works' own Prefect: registered there, or written for those who register by their own ways."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipelines.commands.options import SiteOption, open_here
from pipelines.errors import SiteError


def deployments(
    pool: Annotated[
        str, typer.Option("--pool", help="Work pool whose workers run where the site's folder is.")
    ] = "coldledger",
    write: Annotated[
        Path | None,
        typer.Option("--write", help="Write them as a prefect.yaml to this file and register nothing.", metavar="FILE"),
    ] = None,
    site: SiteOption = None,
) -> None:
    """Intake, close and rebuild as deployments on the Prefect server that PREFECT_API_URL names, with the schedules of
    works.toml.
    """
    from pipelines.flows.deployments import as_text, register, wanted

    opened = open_here(site)
    if write is not None:
        try:
            write.write_text(as_text(opened, pool), encoding="utf-8")
        except OSError as error:
            raise SiteError(f"{write} cannot be written ({error.strerror})") from error
        typer.echo(
            f"Wrote {len(wanted(opened))} deployments to {write}; register them with `prefect deploy --all "
            f"--prefect-file {write}`."
        )
        return
    for each in register(opened, pool):
        when = f"at {each.cron} by the clock of {opened.plant.works.timezone}" if each.cron else "by hand"
        typer.echo(f"{each.address}: {when}, work pool {pool}")
    typer.echo(
        f"Workers: `prefect worker start --pool {pool}` where {opened.site.root} is. `coldledger serve` of the same "
        "site does not run beside them."
    )
