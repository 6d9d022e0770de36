"""A database by its ODBC driver: Debian's driver for PostgreSQL against a real server."""

from __future__ import annotations

import time
from pathlib import Path

import pyodbc
import pytest

from pipelines.sources.database.trouble import SourceTrouble
from tests.conftest import Place
from tests.sources.database.conftest import PASSWORD, QUERY, Postgres, keep_password, pallets, progress, read, site

DRIVER = "PostgreSQL Unicode"


@pytest.fixture
def url(postgres: Postgres) -> str:
    if DRIVER not in pyodbc.drivers():
        pytest.skip("needs Debian's odbc-postgresql; .ci/run installs it")
    return f"odbc://reader@127.0.0.1/postgres?driver={DRIVER.replace(' ', '+')}&Port={postgres.port}"


@pytest.fixture
def stored(tmp_path: Path, url: str) -> Place:
    # what this driver calls a time has no offset: the query says in which zone it is
    query = QUERY.replace("closed_at from", "closed_at at time zone 'UTC' as closed_at from").replace(
        "where closed_at", "where closed_at at time zone 'UTC'"
    )
    for name in ("packed_from", "packed_to"):
        query = query.replace(f"{name},", f"{name} at time zone 'UTC' as {name},")
    return site(tmp_path / "site", url, query, password="plain-secret")


def test_rows_become_the_feed_and_are_read_once(stored: Place, postgres: Postgres) -> None:
    keep_password(stored, PASSWORD)
    postgres.put(("P1", "2026-03-02T08:05Z"), ("P2", "2026-03-02T08:06:00.123Z", 2015.5), ("P3", "2026-03-02T08:07Z"))
    assert read(stored).rows == 3
    report = stored.take()
    assert (report.rows_kept, report.rows_refused) == (2, 1) and pallets(stored) == ["P1", "P3"]
    postgres.put(("P4", "2026-03-02T08:07Z"), ("P5", "2026-03-02T07:30Z"))
    assert read(stored).rows == 2 and read(stored).rows == 0


def test_a_wrong_password_and_a_server_that_is_away_are_told_without_a_password(
    stored: Place, postgres: Postgres
) -> None:
    with pytest.raises(SourceTrouble, match="authentication failed") as caught:
        read(stored)
    assert "plain-secret" not in str(caught.value) + progress(stored).times().trouble
    postgres.stop()
    with pytest.raises(SourceTrouble, match="refused|reached|connect") as caught:  # noqa: RUF043
        read(stored)
    assert "plain-secret" not in str(caught.value)


def test_a_slow_query_is_broken_off(tmp_path: Path, url: str, postgres: Postgres) -> None:
    query = QUERY.replace("where closed_at", "where pg_sleep(20) is not null and closed_at")
    place = site(tmp_path / "site", url, query, 'most_seconds = 1\nbegin = "2026-01-01 00:00:00"')
    postgres.put(("P1", "2026-03-02T08:05Z"))
    began = time.monotonic()
    with pytest.raises(SourceTrouble, match=r"busy|cancel"):
        read(place)
    assert time.monotonic() - began < 10
