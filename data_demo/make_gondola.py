"""Make the invented gondola ``thornmere_eight``: mountain, line, layers, teams, kit.

Its tables come in several formats on purpose, as real folders do: semicolons with
decimal commas, a tab-separated table, a spreadsheet, a column in feet, a KML layer.

    python data_demo/make_gondola.py
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Iterable, Sequence
from io import BytesIO, StringIO
from pathlib import Path
from xml.sax.saxutils import escape
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

import numpy as np
import openpyxl
from mountain import Feature, FloatArray, Place, Site, geojson, write_terrain

FOLDER = Path(__file__).parent / "thornmere_eight"
FOOT_M = 0.3048
SITE = Site(latitude_deg=45.05, longitude_deg=12.95, bearing_deg=118.0)
"""Open sea: whoever looks the place up sees at once that the mountain is invented."""

PROFILE_M = (
    # along the line, ground without the ravine
    (-800.0, 1058.0), (-150.0, 1094.0), (0.0, 1100.0), (60.0, 1103.0),
    (150.0, 1116.0), (240.0, 1138.0), (430.0, 1193.0), (820.0, 1312.0),
    (1040.0, 1374.0), (1500.0, 1482.0), (1900.0, 1604.0), (2060.0, 1658.0),
    (2160.0, 1687.0), (2230.0, 1699.0), (2340.0, 1704.0), (2700.0, 1716.0),
)  # fmt: skip
RAVINE_M = 1265.0
RAVINE_DEPTH_M = 66.0
RAVINE_HALF_M = 150.0

SUPPORTS = (
    # support, distance along the line, rope above the ground [m], kind
    ("L", 0.0, 5.0, "station"),
    ("1", 50.0, 11.0, "support"),
    ("2", 140.0, 8.5, "hold-down"),
    ("3", 245.0, 13.0, "support"),
    ("4", 430.0, 15.0, "support"),
    ("5", 630.0, 16.0, "support"),
    ("6", 830.0, 16.0, ""),
    ("7", 1020.0, 18.0, "support"),
    ("8", 1495.0, 19.0, "support"),
    ("9", 1690.0, 15.0, ""),
    ("10", 1890.0, 15.0, "support"),
    ("11", 2070.0, 14.0, "support"),
    ("12", 2160.0, 12.0, "support"),
    ("13", 2235.0, 10.0, "support"),
    ("U", 2330.0, 5.5, "station"),
)
PLACES: dict[str, Place] = {
    "Lower station": (-15.0, -24.0),
    "Fire station": (-420.0, -160.0),
    "Ravine hut": (1560.0, 95.0),
    "Upper station": (2345.0, 20.0),
    "Rescue depot": (-640.0, 60.0),
}
TEAMS = (
    # team, crew, techniques, start place, ready min, travel, starts at, vehicle,
    # drop order, last drill, cost, channel, duty from, duty to
    ("Upper patrol", 3, "rope rescuer | within cabin", "Upper station", 6, "ski",
     "upper", "", "", "2026-11-14", 0, "Rescue 1", "", ""),
    ("Upper lift crew", 3, "rope rescuer", "Upper station", 9, "ski",
     "upper", "", "", "2026-11-14", 0, "Rescue 1", "", ""),
    ("Ravine patrol", 3, "rope rescuer | within cabin", "Ravine hut", 7.5, "ski",
     "upper", "", "", "2026-11-14", 0, "Rescue 2", "", ""),
    ("Hut crew", 3, "rope rescuer", "Ravine hut", 10, "ski",
     "upper", "", "", "2026-11-14", 0, "Rescue 2", "", ""),
    ("Lower lift crew", 3, "rope rescuer", "Lower station", 8, "snow vehicle",
     "upper", "Cat 1", 2, "2026-11-14", 0, "Rescue 3", "", ""),
    ("Lower patrol", 3, "rope rescuer", "Lower station", 8, "snow vehicle",
     "upper", "Cat 1", 1, "2026-11-14", 0, "Rescue 3", "08:00", "17:00"),
    ("Base crew", 4, "on-board kit | loop", "Lower station", 12.5, "foot",
     "lower", "", "", "2026-04-02", 0, "Rescue 3", "", ""),
    ("Mountain rescue", 4, "rope rescuer", "Rescue depot", 48, "snow vehicle",
     "upper", "", "", "2026-10-03", 900, "Rescue 4", "", ""),
    ("Piste crew", 3, "rope rescuer", "Lower station", 10, "snow vehicle",
     "upper", "Cat 2", "", "2026-11-14", 0, "Rescue 3", "16:30", "23:30"),
    ("Fire brigade", 4, "ladder", "Fire station", 25, "snow vehicle",
     "lower", "", "", "2026-06-20", 0, "Rescue 4", "", ""),
)  # fmt: skip
KITS = (
    # kit, team, technique, rope m, throw m, launcher, class MJ, used MJ, rated kg
    # (least, most), inspection due, retire on, stored at
    ("R1", "Upper patrol", "rope rescuer", 50, 0, "no", 7.5, 0.8, 30, 150,
     "2027-10-31", "2031-10-31", "Upper station"),
    ("W1", "Upper patrol", "within cabin", 100, 0, "no", 7.5, 0.2, 30, 150,
     "2027-10-31", "2033-10-31", "Upper station"),
    ("R2", "Upper lift crew", "rope rescuer", 50, 0, "no", 7.5, 1.2, 30, 150,
     "2027-10-31", "2031-10-31", "Upper station"),
    ("R3", "Ravine patrol", "rope rescuer", 100, 0, "no", 7.5, 0.4, 30, 150,
     "2027-10-31", "2032-10-31", "Ravine hut"),
    ("W2", "Ravine patrol", "within cabin", 100, 0, "no", 7.5, 0.1, 30, 150,
     "2027-10-31", "2033-10-31", "Ravine hut"),
    ("R4", "Hut crew", "rope rescuer", 100, 0, "no", 1.5, 0.3, 30, 150,
     "2027-10-31", "2030-10-31", "Ravine hut"),
    ("R5", "Lower lift crew", "rope rescuer", 50, 0, "no", 7.5, 0.6, 30, 150,
     "2027-10-31", "2031-10-31", "Lower station"),
    ("R6", "Lower patrol", "rope rescuer", 50, 0, "no", 7.5, 2.1, 30, 120,
     "2027-02-28", "2029-10-31", "Lower station"),
    ("B1", "Base crew", "on-board kit", 45, 0, "no", 7.5, 0.0, 30, 130,
     "2027-10-31", "2034-10-31", "Lower station"),
    ("C1", "Base crew", "loop", 60, 22, "yes", None, None, None, None,
     "2027-10-31", "2030-10-31", "Lower station"),
    ("R7", "Mountain rescue", "rope rescuer", 120, 0, "no", 7.5, 3.9, 30, 150,
     "2027-06-30", "2030-06-30", "Rescue depot"),
    ("F1", "Fire brigade", "ladder", 12, 0, "no", None, None, None, None,
     "2027-05-31", "2036-05-31", "Fire station"),
    ("R8", "", "rope rescuer", 80, 0, "no", 7.5, 0.0, 30, 150,
     "2026-09-30", "2035-10-31", "Lower station"),
)  # fmt: skip

PAUSES = {"W1": (24, 10), "W2": (24, 10)}
"""After how many descents a descender must cool, and for how many minutes."""


def ground_m(along_m: FloatArray, right_m: FloatArray) -> FloatArray:
    """Invented ground [m] at places along and to the right of the line."""
    axis_m = ravine_axis_m(right_m)
    # The ravine runs out upwards (to the left), where the track crosses its river.
    depth_m = RAVINE_DEPTH_M * np.clip((right_m + 620.0) / 420.0, 0.06, 1.0)
    ravine = depth_m * np.exp(-(np.abs((along_m - axis_m) / RAVINE_HALF_M) ** 3))
    beside = 1 - np.exp(-((right_m / 60.0) ** 2))
    waves = 7.0 * np.sin(along_m / 170.0 + 0.3) * np.sin(right_m / 150.0 + 0.9)
    small = 2.0 * np.sin(along_m / 57.0 + right_m / 71.0)
    return np.asarray(
        _profile(along_m)
        + 0.04 * right_m
        - (right_m / 130.0) ** 2
        - ravine
        + beside * (waves + small)
    )


def _profile(along_m: FloatArray) -> FloatArray:
    """The drawn profile with its corners rounded off."""
    at_m, height_m = np.array(PROFILE_M).T
    shifts_m = np.linspace(-30.0, 30.0, 13)
    weights = np.cos(shifts_m / 30.0 * np.pi / 2) + 0.05
    weights /= weights.sum()
    return np.asarray(
        sum(
            weight * np.interp(along_m + shift, at_m, height_m)
            for weight, shift in zip(weights, shifts_m, strict=True)
        )
    )


def ravine_axis_m(right_m: FloatArray) -> FloatArray:
    """Distance along the line at which the river runs, by the place beside it."""
    return np.asarray(RAVINE_M - 0.2 * right_m + 12.0 * np.sin(right_m / 90.0))


def supports_csv() -> str:
    """The supports; rope heights in feet, as an old survey has them."""
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        ("support", "distance_m", "ground_m", "rope_height_ft", "kind", "lat", "lon")
    )
    ends = SITE.degrees([(SUPPORTS[0][1], 0), (SUPPORTS[-1][1], 0)])
    for name, distance_m, height_m, kind in SUPPORTS:
        ground = float(ground_m(np.array([distance_m]), np.array([0.0]))[0])
        lon, lat = {"L": ends[0], "U": ends[1]}.get(name, ("", ""))
        writer.writerow(
            (name, distance_m, f"{ground:.1f}", f"{height_m / FOOT_M:.1f}", kind,
             lat, lon)
        )  # fmt: skip
    return text.getvalue()


def teams_csv() -> str:
    """The teams; semicolons and decimal commas, as many offices save a table."""
    header = (
        "team", "crew", "techniques", "start_place", "start_lat", "start_lon",
        "ready_min", "travel", "starts_at", "vehicle", "drop_order", "last_drill",
        "cost", "channel", "duty_from", "duty_to",
    )  # fmt: skip
    text = StringIO()
    writer = csv.writer(text, delimiter=";", lineterminator="\r\n")
    writer.writerow(header)
    for team, crew, techniques, start, *rest in TEAMS:
        lon, lat = SITE.degrees([PLACES[start]])[0]
        row = (team, crew, techniques, start, lat, lon, *rest)
        writer.writerow(
            str(cell).replace(".", ",") if isinstance(cell, float) else cell
            for cell in row
        )
    return text.getvalue()


def write_kit(path: Path) -> None:
    """The kit as a spreadsheet with real dates."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Kit"
    sheet.append(
        ("kit", "team", "technique", "rope_length_m", "throw_height_m", "launcher",
         "descent_energy_mj", "descent_used_mj", "rated_least_kg", "rated_most_kg",
         "pause_after", "pause_min", "inspection_due", "retire_on", "stored_at")
    )  # fmt: skip
    for *row, due, retire, stored in KITS:
        dates = [dt.date.fromisoformat(day) for day in (due, retire)]
        sheet.append([*row, *PAUSES.get(str(row[0]), (None, None)), *dates, stored])
    saved = BytesIO()
    book.save(saved)
    path.write_bytes(_without_time_of_saving(saved.getvalue()))


def _without_time_of_saving(content: bytes) -> bytes:
    """The same spreadsheet with fixed times, so that it is the same file each time."""
    result = BytesIO()
    with ZipFile(BytesIO(content)) as source, ZipFile(result, "w") as target:
        for entry in source.infolist():
            body = source.read(entry)
            if entry.filename == "docProps/core.xml":
                body = re.sub(
                    rb"\d{4}-\d\d-\d\dT[\d:]+Z", b"2026-11-01T00:00:00Z", body
                )
            info = ZipInfo(entry.filename, date_time=(2026, 11, 1, 0, 0, 0))
            info.compress_type = ZIP_DEFLATED
            target.writestr(info, body)
    return result.getvalue()


def hazards() -> list[Feature]:
    """What lies under the line."""
    river = [(float(ravine_axis_m(np.array([r]))[0]), r) for r in range(-500, 501, 40)]
    return [
        SITE.line(
            [(300, -420), (322, -120), (330, 0), (336, 140), (352, 420)],
            id="road", kind="road", name="Thorn road",
            opens_low_min=5, opens_min=10, opens_high_min=20,
            opened_by="road warden", extra_s_per_passenger=0, extra_people=2,
            note="Close both ends before anyone is lowered above it",
        ),
        SITE.line(
            river,
            id="river", kind="water", name="Thorn water",
            opens_low_min=0, opens_min=0, opens_high_min=0, opened_by="",
            extra_s_per_passenger=30, extra_people=1,
            note="Hold passengers off the water with a tag line from the path",
        ),
        SITE.polygon(
            [(1590, -80), (1790, -110), (1800, 90), (1600, 70)],
            id="slope", kind="avalanche ground", name="Thornside slope",
            opens_low_min=20, opens_min=35, opens_high_min=60,
            opened_by="avalanche service", extra_s_per_passenger=0, extra_people=1,
            note="Released only after the avalanche service has looked at it",
        ),
        SITE.line(
            [(1960, -400), (1975, -100), (1980, 0), (1986, 120), (2000, 400)],
            id="feeder", kind="power line", name="Summit feeder, 20 kV",
            opens_low_min=12, opens_min=25, opens_high_min=45,
            opened_by="grid control room", extra_s_per_passenger=0, extra_people=0,
            note="Switched off, tested and earthed, then confirmed by radio",
        ),
    ]  # fmt: skip


TRACK = (
    (-640, 60), (-420, -160), (-95, -60), (-15, -24), (60, -45), (190, -80),
    (330, -60), (440, -45), (560, -110), (640, -40), (760, -120), (840, -35),
    (960, -120), (1015, -60),
)  # fmt: skip
BRIDGE = ((960, -120), (1060, -330), (1240, -560), (1380, -545), (1470, -340),
          (1500, -70), (1530, 40), (1560, 95))  # fmt: skip
PISTE = (
    (2345, 20), (2300, 60), (2235, 32), (2160, 45), (2075, 34), (1960, 90),
    (1892, 36), (1820, 110), (1700, 45), (1640, 120), (1560, 95),
)  # fmt: skip


def ways() -> list[Feature]:
    """How teams get in."""
    return [
        SITE.line(TRACK, id="track", kind="track", name="Supply track",
                  travel="foot | ski | snow vehicle", one_way="no"),
        SITE.line(BRIDGE, id="bridge", kind="track", name="Bridge track",
                  travel="foot | ski | snow vehicle", one_way="no"),
        SITE.line(PISTE, id="piste", kind="piste", name="Thorn run",
                  travel="ski | foot | snow vehicle", one_way="no"),
        SITE.line([(1530, 40), (1440, 60), (1360, 40), (1272, 30)],
                  id="ravine-path", kind="path", name="Ravine path",
                  travel="foot", one_way="no"),
        SITE.line([(330, -420), (322, -120), (330, -60)],
                  id="road", kind="road", name="Thorn road",
                  travel="foot | snow vehicle", one_way="no"),
    ]  # fmt: skip


def muster_points() -> list[Feature]:
    """Where evacuees are gathered."""
    return [
        SITE.point(PLACES["Lower station"], id="lower", name="Lower station hall",
                   shelter_places=200, vehicle_seats=0, vehicle_round_min=0,
                   receivers=2),
        SITE.point(PLACES["Ravine hut"], id="hut", name="Ravine hut",
                   shelter_places=40, vehicle_seats=10, vehicle_round_min=25,
                   receivers=2),
        SITE.point(PLACES["Upper station"], id="upper", name="Upper station",
                   shelter_places=120, vehicle_seats=0, vehicle_round_min=0,
                   receivers=2),
    ]  # fmt: skip


def kml(features: Iterable[Feature]) -> str:
    """Lines as KML, their properties as extended data."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>\n'
        + "".join(_placemark(feature) for feature in features)
        + "</Document></kml>\n"
    )


def _placemark(feature: Feature) -> str:
    cells = "".join(
        f'<Data name="{name}"><value>{escape(str(value))}</value></Data>'
        for name, value in feature["properties"].items()
        if name != "name"
    )
    places = " ".join(f"{x},{y}" for x, y in _coordinates(feature))
    return (
        f"<Placemark><name>{escape(feature['properties']['name'])}</name>"
        f"<ExtendedData>{cells}</ExtendedData>"
        f"<LineString><coordinates>{places}</coordinates></LineString></Placemark>\n"
    )


def _coordinates(feature: Feature) -> Sequence[tuple[float, float]]:
    found: Sequence[tuple[float, float]] = feature["geometry"]["coordinates"]
    return found


def main() -> None:
    """Write the made files of the gondola."""
    write_terrain(
        FOLDER / "terrain.tif",
        SITE,
        ground_m,
        along_m=(-900.0, 2650.0),
        beside_m=700.0,
        cell_m=8.0,
    )
    write_kit(FOLDER / "kit.xlsx")
    files = {
        "supports.csv": supports_csv(),
        "teams.csv": teams_csv(),
        "hazards.geojson": geojson(hazards()),
        "access.kml": kml(ways()),
        "muster.geojson": geojson(muster_points()),
    }
    for name, text in files.items():
        (FOLDER / name).write_text(
            text, encoding="utf-8", newline="\n" if name != "teams.csv" else ""
        )


if __name__ == "__main__":
    main()
