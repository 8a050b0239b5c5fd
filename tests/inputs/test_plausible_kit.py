"""Numbers of kits and techniques that are doubted, because they err to danger.

A hand throw of 10 to 12 m is common practice, no source (rule 13 of the trade); so are
the other bounds. Feet, per cent and km/h are the units people mix up.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from small_folder import FILES, edited, write_folder

from evac.errors import InputError
from evac.inputs.folder import open_lift
from evac.words import Words

DAY = date(2027, 1, 20)


def told(folder: Path) -> list[str]:
    """Both sentences of every finding."""
    return [
        " ".join(Words().finding(finding))
        for finding in open_lift(folder, today=DAY).findings
    ]


def test_a_throw_in_feet_without_a_launcher_is_refused(tmp_path: Path) -> None:
    # 40 ft are 12.2 m.
    kit = edited("kit.csv", "L1,Upper patrol,loop,50,12", "L1,Upper patrol,loop,50,40")
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, kit_csv=kit), today=DAY)

    assert str(refused.value) == (
        "kit.csv, row 2, column throw_height_m: found 40, expected at most 25.0 m "
        "without a launcher (common practice, no source). By hand a line gets 10 to "
        "12 m high over the rope: if the number is in feet, write 12.2 m; if a "
        "launcher belongs to the kit, write yes in the column launcher; if somebody "
        "on the rope carries the line over, write no in needs_line_over_rope of the "
        "technique."
    )


def test_a_throw_that_few_can_do_is_told(tmp_path: Path) -> None:
    kit = edited("kit.csv", "L1,Upper patrol,loop,50,12", "L1,Upper patrol,loop,50,20")

    (text,) = told(write_folder(tmp_path, kit_csv=kit))

    assert text.startswith(
        "Kit L1: a line is said to get 20.0 m high over the rope by hand; 10.0 m to "
        "12.0 m is usual (common practice, no source)."
    )


def test_a_launcher_throws_as_high_as_it_throws(tmp_path: Path) -> None:
    kit = edited("kit.csv", "loop,50,12,no,2027-09-30\nL2", "loop,50,40,yes,\nL2")
    assert told(write_folder(tmp_path, kit_csv=kit)) == []


def test_a_launched_line_in_feet_is_told(tmp_path: Path) -> None:
    # 82 ft are 25 m; above 40 m: common practice, no source.
    kit = edited("kit.csv", "loop,50,12,no,2027-09-30\nL2", "loop,50,82,yes,\nL2")

    (text,) = told(write_folder(tmp_path / "feet", kit_csv=kit))

    assert text.startswith(
        "Kit L1: its launcher is said to get a line 82.0 m high over the rope; more "
        "than 40.0 m is unusual (common practice, no source)."
    )
    assert "if the number is in feet, write 25.0 m" in text
    metres = kit.replace("50,82,yes", "50,25,yes")
    assert told(write_folder(tmp_path / "metres", kit_csv=metres)) == []


def test_a_throw_of_a_kit_that_throws_nothing_is_nobodys_reach(tmp_path: Path) -> None:
    kit = edited("kit.csv", "ladder,5,0,no", "ladder,5,40,no")
    assert told(write_folder(tmp_path, kit_csv=kit)) == []


def test_a_rope_in_feet_is_told(tmp_path: Path) -> None:
    # 200 ft are 61.0 m.
    kit = edited("kit.csv", "L1,Upper patrol,loop,50", "L1,Upper patrol,loop,200")

    (text,) = told(write_folder(tmp_path, kit_csv=kit))

    assert text == (
        "Kit L1: its rope is 200 m long; more than 120 m is unusual (common practice, "
        "no source). Spans count as reached by it. Measure it: if the number is in "
        "feet, write 61.0 m in rope_length_m."
    )


@pytest.mark.parametrize("slope", [70, 90])
def test_a_slope_in_per_cent_is_told(tmp_path: Path, slope: int) -> None:
    # 70 % are 35 degrees, 90 % are 42.
    techniques = edited("techniques.csv", "0.05,yes,,40,", f"0.05,yes,,{slope},")

    (text,) = told(write_folder(tmp_path, techniques_csv=techniques))

    assert f"Technique loop is allowed on a rope as steep as {slope}°" in text
    assert "more than 45° is unusual (common practice, no source)" in text


def test_a_wind_limit_in_km_h_is_told(tmp_path: Path) -> None:
    # 43 km/h are 12 m/s.
    techniques = edited("techniques.csv", "no,yes,14,invented", "no,yes,43,invented")

    (text,) = told(write_folder(tmp_path, techniques_csv=techniques))

    assert "Technique loop is allowed in wind of 43.0 m/s" in text
    assert "more than 25.0 m/s is unusual (common practice, no source)" in text


def test_the_small_folder_raises_no_doubt(tmp_path: Path) -> None:
    assert "launcher" in FILES["kit.csv"]
    assert told(write_folder(tmp_path)) == []
