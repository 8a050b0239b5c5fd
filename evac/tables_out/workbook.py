"""XLSX for people: typed columns, frozen headings, no formulas, same bytes again."""

from __future__ import annotations

import io
import math
import zipfile
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from evac.facts.plan import Plan
from evac.tables_out.tables import Entry, Table, plan_tables
from evac.words import Words

_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
_FORMATS = {"_m": "0.0", "_kn": "0.0", "_min": "0", "_deg": "0.0"}


def xlsx_bytes(plan: Plan, words: Words) -> bytes:
    """The plan's tables as one workbook with typed columns and frozen headings."""
    return workbook_bytes(plan_tables(plan, words), plan.date)


def workbook_bytes(tables: Sequence[Table], day: date) -> bytes:
    """A workbook whose bytes depend on nothing but `tables` and `day`."""
    book = Workbook()
    book.remove(book.active)  # type: ignore[arg-type]  # a new book has a sheet
    moment = datetime(day.year, day.month, day.day)  # XLSX knows no zone
    book.properties.created = moment
    book.properties.creator = "evac"
    for table in tables:
        sheet = book.create_sheet(table.name[:31])
        for row_number, row in enumerate((table.columns, *table.rows), start=1):
            for column_number, entry in enumerate(row, start=1):
                cell = sheet.cell(row=row_number, column=column_number)
                _fill(cell, entry, (table.keys or table.columns)[column_number - 1])
        for cell in sheet[1]:
            cell.font = Font(bold=True)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.freeze_panes = "A2"
        if table.rows:
            sheet.auto_filter.ref = sheet.dimensions
        _set_widths(sheet, table)
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.fitToWidth = 1
        sheet.page_setup.fitToHeight = 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
    raw = io.BytesIO()
    book.save(raw)
    return _with_fixed_times(raw.getvalue(), moment)


def _fill(cell: Cell, entry: Entry, key: str) -> None:
    if isinstance(entry, str):
        # A text stays a text, even where it begins like a formula.
        cell.value = "".join(c for c in entry if c.isprintable() or c == "\n")
        cell.data_type = "s"
        cell.alignment = Alignment(wrap_text=len(entry) > 40, vertical="top")
        return
    if isinstance(entry, float):
        if not math.isfinite(entry):
            return
        entry = round(entry, 3)
    cell.value = entry
    for suffix, pattern in _FORMATS.items():
        if key.endswith(suffix):
            cell.number_format = pattern
    if isinstance(entry, float) and cell.number_format == "General":
        cell.number_format = "0.0"


def _set_widths(sheet: Any, table: Table) -> None:
    for number, column in enumerate(table.columns, start=1):
        longest = max(
            [len(word) for word in column.split()]
            + [
                len(str(row[number - 1]))
                for row in table.rows
                if isinstance(row[number - 1], str)
            ]
            + [8]
        )
        sheet.column_dimensions[get_column_letter(number)].width = min(longest + 3, 60)


def _with_fixed_times(content: bytes, moment: datetime) -> bytes:
    # openpyxl stamps the time of saving into the archive and into docProps/core.xml.
    result = io.BytesIO()
    stamp = moment.replace(tzinfo=UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    with (
        zipfile.ZipFile(io.BytesIO(content)) as source,
        zipfile.ZipFile(result, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.infolist():
            body = source.read(entry)
            if entry.filename == "docProps/core.xml":
                text = body.decode("utf-8")
                start = text.index("<dcterms:modified")
                begin = text.index(">", start) + 1
                end = text.index("<", begin)
                body = (text[:begin] + stamp + text[end:]).encode("utf-8")
            info = zipfile.ZipInfo(entry.filename, date_time=_ZIP_TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            target.writestr(info, body)
    return result.getvalue()
