"""The flows as deployments on a works' own Prefect server: its scheduler wakes them, its workers run them, its history
keeps them.

Instead of `coldledger serve`, never beside it for one site: two schedulers that wake the same flows only wait for each
other's locks. A flow that runs already is not begun a second time. The worker runs where the site's folder is, with
this program installed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from pipelines.errors import SiteError, named_line
from pipelines.plant.works import Plant
from pipelines.site.folder import OpenSite

ENTRY = "pipelines.flows.flows"
NEW_FILE_MIN = 5  # how often the inbox is looked at where files are taken in as they come


@dataclass(frozen=True)
class Wanted:
    """A deployment of a flow under a name. cron: by the works' clock; None where it is begun by hand only."""

    flow: str
    name: str
    cron: str | None
    parameters: dict[str, Any]
    description: str

    @property
    def address(self) -> str:
        """Flow and name, as Prefect asks for a deployment."""
        return f"{self.flow}/{self.name}"


def wanted(opened: OpenSite) -> list[Wanted]:
    """The deployments of a site by its works.toml: intake and close with their schedule, rebuild without one."""
    site, plant = str(opened.site.root), opened.plant
    name = "".join(c if c.isalnum() or c in "-_" else "-" for c in opened.site.root.name) or "site"
    return [
        Wanted(
            "intake",
            name,
            intake_cron(plant),
            {"site": site},
            "Takes the inbox in, refreshes what it touched, writes the hour's pages.",
        ),
        Wanted(
            "close",
            name,
            close_cron(plant),
            {"site": site},
            "Closes every production day that is over and was not closed since its last feed.",
        ),
        Wanted("rebuild", name, None, {"site": site}, "Computes production days again; needs first and last."),
    ]


def intake_cron(plant: Plant) -> str:
    """Every hour at the minute set; where files are taken in as they come, every NEW_FILE_MIN minutes, that one among
    them.
    """
    minute = plant.schedule.intake_minute
    if plant.schedule.on_new_file:
        return f"{minute % NEW_FILE_MIN}-59/{NEW_FILE_MIN} * * * *"
    return f"{minute} * * * *"


def close_cron(plant: Plant) -> str:
    """Every day at the time set, else so long after the production day's end as [schedule] says at the latest."""
    at = plant.schedule.close_at
    if at is None:
        end = datetime.combine(date(2000, 1, 3), plant.works.day_starts)
        at = (end + timedelta(minutes=plant.schedule.close_latest_minutes)).time()
    return f"{at.minute} {at.hour} * * *"


def as_text(opened: OpenSite, pool: str) -> str:
    """The same as the text of a prefect.yaml, for those who register deployments by their own ways."""
    import yaml

    zone = opened.plant.works.timezone
    rows = [
        {
            "name": this_wanted.name,
            "description": this_wanted.description,
            "entrypoint": f"{ENTRY}.{this_wanted.flow}",
            "parameters": this_wanted.parameters,
            "schedules": [{"cron": this_wanted.cron, "timezone": zone}] if this_wanted.cron else [],
            "work_pool": {"name": pool},
            "concurrency_limit": {"limit": 1, "collision_strategy": "CANCEL_NEW"},
        }
        for this_wanted in wanted(opened)
    ]
    return str(
        yaml.safe_dump({"name": "coldledger", "pull": None, "deployments": rows}, sort_keys=False, allow_unicode=True)
    )


def register(opened: OpenSite, pool: str) -> list[Wanted]:
    """Make or renew the deployments on the server that PREFECT_API_URL names, and the work pool where it is not there;
    what they are.

    SiteError where no server is named or it does not answer.
    """
    from prefect.settings import get_current_settings

    url = get_current_settings().api.url
    if not url:
        raise SiteError(
            "no Prefect server is named; set PREFECT_API_URL to its address, such as http://prefect.example:4200/api"
        )
    deployments = wanted(opened)
    try:
        _make_pool(pool)
        for deployment in deployments:
            _deployment(opened, deployment, pool).apply()
    except Exception as error:
        raise SiteError(f"the Prefect server at {url} did not take the deployments ({named_line(error)})") from error
    return deployments


def _make_pool(pool: str) -> None:
    from prefect.client.orchestration import get_client
    from prefect.client.schemas.actions import WorkPoolCreate
    from prefect.exceptions import ObjectNotFound

    with get_client(sync_client=True) as client:
        try:
            client.read_work_pool(pool)
        except ObjectNotFound:
            client.create_work_pool(
                WorkPoolCreate(
                    name=pool, type="process", description="Flows of coldledger, run beside the site's folder."
                )
            )


def _deployment(opened: OpenSite, this_wanted: Wanted, pool: str) -> Any:
    from prefect.client.schemas.objects import ConcurrencyLimitConfig, ConcurrencyLimitStrategy
    from prefect.client.schemas.schedules import CronSchedule
    from prefect.types.entrypoint import EntrypointType

    from pipelines.flows.flows import ALL_FLOWS

    return ALL_FLOWS[this_wanted.flow].to_deployment(
        this_wanted.name,
        schedules=[CronSchedule(cron=this_wanted.cron, timezone=opened.plant.works.timezone)]
        if this_wanted.cron
        else None,
        parameters=this_wanted.parameters,
        description=this_wanted.description,
        tags=["coldledger"],
        work_pool_name=pool,
        concurrency_limit=ConcurrencyLimitConfig(limit=1, collision_strategy=ConcurrencyLimitStrategy.CANCEL_NEW),
        entrypoint_type=EntrypointType.MODULE_PATH,
    )
