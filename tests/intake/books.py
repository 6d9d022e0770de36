"""Workbooks that tests hand over, written by openpyxl, xlsxwriter and by hand."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

import openpyxl

Cells = Sequence[Sequence[Any]]


def xlsx(sheets: Mapping[str, Cells], merged: Mapping[str, Iterable[str]] | None = None) -> bytes:
    """A workbook of these rows, each from A1; None is an empty cell. merged: ranges of a sheet."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for number, row in enumerate(rows, start=1):
            for at, value in enumerate(row, start=1):
                if value is not None:
                    sheet.cell(number, at, value)
        for area in (merged or {}).get(name, ()):
            sheet.merge_cells(area)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def ods(sheets: Mapping[str, Cells]) -> bytes:
    """A document of these rows: text, numbers, days as `("date", "2026-03-02")`, formulas as `("formula", 3)`."""
    tables = "".join(
        f'<table:table table:name="{escape(name)}">'
        + "".join(f"<table:table-row>{''.join(map(_ods_cell, row))}</table:table-row>" for row in rows)
        + "</table:table>"
        for name, rows in sheets.items()
    )
    return ods_of(tables)


_MANIFEST = (
    '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3">'
    '<manifest:file-entry manifest:full-path="/" manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
    '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
)


def ods_of(tables: str) -> bytes:
    """A document with these tables as they are written."""
    content = (
        '<?xml version="1.0" encoding="UTF-8"?><office:document-content office:version="1.3" '
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:xlink="http://www.w3.org/1999/xlink" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0">'
        f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        parts.writestr("content.xml", content)
        parts.writestr("META-INF/manifest.xml", _MANIFEST)
    return out.getvalue()


def _ods_cell(value: Any) -> str:
    if value is None:
        return "<table:table-cell/>"
    if isinstance(value, tuple):
        kind, what = value
        if kind == "date":
            return f'<table:table-cell office:value-type="date" office:date-value="{what}"/>'
        return f'<table:table-cell table:formula="of:=1+2" office:value-type="float" office:value="{what}"/>'
    if isinstance(value, int | float):
        return f'<table:table-cell office:value-type="float" office:value="{value}"/>'
    return f'<table:table-cell office:value-type="string"><text:p>{escape(value)}</text:p></table:table-cell>'


def with_part(book: bytes, name: str, content: bytes) -> bytes:
    """A workbook with one part more, or another in its place."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parts:
        for each in old.namelist():
            if each != name:
                parts.writestr(each, old.read(each))
        parts.writestr(name, content)
    return out.getvalue()
