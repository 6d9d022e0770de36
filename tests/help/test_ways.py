"""One text, three ways: plain where it is piped, laid out on a terminal, HTML on the web."""

from __future__ import annotations

import csv
import io
import json
import re
import sys

import pytest

from pipelines import cli
from pipelines.help import TOPICS, text_of, topic_of
from pipelines.pages.places.help import as_html, html_of


def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *args: str) -> tuple[int, str, str]:
    monkeypatch.setattr(sys, "argv", ["coldledger", *args])
    with pytest.raises(SystemExit) as end:
        cli.main()
    found = capsys.readouterr()
    return int(end.value.code or 0), found.out, found.err


def test_help_lists_every_topic_with_a_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, _ = run(capsys, monkeypatch, "help")
    assert code == 0
    for topic in TOPICS:
        assert re.search(rf"^  {topic.name} +\S.*$", out, re.M)
    rows = json.loads(run(capsys, monkeypatch, "help", "--format", "json")[1])
    assert [row["topic"] for row in rows] == [topic.name for topic in TOPICS]
    assert len(list(csv.DictReader(io.StringIO(run(capsys, monkeypatch, "help", "--format", "csv")[1])))) == len(TOPICS)


def test_a_piped_topic_is_its_markdown(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(capsys, monkeypatch, "help", "trace") == (0, text_of(topic_of("trace")), "")
    assert run(capsys, monkeypatch, "help", "feeds", "try")[1] == text_of(topic_of("mapping"))


def test_a_topic_on_a_terminal_is_laid_out(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "100")
    code, out, _ = run(capsys, monkeypatch, "help", "people")
    assert code == 0 and "supervisor" in out and "| --- |" not in out and "```" not in out
    assert all(len(re.sub(r"\x1b\[[0-9;]*m", "", line)) <= 100 for line in out.splitlines())


def test_a_topic_that_is_none_is_a_sentence_and_2(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, err = run(capsys, monkeypatch, "help", "\x1b[31mnothing")
    assert code == 2 and not out and err.count("\n") == 1 and "\x1b" not in err


def test_no_html_of_a_topic_is_passed_through() -> None:
    text = as_html("<b onclick=x>a</b> <script>alert(1)</script>\n\n<div>b</div>\n\n[a](javascript:alert(1))\n")
    assert not re.findall(r"<(?!/?p>)", text) and "&lt;script&gt;" in text


@pytest.mark.parametrize("topic", TOPICS, ids=lambda topic: topic.name)
def test_a_topic_is_html_below_the_pages_heading(topic: object) -> None:
    html = html_of(topic)  # type: ignore[arg-type]
    assert "<h1" not in html and "<h2" not in html and html.count("<table>") == html.count("</table></div>")
    assert set(re.findall(r'href="([^"]+)"', html)) <= {f"/help/{each.name}" for each in TOPICS}
    assert all(
        f'<a href="/help/{word}">' in html for word in re.findall(r"<code>coldledger help ([a-z-]+)</code>", html)
    )
