"""All that is wrong in all files of a folder is said in one go."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from small_folder import FILES, edited, write_folder

from evac.errors import FolderError, InputError
from evac.inputs.folder import open_lift


def test_problems_of_every_file_are_listed_by_file_and_row(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path,
        lift_toml=edited("lift.toml", "gauge_m = 4.5", "gauge_m = -4.5"),
        kit_csv=FILES["kit.csv"]
        .replace("L2,Lower crew", "L2,Lower")
        .replace("ladder,5,0,no,2027", "ladder,5,0,maybe,2027"),
        teams_csv=edited("teams.csv", "46.8035,9.9005", "9.9005,46.8035"),
        muster_geojson=edited(
            "muster.geojson", '"shelter_places": 60', '"id2": 1'
        ).replace("[9.9005, 46.8035]", "[]"),
        times_csv=None,
        drills_csv="date,team,technique,step,per,seconds\n2026-11-05,A,x,y,span,-1\n",
    )

    with pytest.raises(FolderError) as refused:
        open_lift(folder)

    lines = str(refused.value).splitlines()
    assert lines[0] == "6 problems in 6 files; nothing was planned."
    # L2 belongs to no team of a table that cannot be used: that is not held against it.
    assert [line.strip().split(":")[0] for line in lines[1:]] == [
        "drills.csv, row 2, column seconds",
        "kit.csv, row 4, column launcher",
        "lift.toml, [lift] gauge_m",
        "muster.geojson, feature 1 (hut)",
        "teams.csv, row 2, column start_lat",
        "times.csv, [files] times",
    ]
    assert all(line.endswith(".") for line in lines)
    assert refused.value.file == "drills.csv"
    assert len(refused.value.errors) == 6


def test_rows_are_in_order_also_where_two_checks_met_them() -> None:
    from evac.errors import Problem

    def wrong(file: str, *rows: int) -> InputError:
        return InputError(
            file,
            [
                Problem(where=f"row {n}", found="x", expected="y", remedy="Do z.")
                for n in rows
            ],
        )

    told = str(
        FolderError([wrong("b.csv", 10, 9), wrong("a.csv", 3), wrong("b.csv", 2)])
    )

    assert [line.split(":")[0].strip() for line in told.splitlines()[1:]] == [
        "a.csv, row 3",
        "b.csv, row 2",
        "b.csv, row 9",
        "b.csv, row 10",
    ]


def test_layers_are_checked_without_a_place_for_the_lift(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path,
        supports_csv=edited("supports.csv", "46.8,9.9,no", "x,9.9,no"),
        access_geojson=edited("access.geojson", '"track"', '"trick"'),
    )

    with pytest.raises(FolderError) as refused:
        open_lift(folder)

    assert [error.file for error in refused.value.errors] == [
        "supports.csv",
        "access.geojson",
    ]


@pytest.mark.parametrize(
    "toml",
    [
        edited("lift.toml", "[files]", "[files"),
        edited("lift.toml", '"supports.csv"', "7"),
        edited("lift.toml", "schema = 1", "schema = 2"),
    ],
)
def test_where_the_names_of_the_files_are_not_known_they_are_not_judged(
    tmp_path: Path, toml: str
) -> None:
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, lift_toml=toml, kit_csv="x"))

    assert refused.value.file == "lift.toml"
    assert not isinstance(refused.value, FolderError)


def test_the_command_lists_them_too_and_ends_with_2(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "lift", kit_csv="x\n", teams_csv=None)
    done = subprocess.run(
        [sys.executable, "-m", "evac", "check", folder],
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 2
    assert done.stderr.startswith("evac: ")
    assert "kit.csv, the header" in done.stderr
    assert "teams.csv, [files] teams" in done.stderr
