"""Tables of a lift folder: CSV as offices write it, or the visible sheet of an XLSX.

Cells may be separated by commas, semicolons or tabs; text may be UTF-8 (with or
without byte order mark), UTF-16 or Windows-1252. The header is checked before the
rows, so that a misspelt column is told once and not once a row.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NoReturn, TypeVar

from pydantic import BaseModel, ValidationError

from evac.errors import InputError, Problem
from evac.facts.finding import Finding, Severity
from evac.inputs.cells import Cell, Reading, is_blank, is_feet
from evac.inputs.problems import did_you_mean, problem, quoted, told
from evac.inputs.spreadsheet import MOST_ROWS, spreadsheet_rows

MOST_BYTES = 20_000_000
"""Largest table file that is read; a real one has a few hundred kilobytes."""
ALWAYS_ALLOWED = ("note", "source")
"""Columns that every table may have and that are not read."""

Row = TypeVar("Row", bound=BaseModel)

_UNIT_IN_HEADER = re.compile(r"^(.*?)[ _]*[\[(](m|ft|feet|s|min|kg)[\])]$")
_SEPARATOR_LINE = re.compile(r"^sep=(.)\s*$", re.IGNORECASE)
"""Some programs write their separator into a line of its own above the header."""
_DECIMAL_COMMA = re.compile(r"^[+-]?[\d. \u00a0\u202f]*\d,\d+$")


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """A table as it stands in its file: header and rows of cells.

    ``numbers`` are the rows' numbers as a spreadsheet counts them, the header being
    row 1. ``reading`` says how its numbers are written.
    """

    file: str
    header: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    numbers: tuple[int, ...]
    reading: Reading


def raw_table(content: bytes, *, file: str) -> RawTable:
    """The cells of a CSV or XLSX file, unread.

    Parameters
    ----------
    content : bytes
        The whole file.
    file : str
        Its name inside the lift folder; ``.xlsx`` is read as a spreadsheet.

    Raises
    ------
    InputError
        If it is too large, not a table, or has no header.
    """
    if len(content) > MOST_BYTES:
        _refuse(file, "too_large", found=f"{len(content):,} bytes", most=MOST_BYTES)
    if is_spreadsheet(file):
        rows = spreadsheet_rows(content, file=file, unread=ALWAYS_ALLOWED)
        separated = ""
    else:
        rows, separated = _csv_rows(content, file=file)
    comma = separated not in ("", ",")
    filled = [
        (number, row)
        for number, row in enumerate(rows, start=1)
        if any(_is_filled(cell) for cell in row)
    ]
    if not filled:
        _refuse(file, "empty_file")
    header_number, header_cells = filled[0]
    header = [_column_name(cell) for cell in header_cells]
    while header and not header[-1][0]:
        header.pop()
    if len(header) == 1 and any(_is_wide(row) for _, row in filled[1:]):
        where, found = f"row {header_number}", str(header_cells[0]).strip()
        raise InputError(file, [problem("title_above", where=where, found=found)])
    problems, padded = [], []
    for number, row in filled[1:]:
        if any(_is_filled(cell) for cell in row[len(header) :]):
            problems.append(
                problem(
                    "row_too_long" if separated == "," else "cells_beside",
                    where=f"row {number}",
                    found=f"{len(row)} cells",
                    columns=len(header),
                )
            )
        cells = list(row[: len(header)])
        padded.append(tuple(cells + [""] * (len(header) - len(cells))))
    names = [name for name, _ in header]
    problems = _header_problems(names, row=header_number) + problems
    if problems:
        raise InputError(file, problems)
    return RawTable(
        file=file,
        header=tuple(names),
        rows=tuple(padded),
        numbers=tuple(number for number, _ in filled[1:]),
        reading=Reading(
            comma_decimals=comma,
            comma_seen=comma and _comma_seen(padded),
            feet=frozenset(name for name, feet in header if feet),
        ),
    )


def _is_filled(cell: Cell) -> bool:
    return not isinstance(cell, str) or bool(cell.strip())


def _is_wide(row: Sequence[Cell]) -> bool:
    """Whether a row has several cells, also where other marks separate them."""
    filled = [cell for cell in row if _is_filled(cell)]
    return len(filled) > 1 or any(";" in str(cell) for cell in filled)


def is_spreadsheet(file: str) -> bool:
    """Whether a file is read as a spreadsheet, by its name."""
    return file.lower().endswith((".xlsx", ".xlsm"))


def read_table(
    table: RawTable, *, model: type[Row], name: str, may_be_empty: bool = False
) -> tuple[Row, ...]:
    """Check header and cells of a table against its row model.

    Parameters
    ----------
    table : RawTable
        As :func:`raw_table` gives it.
    model : type
        Pydantic model of one row; its field names are the columns.
    name : str
        The table's name in the words, ``[column.<name>]``.
    may_be_empty : bool
        Whether a header without rows will do.

    Returns
    -------
    tuple of rows, in the order of the file; row i is ``table.numbers[i]``.

    Raises
    ------
    InputError
        Listing every column or every cell that cannot be used.
    """
    problems = _column_problems(table, model=model)
    if problems:
        raise InputError(table.file, problems)
    known = set(model.model_fields)
    rows: list[Row] = []
    required = [n for n, field in model.model_fields.items() if field.is_required()]
    before = table.numbers[0] if table.numbers else 0
    for number, cells in zip(table.numbers, table.rows, strict=True):
        found = dict(zip(table.header, cells, strict=True))
        if _is_remark(found, required=required, apart=number > before + 1):
            said = next(str(cell) for cell in cells if _is_filled(cell))
            problems.append(problem("remark_row", where=f"row {number}", found=said))
            continue
        before = number
        used = {column: cell for column, cell in found.items() if column in known}
        row, bad = read_row(
            used, model=model, name=name, where=f"row {number}", reading=table.reading
        )
        problems += bad
        if row is not None:
            rows.append(row)
    if problems:
        raise InputError(table.file, problems)
    if not rows and not may_be_empty:
        _refuse(table.file, "no_rows", table=name)
    return tuple(rows)


def _is_remark(cells: dict[str, Cell], *, required: Sequence[str], apart: bool) -> bool:
    """Whether a row is no row of the table: one lone cell, or a few below a gap."""
    filled = [column for column, cell in cells.items() if _is_filled(cell)]
    if len(filled) == 1 and len(required) > 1:
        return True
    few = len(filled) <= 2 < len(required)
    return apart and (few or 2 * len({*filled} & {*required}) < len(required))


def read_row(
    cells: dict[str, Cell],
    *,
    model: type[Row],
    name: str,
    where: str,
    reading: Reading,
    word: str = "column",
) -> tuple[Row | None, list[Problem]]:
    """One row, or all that is wrong with it.

    A blank cell of a column that may be left out says no more than its absence: map
    programs write every property of every feature. What counts then is the model's
    default, which the README.txt of a new folder names.
    """
    stated = {
        column: cell
        for column, cell in cells.items()
        if model.model_fields[column].is_required() or not is_blank(cell)
    }
    try:
        return model.model_validate(stated, context=reading), []
    except ValidationError as error:
        problems = []
        for detail in error.errors(include_url=False):
            context: dict[str, Any] = detail.get("ctx", {})
            column = str(detail["loc"][0] if detail["loc"] else context.get("column"))
            problems.append(
                told(
                    detail,
                    where=f"{where}, {word} {column}",
                    found=cells.get(column, ""),
                    remedies=(f"inputs.column.{name}.{column}",),
                )
            )
        return None, problems


def feet_findings(table: RawTable) -> list[Finding]:
    """A note where lengths of a table were read as feet; [] where none was."""
    found = [f"column {column}" for column in sorted(table.reading.feet)]
    for number, row in zip(table.numbers, table.rows, strict=True):
        for column, cell in zip(table.header, row, strict=True):
            if column.endswith("_m") and isinstance(cell, str) and is_feet(cell):
                found.append(f"row {number}, column {column}: {quoted(cell)}")
    if not found:
        return []
    shown = "; ".join(found[:3]) + ("; …" if len(found) > 3 else "")
    return [
        Finding(
            key="inputs.feet_read",
            severity=Severity.NOTE,
            where=table.file,
            values={"cells": shown},
        )
    ]


def _refuse(file: str, key: str, *, found: object = "", **values: Any) -> NoReturn:
    raise InputError(file, [problem(key, where="the file", found=found, **values)])


def _csv_rows(content: bytes, *, file: str) -> tuple[list[list[Cell]], str]:
    """The cells of a text file, and what separates them."""
    text = decode(content, file=file)
    if text.lstrip()[:1] in ("<", "{") or content[:2] == b"PK":
        _refuse(file, "not_a_table", found=text.strip()[:40])
    stated = _SEPARATOR_LINE.match(text.split("\n", 1)[0])
    separator = _separator(text) if stated is None else stated[1]
    try:
        # Each record keeps the number of its first line, as an editor shows it.
        rows: list[list[Cell]] = []
        reader = csv.reader(io.StringIO(text), delimiter=separator, strict=True)
        before = 0
        for record in reader:
            while len(rows) < before:
                rows.append([])
            rows.append(list(record))
            before = reader.line_num
            if stated is not None and before == 1:
                rows[0] = []
            if len(rows) > MOST_ROWS:
                _refuse(
                    file, "too_many_rows", found=f"{len(rows)} rows", most=MOST_ROWS
                )
    except csv.Error:
        where = f"line {reader.line_num}"
        raise InputError(file, [problem("broken_quotes", where=where)]) from None
    return rows, separator


def _separator(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip(" ;,\t")), "")
    return max(";\t,", key=lambda mark: (first.count(mark), mark == ","))


def decode(content: bytes, *, file: str) -> str:
    """Text of a file in UTF-8, UTF-16 (with its mark) or Windows-1252.

    Raises
    ------
    InputError
        If the bytes are no text.
    """
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise InputError(
        file, [problem("not_text", where="the file", found=content[:8].hex(" "))]
    )


def _column_name(cell: Cell) -> tuple[str, bool]:
    """A header cell as a column's name, and whether it says feet."""
    name = str(cell).strip().lstrip("\ufeff").lower()
    unit = _UNIT_IN_HEADER.match(name)
    if unit:
        name = f"{unit[1]}_{unit[2]}"
    name = re.sub(r"\s+", "_", name)
    for ending in ("_ft", "_feet"):
        if name.endswith(ending):
            return name.removesuffix(ending) + "_m", True
    return name, False


def _comma_seen(rows: Sequence[tuple[Cell, ...]]) -> bool:
    return any(
        isinstance(cell, str) and _DECIMAL_COMMA.match(cell.strip())
        for row in rows
        for cell in row
    )


def _header_problems(names: list[str], *, row: int) -> list[Problem]:
    problems = []
    for place, name in enumerate(names, start=1):
        where = f"row {row}, column {place}"
        if not name:
            problems.append(problem("column_without_name", where=where))
        elif name in names[: place - 1]:
            problems.append(problem("column_twice", where=where, found=name, name=name))
    return problems


def _column_problems(table: RawTable, *, model: type[BaseModel]) -> list[Problem]:
    known = list(model.model_fields)
    required = [n for n, field in model.model_fields.items() if field.is_required()]
    missing = [name for name in required if name not in table.header]
    problems = [
        problem(
            "unknown_column",
            where="the header",
            found=name,
            near=did_you_mean(name, [n for n in known if n not in table.header]),
        )
        for name in table.header
        if name not in known and name not in ALWAYS_ALLOWED
    ]
    problems += [
        problem(
            "missing_column",
            where="the header",
            found=", ".join(table.header) or "",
            name=name,
        )
        for name in missing
    ]
    return problems
