"""Unusual numbers are findings with their usual range; impossible ones are refused.

Ranges without a source beside them are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import make_lift, make_terrain
from small_folder import FILES, edited, write_folder

from evac.errors import InputError
from evac.facts.lift import Lift
from evac.ground import sample_grid
from evac.inputs import fit
from evac.inputs.folder import open_lift
from evac.inputs.plausibility import checked
from evac.words import Words


def keys(lift: Lift) -> list[str]:
    """The findings' keys."""
    return [finding.key for finding in lift.findings]


def usual_lift() -> Lift:
    """The test lift with techniques for ropes that are no steeper than usual."""
    lift = make_lift()
    techniques = tuple(replace(t, most_rope_slope_deg=40.0) for t in lift.techniques)
    return replace(lift, techniques=techniques)


def spoil(**changes: Mapping[str, Any]) -> Lift:
    """The test lift with fields of its parts replaced, and judged."""
    lift = usual_lift()
    parts = {
        name: replace(getattr(lift, name), **values) for name, values in changes.items()
    }
    return checked(replace(lift, **parts), supports_file="supports.csv")


def test_a_usual_lift_raises_no_doubt() -> None:
    assert keys(checked(usual_lift(), supports_file="supports.csv")) == []


UNUSUAL: list[tuple[str, dict[str, Any]]] = [
    ("inputs.rope_mass", {"rope": {"mass_kg_per_m": 9.0}}),
    ("inputs.rope_mass", {"rope": {"mass_kg_per_m": 3.9}}),
    ("inputs.rope_stiffness", {"rope": {"axial_stiffness_n": 200e6}}),
    ("inputs.rope_strength", {"rope": {"breaking_force_n": 2.5e6}}),
    ("inputs.safety", {"tension": {"high_force_n": 500e3}}),
    ("inputs.safety_high", {"tension": {"high_force_n": 90e3}}),
    ("inputs.sag_large", {"tension": {"force_n": 40e3}}),
    ("inputs.sag_small", {"tension": {"force_n": 6e6}}),
    ("inputs.empty_mass", {"carriers": {"empty_mass_kg": 50.0}}),
    ("inputs.passenger_mass", {"carriers": {"passenger_mass_kg": 60.0}}),
    ("inputs.rope_to_seat", {"carriers": {"rope_to_seat_m": 9.0}}),
    ("inputs.interval", {"drives": {"line_speed_m_per_s": 0.2}}),
    ("inputs.capacity", {"carriers": {"spacing_m": 10.0, "on_loop": None}}),
    ("inputs.line_speed", {"drives": {"line_speed_m_per_s": 6.5}}),
    ("inputs.loop", {"carriers": {"on_loop": 80}}),
    ("inputs.time_zone", {"conditions": {"time_zone": "Asia/Tokyo"}}),
]


@pytest.mark.parametrize(("key", "changes"), UNUSUAL)
def test_an_unusual_number_is_told(key: str, changes: dict[str, Any]) -> None:
    lift = spoil(**changes)

    assert key in keys(lift)
    for finding in lift.findings:
        text, remedy = Words().finding(finding)
        assert text.endswith((".", "too."))
        assert remedy.endswith(".")


SOURCES = ("EN 12385", "ANSI B77.1", "French limit", "from memory", "common practice")


# For the time zone the sun is its own source.
@pytest.mark.parametrize(
    ("key", "changes"), [case for case in UNUSUAL if case[0] != "inputs.time_zone"]
)
def test_what_is_usual_is_said_with_its_source(
    key: str, changes: dict[str, Any]
) -> None:
    finding = next(f for f in spoil(**changes).findings if f.key == key)
    text, _ = Words().finding(finding)

    assert any(source in text for source in SOURCES), text
    assert sum(char.isdigit() for char in text) >= 2, text


def test_a_spacing_in_feet_is_told_by_the_capacity(tmp_path: Path) -> None:
    # Common practice, no source: papers round a capacity. 18 m are 59 ft; two seats
    # every 18 m at 2.2 m/s are 880 passengers an hour, by hand 3600 x 2 x 2.2 / 18.
    toml = FILES["lift.toml"].replace("on_loop = 46", "capacity_per_hour = 900")
    right = open_lift(write_folder(tmp_path / "right", lift_toml=toml))
    toml = toml.replace("spacing_m = 18.0", "spacing_m = 59.0")
    feet = open_lift(write_folder(tmp_path / "feet", lift_toml=toml))

    assert keys(right) == []
    assert keys(feet) == ["inputs.capacity_differs"]
    text, remedy = Words().finding(feet.findings[0])
    assert "make 268/h passengers, capacity_per_hour says 900/h" in text
    assert "the spacing would be 17.6 m" in remedy


def test_a_spacing_that_nothing_is_held_to_is_told(tmp_path: Path) -> None:
    # 17 carriers instead of 46 would hang there, and nothing would look wrong.
    toml = FILES["lift.toml"].replace("on_loop = 46", "")
    toml = toml.replace("spacing_m = 18.0", "spacing_m = 59.0")

    lift = open_lift(write_folder(tmp_path, lift_toml=toml))

    assert keys(lift) == ["inputs.spacing_unchecked"]


def test_numbers_in_order_count_the_carriers(tmp_path: Path) -> None:
    numbers = f"numbers = {list(range(1, 47))}"
    toml = FILES["lift.toml"].replace("on_loop = 46", numbers)

    lift = open_lift(write_folder(tmp_path, lift_toml=toml))

    assert lift.carriers.on_loop == 46
    assert keys(lift) == []


def test_rope_mass_by_en_12385_for_40_mm_is_usual_and_twice_it_is_not() -> None:
    # Source: EN 12385 factor W of 6x19 with fibre core, 0.359 kg per 100 m and mm2:
    # 0.359 x 40^2 / 100 = 5.74 kg/m (also in the table of API 9A).
    assert keys(spoil(rope={"mass_kg_per_m": 5.74, "diameter_m": 0.040})) == []
    assert "inputs.rope_mass" in keys(
        spoil(rope={"mass_kg_per_m": 2 * 5.74, "diameter_m": 0.040})
    )


def test_french_speed_limits_decide_what_is_unusual() -> None:
    # Source: French guide, monocable: detachable 6.0 m/s; fixed grip at most 2.8 m/s.
    fixed = {"grip": make_lift().carriers.grip.__class__("fixed")}
    at_limit = spoil(carriers=fixed, drives={"line_speed_m_per_s": 2.8})
    above = spoil(carriers=fixed, drives={"line_speed_m_per_s": 2.9})

    assert "inputs.line_speed" not in keys(at_limit)
    assert "inputs.line_speed" in keys(above)
    assert "inputs.line_speed" not in keys(spoil(drives={"line_speed_m_per_s": 6.0}))


@pytest.mark.parametrize(
    ("day", "stop_h", "change_h"),
    [
        # Directive 2000/84/EC: at 01:00 UTC on the last Sundays of March and October,
        # which is 02:00 and 03:00 by the clocks of central Europe.
        (date(2027, 3, 28), 1.5, 2.0),
        (date(2027, 3, 27), 22.0, 26.0),
        (date(2026, 10, 25), 0.5, 3.0),
        (date(2026, 10, 24), 22.5, 27.0),
        (date(2026, 10, 25), 4.0, None),
        (date(2026, 10, 24), 14.0, None),
        (date(2027, 1, 20), 23.0, None),
    ],
)
def test_a_night_when_the_clocks_change_is_told(
    day: date, stop_h: float, change_h: float | None
) -> None:
    changes = {
        "date": day, "stop_clock_s": stop_h * 3600, "time_zone": "Europe/Vienna"
    }  # fmt: skip
    told = [f for f in spoil(conditions=changes).findings if "clock" in f.key]

    assert [f.values["change_clock_s"] for f in told] == (
        [] if change_h is None else [change_h * 3600]
    )


def test_a_low_support_and_a_steep_span_are_named() -> None:
    lift = make_lift()
    low = replace(lift.supports[2], rope_height_m=1.2)
    high = replace(lift.supports[3], ground_m=lift.supports[3].ground_m + 400)
    supports = (*lift.supports[:2], low, high, *lift.supports[4:])

    told = checked(
        replace(lift, supports=supports, ground_table=None),
        supports_file="supports.csv",
    ).findings

    assert [f.where for f in told if f.key == "inputs.rope_height"] == ["2"]
    assert [f.where for f in told if f.key == "inputs.steep"] == ["2-3", "3-4"]


def surveyed_on_terrain(step_m: float) -> Lift:
    """The test lift whose survey stands `step_m` above its terrain."""
    terrain = make_terrain()
    lift = make_lift(terrain=terrain, ground_table=None)
    base = sample_grid(
        terrain,
        x_m=[s.x_m for s in lift.supports],  # type: ignore[arg-type]  # a list will do
        y_m=[s.y_m for s in lift.supports],  # type: ignore[arg-type]  # a list will do
    )
    supports = tuple(
        replace(support, ground_m=float(ground) + step_m, surveyed=True)
        for support, ground in zip(lift.supports, base, strict=True)
    )
    return replace(lift, supports=supports)


def test_a_geoid_step_between_survey_and_terrain_is_refused() -> None:
    # The geoid stands about 48 to 53 m above the ellipsoid in the Alps (EGM96).
    with pytest.raises(InputError) as refused:
        checked(surveyed_on_terrain(50.0), supports_file="supports.csv")

    assert refused.value.problems[0].expected == (
        "the terrain's ground to within a few metres; they differ by 50.0 m throughout"
    )
    assert "different height datums" in str(refused.value)


def test_a_small_step_between_survey_and_terrain_is_told() -> None:
    lift = checked(surveyed_on_terrain(-4.0), supports_file="supports.csv")

    step = next(f for f in lift.findings if f.key == "inputs.height_step")
    assert step.values["apart_m"] == pytest.approx(4.0)
    assert step.values["way"] == "below"
    assert "inputs.height_step" not in keys(
        checked(surveyed_on_terrain(0.0), supports_file="supports.csv")
    )


def test_elevations_in_feet_beside_terrain_in_metres_are_recognised() -> None:
    lift = surveyed_on_terrain(0.0)
    supports = tuple(replace(s, ground_m=s.ground_m / 0.3048) for s in lift.supports)

    with pytest.raises(InputError) as refused:
        checked(replace(lift, supports=supports), supports_file="supports.csv")

    assert "The elevations look like feet" in str(refused.value)


def test_terrain_of_another_place_is_refused() -> None:
    lift = surveyed_on_terrain(0.0)
    supports = tuple(
        replace(s, ground_m=s.ground_m + 90 * (-1) ** i)
        for i, s in enumerate(lift.supports)
    )

    with pytest.raises(InputError) as refused:
        checked(replace(lift, supports=supports), supports_file="supports.csv")

    assert "The terrain is of another place" in str(refused.value)


def test_a_spike_of_the_terrain_on_the_line_is_told() -> None:
    lift = surveyed_on_terrain(0.0)
    assert lift.terrain is not None
    heights = lift.terrain.elevation_m.copy()
    middle = lift.supports[3]
    row = round((middle.y_m - lift.terrain.south_m) / lift.terrain.cell_m)
    column = round((middle.x_m - lift.terrain.west_m) / lift.terrain.cell_m)
    reach = round(6 / lift.terrain.cell_m)
    heights[row - reach : row + reach, column - reach : column + reach] += 300
    supports = tuple(replace(s, surveyed=False) for s in lift.supports)

    told = fit.doubts(
        replace(
            lift,
            supports=supports,
            terrain=replace(lift.terrain, elevation_m=heights, source_cell_m=10.0),
        )
    )

    assert [finding.key for finding in told] == ["inputs.spike"]
    assert told[0].values["distance_m"] == pytest.approx(middle.distance_m, abs=10)
    assert fit.doubts(replace(lift, supports=supports)) == []


def test_a_support_off_the_ground_table_is_named(tmp_path: Path) -> None:
    text = edited("supports.csv", "280,1560", "280,1566")
    lift = open_lift(write_folder(tmp_path, supports_csv=text))

    assert [(f.key, f.where) for f in lift.findings] == [("inputs.off_table", "#4")]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "160,1530,1529.5",
            "110,1470,1470\n160,1530,1529.5",
            "The line crosses a valley: 110 m from the first station the ground lies "
            "30.0 m below the lower station.",
        ),
        (
            "280,1560,1560",
            "280,1560,1560\n340,1610,1612",
            "The line crosses a crest: 340 m from the first station the ground lies "
            "21.0 m above the upper station.",
        ),
    ],
)
def test_a_line_over_a_valley_or_a_crest_is_told(
    tmp_path: Path, old: str, new: str, told: str
) -> None:
    ground = edited("ground.csv", old, new)
    lift = open_lift(write_folder(tmp_path, ground_csv=ground))

    (finding,) = lift.findings
    assert Words().finding(finding)[0] == told


def test_a_valley_of_the_terrain_is_told_too() -> None:
    lift = surveyed_on_terrain(0.0)
    assert lift.terrain is not None
    rows = np.arange(lift.terrain.elevation_m.shape[0]) * lift.terrain.cell_m
    dip_m = 60 * np.exp(-(((rows + lift.terrain.south_m - 150) / 60) ** 2))
    sunk = replace(
        lift.terrain, elevation_m=lift.terrain.elevation_m - dip_m[:, None] * 3
    )
    supports = tuple(replace(s, surveyed=False) for s in lift.supports)

    told = fit.doubts(replace(lift, terrain=sunk, supports=supports))

    assert "inputs.valley" in [finding.key for finding in told]


def test_slope_length_in_place_of_plan_length_is_told(tmp_path: Path) -> None:
    # 400 m of plan and 90 m of rise make 410 m along the slope.
    text = FILES["supports.csv"].replace("li,400,", "li,410,")
    ground = edited("ground.csv", "400,1590,1590", "410,1590,1590")
    lift = open_lift(write_folder(tmp_path, supports_csv=text, ground_csv=ground))

    assert keys(lift) == ["inputs.length_in_doubt"]
    text, _ = Words().finding(lift.findings[0])
    assert (
        text == "The supports table gives the line 410 m, its lat and lon give 400 m."
    )


def test_every_finding_of_inputs_has_its_sentences() -> None:
    import re
    from importlib import resources

    import evac.inputs

    folder = resources.files(evac.inputs)
    code = "".join(
        item.read_text("utf-8") for item in folder.iterdir() if item.name[-3:] == ".py"
    )
    found = set(re.findall(r'"(inputs\.[a-z_]+)"', code))
    found |= {f"inputs.{name}" for name in re.findall(r'unusual\(\s*"(\w+)"', code)}
    words = Words()
    for key in found:
        if words.has(f"finding.{key}.text"):
            assert words.has(f"finding.{key}.remedy")
        else:
            assert words.has(key), key


def test_an_upper_station_that_lies_lower_is_refused() -> None:
    lift = make_lift()
    with pytest.raises(InputError) as refused:
        checked(
            replace(lift, upper_is_last=not lift.upper_is_last),
            supports_file="supports.csv",
        )
    assert "[lift] upper_station: found 'first', expected the station that" in str(
        refused.value
    )


def with_inner_place(tmp_path: Path, *, distance_m: float, **more: str) -> Lift:
    """The small folder with lat and lon of support 2-3, 160 m from the first."""
    # One degree of latitude is 111.17 km here (WGS 84): 160 m are 0.0014392 degrees.
    supports = (
        FILES["supports.csv"]
        .replace(
            "2-3,160,1530,8.5,,,,no",
            f"2-3,{distance_m},1530,8.5,,46.8014392,9.9,no",
        )
        .replace("1,60,1508,8,support,,,no", "1,60,1508,8,support,46.8005397,9.9,no")
    )
    folder = write_folder(tmp_path / "lift", supports_csv=supports, **more)
    return open_lift(folder, today=date(2027, 1, 20))


@pytest.mark.parametrize(("distance_m", "told"), [(160, 0), (161.5, 0), (166, 1)])
def test_a_distance_that_the_map_contradicts_is_told(
    tmp_path: Path, distance_m: float, told: int
) -> None:
    lift = with_inner_place(tmp_path, distance_m=distance_m)
    assert keys(lift).count("inputs.distance_in_doubt") == told


def test_a_distance_that_cannot_be_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        with_inner_place(tmp_path, distance_m=130)
    assert (
        "supports.csv, row 4, column distance_m: found 130, expected a distance "
        "about 100.0 m beyond support 1, as lat and lon of the two say, and not 70.0 m."
    ) in str(refused.value)


@pytest.mark.parametrize(("used_mj", "told"), [(7.5, 0), (7.6, 1)])
def test_a_descender_used_beyond_its_class_is_told(
    tmp_path: Path, used_mj: float, told: int
) -> None:
    lines = FILES["kit.csv"].splitlines()
    lines[0] += ",descent_energy_mj,descent_used_mj"
    lines[1] += f",7.5,{used_mj}"
    lines[2:] = [line + ",," for line in lines[2:]]
    folder = write_folder(tmp_path, kit_csv="\n".join(lines))
    found = [
        finding
        for finding in open_lift(folder, today=date(2027, 1, 20)).findings
        if finding.key == "inputs.descent_overused"
    ]

    assert len(found) == told
    for finding in found:
        assert Words().finding(finding)[0] == (
            "Kit L1: its descender has used 7.60 MJ of the 7.50 MJ of its class, so "
            "nothing is left of it."
        )
