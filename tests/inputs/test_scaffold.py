"""A new folder names its blanks, and opens once they are filled."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from pathlib import Path

import openpyxl
import pytest
from small_folder import FILES
from test_column_remedies import MODELS

from evac import reference
from evac.documents.sheet_assumed import assumed_alarms
from evac.errors import InputError
from evac.inputs.cells import POINT_READING, Cell
from evac.inputs.folder import open_lift
from evac.inputs.rows import TECHNIQUE_KINDS
from evac.inputs.scaffold import new_folder_files, open_blanks
from evac.inputs.tables import read_row
from evac.words import Words

ANSWERS = {
    "name": '"Newfell"',
    "ascending_side": '"right"',
    "drive_station": '"first"',
    "gauge_m": "4.5",
    "mass_kg_per_m": "3.0",
    "axial_stiffness_mn": "33",
    "diameter_mm": "29",
    "breaking_force_kn": "510",
    "state": '"constant"',
    "held_at": '"return"',
    "force_kn": "120",
    "type": '"chair"',
    "grip": '"fixed"',
    "seats": "2",
    "empty_mass_kg": "110",
    "spacing_m": "18",
    "rope_to_descender_m": "0.5",
    "rope_to_seat_m": "2.2",
    "on_loop": "46",
    "minutes": "150",
    "counts_from": '"stop"',
    "counts_to": '"on the ground"',
    "source": '"invented for tests"',
    "line_speed_m_per_s": "2.2",
    "time_zone": '"Europe/Vienna"',
}


def start(folder: Path) -> Path:
    for name, content in new_folder_files().items():
        (folder / name).write_bytes(content)
    return folder


def fill(folder: Path) -> None:
    lines = []
    for line in (folder / "lift.toml").read_text("utf-8").splitlines():
        key = line.split(" = ")[0]
        if ' = "?"' in line:
            line = f"{key} = {ANSWERS[key]}"
        lines.append(line)
    (folder / "lift.toml").write_text("\n".join(lines), encoding="utf-8")
    techniques = folder / "techniques.csv"
    techniques.write_text(techniques.read_text("utf-8").replace(",?,", ",invented,"))
    for name in ("supports.csv", "ground.csv", "kit.csv", "teams.csv"):
        (folder / name).write_text(FILES[name], encoding="utf-8")


def test_every_blank_of_a_new_folder_is_named(tmp_path: Path) -> None:
    blanks = open_blanks(start(tmp_path))

    for key in ANSWERS:
        assert sum(f"] {key} is still open. " in blank for blank in blanks) == 1
    assert blanks[0] == "[lift] name is still open. Give the lift's name."
    assert blanks[len(ANSWERS) :] == [
        "supports.csv has no rows yet. README.txt says what each column means.",
        "teams.csv has no rows yet. README.txt says what each column means.",
        "kit.csv has no rows yet. README.txt says what each column means.",
        "techniques.csv, column approval is still open in row 2, 3, 4, 5.",
        "There is no ground yet: put ground.csv or a terrain file into the folder and "
        "name it in [files].",
        "There is no hazards.geojson: say what lies under the line (roads, power lines,"
        " water, steep ground).",
        "There is no access.geojson: without ways every team crosses open ground.",
        "There is no muster.geojson: say where evacuees are gathered.",
    ]


def test_a_new_folder_cannot_be_planned_before_it_is_filled(tmp_path: Path) -> None:
    with pytest.raises(InputError) as refused:
        open_lift(start(tmp_path))

    # The blanks of lift.toml, three tables without rows, four techniques without an
    # approval: all at once.
    assert len(refused.value.problems) == len(ANSWERS) + 3 + 4
    assert (
        "lift.toml, [lift] gauge_m: found '?', expected a value. Give the distance "
        "between the ascending and the descending rope in metres, such as 6.0."
    ) in str(refused.value)


def test_a_filled_folder_opens(tmp_path: Path) -> None:
    fill(start(tmp_path))

    lift = open_lift(tmp_path)

    assert len(lift.load_cases) == 6
    assert len(lift.techniques) == 4
    assert lift.findings == ()
    assert open_blanks(tmp_path) == [
        "There is no hazards.geojson: say what lies under the line (roads, power lines,"
        " water, steep ground).",
        "There is no access.geojson: without ways every team crosses open ground.",
        "There is no muster.geojson: say where evacuees are gathered.",
    ]


def test_a_team_that_somebody_entered_is_not_called_assumed(tmp_path: Path) -> None:
    # The techniques' figures come with the folder; teams and kit never do. A false
    # word in the sheets' frame teaches people to skip it.
    fill(start(tmp_path))

    (alarm,) = assumed_alarms(open_lift(tmp_path), Words())

    assert alarm == (
        "THE FIGURES OF THE TECHNIQUES ARE ASSUMED: where your drill book says "
        "otherwise, it prevails."
    )
    toml = tmp_path / "lift.toml"
    text = toml.read_text("utf-8")
    assert text.count("accepted = false") == 8
    toml.write_text(text.replace("accepted = false", "accepted = true"), "utf-8")
    assert assumed_alarms(open_lift(tmp_path), Words()) == []


def test_what_a_new_folder_fills_in_is_no_fact(tmp_path: Path) -> None:
    # Nobody has said that two people will tell passengers, or that six are there.
    fill(start(tmp_path))

    assumed = {item.key: item for item in open_lift(tmp_path).assumptions}

    assert "2 informers, 6 people in roles" in assumed["organisation"].value
    assert not any(item.accepted for item in assumed.values())
    roles = tomllib.loads((tmp_path / "lift.toml").read_text("utf-8"))["organisation"]
    assert (roles["informers"], sum(roles["roles"].values())) == (2, 6)


def test_an_open_cell_of_a_table_is_refused(tmp_path: Path) -> None:
    fill(start(tmp_path))
    supports = FILES["supports.csv"].replace("60,1508,8,", "60,1508,?,")
    (tmp_path / "supports.csv").write_text(supports, encoding="utf-8")

    with pytest.raises(InputError) as refused:
        open_lift(tmp_path)

    assert str(refused.value) == (
        "supports.csv, row 3, column rope_height_m: found '?', expected a value. Give "
        "metres from the ground up to the rope at this support, such as 11.5."
    )
    assert "supports.csv, column rope_height_m is still open in row 3." in open_blanks(
        tmp_path
    )


def test_techniques_need_the_rope_that_the_trade_gives_them() -> None:
    # Common practice, no source (rule 13 of the trade): loop twice the rope height,
    # 3 m of tails and knots, 5 to 10 m of stance, reserve 3 m or 5 %; two-ended
    # descender once the attachment height and 3 to 5 m; doubled rope twice.
    text = new_folder_files()["techniques.csv"].decode("utf-8")
    rows = {row["technique"]: row for row in csv.DictReader(io.StringIO(text))}

    loop = rows["loop"]
    assert float(loop["per_rope_height"]) == 2
    assert float(loop["knots_tails_m"]) == 3
    assert 5 <= float(loop["stance_m"]) <= 10
    assert (float(loop["reserve_m"]), float(loop["reserve_share"])) == (3, 0.05)
    assert 12 <= float(loop["wind_limit_m_per_s"]) <= 15
    assert float(rows["rope rescuer"]["per_attachment_height"]) == 1
    assert 3 <= float(rows["rope rescuer"]["knots_tails_m"]) <= 5
    assert float(rows["rope rescuer doubled"]["per_attachment_height"]) == 2
    assert 4 <= float(rows["ladder"]["most_seat_height_m"]) <= 5


def test_the_published_limits_stand_in_the_new_lift_toml() -> None:
    text = new_folder_files()["lift.toml"].decode("utf-8")

    for limit in reference.time_limits():
        if limit.limit_min is not None:
            line = f"#   {limit.where}, {limit.ropeway}: {limit.limit_min:g} min"
            assert line in text
            assert limit.source in text
    for item in reference.plan_contents():
        assert f'# {item.key} = ""  # {item.item}' in text


def test_files_under_other_usual_names_are_not_called_missing(tmp_path: Path) -> None:
    fill(start(tmp_path))
    toml = (tmp_path / "lift.toml").read_text("utf-8")
    toml = toml.replace('kit = "kit.csv"', "")
    (tmp_path / "lift.toml").write_text(toml, encoding="utf-8")
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line in FILES["kit.csv"].splitlines():
        sheet.append(line.split(","))
    book.save(tmp_path / "kit.xlsx")
    (tmp_path / "kit.csv").unlink()
    (tmp_path / "ground.csv").rename(tmp_path / "ground.csv.old")
    (tmp_path / "terrain.asc").write_text("ncols 2")
    (tmp_path / "muster.kml").write_text("<kml/>")

    said = " ".join(open_blanks(tmp_path))

    assert "kit" not in said
    assert "ground yet" not in said
    assert "muster" not in said
    assert "There is no hazards.geojson" in said


def test_the_readme_of_a_new_folder_describes_all_that_may_lie_in_it() -> None:
    # An installed package brings no other description along.
    readme = new_folder_files()["README.txt"].decode("utf-8")

    assert "README of evac" not in readme
    for name in ("ground.csv", "hazards.geojson", "access.geojson", "muster.geojson"):
        assert f"\n{name}" in readme
    for word in ("ascending_m", "opens_low_min", "one_way", "vehicle_round_min"):
        assert re.search(rf"^  {word}[ :(].*\.$", readme, re.MULTILINE), word
    for word in ("power line", "open slope", "terrain_crs", "GeoTIFF"):
        assert word in readme


def test_the_readme_says_what_every_table_asks_of_its_rows() -> None:
    readme = new_folder_files()["README.txt"].decode("utf-8")

    assert "These two need\n  lat and lon." in readme
    assert readme.count("HORIZONTAL") == 2
    assert "is 0 in the first row" in readme
    for kind in TECHNIQUE_KINDS:
        assert f"\n    {kind}\n" in readme
    assert "\ndrills.csv\n  date:" in readme
    assert "[learning]\naccepted" in readme
    assert "  belayer_radius_m (may be blank, which counts as 10): " in readme
    assert "  throw_height_m (may be blank, which counts as 0): " in readme
    assert "  doubtful (may be blank, which counts as no): " in readme
    assert all(len(line) <= 90 for line in readme.splitlines() if line[:1] != " ")


FILLED: dict[str, dict[str, Cell]] = {
    "supports": {"support": "1", "rope_height_m": "8"},
    "ground": {"distance_m": "0", "ascending_m": "1500", "descending_m": "1500"},
    **{
        name: dict(next(csv.DictReader(io.StringIO(FILES[f"{name}.csv"]))))
        for name in ("teams", "kit", "techniques", "times")
    },
    "drills": {
        "date": "2026-11-05",
        "team": "A",
        "technique": "ladder",
        "step": "take a passenger down",
        "per": "passenger",
        "seconds": "80",
    },
    "hazards": {"id": "H1", "kind": "road"},
    "access": {"id": "A1", "kind": "path"},
    "muster": {"id": "M1"},
}


@pytest.mark.parametrize("table", sorted(FILLED))
def test_every_column_that_may_be_blank_by_the_readme_may_be_blank(table: str) -> None:
    # Map programs write every property of every feature, empty where nobody filled it.
    model = MODELS[table]
    optional = [n for n, field in model.model_fields.items() if not field.is_required()]
    filled = {n: c for n, c in FILLED[table].items() if n not in optional}
    kept = {"per_rope_height", "per_attachment_height"} & FILLED[table].keys()
    filled |= {name: FILLED[table][name] for name in kept}

    for blank in ("", "  "):
        for columns in (*([name] for name in optional), optional):
            row, problems = read_row(
                {**filled, **{n: blank for n in columns if n not in kept}},
                model=model,
                name=table,
                where="row 2",
                reading=POINT_READING,
            )
            assert problems == [], columns
            assert row is not None
    if table == "techniques":
        assert row.model_dump()["belayer_radius_m"] == 10
