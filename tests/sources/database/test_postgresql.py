"""Rows of a real PostgreSQL come into the ledger once and whole, through outages of every kind; nobody sees the
password.
"""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import psycopg
import pytest

from pipelines.errors import LedgerBusy
from pipelines.settings import Settings
from pipelines.sources.database import reading
from pipelines.sources.database.reach import reached
from pipelines.sources.database.states import source_states
from pipelines.sources.database.trouble import SourceTrouble
from tests.conftest import NOW, WORKS, Place
from tests.sources.database.conftest import (
    PASSWORD,
    QUERY,
    Postgres,
    keep_password,
    pallets,
    progress,
    read,
    site,
)

SCALE = """
[[source]]
name = "scale"
url = "{url}"
query = '''select id, at, form, g as "Gewicht", hot, who, pos from weights
where id > $since and coalesce(form, '') not like '%:x%' -- a colon: and 100 %
order by id'''
since = "id"
feed = "weight_checks"
decimal = ","
time_format = "%d.%m.%Y %H:%M"
timezone = "Europe/Lisbon"
columns = {{ "at" = "sampled_at", "form" = "mould", "Gewicht" = "weight_g", "hot" = "point" }}
values = {{ point = {{ "false" = "cold", "true" = "hot" }} }}
constants = {{ line = "K1", sample = 1 }}
"""


def test_rows_become_the_feed_and_are_read_once(stored: Place, postgres: Postgres) -> None:
    postgres.put(
        ("P1", "2026-03-02T08:05Z"), ("P2", "2026-03-02T09:05+01:00", 2015.5, "held"), ("P3", "2026-03-02T08:06Z")
    )
    found = read(stored)
    assert found.rows == 3 and len(found.files) == 1
    assert (stored.site.inbox / found.files[0]).read_text().splitlines()[:2] == [
        "no,line,item,packed_from,packed_to,units,state,closed_at",
        "P1,K1,J370,2026-03-02 07:00:00Z,2026-03-02 08:00:00Z,2016,packed,2026-03-02 08:05:00Z",
    ]
    report = stored.take()
    assert (report.rows_kept, report.rows_refused) == (2, 1) and pallets(stored) == ["P1", "P3"]
    [(file, line, column, _)] = stored.refusals()
    assert file.startswith("palletiser.read.") and (line, column) == (3, "units")  # its source and its row
    assert read(stored).rows == 0 and not list(stored.site.inbox.iterdir())
    postgres.put(("P4", "2026-03-02T08:07Z"))
    assert read(stored).rows == 1 and stored.take().rows_kept == 1


def test_a_row_with_the_same_time_as_the_last_and_one_written_late_are_not_passed_over(
    stored: Place, postgres: Postgres
) -> None:
    postgres.put(("P1", "2026-03-02T08:05Z"))
    slow = postgres.connected()
    slow.autocommit = False
    slow.execute(
        "insert into pallets select 'P0', line, item, packed_from, packed_to, units, state, '2026-03-02T07:30Z' "
        "from pallets"
    )
    assert read(stored).rows == 1
    slow.commit()
    slow.close()
    postgres.put(("P2", "2026-03-02T08:05Z"))
    found = read(stored)
    assert found.rows == 2
    stored.take()
    assert pallets(stored) == ["P0", "P1", "P2"]


def test_what_a_person_entered_meanwhile_is_not_replaced_by_a_row_asked_again(
    stored: Place, postgres: Postgres
) -> None:
    postgres.put(("P1", "2026-03-02T08:05Z"))
    read(stored)
    stored.take()
    stored.put(
        "pallets.paper.csv",
        "pallet,line,item,packed_from,packed_to,units,state\nP1,K1,J370,2026-03-02T07:00Z,2026-03-02T08:00Z,2016,held\n",
    )
    stored.take()
    postgres.put(("P2", "2026-03-02T08:06Z"))
    assert read(stored).rows == 1
    stored.take()
    assert stored.facts("pallets").filter(pallet="P1")["state"].item() == "held"


def test_a_row_that_changed_replaces_the_earlier(stored: Place, postgres: Postgres) -> None:
    postgres.put(("P1", "2026-03-02T08:05Z"))
    read(stored)
    stored.take()
    postgres.asked("update pallets set state = 'held', closed_at = '2026-03-02T08:09Z'")
    assert read(stored).rows == 1
    stored.take()
    assert stored.facts("pallets")["state"].to_list() == ["held"]


def test_a_row_of_a_wrong_clock_does_not_hide_what_follows(stored: Place, postgres: Postgres) -> None:
    postgres.put(("P1", "2099-01-01T00:00Z"))
    assert read(stored).rows == 1
    watermark = progress(stored).so_far().watermark
    assert watermark is not None and watermark.value == NOW
    postgres.put(("P2", NOW - timedelta(minutes=3)))
    assert read(stored).rows == 1 and read(stored).rows == 0


def test_a_long_reading_gives_out_several_files_and_goes_on_where_it_was_cut(
    stored: Place, postgres: Postgres, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "BATCH_ROWS", 400)
    postgres.asked(
        "insert into pallets select 'P' || n, 'K1', 'J370', '2026-03-02T07:00Z', '2026-03-02T08:00Z', 2016, 'packed', "
        "'2026-03-02T08:00Z'::timestamptz + n * interval '1 min' from generate_series(1, 2000) n"
    )
    give = reading.Progress.give
    given: list[str] = []

    def cut(self, write, after):  # type: ignore[no-untyped-def]
        given.append(give(self, write, after))
        if len(given) == 2:
            postgres.asked("select pg_terminate_backend(pid) from pg_stat_activity where usename = 'reader'")
        return given[-1]

    monkeypatch.setattr(reading.Progress, "give", cut)
    with pytest.raises(SourceTrouble, match="the database says"):
        read(stored)
    assert len(given) == 2 and len(list(stored.site.inbox.iterdir())) == 2
    assert progress(stored).times().trouble
    found = read(stored)
    assert found.rows == 1200 and len(found.files) == 4  # what is asked again fills a part of the first batch
    assert stored.take().rows_kept == 2000 and len(pallets(stored)) == 2000
    assert not progress(stored).times().trouble


def test_a_source_that_is_away_is_late_since_it_was_read_last_and_recovers(stored: Place, postgres: Postgres) -> None:
    postgres.put(("P1", "2026-03-02T08:05Z"))
    assert source_states(stored.site, stored.plant, NOW)[0].state == "never"
    read(stored)
    assert source_states(stored.site, stored.plant, NOW)[0].state == "read"
    postgres.stop()
    stored.settings = Settings(fixed_now=NOW + timedelta(minutes=5))
    with pytest.raises(SourceTrouble, match="refused"):
        read(stored)
    state = source_states(stored.site, stored.plant, NOW + timedelta(minutes=5))[0]
    assert (state.state, state.since) == ("late", NOW) and "refused" in state.times.trouble
    postgres.start()
    postgres.put(("P2", "2026-03-02T08:06Z"))
    assert read(stored).rows == 1
    assert source_states(stored.site, stored.plant, NOW + timedelta(minutes=6))[0].state == "read"
    assert source_states(stored.site, stored.plant, NOW + timedelta(minutes=25))[0].state == "late"


@pytest.mark.parametrize(
    ("query", "says"),
    [
        (QUERY.replace("from pallets", "from pallet_store"), "pallet_store.* does not exist"),
        (QUERY.replace("no, line", "no, lane"), "lane.* does not exist"),
        (QUERY.replace("closed_at from", "closed_at as shut_at from"), "gives no column `closed_at`"),
        (QUERY.replace("units, state", "units as state, state"), "two columns the name state"),
        (QUERY.replace("no, line", "line"), "do not make the feed pallets.*no column 'no'"),
        (QUERY.replace("order by closed_at, no", "order by no"), "do not come in the order"),
        (QUERY.replace("where closed_at", "where pg_sleep(3) is not null and closed_at"), "busy for more than 1 s"),
    ],
)
def test_what_is_wrong_with_a_query_is_told_and_nothing_is_given_out(
    tmp_path: Path, postgres: Postgres, query: str, says: str
) -> None:
    postgres.put(("P2", "2026-03-02T08:05Z"), ("P1", "2026-03-02T08:06Z"))
    place = site(tmp_path / "site", postgres.url, query, "most_seconds = 1")
    began = time.monotonic()
    with pytest.raises(SourceTrouble, match=says):
        read(place)
    assert time.monotonic() - began < 8
    assert not list(place.site.inbox.iterdir()) and progress(place).times().trouble
    assert progress(place).so_far().watermark is None


def test_nothing_can_be_written_by_a_query(tmp_path: Path, postgres: Postgres) -> None:
    postgres.asked(
        "create or replace function closes() returns timestamptz language sql volatile as $$ insert into pallets (no) "
        "values ('X') returning '2026-03-01T00:00Z'::timestamptz $$"
    )
    place = site(tmp_path / "site", postgres.url, QUERY.replace("> $since", "> greatest($since, closes())"))
    postgres.put(("P1", "2026-03-02T08:05Z"))
    with pytest.raises(SourceTrouble, match="read-only transaction"):
        read(place)
    assert postgres.asked("select count(*) from pallets") == [(1,)]


@pytest.mark.parametrize("secret", ["wr@ng/se:cret %41", "plain-secret"])
def test_a_wrong_password_is_told_and_no_password_is_seen_anywhere(
    stored: Place, postgres: Postgres, secret: str, caplog: pytest.LogCaptureFixture
) -> None:
    keep_password(stored, secret)
    with pytest.raises(SourceTrouble, match="password authentication failed") as caught:
        read(stored)
    texts = [str(caught.value), repr(caught.value.__context__ or ""), caplog.text]
    texts += [path.read_text() for path in (stored.site.root / ".sources").glob("*.json")]
    assert not [words for words in texts if secret in words or PASSWORD in words]
    assert caught.value.__cause__ is None and caught.value.__suppress_context__


def test_a_password_that_others_can_read_is_not_used(stored: Place, postgres: Postgres) -> None:
    path = stored.site.root / ".sources" / "palletiser.password"
    path.chmod(0o640)
    with pytest.raises(SourceTrouble, match=r"others can read \.sources/palletiser\.password.*chmod 600"):
        read(stored)
    path.chmod(0o600)
    assert read(stored).rows == 0
    path.unlink()
    with pytest.raises(SourceTrouble, match="no password supplied"):
        read(stored)


def test_a_source_is_read_once_at_a_time(stored: Place, postgres: Postgres) -> None:
    blocked = postgres.connected()
    blocked.autocommit = False
    blocked.execute("lock table pallets in access exclusive mode")
    ended: list[object] = []
    thread = threading.Thread(target=lambda: ended.append(read(stored)))
    thread.start()
    end = time.monotonic() + 10
    while not postgres.asked("select 1 from pg_locks where not granted") and time.monotonic() < end:
        time.sleep(0.02)
    with pytest.raises(LedgerBusy, match="being read just now"):
        read(stored)
    blocked.rollback()
    blocked.close()
    thread.join(20)
    assert len(ended) == 1


@pytest.mark.parametrize(
    ("kind", "values", "later"),
    [
        ("bigint", ["7", "12"], "13"),
        ("numeric(12, 1)", ["7.5", "12.0"], "12.1"),
        ("double precision", ["7.5", "12.25"], "12.5"),
        ("date", ["2026-03-01", "2026-03-02"], "2026-03-02"),
        ("timestamp", ["2026-03-01 08:00", "2026-03-02 08:00:00.25"], "2026-03-02 08:00:01"),
        ("text", ["2026-03-01T08:00:00", "2026-03-02T08:00:00"], "2026-03-02T08:00:01"),
    ],
)
def test_the_column_that_only_grows_can_be_of_any_kind(
    tmp_path: Path, postgres: Postgres, kind: str, values: list[str], later: str
) -> None:
    postgres.asked(f"alter table pallets add grows {kind}")
    query = QUERY.replace("closed_at > ", "grows > ").replace("order by closed_at", "order by grows")
    place = site(tmp_path / "site", postgres.url, query.replace("closed_at from", "grows as closed_at from"))
    postgres.put(("P1", NOW), ("P2", NOW), ("P3", NOW), ("P4", NOW))
    for name, value in zip(("P1", "P2", "P3"), (*values, values[-1]), strict=True):
        postgres.asked("update pallets set grows = %s where no = %s", value, name)
    assert read(place).rows == 3 and read(place).rows == 0
    postgres.asked("update pallets set grows = %s where no = 'P4'", later)
    assert read(place).rows == 1 and place.take().rows_kept == 4


def test_values_of_every_kind_are_written_in_words_that_the_mapping_reads(tmp_path: Path, postgres: Postgres) -> None:
    postgres.asked("drop table if exists weights")
    postgres.asked(
        "create table weights (id serial, at timestamp, form text, g numeric(9, 3), hot boolean, who bytea, pos point)"
    )
    postgres.asked("grant select on weights to reader")
    postgres.asked(
        "insert into weights (at, form, g, hot) values ('2026-03-02 08:15', '11', 370.250, false), "
        "('2026-03-02 08:16:30.5', '12', 371, true), ('2026-03-02 08:17', null, 'NaN', false), "
        "('2026-03-29 01:30', '11', 370, false), (null, '13', 370, false)"
    )
    place = Place(tmp_path / "site", WORKS + SCALE.format(url=postgres.url))
    keep_password(place, PASSWORD, "scale")
    assert read(place).rows == 5
    report = place.take()
    assert (report.rows_kept, report.rows_refused) == (2, 3)
    kept = place.facts("weight_checks").sort("sampled_at").rows(named=True)
    assert [(row["sampled_at"], row["mould"], row["weight_g"], row["point"]) for row in kept] == [
        (datetime(2026, 3, 2, 8, 15, tzinfo=UTC), "11", 370.25, "cold"),
        (datetime(2026, 3, 2, 8, 16, 30, 500_000, tzinfo=UTC), "12", 371.0, "hot"),
    ]
    assert {(line, column) for _, line, column, _ in place.refusals()} >= {
        (4, "weight_g"),
        (5, "sampled_at"),
        (6, "sampled_at"),
    }


def test_the_session_has_its_limits_and_leaves_no_connection(stored: Place, postgres: Postgres) -> None:
    with reached(stored.site.root, stored.plant.source[0]) as here:
        names = ("default_transaction_read_only", "statement_timeout", "idle_in_transaction_session_timeout")
        limits = [here.connection.exec_driver_sql(f"select current_setting('{name}')").scalar() for name in names]
    assert limits == ["on", "1min", "2min"]
    assert postgres.asked("select count(*) from pg_stat_activity where usename = 'reader'") == [(0,)]
    with pytest.raises(psycopg.OperationalError):
        psycopg.connect(host="127.0.0.1", port=postgres.port, user="reader", password="other", dbname="postgres")
