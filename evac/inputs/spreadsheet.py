"""The rows of a spreadsheet file: its one visible sheet, cells as a person sees them.

Offices leave old copies on hidden sheets, units in number formats, and formulas that
nothing has computed. Hidden sheets are not read. Rows and columns of the visible sheet
are read whether hidden or not: a filter left on must lose no team. What would be left
out is refused.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
import zipfile
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any, NoReturn

import openpyxl

from evac.errors import InputError, Problem
from evac.inputs.cells import Cell, SheetNumber
from evac.inputs.number_format import shown_number, shown_text
from evac.inputs.problems import problem

MOST_UNPACKED_BYTES = 200_000_000
"""Largest spreadsheet once unpacked: guards against zip bombs."""
MOST_PART_BYTES = 20_000_000
"""Largest file inside a spreadsheet; that of 20,000 rows has about 5 MB."""
MOST_MARKS = 600_000
"""Most XML marks ``<`` of one file inside: a cell takes four, a bare one only one."""
MOST_ROWS = 20_000
MOST_COLUMNS = 200
_LAST_ROW = 1_048_576
"""Rows of a sheet; some programs write the last one, empty, into every file."""
_MARKS_OF_CELL = 4
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell[\s/>]")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parts:
    """What the files inside a spreadsheet may hold that needs a second look."""

    has_formulas: bool
    has_merged: bool


def spreadsheet_rows(
    content: bytes, *, file: str, unread: Collection[str] = ()
) -> list[list[Cell]]:
    """The cells of the one visible sheet that holds any.

    Parameters
    ----------
    content : bytes
        The whole XLSX file.
    file : str
        Its name, for the errors.
    unread : collection of str
        Columns, by the first filled row, that nobody will read: a formula without a
        value does no harm there.

    Returns
    -------
    list of rows; blank rows keep their place, so that row i is number i + 1.

    Raises
    ------
    InputError
        If it is no spreadsheet, too large, has cells on more than one visible sheet,
        merged cells, or formulas without a value.
    """
    with _told_as_problem(file):
        parts = _checked_parts(content, file=file)
        return _read(content, file=file, parts=parts, unread=unread)


def first_rows(content: bytes, *, file: str) -> list[list[str]]:
    """The first filled row of every visible sheet, whatever stands below it.

    Raises
    ------
    InputError
        If it is no spreadsheet or too large.
    """
    with _told_as_problem(file):
        _checked_parts(content, file=file)
        found = []
        for sheet in _visible_sheets(_book(content, data_only=True)):
            row = next((row for _, row in _filled_rows(sheet)), ())
            found.append([str(cell.value or "").strip() for cell in row])
        return found


@contextmanager
def _told_as_problem(file: str) -> Iterator[None]:
    try:
        with warnings.catch_warnings():
            # Styles and extensions that openpyxl skips do not touch the cells.
            warnings.simplefilter("ignore")
            yield
    except InputError:
        raise
    except Exception as error:
        # A damaged spreadsheet fails in many ways inside zipfile, the XML parser
        # and openpyxl; none of them tells a person more than this sentence.
        raise InputError(
            file,
            [problem("not_a_spreadsheet", where="the file", found=str(error))],
        ) from error


def _checked_parts(content: bytes, *, file: str) -> _Parts:
    """Refuse what would take too long or too much memory; what else there is."""
    has_formulas = has_merged = False
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        entries = packed.infolist()
        size = sum(entry.file_size for entry in entries)
        largest = max((entry.file_size for entry in entries), default=0)
        if size > MOST_UNPACKED_BYTES or largest > MOST_PART_BYTES:
            is_whole = size > MOST_UNPACKED_BYTES
            _refuse(
                file,
                "too_large",
                found=f"{size if is_whole else largest:,} bytes unpacked",
                most=MOST_UNPACKED_BYTES if is_whole else MOST_PART_BYTES,
            )
        for entry in entries:
            part = packed.read(entry)
            marks = part.count(b"<")
            if marks > MOST_MARKS:
                _refuse(
                    file,
                    "too_many_cells",
                    found=f"about {marks // _MARKS_OF_CELL:,} cells",
                    most=MOST_MARKS // _MARKS_OF_CELL,
                )
            # In another encoding than UTF-8 the marks are not seen: then look closely.
            is_wide = b"\x00" in part
            has_formulas = has_formulas or is_wide or bool(_FORMULA.search(part))
            has_merged = has_merged or is_wide or bool(_MERGED.search(part))
    return _Parts(has_formulas=has_formulas, has_merged=has_merged)


def _read(
    content: bytes, *, file: str, parts: _Parts, unread: Collection[str]
) -> list[list[Cell]]:
    book = _book(content, data_only=True)
    filled = [s for s in _visible_sheets(book) if any(True for _ in _filled_rows(s))]
    if len(filled) > 1:
        names = ", ".join(sheet.title for sheet in filled)
        _refuse(file, "several_sheets", found=names)
    if not filled:
        return []
    rows: list[list[Cell]] = []
    for number, row in _filled_rows(filled[0]):
        if number > MOST_ROWS:
            _refuse(file, "too_many_rows", found=f"{number} rows", most=MOST_ROWS)
        if any(_is_filled(cell) for cell in row[MOST_COLUMNS:]):
            _refuse(file, "too_many_columns", found=f"row {number}", most=MOST_COLUMNS)
        rows += [[] for _ in range(number - 1 - len(rows))]
        rows.append([_cell(cell) for cell in row[:MOST_COLUMNS]])
    place = book.worksheets.index(filled[0])
    problems = []
    if parts.has_formulas:
        written = _book(content, data_only=False).worksheets[place]
        problems += _uncomputed(filled[0], written, unread=unread)
    if parts.has_merged:
        whole = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
        problems += _merged(whole.worksheets[place])
    if problems:
        raise InputError(file, problems)
    book.close()
    return rows


def _merged(sheet: Any) -> list[Problem]:
    """Merged cells that hold something: all but the first would be read as blank."""
    return [
        problem("merged_cells", where=f"cells {merged.coord}", found=str(value))
        for merged in sorted(sheet.merged_cells.ranges, key=lambda item: item.min_row)
        if (value := sheet.cell(merged.min_row, merged.min_col).value) is not None
    ]


def _book(content: bytes, *, data_only: bool) -> Any:
    return openpyxl.load_workbook(
        io.BytesIO(content), read_only=True, data_only=data_only
    )


def _visible_sheets(book: Any) -> list[Any]:
    return [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]


def _all_rows(sheet: Any) -> Iterator[tuple[int, tuple[Any, ...]]]:
    # The size that a file states is often wrong: rows beyond it would be lost.
    sheet.reset_dimensions()
    for number, row in enumerate(sheet.iter_rows(min_row=1), start=1):
        if number > _LAST_ROW:
            return
        yield number, row


def _filled_rows(sheet: Any) -> Iterator[tuple[int, tuple[Any, ...]]]:
    for number, row in _all_rows(sheet):
        if any(_is_filled(cell) for cell in row):
            yield number, row


def _is_filled(cell: Any) -> bool:
    value = cell.value
    return value is not None and (not isinstance(value, str) or bool(value.strip()))


def _uncomputed(values: Any, written: Any, *, unread: Collection[str]) -> list[Problem]:
    """Formulas whose value the file does not hold, in columns that are read.

    A formula that gives an empty text has been computed: its cell says so by its type.
    """
    problems = []
    read: set[int] | None = None
    pairs: Iterable[Any] = zip_longest(_all_rows(values), _all_rows(written))
    for (number, row), (_, formulas) in pairs:
        for column, (cell, formula) in enumerate(
            zip(row, formulas, strict=True), start=1
        ):
            is_formula = formula.data_type == "f" and (read is None or column in read)
            if is_formula and cell.value is None and cell.data_type == "n":
                text = formula.value
                problems.append(
                    problem(
                        "formula_without_value",
                        where=f"row {number}, column {column}",
                        found=text if isinstance(text, str) else "a formula",
                    )
                )
        if read is None and any(_is_filled(cell) for cell in row):
            # Up to the header every formula counts: it may be a column's name.
            read = {
                column
                for column, cell in enumerate(row, start=1)
                if _is_filled(cell) and str(cell.value).strip().lower() not in unread
            }
    return problems


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return value.date() if value.time() == dt.time() else value
    if isinstance(value, dt.date):
        return value
    if isinstance(value, dt.time):
        return value.isoformat("seconds")
    if isinstance(value, (int, float)):
        return SheetNumber(shown_number(value, number_format=cell.number_format))
    return shown_text(str(value), number_format=cell.number_format)


def _refuse(file: str, key: str, *, found: object = "", **values: Any) -> NoReturn:
    raise InputError(file, [problem(key, where="the file", found=found, **values)])
