"""Pages in real headless Chromium: no request leaves the disk, nothing is cut off on a phone, A4 holds the width."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from pipelines.answers.trace.answer import Question, answer_trace
from pipelines.reports.all_reports import ALL_REPORTS, write_page
from tests.conftest import Place

pytestmark = pytest.mark.browser
DAY = date(2026, 3, 10)
FAULT = Question(
    line="K1",
    mould="20",
    defect="CHS",
    made_from=datetime(2026, 3, 10, 8, tzinfo=UTC),
    made_to=datetime(2026, 3, 10, 12, tzinfo=UTC),
)
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


@pytest.fixture(scope="module")
def pages(day_taken: Place, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    plant = day_taken.plant
    with day_taken.opened.ledger.reading() as reader:
        trace = answer_trace(reader, plant, Question(complaint="C-26-001"))
        made = {
            "hour": ALL_REPORTS["hour"].page(reader, plant, "K1", plant.clock.hours_of(DAY)[5]),
            "day": ALL_REPORTS["day"].page(reader, plant, DAY),
            "weights": ALL_REPORTS["weights"].page(reader, plant, "K4", DAY),
            "laboratory": ALL_REPORTS["laboratory"].page(reader, plant, "F2", DAY),
            "trace": ALL_REPORTS["trace"].page(reader, plant, trace),
            "holds": ALL_REPORTS["holds"].page(reader, plant),
            "fault": ALL_REPORTS["trace"].page(reader, plant, answer_trace(reader, plant, FAULT)),
            "customer": ALL_REPORTS["trace for the customer"].page(reader, plant, trace),
        }
    for name, page in made.items():
        write_page(page, folder / f"{name}.html", "A works")
    return {name: folder / f"{name}.html" for name in made}


def chromium(*args: str, profile: Path) -> str:
    program = shutil.which("chromium")
    assert program, "Chromium is not installed; .ci/run installs it"
    command = [program, *FLAGS, f"--user-data-dir={profile}", *args]
    return subprocess.run(command, capture_output=True, text=True, timeout=600, check=True).stdout


def probe(page: Path, tmp_path: Path, width: int) -> dict[str, Any]:
    """What a frame of this width shows of the page: read by a page of ours that holds it in a frame of that width."""
    script = """
    const frame = document.querySelector('iframe');
    frame.onload = () => { const d = frame.contentDocument, e = d.documentElement;
      const cut = [...d.querySelectorAll('h1,h2,p,li,figure,figcaption')]
        .filter(n => n.getBoundingClientRect().right > e.clientWidth + 1);
      const small = [...d.querySelectorAll('svg text')].map(n => n.getBoundingClientRect().height).filter(h => h > 0);
      document.title = 'told';
      document.body.append(JSON.stringify({wide: e.scrollWidth, width: e.clientWidth, cut: cut.length,
        asked: frame.contentWindow.performance.getEntriesByType('resource').length, smallest: Math.min(...small)})); };
    """
    host = tmp_path / "host.html"
    host.write_text(
        f'<body><iframe src="{page.as_uri()}" '
        f'style="width:{width}px;height:900px;border:0"></iframe><script>{script}</script>'
    )
    text = chromium(
        "--allow-file-access-from-files",
        "--virtual-time-budget=4000",
        "--dump-dom",
        host.as_uri(),
        profile=tmp_path / "profile",
    )
    found = re.search(r"\{&quot;wide.*?\}|\{\"wide.*?\}", text)
    assert found, text[-500:]
    answer: dict[str, Any] = json.loads(found[0].replace("&quot;", '"'))
    return answer


@pytest.mark.parametrize("width", [375, 1200])
@pytest.mark.parametrize("name", ["hour", "day", "trace", "fault", "customer", "holds", "weights", "laboratory"])
def test_nothing_is_cut_off_and_nothing_is_asked_for(
    name: str, width: int, pages: dict[str, Path], tmp_path: Path
) -> None:
    row = probe(pages[name], tmp_path, width)
    assert row["width"] == width and row["wide"] <= width, row
    assert row["cut"] == 0 and row["asked"] == 0
    assert row["smallest"] is None or row["smallest"] >= 9, "text of a chart is too small to read"


@pytest.mark.parametrize("name", ["hour", "day", "trace", "fault", "customer", "holds", "weights", "laboratory"])
def test_a_page_prints_on_a4(name: str, pages: dict[str, Path], tmp_path: Path) -> None:
    pdf = tmp_path / f"{name}.pdf"
    chromium("--no-pdf-header-footer", f"--print-to-pdf={pdf}", pages[name].as_uri(), profile=tmp_path / "profile")
    data = pdf.read_bytes()
    boxes = set(re.findall(rb"/MediaBox\s*\[([^\]]+)\]", data))
    sizes = {tuple(round(float(x)) for x in box.split()) for box in boxes}
    assert sizes == {(0, 0, 595, 842)} or sizes == {(0, 0, 594, 842)}, sizes
    assert (
        data.count(b"/Type /Page\n") + data.count(b"/Type /Page/") + data.count(b"/Type /Page ")
        <= {"hour": 4, "day": 14, "trace": 5, "fault": 6, "customer": 2, "holds": 2, "weights": 6, "laboratory": 7}[
            name
        ]
    )
