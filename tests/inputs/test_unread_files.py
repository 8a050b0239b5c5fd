"""A file that looks like input is read, named, or refused: never passed over.

What people's programs leave beside a file ("save as", a letter missing, a copy) is
common practice, no source.
"""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from places import ROOT
from small_folder import FILES, HAZARDS, LIFT_TOML, write_folder

from evac.errors import InputError
from evac.inputs.folder import open_lift
from evac.words import Words

DAY = date(2027, 1, 20)


def told(folder: Path) -> list[str]:
    """The texts of the findings about files that were not read."""
    findings = open_lift(folder, today=DAY).findings
    return [
        Words().finding(finding)[0]
        for finding in findings
        if finding.key == "inputs.unread_file"
    ]


def save_times_as_xlsx(folder: Path, *, factor: float) -> None:
    """What "save as" makes of ``times.csv``, with every time multiplied."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for number, row in enumerate(csv.reader(io.StringIO(FILES["times.csv"]))):
        times = row[3:6] if number == 0 else [float(cell) * factor for cell in row[3:6]]
        sheet.append([*row[:3], *times, *row[6:]])
    book.save(folder / "times.xlsx")


def test_times_saved_as_xlsx_beside_the_delivered_ones_are_told(
    tmp_path: Path,
) -> None:
    toml = LIFT_TOML + 'times = "times.csv"\n'
    folder = write_folder(tmp_path / "lift", lift_toml=toml)
    save_times_as_xlsx(folder, factor=3)

    assert told(folder) == [
        "1 file in the lift folder looks like input and is not read: times.xlsx "
        "(times.csv is read in its place)."
    ]


def test_two_files_that_could_be_the_times_are_refused(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "lift")
    save_times_as_xlsx(folder, factor=3)

    with pytest.raises(InputError) as refused:
        open_lift(folder, today=DAY)

    assert str(refused.value) == (
        "lift.toml, [files] times: found 'times.csv, times.xlsx', expected "
        "one file. It is not known which of them counts: name the right one in [files] "
        "of lift.toml, or move the others into a folder of their own."
    )


def test_two_layers_of_hazards_are_refused_until_one_is_named(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "lift")
    (folder / "hazards.json").write_text(HAZARDS, encoding="utf-8")
    with pytest.raises(InputError, match=r"hazards\.geojson, hazards\.json"):
        open_lift(folder, today=DAY)

    toml = LIFT_TOML + 'hazards = "hazards.json"\n'
    (folder / "lift.toml").write_text(toml, encoding="utf-8")

    assert told(folder) == [
        "1 file in the lift folder looks like input and is not read: hazards.geojson "
        "(hazards.json is read in its place)."
    ]


def test_a_layer_with_a_letter_missing_is_told(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "lift", hazards_geojson=None)
    (folder / "hazard.geojson").write_text(HAZARDS, encoding="utf-8")

    assert told(folder) == [
        "1 file in the lift folder looks like input and is not read: hazard.geojson "
        "(is it meant as hazards.geojson?)."
    ]


@pytest.mark.parametrize(
    "name",
    ["dem.tif", "towers.CSV", "lift - copy.toml", "hazards.shp", "crew.ods", "n46.hgt"],
)
def test_a_file_that_nobody_named_is_told(tmp_path: Path, name: str) -> None:
    folder = write_folder(tmp_path / "lift")
    (folder / name).write_bytes(b"II*\0")

    (text,) = told(folder)

    assert f"not read: {name}" in text


@pytest.mark.parametrize(
    "name",
    ["rope certificate.pdf", "README.txt", "photo.jpg", "~$times.xlsx", "._a.csv"],
)
def test_papers_and_files_of_programs_are_nobodys_input(
    tmp_path: Path, name: str
) -> None:
    folder = write_folder(tmp_path / "lift")
    (folder / name).write_bytes(b"x")
    (folder / "old").mkdir()
    (folder / "old" / "times.csv").write_bytes(b"x")

    assert told(folder) == []


@pytest.mark.parametrize("demo", ["larkfell_four", "thornmere_eight"])
def test_every_file_of_the_demos_is_read(demo: str) -> None:
    assert told(ROOT / "data_demo" / demo) == []
