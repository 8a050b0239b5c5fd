"""Faults that others met in tables and places, each tried."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from builders import LOOP
from places import ROOT
from small_folder import FILES, edited, write_folder

from evac.errors import InputError
from evac.inputs.cells import Reading, plain_number
from evac.inputs.folder import open_lift


@pytest.mark.parametrize("name", ["None", "NA", "7.0", "007", "1e5", "#17", "10/11"])
def test_names_stay_as_they_are_written(tmp_path: Path, name: str) -> None:
    text = edited("supports.csv", "\n1,60,", f"\n{name},60,")
    lift = open_lift(write_folder(tmp_path, supports_csv=text))

    assert lift.supports[1].id == name


@pytest.mark.parametrize(
    "name",
    [
        *("04.03.2026", "3/4/2026", "2026-03-04", "2026-03-04 00:00:00", "04/03"),
        *("03/04/26", "03.04.26", "04-mar", "3-avr", "03-sept.", "09.ago", "3-des"),
        *("3. Apr", "4 mars 2026", "3-Apr-26", "Apr 3"),
    ],
)
def test_a_name_that_a_spreadsheet_wrote_as_a_date_is_refused(
    tmp_path: Path, name: str
) -> None:
    text = edited("supports.csv", "\n1,60,", f"\n{name},60,")
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, supports_csv=text))

    assert (
        f"row 3, column support: found '{name}', expected text. The spreadsheet made "
        "a date of it"
    ) in str(refused.value)


@pytest.mark.parametrize(
    "name",
    [
        *("3/4", "3-4", "1.2.3", "10/11", "Set 2", "2 Marmot", "31/32", "12-13"),
        # Serials: year, month or batch, and number.
        *("24-03-17", "03-04-26"),
    ],
)
def test_a_name_that_is_like_a_date_stays(tmp_path: Path, name: str) -> None:
    text = edited("supports.csv", "\n1,60,", f"\n{name},60,")
    lift = open_lift(write_folder(tmp_path, supports_csv=text))

    assert lift.supports[1].id == name


def test_a_separator_line_of_a_spreadsheet_is_read_past(tmp_path: Path) -> None:
    text = FILES["kit.csv"].replace(",", ";").replace(";50;", ";49,5;")
    lift = open_lift(write_folder(tmp_path / "a", kit_csv=f"sep=;\n{text}"))
    assert [kit.rope_length_m for kit in lift.kits] == [49.5, 49.5, 5]

    # Rows are numbered as an editor shows them.
    spoilt = text.replace("L2;Lower crew", "L2;Nobody")
    with pytest.raises(InputError, match="row 4, column team: found 'Nobody'"):
        open_lift(write_folder(tmp_path / "b", kit_csv=f"\ufeffsep=;\r\n{spoilt}"))


def workbook(folder: Path, cell: object) -> None:
    """The supports as a spreadsheet whose second support is named by `cell`."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row, line in enumerate(FILES["supports.csv"].splitlines()):
        cells: list[object] = list(line.split(","))
        if row == 2:
            cells[0] = cell
        sheet.append(cells)
    book.save(folder / "supports.xlsx")


def supports_from(folder: Path, cell: object) -> Path:
    toml = edited("lift.toml", '"supports.csv"', '"supports.xlsx"')
    write_folder(folder, supports_csv=None, lift_toml=toml)
    workbook(folder, cell)
    return folder


def test_whole_numbers_of_a_spreadsheet_get_no_decimal(tmp_path: Path) -> None:
    assert open_lift(supports_from(tmp_path, 7.0)).supports[1].id == "7"


def test_a_name_that_a_spreadsheet_turned_into_a_date_is_refused(
    tmp_path: Path,
) -> None:
    with pytest.raises(InputError) as refused:
        open_lift(supports_from(tmp_path, datetime(2027, 4, 3)))

    assert str(refused.value) == (
        "supports.xlsx, row 3, column support: found the date 2027-04-03, expected "
        "text. The spreadsheet made a date of it: format the column as text and enter "
        "it again."
    )


@pytest.mark.parametrize(
    ("text", "comma_decimals", "comma_seen", "value"),
    [
        ("1412.5", False, False, 1412.5),
        ("1 412.5", False, False, 1412.5),
        ("1\u202f412,5", True, True, 1412.5),
        ("1'412.5", False, False, 1412.5),
        ("1.553,4", True, True, 1553.4),
        ("12.345.678,9", True, True, 12345678.9),
        ("1.553", True, False, 1.553),
        ("\u22125", False, False, -5.0),
        (".5", False, False, 0.5),
        ("5e2", False, False, 500.0),
    ],
)
def test_numbers_are_read_as_their_table_writes_them(
    text: str, comma_decimals: bool, comma_seen: bool, value: float
) -> None:
    reading = Reading(comma_decimals=comma_decimals, comma_seen=comma_seen)

    assert plain_number(text, reading=reading) == value


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("2,100", Reading()),
        ("2.100", Reading(comma_decimals=True, comma_seen=True)),
        ("1,2,3", Reading(comma_decimals=True, comma_seen=True)),
        ("1.2,3.4", Reading(comma_decimals=True, comma_seen=True)),
        ("12 34", Reading()),
        ("1e", Reading()),
        ("0x10", Reading()),
    ],
)
def test_a_number_with_two_readings_or_none_is_refused(
    text: str, reading: Reading
) -> None:
    with pytest.raises(ValueError, match=r"two_readings|not_a_number"):
        plain_number(text, reading=reading)


def test_a_line_across_the_antimeridian_is_refused(tmp_path: Path) -> None:
    supports = (
        "support,distance_m,ground_m,rope_height_m,lat,lon\n"
        "0,0,100,5,51.9,179.998\n1,,150,9,51.9,180\n2,275,200,5,51.9,-179.998\n"
    )
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, supports_csv=supports))

    assert (
        "supports.csv, row 2, column lon: found 179.998, expected a lift at least 50 "
        "km from the 180th meridian (and not at a pole). Maps break off at that "
        "meridian, so that this lift cannot be planned here"
    ) in str(refused.value)


def test_a_comma_table_with_decimal_commas_says_what_is_wrong(tmp_path: Path) -> None:
    text = FILES["supports.csv"].replace("160,1530,8.5,", "160,1530,8,5,")
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, supports_csv=text))

    assert "a decimal comma in a table with commas needs a point" in str(refused.value)


def test_feet_and_inches_with_thousands(tmp_path: Path) -> None:
    # The mark of feet and the thousands mark of Switzerland look alike.
    text = FILES["supports.csv"].replace(",1500,", ",4921'3\",")
    lift = open_lift(
        write_folder(tmp_path, supports_csv=text.replace(",1590,", ",1'590,"))
    )

    assert lift.supports[0].ground_m == pytest.approx(4921.25 * 0.3048)
    assert lift.supports[-1].ground_m == 1590


@pytest.mark.parametrize("written", [str.title, str.upper, str.capitalize])
def test_a_step_counts_for_the_same_whatever_its_letters(
    tmp_path: Path, written: Callable[[str], str]
) -> None:
    # A spreadsheet makes the first letter of a cell a capital (common practice, no
    # source). "Add for ..." would else be done for everybody, and "Lower" by nobody.
    head, *rows = (ROOT / "tests" / "small_lift" / "times.csv").read_text().splitlines()
    cells = [row.split(",", 2) for row in rows]
    table = "\n".join([head, *(",".join([t, written(s), r]) for t, s, r in cells)])

    usual = open_lift(write_folder(tmp_path / "a", times_csv="\n".join([head, *rows])))
    lift = open_lift(write_folder(tmp_path / "b", times_csv=table + "\n"))

    assert any(row.step.startswith("add for") for row in usual.step_times)
    assert lift.step_times == usual.step_times


def test_drills_meet_their_steps_whatever_the_letters(tmp_path: Path) -> None:
    head = "date,team,technique,step,per,condition,seconds\n"
    row = f"2026-11-05,A,{LOOP},Make  Ready,Carrier,On Foot,80\n"
    toml = (
        FILES["lift.toml"] + f"[learning]\naccepted = ['{LOOP} / Make ready / carrier']"
    )

    lift = open_lift(write_folder(tmp_path, drills_csv=head + row, lift_toml=toml))

    (record,) = lift.drill_records
    assert (record.step, record.condition) == ("make ready", "on foot")
    assert lift.accepted_steps == {f"{LOOP} / make ready / carrier"}
