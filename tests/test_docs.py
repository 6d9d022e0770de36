"""The commands of README and topics work as they stand; every command and option has help; the docs hold."""

from __future__ import annotations

import os
import re
import runpy
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import typer

from pipelines.cli import app
from pipelines.help import TOPICS, text_of

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
TEXTS = [README, *(text_of(topic) for topic in TOPICS)]
BLOCKS = [block for text in TEXTS for block in re.findall(r"```sh\n(.*?)```", text, re.S)]
# in the order of the docs, each once: a hold is confirmed after it was proposed
COMMANDS = list(
    dict.fromkeys(line for block in BLOCKS for line in block.splitlines() if line.startswith("coldledger "))
)


def coldledger(command: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    args = shlex.split(command)[1:]
    code = [sys.executable, "-c", "from pipelines.cli import main; main()", *args]
    env = {**os.environ, **more, "PYTHONPATH": str(ROOT)}
    return subprocess.run(code, cwd=folder, env=env, capture_output=True, text=True, timeout=1500)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The demo itself, by its command, in an empty folder."""
    folder = tmp_path_factory.mktemp("readme")
    done = coldledger("coldledger demo", folder)
    assert done.returncode == 0, done.stderr
    return folder, done.stdout


def test_the_demo_ends_by_naming_pages_that_are_there(demo: tuple[Path, str]) -> None:
    folder, said = demo
    pages = re.findall(r"^  .*?(\S+\.html)$", said, re.M)
    assert len(pages) == 7 and all(Path(page).exists() for page in pages)
    reports = folder / "coldledger-demo" / "reports"
    assert sorted(path.stem for path in (reports / "day").glob("*.html")) == ["2026-03-02", "2026-03-03", "2026-03-04"]
    assert [str(path) for path in reports.glob("hour/*/*.html")] == [page for page in pages if "/hour/" in page]
    assert (
        len(list(reports.glob("weights/*/*.html"))) == 3 * 4 and len(list(reports.glob("laboratory/*/*.html"))) == 3 * 2
    )
    links = [
        path.parent / found.partition("#")[0]
        for path in reports.rglob("*.html")
        for found in re.findall(r'<a [^>]*?href="([^"#][^"]*)"', path.read_text(encoding="utf-8"))
    ]
    assert len(links) > 150 and all(target.exists() for target in links), "every link of every page can be followed"
    assert "invented" in said


def test_every_link_of_the_demos_pages_leads_somewhere_or_to_a_neighbouring_day(demo: tuple[Path, str]) -> None:
    reports = demo[0] / "coldledger-demo" / "reports"
    dead = set()
    for page in [
        reports / "index.html",
        *reports.glob("day/*.html"),
        *reports.glob("trace/*.html"),
        *reports.glob("weights/*/*.html"),
        *reports.glob("laboratory/*/*.html"),
        *reports.glob("hour/2026-03-03/K1-*.html"),
    ]:
        for address in re.findall(r'href="([^"#][^"]*)"', page.read_text()):
            if not (page.parent / address).exists():
                target = Path(address)
                of_day = target.parent.parent.name in ("weights", "laboratory")
                dead.add(f"{target.parent.name}.html" if of_day else target.name)
    assert dead <= {"2026-03-01.html", "2026-03-05.html"}, dead


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_of_the_docs_works(command: str, demo: tuple[Path, str]) -> None:
    done = coldledger(command, demo[0], COLDLEDGER_NOW="2026-03-05T08:00:00+01:00")
    asks_of_doubts = "feeds doubts" in command  # ends with 1 where something is certain
    assert done.returncode == (1 if " feeds" in command and not asks_of_doubts else 0), done.stderr
    assert done.stdout.strip() and "Traceback" not in done.stderr


def test_the_docs_name_each_command_and_no_other() -> None:
    named = {name for text in TEXTS for name in re.findall(r"`?coldledger\s([a-z]+)", text)}
    group = typer.main.get_command(app)
    known = set(group.commands)  # type: ignore[attr-defined]
    assert named - {"takes"} <= known and known - named <= {"demo"}, (named, known)


def test_every_command_and_option_has_help() -> None:
    bare: list[str] = []

    def look(group: object, path: str) -> None:
        for name, command in getattr(group, "commands", {}).items():
            if not command.help:
                bare.append(f"{path} {name}")
            bare.extend(
                f"{path} {name} {p.name}" for p in command.params if p.name != "help" and not getattr(p, "help", None)
            )
            look(command, f"{path} {name}")

    look(typer.main.get_command(app), "coldledger")
    assert not bare


def test_the_picture_and_the_files_that_the_docs_name_exist() -> None:
    for address in re.findall(r"\]\(([^)]+)\)", README):
        assert (ROOT / address).exists(), address
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name in re.findall(r"`((?:tests|pipelines|schemas|sql|sample_feeds|\.ci)/[\w./-]+)`", text):
        assert (ROOT / name).exists(), name


def test_the_files_that_decisions_name_exist() -> None:
    folders = ("pipelines", "schemas", "sql", "tests", "sample_feeds")
    files = [path.relative_to(ROOT).as_posix() for folder in folders for path in (ROOT / folder).rglob("*.*")]
    places = [
        path for path in (ROOT / "pipelines").rglob("*.py") if path.name in ("__init__.py", "typed.py", "settings.py")
    ]
    texts = [
        (path, path.read_text(encoding="utf-8"))
        for path in [*places, ROOT / "DEVELOPERS.md", *(ROOT / "tests").glob("**/__init__.py")]
    ]
    named = [(path, name) for path, text in texts for name in re.findall(r"`([\w/]+\.(?:py|sql))\b", text)]
    assert len(named) > 80
    assert not [(str(path), name) for path, name in named if not any(f"/{file}".endswith(f"/{name}") for file in files)]


def test_the_readme_has_at_most_10000_bytes_and_developers_8000() -> None:
    assert (ROOT / "README.md").stat().st_size <= 10_000 and (ROOT / "DEVELOPERS.md").stat().st_size <= 8000


def test_the_readme_says_where_every_topic_is() -> None:
    reference = README.split("## Where the reference is\n")[1]
    words = set(re.findall(r"`(?:coldledger help )?([a-z-]+)`", reference))
    assert not {topic.name for topic in TOPICS} - words - {"cautions"} and "coldledger help cautions" in README


def test_the_readmes_two_commands_ask_for_no_python_by_its_number() -> None:
    commands = [
        line for block in re.findall(r"```sh\n(.*?)```", README, re.S) for line in block.splitlines() if "venv" in line
    ]
    assert len(commands) == 2 and all(line.startswith("python3 -m venv .venv && ") for line in commands)
    assert "(Python 3.11 or later)" in README


@pytest.mark.quick
def test_an_older_python_is_told_which_one_is_needed_before_pip_looks_for_packages(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    system = project["build-system"]
    assert (system["build-backend"], system["backend-path"]) == ("python_needed", [".ci"])
    assert project["project"]["requires-python"] == ">=3.11"
    monkeypatch.setattr(sys, "version_info", (3, 10, 13, "final", 0))
    with pytest.raises(SystemExit, match=r"needs Python 3\.11 or later, and this is Python 3\.10: make \.venv anew"):
        runpy.run_path(str(ROOT / ".ci" / "python_needed.py"))


def test_every_topic_is_in_what_is_installed() -> None:
    wheel = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert {topic.place.split(".")[0] for topic in TOPICS} <= set(wheel["packages"]) and set(wheel) == {"packages"}
    ignored = (ROOT / ".gitignore").read_text().split()
    assert not [line for line in ignored if line.endswith(("*", ".md"))]


def test_every_dependency_has_its_reason() -> None:
    answer = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").lower()
    names = [
        re.split(r"[\[<>=]", each)[0] for each in [*answer["dependencies"], *answer["optional-dependencies"]["dev"]]
    ]
    assert not [name for name in names if name not in text]
    pinned = (ROOT / ".ci" / "constraints.txt").read_text().lower()
    assert "://" not in pinned and all(f"{name}==" in pinned for name in names)
