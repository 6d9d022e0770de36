"""What a file is by its first bytes, where its name says something else: told for what it is, with what to do."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipelines.errors import FileRefused
from schemas.reasons import Reason

GZIP = b"\x1f\x8b"
_ZIP, _PDF = b"PK\x03\x04", b"%PDF-"
_CONTROL = re.compile(rb"[\x00-\x08\x0e-\x1f]")
_LOOK = 65_536  # bytes in which the parts of a workbook are looked for
_SAVE = "let a [[mapping]] take it (`coldledger feeds try` proposes one), or save its table as CSV"
_OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
# First bytes, what such a file is, and what to do with it.
_KINDS: tuple[tuple[bytes, str, str], ...] = (
    (b"PAR1", "a Parquet file", "let its name end in .parquet"),
    (_OLD_OFFICE, "a workbook of the old kind (.xls) or another old office file", _SAVE),
    (_PDF, "a PDF", "send the export that it was printed from"),
    (b"\x89PNG\r\n\x1a\n", "a picture (PNG)", "send the table itself"),
    (b"\xff\xd8\xff", "a picture (JPEG)", "send the table itself"),
    (b"GIF89a", "a picture (GIF)", "send the table itself"),
    (b"II*\0", "a picture (TIFF)", "send the table itself"),
    (b"MM\0*", "a picture (TIFF)", "send the table itself"),
    (b"SQLite format 3\0", "an SQLite database", "export its table as CSV"),
    (b"\0\1\0\0Standard ", "a database (Access)", "export its table as CSV"),
    (b"BZh", "packed by bzip2", "unpack it, or pack it by gzip"),
    (b"\xfd7zXZ\0", "packed by xz", "unpack it, or pack it by gzip"),
    (b"\x28\xb5\x2f\xfd", "packed by Zstandard", "unpack it, or pack it by gzip"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it"),
    (b"Rar!\x1a\x07", "a RAR archive", "unpack it"),
)


@dataclass(frozen=True)
class BinaryKind:
    """What a file is by its first bytes, and what to do with it."""

    what: str
    do: str
    workbook: bool = False


def what_it_is(data: bytes) -> BinaryKind | None:
    """What a file is that is no text, by its bytes; None for text, and for what is not known here."""
    head = data[:_LOOK]
    found = _kind_of(head) or _packed(head) or _by_its_middle(data)
    if found is None:
        return None
    return BinaryKind(*found, workbook=head.startswith(_OLD_OFFICE) or _sheets_in_zip(head, data[-_LOOK:]))


def _by_its_middle(data: bytes) -> tuple[str, str] | None:
    """What does not begin with its mark."""
    if data[8:12] == b"DUCK":
        return "a DuckDB database", "export its table as CSV"
    if data[257:262] == b"ustar":
        return "a tar archive", "unpack it"
    if len(data) > 64 and 4 * len(_CONTROL.findall(data[:2048])) > min(len(data), 2048) and not _of_two_bytes(data):
        return "binary, of a kind that is not known here", "send the table as text or as a workbook"
    return None


def _of_two_bytes(data: bytes) -> bool:
    """Whether a file is text in UTF-16 or UTF-32, of which half and more are NUL bytes."""
    return data.startswith((b"\xff\xfe", b"\xfe\xff")) or 3 * data[:400].count(b"\0") > len(data[:400])


def check_unnamed(data: bytes) -> None:
    """FileRefused where a file that neither its name nor a [[mapping]] explains is no text: what it is, what to do."""
    found = what_it_is(data)
    if found is not None:
        raise _refused(found.what, found.do)


def check_bytes(data: bytes, ending: str) -> None:
    """FileRefused where a file, by its first bytes, is plainly something else than the ending of its name says."""
    head = data[:_LOOK]
    if ending == ".csv.gz":
        if head and not head.startswith(GZIP[: len(head)]):
            what, do = _kind_of(head) or ("text that is not packed", "let its name end in .csv, or pack it by gzip")
            raise _refused(f"{what}, not gzip", do)
    elif ending == ".parquet":
        found = None if head.startswith(b"PAR1") else _kind_of(head) or _packed(head) or _text(head)
        if found is not None:
            raise _refused(f"{found[0]}, not Parquet", found[1])
    elif (found := _kind_of(head) or _packed(head)) is not None:
        raise _refused(f"{found[0]}, not plain text", found[1])


def _refused(what: str, do: str) -> FileRefused:
    return FileRefused(Reason.OTHER_KIND, expected=f"{what}; {do}")


def _kind_of(head: bytes) -> tuple[str, str] | None:
    if head.startswith(_ZIP):
        return _zipped(head)
    if not head.startswith(_PDF) and not _CONTROL.search(head[:512]):
        return None  # text can begin with the same letters
    return next(((what, do) for first, what, do in _KINDS if head.startswith(first)), None)


def _packed(head: bytes) -> tuple[str, str] | None:
    return ("packed by gzip", "let its name end in .csv.gz, or unpack it") if head.startswith(GZIP) else None


def _zipped(head: bytes) -> tuple[str, str]:
    """A zip archive, or one of the workbooks and documents that are kept as one."""
    if b"xl/" in head:
        return "a workbook (.xlsx)", _SAVE
    if b"opendocument.spreadsheet" in head:
        return "a workbook (.ods)", _SAVE
    return "a zip archive or a workbook kept as one", "unpack it, or save its table as CSV"


def _sheets_in_zip(head: bytes, tail: bytes) -> bool:
    """Whether a zip archive is a workbook: by its first parts, or by the list of them at its end."""
    return head.startswith(_ZIP) and (b"opendocument.spreadsheet" in head or b"xl/" in head or b"xl/w" in tail)


def _text(head: bytes) -> tuple[str, str] | None:
    """Text that was named for Parquet."""
    try:
        words = head[:200].decode("ascii")
    except UnicodeDecodeError:
        return None
    if "," not in words or not all(word.isprintable() or word in "\t\r\n" for word in words):
        return None
    return "text", "let its name end in .csv, or in .jsonl where each line is an object"
