"""Cuts, duty hours and cooling pauses, as a folder states them."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_folder import FILES, edited, write_folder

from evac import open_lift
from evac.errors import InputError


def with_cuts(text: str) -> str:
    return edited("lift.toml", "[travel]", f"[assignment]\ncuts_m = {text}\n[travel]")


def test_cuts_are_read_in_order_of_distance(tmp_path: Path) -> None:
    folder = write_folder(tmp_path, lift_toml=with_cuts("[220, 110.5]"))
    assert open_lift(folder).cuts_m == (110.5, 220.0)
    assert open_lift(write_folder(tmp_path / "plain")).cuts_m == ()


@pytest.mark.parametrize("cuts", ["[400.0]", "[155]", "[110, 115]", "[2000]"])
def test_a_cut_on_a_support_beside_another_or_off_the_line_is_refused(
    tmp_path: Path, cuts: str
) -> None:
    with pytest.raises(InputError) as caught:
        open_lift(write_folder(tmp_path, lift_toml=with_cuts(cuts)))
    message = str(caught.value)
    assert "[assignment] cuts_m: found" in message
    assert "at least 10.0 m from every support and every other cut" in message


@pytest.mark.parametrize("cuts", ['["middle"]', "150", "[-5]"])
def test_what_is_no_list_of_distances_is_refused(tmp_path: Path, cuts: str) -> None:
    with pytest.raises(InputError, match=r"\[assignment\] cuts_m"):
        open_lift(write_folder(tmp_path, lift_toml=with_cuts(cuts)))


def with_column(name: str, column: str, *cells: str) -> str:
    head, *rows = FILES[name].splitlines()
    filled = [*cells, *[","] * (len(rows) - len(cells))]
    longer = [f"{row},{cell}" for row, cell in zip(rows, filled, strict=True)]
    return "\n".join([f"{head},{column}", *longer])


def test_duty_hours_are_clock_times(tmp_path: Path) -> None:
    teams = with_column("teams.csv", "duty_from,duty_to", "08:00,16:30")
    first, *others = open_lift(write_folder(tmp_path, teams_csv=teams)).teams
    assert (first.duty_from_s, first.duty_to_s) == (8 * 3600, 16.5 * 3600)
    assert {team.duty_from_s for team in others} == {None}


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ("08:00,", "both duty_from and duty_to, or neither"),
        ("08:00,08:00", "a clock time other than duty_from"),
        ("8 am,16:30", 'a clock time such as "15:00"'),
        ("25:00,16:30", 'a clock time such as "15:00"'),
    ],
)
def test_hours_that_say_nothing_are_refused(
    tmp_path: Path, cells: str, expected: str
) -> None:
    teams = with_column("teams.csv", "duty_from,duty_to", cells)
    with pytest.raises(InputError) as caught:
        open_lift(write_folder(tmp_path, teams_csv=teams))
    assert expected in str(caught.value)
    assert "teams.csv, row 2" in str(caught.value)


def test_a_pause_is_a_count_and_minutes(tmp_path: Path) -> None:
    kit = with_column("kit.csv", "pause_after,pause_min", "10,12")
    first, *others = open_lift(write_folder(tmp_path, kit_csv=kit)).kits
    assert (first.pause_after, first.pause_s) == (10, 720.0)
    assert {item.pause_after for item in others} == {None}
    half = with_column("kit.csv", "pause_after,pause_min", "10,")
    with pytest.raises(InputError, match="both pause_after and pause_min, or neither"):
        open_lift(write_folder(tmp_path / "half", kit_csv=half))
