"""A well-formed folder, whatever its files are written in, gives the same lift."""

from __future__ import annotations

import hashlib
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from pyproj import Geod
from small_folder import FILES, LOOP, edited, write_folder

from evac.errors import InputError
from evac.facts.lift import Grip, SupportKind, TensionState
from evac.inputs.folder import open_lift


def test_a_well_formed_folder_opens_without_a_doubt(tmp_path: Path) -> None:
    lift = open_lift(write_folder(tmp_path))

    assert lift.findings == ()
    assert [support.id for support in lift.supports] == ["0", "1", "2-3", "#4", "Täli"]
    assert lift.supports[0].kind is SupportKind.STATION
    assert lift.supports[2].kind is None
    assert lift.tension.state is TensionState.CONSTANT
    assert lift.carriers.grip is Grip.FIXED
    assert lift.conditions.date == date(2027, 1, 20)
    assert lift.conditions.stop_clock_s == 13.5 * 3600
    assert lift.organisation.order_to_secured_s.likely == 600
    assert [team.start_upper for team in lift.teams] == [True, True]
    assert lift.hazards[0].opens_s is not None
    assert lift.hazards[0].opens_s.high == 900
    assert lift.ways[0].travel == ("foot", "snow vehicle")


def test_units_of_people_become_si(tmp_path: Path) -> None:
    lift = open_lift(write_folder(tmp_path))

    assert lift.tension.force_n == 120_000
    assert lift.rope.axial_stiffness_n == 33e6
    assert lift.rope.diameter_m == pytest.approx(0.029)
    assert lift.teams[0].ready_s == 360
    assert lift.drives.emergency_engage_s is not None
    assert lift.drives.emergency_engage_s.likely == 600


def test_stops_to_unload_and_the_part_before_rescue_may_be_given(
    tmp_path: Path,
) -> None:
    drives = edited(
        "lift.toml", "[drives]\n", "[drives]\nunload_stop_s = [5, 15, 40]\n"
    )
    text = drives.replace("[[limit]]\n", "[[limit]]\nbefore_rescue_min = 30\n")
    plain = open_lift(write_folder(tmp_path / "plain"))
    assert plain.drives.unload_stop_s is None
    assert plain.limits[0].before_rescue_min is None

    lift = open_lift(write_folder(tmp_path / "told", lift_toml=text))
    assert lift.drives.unload_stop_s is not None
    assert lift.drives.unload_stop_s.likely == 15
    assert lift.limits[0].before_rescue_min == 30


def test_a_step_may_cost_by_the_metre_and_by_the_passenger(tmp_path: Path) -> None:
    # Two costs of one name; the ways of costing keep them apart.
    by_metre = "lower,metre,1.2,1.7,3.0,\n"
    loop = "loop over the haul rope belayed from the ground"
    times = edited(
        "times.csv", by_metre, by_metre + f"{loop},lower,passenger,5,9,20,\n"
    )

    lift = open_lift(write_folder(tmp_path, times_csv=times))

    assert {
        (s.per, s.seconds.likely) for s in lift.step_times if s.step == "lower"
    } == {
        ("metre", 1.7),
        ("passenger", 9.0),
    }


def test_supports_without_a_place_stand_on_the_straight_line(tmp_path: Path) -> None:
    lift = open_lift(write_folder(tmp_path))

    # Reference: pyproj's geodesic on WGS 84 between the two ends of the table.
    _, _, length_m = Geod(ellps="WGS84").inv(9.9, 46.8, 9.9, 46.803597)
    ends_m = lift.supports[-1].y_m
    assert ends_m == pytest.approx(length_m, abs=0.01)
    for support in lift.supports:
        assert support.x_m == pytest.approx(0, abs=1e-6)
        assert support.y_m == pytest.approx(support.distance_m * ends_m / 400)


def test_distances_left_blank_come_from_the_places(tmp_path: Path) -> None:
    rows = FILES["supports.csv"].splitlines()
    placed = [rows[0], "0,,1500,4,station,46.8,9.9,no"]
    for index, latitude in enumerate((46.801, 46.802), start=1):
        placed.append(f"{index},,1520,9,support,{latitude},9.9,no")
    placed.append("9,,1590,4,station,46.803597,9.9,no")
    folder = write_folder(tmp_path, supports_csv="\n".join(placed))

    lift = open_lift(folder)

    geod = Geod(ellps="WGS84")
    for support, latitude in zip(
        lift.supports, (46.8, 46.801, 46.802, 46.803597), strict=True
    ):
        _, _, distance_m = geod.inv(9.9, 46.8, 9.9, latitude)
        assert support.distance_m == pytest.approx(distance_m, abs=0.01)


def test_every_file_is_in_the_fingerprint(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)

    lift = open_lift(folder)

    assert set(lift.fingerprint) == set(FILES)
    for name, shown in lift.fingerprint.items():
        assert shown == hashlib.sha256((folder / name).read_bytes()).hexdigest()


def test_inputs_are_never_changed(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}

    open_lift(folder)

    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_folder_without_a_date_is_planned_for_today(tmp_path: Path) -> None:
    toml = edited("lift.toml", "date = 2027-01-20\n", "")
    lift = open_lift(write_folder(tmp_path, lift_toml=toml), today=date(2027, 2, 1))

    assert lift.conditions.date == date(2027, 2, 1)


def test_a_spacing_under_tension_is_let_back_to_no_tension(tmp_path: Path) -> None:
    toml = edited(
        "lift.toml", "spacing_m = 18.0", "spacing_m = 18.0\nspacing_at_tension_kn = 60"
    )
    lift = open_lift(write_folder(tmp_path, lift_toml=toml))

    # Hooke: 60 kN on 33 MN stretch 18 m by 18 * 60 / 33,060 m.
    assert 18.0 - lift.carriers.spacing_m == pytest.approx(18 * 60e3 / 33.06e6)


def semicolons(text: str) -> str:
    """The table as a German, French or Norwegian spreadsheet saves it."""
    return "\r\n".join(
        ";".join(cell.replace(".", ",") for cell in line.split(","))
        for line in text.splitlines()
    )


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_semicolons_and_decimal_commas_in_any_encoding_read_alike(
    tmp_path: Path, encoding: str
) -> None:
    plain = open_lift(write_folder(tmp_path / "plain"))
    supports = semicolons(FILES["supports.csv"]).encode(encoding)
    kit = semicolons(FILES["kit.csv"]).encode(encoding)

    lift = open_lift(
        write_folder(tmp_path / "office", supports_csv=supports, kit_csv=kit)
    )

    assert lift.supports == plain.supports
    assert lift.kits == plain.kits


def as_workbook(path: Path, text: str, *, number: bool = True) -> None:
    """Save a CSV text as a real spreadsheet with numbers and dates."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line in text.splitlines():
        cells: list[object] = []
        for cell in line.split(","):
            try:
                cells.append(float(cell) if number else cell)
            except ValueError:
                try:
                    cells.append(date.fromisoformat(cell))
                except ValueError:
                    cells.append(cell or None)
        sheet.append(cells)
    book.save(path)


def test_spreadsheets_with_real_numbers_and_dates_read_alike(tmp_path: Path) -> None:
    plain = open_lift(write_folder(tmp_path / "plain"))
    folder = write_folder(tmp_path / "office", supports_csv=None, kit_csv=None)
    as_workbook(folder / "supports.xlsx", FILES["supports.csv"])
    as_workbook(folder / "kit.xlsx", FILES["kit.csv"])
    toml = folder / "lift.toml"
    toml.write_text(toml.read_text().replace('supports = "supports.csv"', ""))

    lift = open_lift(folder)

    assert lift.supports == plain.supports
    assert lift.kits == plain.kits


@pytest.mark.parametrize(
    ("cell", "metres"),
    [
        ("41'", 41 * 0.3048),
        ("41'6\"", 41.5 * 0.3048),
        ("12 m", 12),
        ("30.5 ft", 30.5 * 0.3048),
    ],
)
def test_feet_are_read_where_the_cell_says_so(
    tmp_path: Path, cell: str, metres: float
) -> None:
    # 1 ft = 0.3048 m exactly (international foot, 1959).
    quoted_cell = '"' + cell.replace('"', '""') + '"'
    text = edited("supports.csv", "160,1530,8.5", f"160,1530,{quoted_cell}")
    lift = open_lift(write_folder(tmp_path, supports_csv=text))

    assert lift.supports[2].rope_height_m == pytest.approx(metres)
    feet = [found for found in lift.findings if found.key == "inputs.feet_read"]
    assert bool(feet) == (" m" not in cell)


def test_feet_are_read_where_the_header_says_so(tmp_path: Path) -> None:
    text = edited("kit.csv", "rope_length_m", "Rope length (ft)")
    text = text.replace(",50,", ",200,").replace("ladder,5,", "ladder,16,")
    lift = open_lift(write_folder(tmp_path, kit_csv=text))

    assert lift.kits[0].rope_length_m == pytest.approx(200 * 0.3048)
    assert lift.findings[0].key == "inputs.feet_read"
    assert lift.findings[0].values == {"cells": "column rope_length_m"}


def test_a_column_for_remarks_is_allowed(tmp_path: Path) -> None:
    text = edited("kit.csv", "inspection_due\n", "inspection_due,Note\n")
    open_lift(write_folder(tmp_path, kit_csv=text))


def test_a_way_of_several_lines_becomes_several_ways(tmp_path: Path) -> None:
    access = edited(
        "access.geojson",
        '"LineString", "coordinates": [[9.901, 46.8], [9.901, 46.804]]',
        '"MultiLineString", "coordinates": [[[9.901, 46.8], [9.901, 46.804]],'
        " [[9.902, 46.8], [9.902, 46.804]]]",
    )
    lift = open_lift(write_folder(tmp_path, access_geojson=access))

    assert [way.id for way in lift.ways] == ["t1/1", "t1/2"]


def test_heights_in_a_layer_are_dropped(tmp_path: Path) -> None:
    muster = edited("muster.geojson", "[9.9005, 46.8035]", "[9.9005, 46.8035, 1500.0]")
    plain = open_lift(write_folder(tmp_path / "a")).muster_points[0]
    with_z = open_lift(write_folder(tmp_path / "b", muster_geojson=muster))

    assert with_z.muster_points[0] == plain


DRILLS = """date,team,technique,step,per,seconds,amount,stopped,real,worked_s
2026-11-05,Upper patrol,ladder,take a passenger down,passenger,240,2,no,no,600
"""


def test_drill_records_are_read_with_the_row_they_came_from(tmp_path: Path) -> None:
    accepted = f"{LOOP} / make ready / carrier"
    toml = FILES["lift.toml"] + f'[learning]\naccepted = ["{accepted}"]\n'
    lift = open_lift(write_folder(tmp_path, drills_csv=DRILLS, lift_toml=toml))

    (record,) = lift.drill_records
    assert record.where == "drills.csv, row 2"
    assert (record.seconds, record.amount, record.worked_s) == (240, 2, 600)
    assert record.date == date(2026, 11, 5)
    assert not record.stopped
    assert lift.accepted_steps == {accepted}
    assert "drills.csv" in lift.fingerprint


@pytest.mark.parametrize(
    ("name", "names"),
    [
        # Misspelt; without technique and unit; a step that the table counts otherwise.
        ("make redy", f"{LOOP} / make ready / carrier"),
        ("Make ready", f"{LOOP} / make ready / carrier"),
        (f"{LOOP} / lower / passenger", f"{LOOP} / lower / metre"),
    ],
)
def test_an_accepted_step_that_is_none_is_refused_with_those_that_may_be_meant(
    tmp_path: Path, name: str, names: str
) -> None:
    toml = FILES["lift.toml"] + f'[learning]\naccepted = ["{name}"]\n'
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, lift_toml=toml))

    assert "lift.toml, [learning] accepted: found '" in str(refused.value)
    assert f"Write one of these: {names}" in str(refused.value)


def test_an_accepted_step_like_no_other_is_told_all_there_are(tmp_path: Path) -> None:
    toml = FILES["lift.toml"] + '[learning]\naccepted = ["ladder / x / passenger"]\n'
    with pytest.raises(InputError, match="expected a step of the table") as refused:
        open_lift(write_folder(tmp_path, lift_toml=toml))

    for line in FILES["times.csv"].splitlines()[1:]:
        assert " / ".join(line.split(",")[:3]) in str(refused.value)


def test_a_drill_table_without_rows_is_no_fault(tmp_path: Path) -> None:
    header = DRILLS.splitlines()[0]
    lift = open_lift(write_folder(tmp_path, drills_csv=header))

    assert lift.drill_records == ()


def test_a_drill_record_of_no_time_is_refused(tmp_path: Path) -> None:
    spoilt = DRILLS.replace(",240,2,", ",0,2,").replace("ladder,", "laddr,")
    with pytest.raises(InputError) as refused:
        open_lift(write_folder(tmp_path, drills_csv=spoilt))

    assert str(refused.value) == (
        "drills.csv, row 2, column seconds: found '0', expected a number above 0. Give "
        "all the seconds that were timed, such as 180."
    )


def test_a_blank_range_of_the_tension_is_a_printed_assumption(tmp_path: Path) -> None:
    bounds = "low_kn = 114\nhigh_kn = 126\n"
    blank = open_lift(
        write_folder(tmp_path / "a", lift_toml=edited("lift.toml", bounds, ""))
    )

    assert blank.tension.low_force_n == pytest.approx(0.95 * 120_000)
    assert blank.tension.high_force_n == pytest.approx(1.05 * 120_000)
    assumed = {item.key: item for item in blank.assumptions}
    told = assumed["tension.low_kn, tension.high_kn"]
    assert told.value == "114.0 kN to 126.0 kN"
    assert "5 %" in told.reason
    assert not told.accepted
    given = open_lift(write_folder(tmp_path / "b"))
    assert "tension.low_kn, tension.high_kn" not in [a.key for a in given.assumptions]
