"""In which order the commands are listed, by who needs them when, and an example of each."""

from __future__ import annotations

import inspect
import re
from typing import Any

import typer
from typer.core import TyperGroup

NARROW = 56  # columns of an example: 60 less what help puts before it
ORDER: dict[str, tuple[str, ...]] = {
    "The first day": ("demo", "init", "works", "help", "people"),
    "Every hour": ("intake", "feeds", "listen", "sources", "pareto", "signals"),
    "Every night": ("close", "day", "yield", "rebuild"),
    "Quality": ("trace", "trust", "pallet", "mould", "holds"),
    "Laboratory": ("weights", "lab"),
    "The pages, and what runs by itself": ("serve", "schedule", "runs", "notices", "deployments"),
    "Keeping": ("backup", "restore", "check", "compact", "rollup", "export"),
}
_HOUR = "--from 2026-03-03T08:00 --to 2026-03-03T09:00"
_HELD = '--by "A. Nowak" --why "spikes found at the customer" --evidence C-26-001'
EXAMPLES: dict[str, tuple[str, ...]] = {
    "demo": ("", "works-to-show --days 7"),
    "init": ("my-works", "--workbook", "my-works --from plant.xlsx"),
    "works": ("check plant.xlsx",),
    "works check": ("", "plant.xlsx"),
    "help": ("", "trace", "feeds try"),
    "people": ("", 'add "A. Nowak" --role quality'),
    "people add": ('"A. Nowak" --role quality',),
    "people end": ('"A. Nowak"',),
    "people audit": ("--most 20",),
    "intake": ("--site my-works",),
    "feeds": ("", "--of stations", "--describe"),
    "feeds retry": ("",),
    "feeds replaced": ("pallets --format csv",),
    "feeds doubts": (f"--line K1 {_HOUR}",),
    "feeds try": ("export.txt", "export.txt --as station_counts"),
    "listen": ("--site my-works",),
    "sources": ("", "read"),
    "sources read": ("", "palletiser"),
    "sources try": ("palletiser",),
    "pareto": (f"--line K1 {_HOUR}", f"--line K1 {_HOUR} --by mould"),
    "signals": (_HOUR, f"{_HOUR} --line K1 --format json"),
    "signals acknowledge": ('K1-BSW-0303-1 --by "A. Nowak" --note "mould 27 swabbed"',),
    "close": ("", "--day 2026-03-03"),
    "day": ("--day 2026-03-03", "--day 2026-03-03 --against 2026-03-02"),
    "yield": ("--day 2026-03-03", "--day 2026-03-03 --furnace F1"),
    "rebuild": ("--from 2026-03-03 --to 2026-03-03", "--from-archive"),
    "trace": (
        "--complaint C-26-001",
        "--line K3 --mould 27 --defect CHS --made-from 2026-03-03T08:00 --made-to 2026-03-03T12:00",
    ),
    "trust": ("--line K1 --from 2026-03-03T06:00 --to 2026-03-04T06:00",),
    "pallet": ("K1-000123",),
    "mould": ("27 --line K3",),
    "holds": ("", "--all"),
    "holds show": ("H-0001",),
    "holds place": (f"--pallet K1-000123 {_HELD}",),
    "holds confirm": (f"H-0001 {_HELD}",),
    "holds dismiss": (f"H-0001 {_HELD}",),
    "holds extend": (f"H-0001 --pallet K1-000124 {_HELD}",),
    "holds release": (f"H-0001 {_HELD}",),
    "holds scrap": (f"H-0001 --pallet K1-000123 {_HELD}",),
    "holds plan": ("H-0001 --severity major",),
    "holds restore": ("",),
    "weights": ("--line K4 --from 2026-03-04T06:00 --to 2026-03-05T06:00",),
    "lab": ("--day 2026-03-03", "--day 2026-03-03 --furnace F2"),
    "serve": ("--site my-works", "--site my-works --port 8080"),
    "schedule": ("--hours 12",),
    "runs": ("--most 10",),
    "notices": ("",),
    "notices test": ("",),
    "deployments": ("",),
    "backup": ("--to /mnt/copies/ledger",),
    "restore": ("--from /mnt/copies/ledger --to my-works",),
    "check": ("", "--rows"),
    "compact": ("",),
    "rollup": ("--before 2026-01-01",),
    "export": ("--to exported --from 2026-03-02 --until 2026-03-04",),
}


class BriefGroup(TyperGroup):
    """Commands with the first words of what they do, whole."""

    def headed(self, ctx: Any) -> dict[str, list[str]]:
        """The names of the commands under their headings."""
        return {"Commands": list(self.commands)}

    def list_commands(self, ctx: Any) -> list[str]:
        return [name for names in self.headed(ctx).values() for name in names]

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        width = max(map(len, self.commands))
        for heading, names in self.headed(ctx).items():
            rows = [(name.ljust(width), brief(self.commands[name].help or "")) for name in names]
            if rows:
                with formatter.section(heading):
                    formatter.write_dl(rows)


class OrderedGroup(BriefGroup):
    """All commands, under the headings of ORDER."""

    def headed(self, ctx: Any) -> dict[str, list[str]]:
        headed = {heading: [name for name in names if name in self.commands] for heading, names in ORDER.items()}
        known = {name for names in headed.values() for name in names}
        return {**headed, "Others": [name for name in self.commands if name not in known]}


def brief(about: str) -> str:
    """What a command does, up to where its help goes on with more."""
    first = " ".join(about.split("\n\n")[0].split())
    return re.split(r"[.:;](?=\s|$)", first)[0]


def in_order(app: typer.Typer, above: str = "") -> None:
    """Every command's `--help` has its examples below what it says; groups list theirs in order."""
    for command in app.registered_commands:
        assert command.callback is not None
        name = f"{above} {command.name or command.callback.__name__}".strip()
        command.help = _with_examples(name, command.help or inspect.getdoc(command.callback) or "")
    for group in app.registered_groups:
        if group.typer_instance is not None and group.name:
            group.cls = BriefGroup
            group.help = _with_examples(group.name, str(group.typer_instance.info.help or ""))
            in_order(group.typer_instance, group.name)


def _with_examples(name: str, about: str) -> str:
    lines = [line for words in EXAMPLES.get(name, ()) for line in _folded(f"coldledger {name} {words}")]
    return "\n".join([about, "", "\b", "For example:", *lines]) if lines else about


def _folded(text: str) -> list[str]:
    """A command on lines of a narrow terminal, as a shell reads it: an option and its value stay together."""
    lines = [""]
    for word in re.findall(r'--[\w-]+ (?:"[^"]*"|[^\s"-]\S*)|"[^"]*"|\S+', text):
        if len(lines[-1]) + len(word) + 4 > NARROW:
            lines[-1] += " \\"
            lines.append("     ")
        lines[-1] = f"{lines[-1]} {word}" if lines[-1] else f"  {word}"
    return lines
