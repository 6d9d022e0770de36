"""Whatever is typed for a day, a time or a number is one that a works can have, or is answered by one sentence and exit
status 2: in every command and in the environment.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import click
import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st

from pipelines import cli, typed
from pipelines.errors import WrongUse
from pipelines.settings import FASTEST, RunningClock, clock_of, log_kind, settings_from_environment
from tests import rubbish
from tests.conftest import Place

ZONE = ZoneInfo("Europe/Berlin")
# Every option and argument of every command is of one of these kinds; a new one that is in none fails here until it is
# said what it is.
DAYS = {"day", "before", "received"}
MOMENTS = {"known_at", "made_from", "made_to"}
NUMBERS = {"days", "seed", "keep", "port", "most", "hours"}
WORDS = {
    "site", "format", "directory", "archive", "over", "into", "dask", "line", "by", "works", "furnace", "signal",
    "note", "feed", "file", "name", "log", "item", "complaint", "mould", "defect", "pallet", "propose", "report",
    "number", "to", "rows", "host", "address", "pages_only", "role", "stdin", "describe", "everything", "of", "why",
    "evidence", "severity", "past", "steady", "against", "source", "help", "version", "pool", "write", "topic",
    "workbook", "anew",
}  # fmt: skip
SAYS = re.compile(r"is not a (day|time) such as|is no time of a works|needs an offset|is a (whole )?number from")
BY_DAYS = {
    ("rebuild", "start"),
    ("rebuild", "end"),
    ("export", "start"),
    ("export", "end"),
}  # --from and --to are times elsewhere
GIVEN = {
    "start": "2026-03-10",
    "end": "2026-03-10",
    "day": "2026-03-10",
    "before": "2026-03-10",
    "line": "K1",
    "to": "somewhere",
    "number": "20",
    "pallet": "1",
    "name": "H-0001",
    "by": "R. Reader",
    "why": "w",
    "evidence": "e",
    "signal": "S-1",
    "feed": "pallets",
    "file": "x.csv",
    "role": "reader",
    "source": "x",
    "directory": "demo",
}


@cache
def all_commands() -> list[tuple[tuple[str, ...], Any]]:
    return list(commands())


def commands(of: Any = None, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command with the words that call it; groups that answer by themselves too."""
    command = of or typer.main.get_command(cli.app)
    inner = getattr(command, "commands", None)
    if inner is None or (path and command.params):
        yield path, command
    for name, each in (inner or {}).items():
        yield from commands(each, (*path, name))


def kind(path: tuple[str, ...], name: str) -> str:
    if name in ("start", "end") or (path[-1] == "rebuild" and name in ("start", "end")):
        return "day" if (path[-1], name) in BY_DAYS else "moment"
    texts = [
        k for k, names in (("day", DAYS), ("moment", MOMENTS), ("number", NUMBERS), ("word", WORDS)) if name in names
    ]
    return texts[0] if texts else "unknown"


def asked() -> list[tuple[tuple[str, ...], str, str]]:
    """(command, option, kind) of every day, time and number."""
    every = [(path, p.name, kind(path, p.name)) for path, each in all_commands() for p in each.params]
    assert not [words for words in every if words[2] == "unknown"], (
        "say in this test what kind of thing the new option is"
    )
    return [words for words in every if words[2] != "word" and words[:2] != (("people", "end"), "end")]


def call(path: tuple[str, ...], name: str, value: str) -> list[str]:
    """The command with everything that it needs, and `value` for one option."""
    found = next(c for p, c in all_commands() if p == path)
    args: list[str] = []
    for p in found.params:
        needed = (
            p.required
            or p.name == name
            or p.name == "line"
            or (p.name in ("start", "end") and name in ("start", "end"))
        )
        if not needed or p.name == "help":
            continue
        answer = value if p.name == name else GIVEN[p.name]
        if p.name == "end" and name != "end" and kind(path, "end") == "moment":
            answer = "2026-03-11"
        args += (
            [answer] if isinstance(p, click.Argument) or p.param_type_name == "argument" else [f"{p.opts[0]}={answer}"]
        )
    return [*path, *args]


@pytest.fixture
def run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], day_taken: Place
) -> Callable[..., tuple[int, str]]:
    """Run a command in this process at the one edge; whatever is no exit fails the test."""
    monkeypatch.setenv("COLDLEDGER_SITE", str(day_taken.site.root))
    monkeypatch.setenv("COLDLEDGER_NOW", "2026-04-01T00:00:00Z")

    def ran(*args: str) -> tuple[int, str]:
        monkeypatch.setattr(sys, "argv", ["coldledger", *args])
        with pytest.raises(SystemExit) as end:
            cli.main()
        return int(end.value.code or 0), capsys.readouterr().err

    return ran


def test_there_are_commands_and_options_to_try() -> None:
    found = {(path[-1], name) for path, name, _ in asked()}
    assert {
        ("yield", "day"),
        ("lab", "day"),
        ("close", "day"),
        ("signals", "start"),
        ("weights", "end"),
        ("rebuild", "start"),
        ("pareto", "known_at"),
        ("trace", "made_from"),
        ("trace", "received"),
        ("trust", "end"),
        ("export", "end"),
        ("rollup", "before"),
        ("doubts", "start"),
        ("schedule", "hours"),
        ("audit", "most"),
        ("demo", "seed"),
    } <= found


@pytest.mark.parametrize(
    ("path", "name", "what"), asked(), ids=lambda answer: answer if isinstance(answer, str) else " ".join(answer)
)
def test_what_cannot_be_is_a_sentence_and_2(
    path: tuple[str, ...], name: str, what: str, run: Callable[..., tuple[int, str]]
) -> None:
    values = {"day": rubbish.DAYS, "moment": rubbish.MOMENTS, "number": rubbish.AMOUNTS}[what]
    for value in values[len(path[-1] + name) % 4 :: 4]:  # all of them for all commands; a fourth of them for each
        code, said = run(*call(path, name, value))
        assert code == 2, (value, said)
        assert SAYS.search(said) and len(said.strip().splitlines()) == 1 and len(said) < 400, (value, said)


@pytest.mark.parametrize("path", sorted({path for path, name, _ in asked() if name == "start"}), ids=" ".join)
def test_ten_years_at_once_are_refused_with_the_bound(
    path: tuple[str, ...], run: Callable[..., tuple[int, str]]
) -> None:
    first = "2006-03-10" if path == ("export",) else "2016-03-10"  # an export may well be of ten years
    code, said = run(*call(path, "start", first))
    assert code == 2 and "days, and this question bears at most" in said, said


def test_a_question_without_a_longest_span_is_named_with_the_place_where_it_belongs() -> None:
    with pytest.raises(KeyError, match=r"LONGEST in pipelines/typed\.py .* the question 'of nothing'"):
        typed.span("2026-03-02", "2026-03-03", ZONE, "of nothing")


@pytest.mark.parametrize("name", ["COLDLEDGER_NOW", "COLDLEDGER_CLOCK", "COLDLEDGER_LOCK_WAIT_S", "COLDLEDGER_LOG"])
@pytest.mark.parametrize(
    "value",
    [
        *rubbish.MOMENTS,
        "2026-03-10T10:00",
        "2026-03-10T10:00Zx0",
        "2026-03-10T10:00Zx-1",
        "2026-03-10T10:00Zxnan",
        "2026-03-10T10:00Zx1e9",
        "2026-03-10T10:00Z@xx",
        "2026-03-10T10:00Z@1e300x2",
        "2026-03-10T10:00Z@infx1",
        "-0.1",
        "86401",
    ],
)
def test_rubbish_in_the_environment_is_a_sentence_and_2(
    name: str, value: str, run: Callable[..., tuple[int, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    if not value.strip() or (name == "COLDLEDGER_LOCK_WAIT_S" and value in ("0", "1773136800"[:2])):
        return  # set to nothing is not set; zero is a wait
    monkeypatch.setenv(name, value)
    code, said = run("schedule")
    assert code == 2 and name in said and len(said.strip().splitlines()) == 1, said


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("COLDLEDGER_CLOCK", "x", "@SECONDSxSPEED, such as 2026-03-05T05:05:00Zx600, not 'x'"),
        ("COLDLEDGER_CLOCK", "2026-03-10T10:00Zx0", "not '2026-03-10T10:00Zx0': its speed is a number from 0.001 to"),
        ("COLDLEDGER_CLOCK", "noon", "not 'noon': 'noon' is not a time such as"),
        ("COLDLEDGER_LOG", "xml", "COLDLEDGER_LOG is text or json, not 'xml'"),
    ],
)
def test_what_was_given_in_the_environment_is_quoted(
    name: str, value: str, says: str, run: Callable[..., tuple[int, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(name, value)
    code, said = run("schedule")
    assert code == 2 and says in said and "''" not in said, said


def test_how_to_log_is_as_told_else_as_the_environment_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLDLEDGER_LOG", raising=False)
    assert log_kind() == "text"
    monkeypatch.setenv("COLDLEDGER_LOG", "json")
    assert (log_kind(), log_kind("text")) == ("json", "text")
    with pytest.raises(WrongUse, match="--log is text or json, not 'yaml'"):
        log_kind("yaml")


def test_a_rubbish_clock_of_the_demo_is_a_sentence(
    run: Callable[..., tuple[int, str]], new_place: Callable[[], Place]
) -> None:
    from pipelines.commands.demo import MARK

    place = new_place()
    (place.site.root / MARK).write_text("9999-12-31T00:00Zx1e9")
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("COLDLEDGER_NOW")
        code, said = run("schedule", "--site", str(place.site.root))
    assert code == 2 and "is MOMENT, MOMENTxSPEED" in said


def test_what_can_be_is_taken() -> None:
    assert typed.day("2026-03-10").isoformat() == "2026-03-10"
    assert typed.moment("2026-03-10", ZONE) == datetime(2026, 3, 9, 23, tzinfo=UTC)
    assert typed.moment("2026-03-10T10:00+05:00") == datetime(2026, 3, 10, 5, tzinfo=UTC)
    assert typed.moment("2000-01-01T00:00", ZONE) == datetime(1999, 12, 31, 23, tzinfo=UTC), "the first local moment"
    assert typed.span("2026-01-01", "2026-01-08", ZONE, "page").seconds == 7 * 86400
    assert typed.span("2026-10-24", "2026-10-31", ZONE, "page").seconds == 7 * 86400 + 3600, (
        "the clock was put back in it"
    )
    assert (typed.whole("007", 0, 10, "n"), typed.amount("2.5", 0, 10, "n")) == (7, 2.5)


def test_every_rubbish_text_is_wrong_use() -> None:
    reads: tuple[tuple[tuple[str, ...], Callable[[str], object]], ...] = (
        (rubbish.DAYS, typed.day),
        (rubbish.MOMENTS, lambda t: typed.moment(t, ZONE)),
        (rubbish.AMOUNTS, lambda t: typed.amount(t, 0, 99, "n")),
        (rubbish.AMOUNTS, lambda t: typed.whole(t, 0, 99, "n")),
    )
    for texts, read in reads:
        for text in texts:
            with pytest.raises(WrongUse):
                read(text)


def test_a_span_at_its_bound_is_taken_and_a_day_more_is_not() -> None:
    most = typed.LONGEST["signals"]
    start = datetime(2026, 5, 1)
    assert typed.span(start.isoformat(), (start + timedelta(days=most)).isoformat(), ZONE, "signals")
    with pytest.raises(WrongUse, match=f"at most {most}"):
        typed.span(start.isoformat(), (start + timedelta(days=most + 1)).isoformat(), ZONE, "signals")


@given(
    st.text(max_size=40)
    | st.from_regex(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}(Z|[+-][0-9]{2}:[0-9]{2}))?", fullmatch=True)
)
def test_any_text_is_one_that_can_be_or_wrong_use(text: str) -> None:
    for read in (
        typed.day,
        lambda t: typed.moment(t, ZONE),
        typed.moment,
        lambda t: typed.whole(t, 0, 99, "n"),
        lambda t: typed.amount(t, 0, 99, "n"),
    ):
        try:
            day = read(text)
        except WrongUse as error:
            assert len(str(error).splitlines()) == 1
            continue
        year = getattr(day, "year", 2026)
        assert 1999 <= year <= 2101 and (not isinstance(day, int | float) or (math.isfinite(day) and 0 <= day <= 99))


def test_the_fastest_clock_never_leaves_the_calendar() -> None:
    assert RunningClock(datetime(2026, 3, 10, tzinfo=UTC), 0.0, FASTEST).now().year == typed.LAST.year
    assert clock_of("2100-12-31T23:00Z@0x10000").now().year == typed.LAST.year
    assert settings_from_environment().lock_wait_s > 0
