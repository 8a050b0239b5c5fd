"""What offices do with tables is understood, or answered with what to do about it.

All of it common practice, no source: dates with dots, titles above tables, remarks
beside and below them, decimal commas typed as text, endings added by an editor.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from small_folder import FILES, edited, write_folder

from evac.errors import InputError
from evac.inputs.folder import open_lift

DAY = date(2027, 1, 20)
Rows = list[list[object]]


def kit_rows() -> Rows:
    return [list(row) for row in csv.reader(io.StringIO(FILES["kit.csv"]))]


def with_kit_sheet(folder: Path, rows: Rows) -> Path:
    """The small folder with its kits in a spreadsheet of these rows."""
    write_folder(folder, kit_csv=None)
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(row)
    book.save(folder / "kit.xlsx")
    return folder


def refusal(folder: Path) -> str:
    with pytest.raises(InputError) as refused:
        open_lift(folder, today=DAY)
    return str(refused.value)


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("30.04.2027", date(2027, 4, 30)),
        ("1.9.2027", date(2027, 9, 1)),
        ("1. 9. 2027", date(2027, 9, 1)),
    ],
)
def test_a_date_with_dots_has_the_day_first(
    tmp_path: Path, written: str, meant: date
) -> None:
    old = "loop,50,12,no,2027-09-30\nL2"
    kit = edited("kit.csv", old, f"loop,50,12,no,{written}\nL2")
    toml = edited("lift.toml", "date = 2027-01-20", 'date = "20.01.2027"')

    lift = open_lift(write_folder(tmp_path, kit_csv=kit, lift_toml=toml))

    assert lift.kits[0].inspection_due == meant
    assert lift.conditions.date == DAY


@pytest.mark.parametrize("written", ["04/30/2027", "31.04.2027", "30.04.27"])
def test_a_date_of_two_readings_or_none_is_refused(
    tmp_path: Path, written: str
) -> None:
    old = "loop,50,12,no,2027-09-30\nL2"
    kit = edited("kit.csv", old, f"loop,50,12,no,{written}\nL2")

    assert "expected a date such as 2026-11-25 or 25.11.2026" in refusal(
        write_folder(tmp_path, kit_csv=kit)
    )


def titled(rows: Rows) -> Rows:
    return [["Kits of the valley crews 2026"], *rows]


def remark_beside(rows: Rows) -> Rows:
    return [*rows[:2], [*rows[2], "", "new since autumn"], *rows[3:]]


def remark_below(rows: Rows) -> Rows:
    return [*rows, [], ["As of autumn 2026"]]


def sum_below(rows: Rows) -> Rows:
    return [*rows, [], ["Sum", "", "", 105]]


def comma_as_text(rows: Rows) -> Rows:
    return [rows[0], [*rows[1][:3], "50,5", *rows[1][4:]], *rows[2:]]


@pytest.mark.parametrize(
    ("habit", "told"),
    [
        (
            titled,
            "kit.xlsx, row 1: found 'Kits of the valley crews 2026', expected the "
            "column names in the first row. Delete the title and whatever else stands "
            "above the column names.",
        ),
        (
            remark_beside,
            "kit.xlsx, row 3: found '9 cells', expected at most 7 cells, as many as "
            "there are column names. Nothing may stand to the right of the table: give "
            "your remarks a column note, or delete them.",
        ),
        (
            remark_below,
            "kit.xlsx, row 6: found 'As of autumn 2026', expected a whole row of the "
            "table. Remarks and sums may not stand below or between the rows: move "
            "them into a column note, or delete them. If it is a row of the table, "
            "fill in its cells.",
        ),
        (sum_below, "kit.xlsx, row 6: found 'Sum', expected a whole row of the table."),
        (
            comma_as_text,
            "kit.xlsx, row 2, column rope_length_m: found '50,5', expected a number "
            "with a decimal point. Write 50.5; in a spreadsheet enter it as a number "
            "and not as text.",
        ),
    ],
)
def test_what_stands_in_a_table_is_answered_with_what_to_do(
    tmp_path: Path, habit: Callable[[Rows], Rows], told: str
) -> None:
    said = refusal(with_kit_sheet(tmp_path / "lift", habit(kit_rows())))

    assert said.startswith(told)
    assert "\n" not in said


def test_a_remark_below_a_text_table_is_answered_alike(tmp_path: Path) -> None:
    # Otherwise a person would be asked how high the rope hangs at this remark.
    supports = FILES["supports.csv"] + "\nSource: survey 2019\n"

    assert refusal(write_folder(tmp_path, supports_csv=supports)).startswith(
        "supports.csv, row 8: found 'Source: survey 2019', expected a whole row of"
    )


def test_a_lift_toml_that_an_editor_renamed_is_named(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "lift")
    (folder / "lift.toml").rename(folder / "lift.toml.txt")

    assert refusal(folder) == (
        f"{folder}, the folder: found 'lift.toml.txt', expected a file lift.toml. "
        "Rename lift.toml.txt to lift.toml. Where endings of names are hidden, show "
        "them first: an editor may have added one."
    )


def test_only_a_file_that_may_be_a_lift_is_to_be_renamed(tmp_path: Path) -> None:
    # `evac check .` in a project's root: its pyproject.toml is no lift.
    root = tmp_path / "root"
    root.mkdir()
    (root / "pyproject.toml").write_text('[project]\nname = "x"\n', "utf-8")
    assert "Rename" not in refusal(root)

    (root / "valley.toml").write_text('[lift]\nname = "Valley"\n', "utf-8")
    assert "Rename valley.toml to lift.toml." in refusal(root)


def test_a_text_that_the_plan_would_never_show_is_refused(tmp_path: Path) -> None:
    toml = FILES["lift.toml"] + '[plan_texts]\nauthorty = "The chief decides."\n'

    assert refusal(write_folder(tmp_path, lift_toml=toml)) == (
        "lift.toml, [plan_texts] authorty: found 'The chief decides.', expected the "
        "key of an item of the plan. The plan would never show this text. Did you mean "
        "authority?"
    )
