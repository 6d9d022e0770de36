"""Files and other things that nobody would want in an inbox, each with how many of its rows are good. No two good rows
of all of them have one key.
"""

from __future__ import annotations

import gzip
import io
import json
import os
import socket
import struct
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from tests.conftest import HEAD
from tests.intake import footers

FIRST = datetime(2026, 3, 2, 8, tzinfo=UTC)
NAMES = HEAD.strip().split(",")
Entry = tuple[bytes, bytes, int]  # name in the inbox, content, good rows


class Rows:
    """Good rows, every one at a minute of its own."""

    def __init__(self) -> None:
        self.minute = 0

    def cells(self, **other: object) -> dict[str, Any]:
        self.minute += 1
        at = (FIRST + timedelta(minutes=self.minute)).strftime("%Y-%m-%dT%H:%M:%SZ")
        row = {
            "window_start": at,
            "line": "K1",
            "station": "K1-side-a",
            "mould": "11",
            "window_s": 60,
            "inspected": 12,
            "rejected": 1,
        }
        return {**row, **other}

    def line(self, **other: object) -> str:
        return ",".join(str(value) for value in self.cells(**other).values()) + "\n"

    def good(self, count: int = 1) -> str:
        return "".join(self.line() for _ in range(count))

    def json(self, **other: object) -> str:
        return json.dumps(self.cells(**other)) + "\n"

    def parquet(self, count: int = 1, **columns: Any) -> bytes:
        rows = [self.cells() for _ in range(count)]
        fields = {name: [row[name] for row in rows] for name in NAMES}
        out = io.BytesIO()
        pq.write_table(pa.table({**fields, **columns}), out)
        return out.getvalue()

    def shared_parquet(self, count: int) -> bytes:
        """Texts kept as what they share with the one before."""
        answer = pa.table({name: [str(row[name]) for row in [self.cells() for _ in range(count)]] for name in NAMES})
        return footers.written_shared([answer])


def entries() -> list[Entry]:
    """Every file of the set."""
    rows = Rows()
    found: list[Entry] = []
    for kind in (encodings, line_ends, numbers, times, texts, names, packed, parquets, jsons, endings):
        for name, data, good in kind(rows):
            plain = data.encode() if isinstance(data, str) else data
            answer = name if isinstance(name, bytes) else name.encode()
            found.append((answer if b"." in answer else b"station_counts." + answer + b".csv", plain, good))
    assert len({name for name, _, _ in found}) == len(found)
    return found


Told = Iterator[tuple[str | bytes, str | bytes, int]]


def encodings(rows: Rows) -> Told:
    """Good rows are counted where the file says plainly what they are; all others must be refused, which the test asks
    too.
    """
    for code in ("utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-7"):
        yield f"enc-{code}", (HEAD + rows.good()).encode(code), 1 if code == "utf-7" else 0
    yield "enc-bom", b"\xef\xbb\xbf" + (HEAD + rows.good()).encode(), 1
    yield "enc-two-boms", b"\xef\xbb\xbf\xef\xbb\xbf" + (HEAD + rows.good()).encode(), 0
    yield "enc-latin-1", (HEAD + rows.line(mould="é") + rows.good()).encode("latin-1"), 1
    yield "enc-cp037", (HEAD + rows.good()).encode("cp037"), 0
    yield "enc-nul-in-row", HEAD + rows.line(mould="1\0") + rows.good(), 1
    yield "enc-nul-in-header", "\0" + HEAD + rows.good(), 0
    yield "enc-only-nuls", b"\0" * 5000, 0
    yield "enc-nuls-behind", (HEAD + rows.good()).encode() + b"\0" * 5000, 1
    yield "enc-overlong", (HEAD + rows.line(mould="@") + rows.good()).encode().replace(b"@", b"\xc0\xaf"), 1
    yield "enc-noise", bytes(range(256)) * 40, 0


def line_ends(rows: Rows) -> Told:
    yield "end-cr", (HEAD + rows.good(2)).replace("\n", "\r"), 2
    yield "end-crlf", (HEAD + rows.good(2)).replace("\n", "\r\n"), 2
    yield "end-lfcr", (HEAD + rows.good()).replace("\n", "\n\r"), 1
    yield "end-header-cr", HEAD.replace("\n", "\r") + rows.good(2), 0
    yield "end-cr-among-lf", HEAD + rows.good() + rows.good().replace("\n", "\r") + rows.good(), 3
    yield (
        "end-cr-among-crlf",
        (HEAD + rows.good()).replace("\n", "\r\n")
        + rows.good().replace("\n", "\r")
        + rows.good()
        + "x\r"
        + rows.good(),
        4,
    )
    yield "end-cr-behind-a-break", HEAD + rows.line(mould='"1\n1"').rstrip("\n") + "\r" + rows.good(2), 2
    yield "end-none", (HEAD + rows.good()).rstrip("\n"), 1
    yield "end-blank-lines", HEAD + "\n\n" + rows.good() + "\r\n \n\n", 1
    yield "end-nel", HEAD.replace("\n", "\x85") + rows.good(), 0
    yield "end-separator", HEAD + rows.good().replace("\n", "\u2028") + rows.good(), 0
    yield "end-formfeed", HEAD + "\f\n" + rows.good(), 1
    yield "end-header-only", HEAD, 0
    yield "end-commas", HEAD + ",,,,,,\n" * 3, 0
    yield "end-nothing", "", 0
    yield "end-blanks", " \n\t\n", 0


def numbers(rows: Rows) -> Told:
    bad = (
        "1e400", "inf", "-inf", "nan", "-1", "1_000", "１２", "0x10", "1,5", "12.0", "1e2", "²", "+-1",
        "99999999999999999999", "12 000", "None", "TRUE", "=1+1", "٣",
    )  # fmt: skip
    for number, word in enumerate(bad):
        yield f"num-{number}", HEAD + rows.line(inspected=f'"{word}"') + rows.good(), 1
    yield "num-minus-nought", HEAD + rows.line(rejected="-0"), 1
    yield "num-plus", HEAD + rows.line(inspected="+12"), 1
    yield "num-noughts", HEAD + rows.line(inspected="000000000000012"), 1
    yield "num-blanks", HEAD + rows.line(inspected=" 12 "), 1
    yield "num-more-rejected", HEAD + rows.line(rejected=13) + rows.good(), 1
    yield "num-window", HEAD + rows.line(window_s=0) + rows.line(window_s=86401) + rows.good(), 1


def times(rows: Rows) -> Told:
    bad = (
        "0001-01-01T00:00:00Z",
        "9999-12-31T23:59:59Z",
        "9999-12-31T23:59:59-23:59",
        "0000-00-00T00:00:00Z", "2026-02-30T00:00:00Z", "2026-03-02T24:00:00Z", "2016-12-31T23:59:60Z",
        "2026-03-29T02:30:00", "2026-03-02", "2026-03-02T09:00:00", "02.03.2026 09:00", "1772438400",
        "2026-W10-1T00:00:00Z",
        "2026-03-02T09:00:00+25:00",
        "2026-03-02T09:00:00Europe/Warsaw",
        "now",
        "1970-01-01T00:00:00Z",
        "12026-03-02T09:00:00Z",
        "-0001-03-02T09:00:00Z",
    )  # fmt: skip
    for number, word in enumerate(bad):
        yield f"time-{number}", HEAD + rows.line(window_start=word) + rows.good(), 1
    yield "time-far-zone", HEAD + rows.line(window_start="2026-03-09T23:59:00+23:59"), 1


def texts(rows: Rows) -> Told:
    yield "text-line-break", HEAD + rows.line(mould='"1\n1"') + rows.good(), 1
    yield "text-quote", HEAD + rows.line(mould='"11') + rows.good(2), 2
    yield "text-quotes", HEAD + rows.line(mould='"1""1"'), 1
    yield "text-formula", HEAD + rows.line(mould="=cmd|'/c'!A"), 1
    yield "text-script", HEAD + rows.line(mould="<script>"), 1
    yield "text-sql", HEAD + rows.line(mould="'; drop --"), 1
    yield "text-escape", HEAD + rows.line(mould="\x1b[31m") + rows.good(), 1
    yield "text-rtl", HEAD + rows.line(mould="\u202e11"), 1
    yield "text-emoji", HEAD + rows.line(mould="🍾"), 1
    yield "text-too-long", HEAD + rows.line(mould="1" * 17) + rows.line(mould="1" * 2_000_000) + rows.good(), 1
    yield "text-wide-row", HEAD + "," * 100_000 + "\n" + rows.good(), 1
    yield "text-wide-header", ",".join(f"c{n}" for n in range(20_000)) + "\n1\n", 0
    yield "text-header-twice", HEAD.replace("mould", "line") + rows.good(), 0
    yield "text-header-again", HEAD + HEAD + rows.good(), 1
    yield "text-no-header", rows.good(2), 0
    yield "text-semicolons", (HEAD + rows.good()).replace(",", ";"), 0
    yield (
        "text-unknown-ids",
        HEAD + rows.line(line="K9") + rows.line(station="K9-x") + rows.line(station="K2-side") + rows.good(),
        1,
    )
    yield "text-braces", HEAD + rows.line(line="{value}{0}") + rows.good(), 1


def names(rows: Rows) -> Told:
    long = "station_counts." + "x" * (255 - 19) + ".csv"
    wide = "station_counts." + "€" * 78 + ".csv"
    for name in (
        long,
        wide,
        "station_counts.with blanks .csv",
        "station_counts.🍾.csv",
        "station_counts.-rf *.csv",
        "station_counts.%2e%2e%2f.csv",
    ):
        yield name, HEAD + rows.good() + "x\n", 1
    for plain in (
        b"station_counts.z\xfcrich.csv",
        b"station_counts.\n\x1b[2J.csv",
        b"station_counts.\\..\\x.csv",
        b"station_counts.$(reboot)`.csv",
        b"station_counts.'\";--.csv",
    ):
        yield plain, HEAD + rows.good() + "x\n", 1
    for other in (
        "STATION_COUNTS.x.csv",
        "station_counts.csv.bak",
        "station_counts.x.CSV",
        "b000001.station_counts.rows.csv",
        "..csv.csv"[1:] + ".x",
        "\xff.csv",
        "unknown.x.csv",
        "station_counts.x.csv.gz.csv.exe",
    ):
        if not other.startswith("."):
            yield other, HEAD + rows.good(), 0
    yield b"\xff\xfe.parquet", b"PAR1", 0


def packed(rows: Rows) -> Told:
    good = (HEAD + rows.good(20)).encode()
    yield "station_counts.gz-good.csv.gz", gzip.compress(good), 20
    yield "station_counts.gz-cut.csv.gz", gzip.compress((HEAD + rows.good(200)).encode())[:-30], 0
    yield "station_counts.gz-none.csv.gz", HEAD + rows.good(), 0
    yield "station_counts.gz-of-nothing.csv.gz", gzip.compress(b""), 0
    yield "station_counts.gz-twice.csv.gz", gzip.compress(gzip.compress((HEAD + rows.good()).encode())), 0
    yield "station_counts.gz-noise-behind.csv.gz", gzip.compress((HEAD + rows.good()).encode()) + b"noise", 0
    yield "station_counts.gz-wrong-sum.csv.gz", _wrong_sum((HEAD + rows.good()).encode()), 0
    yield (
        "station_counts.gz-wrong-size.csv.gz",
        gzip.compress((HEAD + rows.good()).encode())[:-4] + struct.pack("<I", 7),
        0,
    )
    for name, part in (("noughts", b"0"), ("line-ends", b"\n"), ("returns", b"\r"), ("commas", b",,,,,,\n")):
        yield f"station_counts.gz-bomb-{name}.csv.gz", _bomb(HEAD.encode(), part), 0
    yield "station_counts.gz-plain-name.csv", gzip.compress(good), 0


def _wrong_sum(data: bytes) -> bytes:
    answer = bytearray(gzip.compress(data))
    answer[-8] ^= 0xFF
    return bytes(answer)


def _bomb(head: bytes, part: bytes, size: int = 80 << 20) -> bytes:
    """80 MB in 80 kB; the limits of the test are lower."""
    return gzip.compress(head + part * (size // len(part)), 9)


def parquets(rows: Rows) -> Told:
    nested = pa.array([[{"a": [1, 2]}]])
    deep: Any = pa.array([1])
    for _ in range(40):
        deep = pa.StructArray.from_arrays([deep], ["a"])
    yield "station_counts.pq-good.parquet", rows.parquet(5), 5
    yield "station_counts.pq-nested.parquet", rows.parquet(mould=nested), 0
    yield "station_counts.pq-deep.parquet", rows.parquet(mould=deep), 0
    yield (
        "station_counts.pq-map.parquet",
        rows.parquet(mould=pa.array([[("a", 1)]], pa.map_(pa.string(), pa.int64()))),
        0,
    )
    yield "station_counts.pq-far.parquet", rows.parquet(window_start=pa.array([2**61], pa.timestamp("us", "UTC"))), 0
    yield (
        "station_counts.pq-strange-zone.parquet",
        rows.parquet(window_start=pa.array([1_772_900_000], pa.timestamp("s", "UTC"))),
        1,
    )
    yield "station_counts.pq-decimal.parquet", rows.parquet(inspected=pa.array([12], pa.decimal128(38, 0))), 1
    yield "station_counts.pq-float.parquet", rows.parquet(inspected=pa.array([12.5])), 0
    yield "station_counts.pq-binary.parquet", rows.parquet(mould=pa.array([b"\xff"])), 0
    yield "station_counts.pq-nulls.parquet", rows.parquet(mould=pa.nulls(1)), 1
    yield "station_counts.pq-all-null.parquet", rows.parquet(line=pa.nulls(1)), 0
    yield "station_counts.pq-duration.parquet", rows.parquet(window_s=pa.array([60], pa.duration("s"))), 0
    yield "station_counts.pq-cut.parquet", rows.parquet(50)[:-20], 0
    yield "station_counts.pq-cut-head.parquet", rows.parquet(50)[100:], 0
    yield "station_counts.pq-magic.parquet", b"PAR1" * 4, 0
    yield "station_counts.pq-csv.parquet", HEAD + rows.good(), 0
    yield "station_counts.pq-bomb.parquet", rows.parquet(1, **{n: [rows.cells()[n]] * 700_000 for n in NAMES}), 0
    yield "station_counts.pq-no-rows.parquet", _no_rows(), 0
    for name, data in footers.lying(rows.parquet(5)):
        yield f"station_counts.pq-lies-{name}.parquet", data, 0
    for name, data in footers.swelling(rows.cells()):
        yield f"station_counts.pq-swells-{name}.parquet", data, 0
    yield "station_counts.pq-encrypted-column.parquet", footers.encrypted(rows.parquet(5)), 0
    yield "station_counts.pq-shared.parquet", rows.shared_parquet(3), 3


def _no_rows() -> bytes:
    out = io.BytesIO()
    pq.write_table(pa.table({name: pa.array([], pa.string()) for name in NAMES}), out)
    return out.getvalue()


def jsons(rows: Rows) -> Told:
    good = rows.json()
    bad = [
        "[" * 990 + "]" * 990,
        "[" * 200_000,
        '{"a":' * 990 + "1" + "}" * 990,
        "null",
        "12",
        '"text"',
        "[]",
        "{",
        "{}",
        '{"mould": "\\ud800"}',
        "NaN",
        '{"a": ' + "9" * 5000 + "}",
        "\ufeff{}",
    ]
    for number, word in enumerate(bad):
        yield (
            f"station_counts.js-{number}.jsonl",
            rows.json() + word + "\n" + rows.json(),
            2,
        )
    yield "station_counts.js-good.jsonl", good, 1
    yield "station_counts.js-cr.jsonl", (rows.json() + rows.json()).replace("\n", "\r"), 2
    yield "station_counts.js-array.jsonl", "[" + rows.json().strip() + "]", 0
    yield "station_counts.js-pretty.jsonl", json.dumps(rows.cells(), indent=1), 0
    yield "station_counts.js-nan.jsonl", rows.json(inspected=float("nan")) + rows.json(), 1
    yield "station_counts.js-inner.jsonl", rows.json(mould={"a": 1}) + rows.json(mould=[1]) + rows.json(mould=True), 1
    yield "station_counts.js-utf16.jsonl", rows.json().encode("utf-16"), 0
    yield "station_counts.js-nul.jsonl", rows.json(mould="1\0") + rows.json(), 1
    yield "station_counts.js-keys.jsonl", json.dumps({f"k{n}": 1 for n in range(3000)}) + "\n", 0


def endings(rows: Rows) -> Told:
    yield "station_counts.as.jsonl", HEAD + rows.good(), 0
    yield "station_counts.json-as.csv", rows.json(), 0
    yield "station_counts.zip.csv", b"PK\x03\x04" + b"\0" * 400, 0
    yield "station_counts.elf.csv", b"\x7fELF" + bytes(range(256)), 0
    yield "station_counts.html.csv", "<html><body>503</body></html>\n", 0
    yield "pallets.as-other-feed.csv", HEAD + rows.good(), 0


def others(inbox: Path) -> list[socket.socket]:
    """What is no file: links out, to nothing and in a circle, a pipe, a socket, folders, and files that are being
    written.
    """
    outside = inbox.parent / "outside.csv"
    outside.write_text(HEAD + "2026-03-20T09:00:00Z,K1,K1-side-a,11,60,12,1\n")
    (inbox / "station_counts.link-out.csv").symlink_to(outside)
    (inbox / "station_counts.link-to-nothing.csv").symlink_to(inbox / "nowhere")
    (inbox / "station_counts.link-circle.csv").symlink_to(inbox / "station_counts.link-circle.csv")
    (inbox / "station_counts.link-to-folder.csv").symlink_to(inbox.parent)
    (inbox / "station_counts.link-dev.csv").symlink_to("/dev/zero")
    os.mkfifo(inbox / "station_counts.pipe.csv")
    (inbox / "station_counts.folder.csv").mkdir()
    (inbox / "station_counts.folder.csv" / "station_counts.in-folder.csv").write_text(HEAD)
    for name in (".station_counts.hidden.csv", "station_counts.written.csv.part", ".part"):
        (inbox / name).write_text("not whole")
    listening = socket.socket(socket.AF_UNIX)
    before = Path.cwd()
    os.chdir(inbox)  # a socket's path may have 107 bytes
    try:
        listening.bind("station_counts.socket.csv")
    finally:
        os.chdir(before)
    return [listening]
