"""Spreadsheets are read as a person sees them; what would be lost is refused."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from small_folder import FILES, edited, write_folder

from evac.errors import InputError
from evac.inputs.folder import open_lift
from evac.inputs.number_format import shown_number
from evac.inputs.tables import raw_table
from evac.units import FOOT_M

Change = Callable[[Any, Any], None]


def saved(book: Any) -> bytes:
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def table_book(name: str, change: Change) -> Any:
    """A table of the small folder as a workbook, changed by ``change(book, sheet)``."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line in FILES[f"{name}.csv"].splitlines():
        cells: list[object] = []
        for text in line.split(","):
            try:
                cells.append(float(text))
            except ValueError:
                cells.append(text or None)
        sheet.append(cells)
    change(book, sheet)
    return book


def with_sheet(folder: Path, name: str, content: bytes) -> Path:
    replaced: dict[str, Any] = {f"{name}_csv": None, f"{name}_xlsx": content}
    if name == "supports":
        toml = edited("lift.toml", '"supports.csv"', '"supports.xlsx"')
        replaced["lift_toml"] = toml
    return write_folder(folder, **replaced)


def opened(folder: Path, name: str, change: Change) -> Any:
    return open_lift(with_sheet(folder, name, saved(table_book(name, change))))


def refusal(folder: Path, name: str, change: Change) -> str:
    with pytest.raises(InputError) as refused:
        opened(folder, name, change)
    return str(refused.value)


def formatted(cell: str, number_format: str) -> Change:
    def change(_: Any, sheet: Any) -> None:
        sheet[cell].number_format = number_format

    return change


# --- Number formats ------------------------------------------------------------------


@pytest.mark.parametrize("number_format", ['0" ft"', "0'", "0\\ \\f\\t", '0.0 "feet"'])
def test_a_number_format_that_says_feet_is_read_as_feet(
    tmp_path: Path, number_format: str
) -> None:
    lift = opened(tmp_path, "kit", formatted("D2", number_format))

    assert lift.kits[0].rope_length_m == pytest.approx(50 * FOOT_M)
    assert lift.kits[1].rope_length_m == 50
    (told,) = [item for item in lift.findings if item.key == "inputs.feet_read"]
    assert "row 2, column rope_length_m: '50" in str(told.values)


@pytest.mark.parametrize("number_format", ["0.00", '0.0" m"', "#,##0", "#'##0", "0_-"])
def test_a_number_format_without_another_unit_changes_nothing(
    tmp_path: Path, number_format: str
) -> None:
    lift = opened(tmp_path, "kit", formatted("D2", number_format))

    assert lift.kits[0].rope_length_m == 50


@pytest.mark.parametrize(
    ("cell", "number_format", "shown"),
    [
        ("D2", '0" yd"', "'50 yd'"),
        ("D2", "0%", "'5000%'"),
        ("D2", '[>9]0" ft";0" m"', "'50 ft m'"),
        ("G2", '0" h"', "'6 h'"),
    ],
)
def test_a_number_format_with_another_unit_is_refused(
    tmp_path: Path, cell: str, number_format: str, shown: str
) -> None:
    name = "teams" if cell.startswith("G") else "kit"

    told = refusal(tmp_path, name, formatted(cell, number_format))

    assert f"found {shown}, expected a number" in told


def test_a_unit_that_is_the_columns_own_may_stand_in_its_format(tmp_path: Path) -> None:
    def change(_: Any, sheet: Any) -> None:
        sheet["G2"].number_format = '0" min"'
        sheet["E2"].number_format = '0.0000"°"'

    assert opened(tmp_path, "teams", change).teams[0].ready_s == 6 * 60


@pytest.mark.parametrize(
    "number_format",
    [
        '#,##0 "kr"',
        '"CHF" #,##0',
        "[$CHF] #,##0",
        "[$USD] #,##0",
        '"Fr." #,##0.00',
        '#,##0\\ "Kč"',
        "R$ #,##0",
        '0",-"',
        '_-* #,##0 "kr"_-;-* #,##0 "kr"_-;_-* "-"?? "kr"_-;_-@_-',
    ],
)
@pytest.mark.parametrize("cost", [0, 1250, 99.5])
def test_a_cost_may_be_shown_in_any_currency(
    tmp_path: Path, number_format: str, cost: float
) -> None:
    # Number formats that spreadsheet programs offer (from memory).
    def change(_: Any, sheet: Any) -> None:
        for row, value in enumerate(("cost", cost, cost), start=1):
            sheet.cell(row, 10).value = value
            sheet.cell(row, 10).number_format = number_format

    assert opened(tmp_path, "teams", change).teams[0].cost == cost


@pytest.mark.parametrize(
    ("cost", "number_format"), [(-5, '0 "kr"'), (0.5, "0%"), (5, '"a 2nd" 0')]
)
def test_a_cost_that_shows_more_than_a_currency_is_refused(
    tmp_path: Path, cost: float, number_format: str
) -> None:
    def change(_: Any, sheet: Any) -> None:
        for row, value in enumerate(("cost", cost, cost), start=1):
            sheet.cell(row, 10).value = value
            sheet.cell(row, 10).number_format = number_format

    assert "row 2, column cost" in refusal(tmp_path, "teams", change)


def test_people_and_metres_above_the_sea_are_what_they_are_called(
    tmp_path: Path,
) -> None:
    crew = opened(tmp_path / "crew", "teams", formatted("B2", '0 "people"'))
    ground = [
        opened(tmp_path / str(place), "ground", formatted("B2", number_format))
        for place, number_format in enumerate(
            ['#,##0" m ü. M."', '0 "m a.s.l."', '0 "m s.l.m."', '0 "m ü. NN"', "0"]
        )
    ]

    assert crew.teams[0].crew == open_lift(write_folder(tmp_path / "x")).teams[0].crew
    assert len({lift.supports[0].ground_m for lift in ground}) == 1
    # Above the sea is no height above the ground.
    told = refusal(tmp_path / "b", "supports", formatted("D2", '0" m ü. M."'))
    assert "row 2, column rope_height_m" in told


def test_a_share_may_be_shown_in_per_cent(tmp_path: Path) -> None:
    lift = opened(tmp_path, "techniques", formatted("L2", "0%"))

    assert lift.techniques[0].stretch_share == 0.02


@pytest.mark.parametrize(
    ("number_format", "name"),
    [
        ('"T"0', "T1"),
        ('"T-"0', "T-1"),
        ('"No. "0"b"', "No. 1b"),
        ("000", "001"),
        ("General", "1"),
        ("@", "1"),
    ],
)
def test_a_name_is_the_one_that_its_cell_shows(
    tmp_path: Path, number_format: str, name: str
) -> None:
    lift = opened(tmp_path, "supports", formatted("A3", number_format))

    assert lift.supports[1].id == name


@pytest.mark.parametrize(
    ("value", "number_format", "shown"),
    [
        (-3.0, '0" ft";-0" ft"', "-3 ft"),
        (0, '0;-0;"none"', "none"),
        (1412.5, "0+000.0", "1412.5"),
        (5, "[$CHF-807] 0.00", "5"),
        (5, "[$CHF] #,##0", "5"),
        (5, "[$ft] 0", "ft 5"),
        (5, '0.00 "€"', "5"),
        (2, "[Red]0.0", "2"),
        (7, ";;;", "7"),
        (1e6, "0.0E+00", "1000000"),
        (5, '_-* 0" ft"_-', "5 ft"),
    ],
)
def test_the_words_of_a_number_format_go_with_the_number(
    value: float, number_format: str, shown: str
) -> None:
    assert shown_number(value, number_format=number_format) == shown


# --- Rows, sheets, formulas ----------------------------------------------------------


def edited_parts(content: bytes, edits: dict[str, tuple[str, str]]) -> bytes:
    """The workbook with one place changed in each of some parts."""
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as source,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.infolist():
            part = source.read(entry)
            if entry.filename in edits:
                old, new = edits[entry.filename]
                text = part.decode("utf-8")
                assert text.count(old) == 1, text[:400]
                part = text.replace(old, new).encode("utf-8")
            target.writestr(entry.filename, part)
    return made.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


def test_rows_beyond_the_stated_size_are_read(tmp_path: Path) -> None:
    book = table_book("kit", lambda *_: None)
    content = edited_parts(
        saved(book), {SHEET: ('<dimension ref="A1:G4"', '<dimension ref="A1:G2"')}
    )

    lift = open_lift(with_sheet(tmp_path, "kit", content))

    assert [kit.id for kit in lift.kits] == ["L1", "L2", "A1"]


def test_an_empty_last_row_of_the_sheet_is_no_row(tmp_path: Path) -> None:
    # Some programs write the height of the very last row, 1,048,576, into the file.
    book = table_book("kit", lambda *_: None)
    content = edited_parts(
        saved(book), {SHEET: ("</sheetData>", '<row r="1048576"/></sheetData>')}
    )

    assert len(open_lift(with_sheet(tmp_path, "kit", content)).kits) == 3


def test_an_old_copy_on_a_hidden_sheet_is_not_read(tmp_path: Path) -> None:
    def change(book: Any, sheet: Any) -> None:
        old = book.copy_worksheet(sheet)
        old["D2"] = 999
        old.sheet_state = "hidden"
        book.move_sheet(old, offset=-1)
        book.active = 1

    assert opened(tmp_path, "kit", change).kits[0].rope_length_m == 50


def test_cells_on_a_second_visible_sheet_are_refused(tmp_path: Path) -> None:
    def change(book: Any, _: Any) -> None:
        more = book.create_sheet("Lower station")
        more.append(["kit", "rope_length_m"])
        book.create_sheet("empty")

    assert refusal(tmp_path, "kit", change) == (
        "kit.xlsx, the file: found 'Sheet, Lower station', expected cells on one "
        "visible sheet only. Only one sheet is read, so that the others would be left "
        "out: put all rows on one sheet, and hide or delete the others."
    )


def test_merged_cells_are_refused(tmp_path: Path) -> None:
    # Else the second of two kits of one team would silently become a spare.
    def change(_: Any, sheet: Any) -> None:
        sheet["B3"] = None
        sheet.merge_cells("B2:B3")
        sheet.merge_cells("J8:K9")

    assert refusal(tmp_path, "kit", change) == (
        "kit.xlsx, cells B2:B3: found 'Upper patrol', expected a cell for every row "
        "and column. Of merged cells only the first has the value, and the others "
        "count as blank: take the merging off and fill in every cell."
    )


def test_a_formula_that_nothing_has_computed_is_refused(tmp_path: Path) -> None:
    def change(_: Any, sheet: Any) -> None:
        sheet["G3"] = "=DATE(2020,1,1)"

    assert refusal(tmp_path, "kit", change) == (
        "kit.xlsx, row 3, column 7: found '=DATE(2020,1,1)', expected a value. The "
        "file holds this formula without what it gives: open it in a spreadsheet "
        "program and save it again, or write the value."
    )


def test_a_formula_without_a_value_does_no_harm_where_nobody_reads_it(
    tmp_path: Path,
) -> None:
    def change(_: Any, sheet: Any) -> None:
        width = sheet.max_column
        for row, text in enumerate((" Note", "=A2", "=A3"), start=1):
            sheet.cell(row, width + 1).value = text
        sheet.cell(2, width + 4).value = "=SUM(D2:D4)"

    assert len(opened(tmp_path, "kit", change).kits) == 3


def test_a_header_that_nothing_has_computed_is_refused(tmp_path: Path) -> None:
    # Its whole column would be left out without a word.
    def change(_: Any, sheet: Any) -> None:
        column = sheet.max_column + 1
        sheet.cell(1, column).value = '="pause"&"_min"'
        sheet.cell(2, column).value = "=A2"

    told = refusal(tmp_path, "kit", change)

    assert "row 1, column" in told
    assert "expected a value" in told


def test_rows_that_a_filter_hides_are_read(tmp_path: Path) -> None:
    def change(_: Any, sheet: Any) -> None:
        sheet.row_dimensions[3].hidden = True
        sheet.column_dimensions["B"].hidden = True

    usual = opened(tmp_path / "a", "kit", lambda *_: None)

    assert opened(tmp_path / "b", "kit", change).kits == usual.kits


def test_a_formula_that_gives_an_empty_text_is_a_blank_cell(tmp_path: Path) -> None:
    def change(_: Any, sheet: Any) -> None:
        sheet["G3"] = '=""'

    content = edited_parts(
        saved(table_book("kit", change)),
        {SHEET: ('<c r="G3"><f>', '<c r="G3" t="str"><f>')},
    )

    assert open_lift(with_sheet(tmp_path, "kit", content)).kits[1].inspection_due is (
        None
    )


def test_real_dates_and_times_of_cells_are_read(tmp_path: Path) -> None:
    def kit(_: Any, sheet: Any) -> None:
        sheet["G2"] = date(2027, 9, 30)
        sheet["G3"] = datetime(2027, 9, 29, 14, 5)

    def teams(_: Any, sheet: Any) -> None:
        for row, (begins, ends) in enumerate(
            [("duty_from", "duty_to"), (time(8, 0), time(16, 30, 30))], start=1
        ):
            sheet.cell(row, 10).value = begins
            sheet.cell(row, 11).value = ends

    kits = opened(tmp_path / "kit", "kit", kit).kits
    (first, _) = opened(tmp_path / "teams", "teams", teams).teams

    assert [item.inspection_due for item in kits[:2]] == [
        date(2027, 9, 30),
        date(2027, 9, 29),
    ]
    assert (first.duty_from_s, first.duty_to_s) == (8 * 3600, 16.5 * 3600 + 30)


# --- Sizes ---------------------------------------------------------------------------


def sheet_of(cells: str) -> bytes:
    content = saved(openpyxl.Workbook())
    return edited_parts(content, {SHEET: ("</sheetData>", f"{cells}</sheetData>")})


def test_a_row_of_a_million_cells_is_refused_at_once() -> None:
    with pytest.raises(InputError) as refused:
        raw_table(sheet_of("<row>" + "<c/>" * 1_000_000 + "</row>"), file="kit.xlsx")

    assert "expected a spreadsheet of at most about 150,000 cells" in str(refused.value)


def test_a_sheet_above_the_real_limit_is_refused_before_it_is_parsed() -> None:
    with pytest.raises(InputError) as refused:
        raw_table(sheet_of(" " * 21_000_000), file="kit.xlsx")

    assert "bytes unpacked', expected at most 20,000,000" in str(refused.value)


def test_a_cell_far_to_the_right_is_not_left_out_silently(tmp_path: Path) -> None:
    def change(_: Any, sheet: Any) -> None:
        sheet.cell(2, 300).value = "retired"

    assert "expected cells in the first 200 columns only" in refusal(
        tmp_path, "kit", change
    )
