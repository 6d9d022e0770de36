"""The commands as a person types them: answers, formats, exit statuses, one clear sentence for what is wrong."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import HEAD, Place

HOUR = ("--line", "K1", "--from", "2026-03-10T10:00", "--to", "2026-03-10T11:00")


def run(*args: str, site: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    texts = {**os.environ, "COLDLEDGER_NOW": "2026-04-01T00:00:00Z", **more}
    if site is not None:
        texts["COLDLEDGER_SITE"] = str(site)
    command = [sys.executable, "-c", "from pipelines.cli import main; main()", *args]
    return subprocess.run(
        command, capture_output=True, text=True, env=texts, timeout=120, cwd=Path(__file__).parents[1]
    )


@pytest.mark.quick
def test_pareto_in_three_formats(day_taken: Place) -> None:
    root = day_taken.site.root
    answer = json.loads(run("pareto", *HOUR, "--format", "json", site=root).stdout)
    assert (answer["line"], answer["from"], answer["to"]) == ("K1", "2026-03-10T09:00:00Z", "2026-03-10T10:00:00Z")
    table = run("pareto", *HOUR, site=root)
    assert table.returncode == 0 and f"{answer['ware']:,} containers at the first station" in " ".join(
        table.stdout.split()
    )
    rows = list(csv.DictReader(io.StringIO(run("pareto", *HOUR, "--format", "csv", site=root).stdout)))
    assert [(row["key"], int(row["calls"])) for row in rows] == [(row["key"], row["calls"]) for row in answer["rows"]]


def test_a_time_of_which_nothing_came_is_not_called_quiet(day_taken: Place) -> None:
    root, hour = day_taken.site.root, ("--line", "K1", "--from", "2026-03-20T10:00", "--to", "2026-03-20T11:00")
    for command, says in (("pareto", "Nothing came"), ("signals", "nothing came"), ("weights", "no weighing came")):
        assert says in run(command, *hour, site=root).stdout
    assert "Nothing came" in run("pareto", *hour, "--format", "csv", site=root).stderr
    text = run("yield", "--day", "2026-03-20", site=root).stdout
    assert "K1: nothing came: whether it stood is not known" in text and "the line stood" not in text
    table = run("yield", "--day", "2026-03-10", site=root).stdout
    assert "* reconciled" in table and "pack-to-melt*" in table and "melted kg*" not in table


@pytest.mark.quick
def test_local_times_and_offsets_mean_the_same(day_taken: Place) -> None:
    local = run("pareto", *HOUR, "--format", "json", site=day_taken.site.root)
    utc = ("--line", "K1", "--from", "2026-03-10T09:00:00Z", "--to", "2026-03-10T11:00:00+01:00")
    assert run("pareto", *utc, "--format", "json", site=day_taken.site.root).stdout == local.stdout


@pytest.mark.quick
def test_yield_and_feeds(day_taken: Place) -> None:
    root = day_taken.site.root
    answer = json.loads(run("yield", "--day", "2026-03-10", "--furnace", "F1", "--format", "json", site=root).stdout)
    assert [furnace["furnace"] for furnace in answer["furnaces"]] == ["F1"] and [
        line["line"] for line in answer["lines"]
    ] == [
        "K1",
        "K2",
    ]
    assert {"day", "furnaces", "lines", "suspect_meters"} <= answer.keys()
    rows = list(csv.DictReader(io.StringIO(run("yield", "--day", "2026-03-10", "--format", "csv", site=root).stdout)))
    assert {row["shift"] for row in rows} == {"06:00", "14:00", "22:00"} and {"stoppage", "hot end", "station"} <= {
        row["kind"] for row in rows
    }
    table = run("yield", "--day", "2026-03-10", "--as-known-at", "2026-04-01T12:00", site=root).stdout
    assert "no close had been made: worked out from the rows known then" in table and "plain quotient" in table
    feeds = run("feeds", site=root)
    assert feeds.returncode == 1, "rows wait in quarantine"
    assert "station_counts.K1.bad-rows.csv line 3, column inspected: '-4' is below" in feeds.stdout


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("pareto", "--line", "Q9", *HOUR[2:]), "there is no line 'Q9' in works.toml; it has K1, K2, K3, K4"),
        (("pareto", *HOUR, "--by", "colour"), "--by colour is not one of defect, mould"),
        (("pareto", "--line", "K1", "--from", "2026-03-10T11:00", "--to", "2026-03-10T10:00"), "must lie before --to"),
        (
            ("pareto", "--line", "K1", "--from", "yesterday", "--to", "2026-03-10T10:00"),
            "'yesterday' is not a time such as",
        ),
        (
            ("pareto", "--line", "K1", "--from", "2026-03-29T02:30", "--to", "2026-03-29T05:00"),
            "was put forward over it",
        ),
        (("yield", "--day", "10.03.2026"), "'10.03.2026' is not a day such as 2026-03-02"),
        (("yield", "--day", "2026-03-10", "--line", "Q9"), "there is no line 'Q9'"),
    ],
)
def test_wrong_use_is_said_and_ends_with_2(args: tuple[str, ...], says: str, day_taken: Place) -> None:
    finished = run(*args, site=day_taken.site.root)
    assert finished.returncode == 2 and says in finished.stderr and "Traceback" not in finished.stderr
    assert len(finished.stderr.strip().splitlines()) == 1


def test_no_site_and_no_ledger_are_said(tmp_path: Path, place: Place) -> None:
    finished = run("pareto", *HOUR, "--site", str(tmp_path))
    assert finished.returncode == 2 and "is no site: it has no works.toml" in finished.stderr
    finished = run("pareto", *HOUR, site=place.site.root)
    assert finished.returncode == 2 and "has no ledger yet" in finished.stderr


def test_a_wrong_plant_file_names_every_mistake(place: Place) -> None:
    text = (
        place.site.works_toml.read_text()
        .replace("sections = 8", "sections = 0")
        .replace('furnace = "F2"', 'furnace = "F3"')
    )
    place.site.works_toml.write_text(text)
    finished = run("feeds", site=place.site.root)
    assert (
        finished.returncode == 2
        and "works.toml has 3 mistakes" in finished.stderr
        and finished.stderr.count("[[line]]") == 3
    )


def test_init_makes_a_site_once(tmp_path: Path) -> None:
    finished = run("init", str(tmp_path / "new"))
    assert finished.returncode == 0 and sorted(path.name for path in (tmp_path / "new").iterdir()) == [
        "inbox",
        "works.toml",
    ]
    again = run("init", str(tmp_path / "new"))
    assert again.returncode == 2 and "is there already; nothing was changed" in again.stderr


def test_retry_by_command(place: Place) -> None:
    place.put("station_counts.K1.csv", HEAD + "2026-03-02T09:00:00+01:00,K1,K1-side-a,11,60,1O,1\n")
    place.take()
    entry = next(iter(place.site.quarantine.iterdir()))
    entry.write_text(entry.read_text().replace("1O", "10"))
    finished = run("feeds", "retry", site=place.site.root)
    assert (finished.returncode, finished.stdout) == (
        0,
        "1 files taken in: 1 rows kept, 0 rows set aside, 0 files set aside whole.\n",
    )
    assert run("feeds", site=place.site.root, COLDLEDGER_NOW="2026-03-02T08:30:00Z").returncode == 0
    assert run("feeds", site=place.site.root).returncode == 1, "a month later its station is late"


def test_replaced_rows_can_be_read(place: Place) -> None:
    head = "pallet,line,item,packed_from,packed_to,units,state\n"
    for state in ("packed", "held"):
        place.put(f"pallets.{state}.csv", head + f"P1,K1,J370,2026-03-02T09:00:00Z,2026-03-02T10:00:00Z,1944,{state}\n")
        place.take()
    finished = run("feeds", "replaced", "pallets", "--format", "json", site=place.site.root)
    rows = json.loads(finished.stdout)
    assert [(row["pallet"], row["state"], row["replaced_at"]) for row in rows] == [
        ("P1", "packed", "2026-04-01T00:00:00Z")
    ]
    assert run("feeds", "replaced", "pallots", site=place.site.root).returncode == 2


def test_commands_that_answer_load_no_prefect(day_taken: Place) -> None:
    for args in (("pareto", *HOUR), ("yield", "--day", "2026-03-10"), ("feeds",)):
        script = (
            f"import sys; sys.argv = ['coldledger', *{args!r}]\nfrom pipelines.cli import app\n"
            "app(standalone_mode=False)\n"
        )
        script += (
            "bad = {m.split('.')[0] for m in sys.modules} & {'prefect', 'pandera', 'altair'}\nprint('LOADED', "
            "sorted(bad))"
        )
        env = {**os.environ, "COLDLEDGER_SITE": str(day_taken.site.root)}
        done = subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            env=env,
            timeout=120,
            cwd=Path(__file__).parents[1],
        )
        assert "LOADED []" in done.stdout, done.stderr


def test_a_flow_that_cannot_be_says_one_sentence(day_taken: Place) -> None:
    finished = run("trace", "--complaint", "NOPE", site=day_taken.site.root)
    assert (finished.returncode, finished.stderr) == (
        2,
        "no complaint 'NOPE' was ever received; see `coldledger feeds`\n",
    )


def test_a_word_of_help_waits_for_no_library() -> None:
    """`coldledger --help` comes at once: what only answers need is imported when an answer is asked for."""
    heavy = {"duckdb", "polars", "pyarrow", "pandera", "prefect", "great_tables", "numpy", "pydantic"}
    code = f"import sys, pipelines.cli; print(*sorted({heavy!r} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
