"""Refused rows are corrected and retried in the page; what is still wrong comes back with its reason, and nothing is
lost.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable

import pytest

from pipelines.intake.filing import quarantine_entries
from pipelines.people.books import Books
from tests.conftest import HEAD, Place
from tests.pages.conftest import Browser

Make = Callable[..., Browser]
BAD = (
    "2026-03-10T10:00:00Z,K1,K1-side-a,901,60,ten,1\n"  # line 2: not a count
    "2026-03-10T10:01:00Z,K1,K1-side-a,902,60,10,11\n"  # line 3: more rejected than inspected
    "2026-03-10T10:02:00Z,K1,K1-side-a,903,60,10,1\n"  # line 4: good
    "2026-03-10T10:03:00Z,K1,nowhere,904,60,10,1\n"  # line 5: no such station
)


_COUNT = iter(range(1, 60))


@pytest.fixture
def refused(site: Place) -> int:
    """The number of a file with three bad rows beside a good one; each time with other bytes."""
    count = next(_COUNT)
    site.put(f"station_counts.bad{count}.csv", HEAD + BAD.replace(",60,10,1\n", f",60,{10 + count},1\n"))
    report = site.take()
    assert (report.rows_kept, report.rows_refused) == (1, 3)
    return max(quarantine_entries(site.site))


def moulds(site: Place) -> set[str]:
    with site.opened.ledger.reading() as reader:
        return {str(m) for m in reader.current("station_counts")["mould"].drop_nulls()} & {
            "901",
            "902",
            "903",
            "904",
            "905",
        }


def test_a_corrected_row_is_kept_and_the_others_wait_on(refused: int, site: Place, browser: Make) -> None:
    shift = browser("S. Shift")
    page = shift.get(f"/feeds/refused/{refused}")
    assert "&#39;ten&#39; is not a whole number" in page and page.count("– wrong") >= 2
    answer = shift.post(
        f"/feeds/refused/{refused}", token_from=f"/feeds/refused/{refused}", **{"2:inspected": "10", "3:rejected": "11"}
    )
    assert answer.status_code == 303, answer.text  # type: ignore[attr-defined]
    assert "901" in moulds(site) and "902" not in moulds(site)
    again = max(quarantine_entries(site.site))
    assert "more containers rejected than inspected" in shift.get(f"/feeds/refused/{again}")
    acts = Books(site.site.serve).ask("newest_audit", most=1)[0]
    assert acts["who"] == "S. Shift" and acts["what"] == "repair" and "1 rows are kept" in acts["outcome"]
    assert [row["flow"] for row in Books(site.site.serve).ask("open_requests")][:1] == ["follow"], (
        "the clerk is asked to follow the signals again"
    )


def test_a_row_given_up_is_no_longer_asked_for_and_stays_in_the_archive(
    refused: int, site: Place, browser: Make
) -> None:
    shift = browser("S. Shift")
    fields = {f"{line}:give_up": "yes" for line in (2, 3, 5)} | {"action": "give_up"}
    assert shift.post(f"/feeds/refused/{refused}", token_from=f"/feeds/refused/{refused}", **fields).status_code == 303  # type: ignore[attr-defined]
    assert refused not in quarantine_entries(site.site)
    assert any(b"K1,nowhere" in path.read_bytes() for path in site.site.archive.rglob("station_counts*.csv"))


@pytest.mark.parametrize("fields", [{"99:inspected": "1"}, {"2:no_column": "1"}, {"2:refused_line": "7"}])
def test_a_correction_of_what_is_not_there_changes_nothing(
    fields: dict[str, str], refused: int, site: Place, browser: Make
) -> None:
    before = quarantine_entries(site.site)[refused].read_bytes()
    answer = browser("S. Shift").post(f"/feeds/refused/{refused}", token_from=f"/feeds/refused/{refused}", **fields)
    assert answer.status_code == 400 and quarantine_entries(site.site)[refused].read_bytes() == before  # type: ignore[attr-defined]


def test_a_file_that_waits_for_nothing_is_told(browser: Make) -> None:
    assert browser().client.get("/feeds/refused/999999").status_code == 404
    assert browser().client.get("/feeds/refused/0").status_code == 400


def test_the_page_shows_what_it_wrote_at_once(refused: int, site: Place, browser: Make) -> None:
    shift = browser("S. Shift")
    before = shift.get("/feeds").count("correct and retry</a>")
    fields = {"2:inspected": "10", "3:rejected": "1", "5:station": "K1-side-b"}
    assert shift.post(f"/feeds/refused/{refused}", token_from=f"/feeds/refused/{refused}", **fields).status_code == 303  # type: ignore[attr-defined]
    assert shift.get("/feeds").count("correct and retry</a>") < before


ROWS = "2026-03-10T10:00:00Z,K1,K1-side-a,905,60,10,1\n"


@pytest.fixture
def wrong_files(site: Place) -> dict[str, int]:
    """Files that are refused whole, by name: their numbers."""
    site.put("counts of the night.csv", HEAD + ROWS)
    site.put("station_counts.semicolons.csv", HEAD.replace(",", ";") + ROWS.replace(",", ";").replace("905", "906"))
    site.put("shift notes.txt", "nothing to take in")
    site.put("reject_counts.half.csv.gz", b"\x1f\x8bno")
    site.take()
    return {path.name.split(".", 1)[1]: batch for batch, path in quarantine_entries(site.site).items()}


def test_now_and_feeds_say_the_same_of_what_waits(refused: int, site: Place, browser: Make) -> None:
    """Rows and files apart, in the same words."""
    site.put(f"nothing{refused}.csv", f"a,b\n1,{refused}\n")
    site.take()
    with site.opened.ledger.reading() as reader:
        rows, files = reader.ask("open_refusals_count").row(0)
    assert rows >= 3 and files >= 1
    said = f"{rows} rows and {files} files wait in quarantine"

    def words(address: str) -> str:
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", browser().get(address)))

    assert said in words("/now") and said in words("/feeds") and said in words("/hour/K1")
    these_rows = list(csv.DictReader(io.StringIO(browser().get("/feeds?as=csv&table=feeds").lstrip("\ufeff"))))
    assert sum(int(row["Rows still refused"]) for row in these_rows) == rows
    assert sum(int(row["Files still refused"]) for row in these_rows) == files


def test_a_file_refused_whole_is_given_its_name_or_text_or_is_given_up(
    wrong_files: dict[str, int], site: Place, browser: Make
) -> None:
    shift = browser("S. Shift")
    page = shift.get(f"/feeds/refused/{wrong_files['counts of the night.csv']}")
    assert "does not begin with a feed" in page and ROWS.strip() in page

    def post(name: str, **fields: str) -> int:
        address = f"/feeds/refused/{wrong_files[name]}"
        return int(shift.post(address, token_from=address, **fields).status_code)  # type: ignore[attr-defined]

    assert post("counts of the night.csv", file_name="../station_counts.csv") == 400
    crlf = (HEAD + ROWS).replace("\n", "\r\n")  # as a browser sends it
    assert post("counts of the night.csv", file_name="station_counts.K1.night.csv", text=crlf) == 303
    mended = HEAD + ROWS.replace("905", "906")
    assert post("station_counts.semicolons.csv", file_name="station_counts.semicolons.csv", text=mended) == 303
    assert post("shift notes.txt", file_name="x", give_up="yes") == 400, "Enter in a field gives nothing up"
    assert post("shift notes.txt", file_name="x", give_up="yes", action="give_up") == 303
    assert "cannot be shown here" in shift.get(f"/feeds/refused/{wrong_files['reject_counts.half.csv.gz']}")
    with site.opened.ledger.reading() as reader:
        assert {"905", "906"} <= set(reader.current("station_counts")["mould"].drop_nulls())
    left = {path.name.split(".", 1)[1] for path in quarantine_entries(site.site).values()}
    assert "reject_counts.half.csv.gz" in left and not left & {
        "counts of the night.csv",
        "shift notes.txt",
        "station_counts.semicolons.csv",
    }
    assert any(path.read_bytes() == b"nothing to take in" for path in site.site.archive.rglob("*shift notes*"))
