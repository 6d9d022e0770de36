"""Flows as deployments on a works' own Prefect: a real server, a real worker, intake and close run by them."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from datetime import date
from datetime import time as clock_time
from pathlib import Path
from typing import Any

import pytest
import yaml

from pipelines.flows.deployments import as_text, close_cron, intake_cron
from pipelines.flows.noted import BY_DEPLOYMENT
from pipelines.people.books import Books
from pipelines.plant.works import Plant, read_plant
from sample_feeds.simulator import Simulated, write_feeds
from tests.conftest import HEAD, NOW, WORKS, Place

DAY, POOL = date(2026, 3, 10), "cold-end"


def with_schedule(text: str) -> Plant:
    assert "[schedule]" not in WORKS
    return read_plant(f"{WORKS}\n[schedule]\n{text}\n")


@pytest.mark.parametrize(
    ("text", "cron"),
    [
        ("intake_minute = 4\non_new_file = false", "4 * * * *"),
        ("intake_minute = 17", "2-59/5 * * * *"),
        ("intake_minute = 0", "0-59/5 * * * *"),
    ],
)
def test_the_intake_wakes_at_its_minute_and_between_where_files_are_taken_as_they_come(text: str, cron: str) -> None:
    plant = with_schedule(text)
    assert intake_cron(plant) == cron
    field = cron.split()[0]
    minutes = range(int(field.split("-")[0]), 60, 5) if "/" in field else [int(field)]
    assert plant.schedule.intake_minute in minutes


def test_a_close_wakes_when_the_day_is_over_by_the_works_clock() -> None:
    assert close_cron(with_schedule('close_at = "07:30"')) == "30 7 * * *"
    late = with_schedule("close_latest_minutes = 1100")
    assert late.works.day_starts == clock_time(6, 0) and close_cron(late) == "20 0 * * *"


def test_the_written_form_names_what_can_be_loaded(place: Place) -> None:
    from importlib import import_module

    text = yaml.safe_load(as_text(place.opened, POOL))
    assert [row["entrypoint"].rsplit(".", 1)[1] for row in text["deployments"]] == ["intake", "close", "rebuild"]
    for row in text["deployments"]:
        module, _, name = row["entrypoint"].rpartition(".")
        assert getattr(import_module(module), name).name == name
        assert row["parameters"] == {"site": str(place.site.root)}
        assert all(schedule["timezone"] == place.plant.works.timezone for schedule in row["schedules"])


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """A Prefect server of the works' own; gives the environment by which it is reached."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        home, port = tmp_path_factory.mktemp("server"), probe.getsockname()[1]
    environment = {
        **{name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")},
        "PREFECT_HOME": str(home),
        "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
        "DO_NOT_TRACK": "1",
        "PREFECT_SERVER_UI_ENABLED": "false",
    }
    command = [
        sys.executable,
        "-m",
        "prefect",
        "server",
        "start",
        "--host",
        "127.0.0.1",
        "--port",
        str(port),
        "--no-ui",
    ]
    with (home / "log").open("w") as log:
        run = subprocess.Popen(command, env=environment, stdout=log, stderr=log)
    url = f"http://127.0.0.1:{port}/api"
    try:
        for _ in range(600):
            try:
                urllib.request.urlopen(f"{url}/health", timeout=2).read()
                break
            except OSError:
                assert run.poll() is None, (home / "log").read_text()
                time.sleep(0.25)
        yield {**environment, "PREFECT_API_URL": url}
    finally:
        run.terminate()
        run.wait(60)


def test_a_works_own_scheduler_and_worker_take_in_and_close(
    server: dict[str, str], day_of_truth: Simulated, tmp_path: Path
) -> None:
    place = Place(tmp_path / "site")
    write_feeds(day_of_truth, place.site.inbox)
    command = [
        sys.executable,
        "-c",
        "from pipelines.cli import main; main()",
        "deployments",
        "--pool",
        POOL,
        "--site",
        str(place.site.root),
    ]
    now = {"COLDLEDGER_NOW": NOW.isoformat()}
    said = subprocess.run(command, env={**server, **now}, capture_output=True, text=True, timeout=300)
    assert said.returncode == 0, said.stderr
    assert "intake/site" in said.stdout and "close/site" in said.stdout
    texts = _driven(server, now)
    assert texts == {"intake": "COMPLETED", "close": "COMPLETED"}
    assert place.ask("closes_of_day", day=DAY)["revision"].to_list() == [1]
    runs = Books(place.site.serve).ask("newest_runs", most=5)
    assert {(row["flow"], row["why"]) for row in runs} == {(flow, BY_DEPLOYMENT) for flow in ("intake", "close")}
    assert place.facts("station_counts").height > 100_000 and list(place.site.inbox.iterdir()) == []


def test_a_command_is_a_flow_run_of_the_server_that_is_named_too(server: dict[str, str], tmp_path: Path) -> None:
    """Its steps are tasks there; the site's own books have the run, as they have every other."""
    place = Place(tmp_path / "named")
    place.put("station_counts.K1.csv", HEAD + "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,12,1\n")
    command = [sys.executable, "-c", "from pipelines.cli import main; main()", "intake", "--site", str(place.site.root)]
    said = subprocess.run(command, env=server, capture_output=True, text=True, timeout=300)
    assert said.returncode == 0 and "1 rows kept" in said.stdout and said.stderr == "", said.stderr
    assert [(row["flow"], row["state"]) for row in Books(place.site.serve).ask("newest_runs", most=5)] == [
        ("intake", "done")
    ]
    runs = asked(server, "flow_runs", {"parameters": {"site": str(place.site.root)}})
    assert [run["state_type"] for run in runs] == ["COMPLETED"]
    steps = asked(server, "task_runs", {"flow_run_id": runs[0]["id"]})
    assert {"take the inbox in", "write the hour pages"} <= {run["name"].rsplit("-", 1)[0] for run in steps}


def asked(server: dict[str, str], what: str, like: dict[str, Any]) -> list[dict[str, Any]]:
    """The server's runs that have these values."""
    request = urllib.request.Request(
        f"{server['PREFECT_API_URL']}/{what}/filter", b"{}", {"Content-Type": "application/json"}
    )
    with urllib.request.urlopen(request, timeout=30) as answer:
        return [run for run in json.load(answer) if all(run.get(key) == value for key, value in like.items())]


DRIVE = """
import json, sys
from prefect.client.orchestration import get_client
with get_client(sync_client=True) as client:
    if sys.argv[1] == "begin":
        found = client.read_deployment_by_name(sys.argv[2])
        assert [one.schedule.timezone for one in found.schedules] == ["Europe/Warsaw"]
        assert found.enforce_parameter_schema
        print(client.create_flow_run_from_deployment(found.id).id)
    else:
        run = client.read_flow_run(sys.argv[2])
        print(json.dumps([run.state.type.value, str(run.state.message)]))
"""


def _driven(server: dict[str, str], now: dict[str, str]) -> dict[str, str]:
    """Begin intake and then close as a scheduler would, let a worker run each, and say how they ended."""
    row: dict[str, Any] = {}
    for flow in ("intake", "close"):
        begin = [sys.executable, "-c", DRIVE, "begin", f"{flow}/site"]
        run = subprocess.run(begin, env=server, capture_output=True, text=True, timeout=120, check=True).stdout.strip()
        worker = [
            sys.executable,
            "-m",
            "prefect",
            "worker",
            "start",
            "--pool",
            POOL,
            "--run-once",
            "--prefetch-seconds",
            "0",
        ]
        for _ in range(20):
            done = subprocess.run(worker, env={**server, **now}, capture_output=True, text=True, timeout=600)
            state = subprocess.run(
                [sys.executable, "-c", DRIVE, "state", run],
                env=server,
                capture_output=True,
                text=True,
                timeout=120,
                check=True,
            )
            row[flow], message = yaml.safe_load(state.stdout)
            if row[flow] in ("COMPLETED", "FAILED", "CRASHED", "CANCELLED"):
                break
        assert row[flow] == "COMPLETED", (row, message, done.stdout[-3000:], done.stderr[-3000:])
    return row


def test_a_server_that_is_not_named_or_away_is_one_sentence(place: Place, tmp_path: Path) -> None:
    command = [
        sys.executable,
        "-c",
        "from pipelines.cli import main; main()",
        "deployments",
        "--site",
        str(place.site.root),
    ]
    plain = {name: value for name, value in os.environ.items() if not name.startswith("PREFECT_")} | {
        "PREFECT_HOME": str(tmp_path)
    }
    unnamed = subprocess.run(command, env=plain, capture_output=True, text=True, timeout=120)
    assert unnamed.returncode == 2 and "set PREFECT_API_URL" in unnamed.stderr and "Traceback" not in unnamed.stderr
    away = {**plain, "PREFECT_API_URL": "http://127.0.0.1:9/api", "PREFECT_CLIENT_MAX_RETRIES": "0"}
    gone = subprocess.run(command, env=away, capture_output=True, text=True, timeout=300)
    assert gone.returncode == 2 and "did not take the deployments" in gone.stderr and "Traceback" not in gone.stderr
