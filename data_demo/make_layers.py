"""Lay the demo's line, hazards, tracks, start places and muster points on its mountain.

Writes ``supports.csv`` and the three GeoJSON layers of ``larkfell_four``. Places are
given as metres along the line from the lower station and metres to its right.

    python data_demo/make_layers.py
"""

from __future__ import annotations

import csv
from io import StringIO

import numpy as np
from make_terrain import FOLDER, SITE, ground_m, gully_axis_m
from mountain import Feature, Place, geojson

SUPPORTS = (
    # support, distance along the line, height of the rope above the ground, kind
    ("0", 0.0, 4.5, "station"),
    ("1", 45.0, 9.0, "support"),
    ("2", 135.0, 6.5, "hold-down"),
    ("3", 222.0, 10.0, "support"),
    ("4", 340.0, 11.0, "support"),
    ("5", 460.0, 11.0, "support"),
    ("6", 578.0, 11.5, "support"),
    ("7", 708.0, 11.5, "support"),
    ("8", 835.0, 11.0, "support"),
    ("9", 962.0, 14.0, "support"),
    ("10", 1045.0, 10.5, "support"),
    ("11", 1138.0, 9.0, "support"),
    ("12", 1174.0, 9.0, "support"),
    ("13", 1210.0, 9.0, "support"),
    ("14", 1345.0, 7.5, "hold-down"),
    ("15", 1445.0, 10.0, "support"),
    ("16", 1550.0, 10.0, "support"),
    ("17", 1610.0, 5.0, "station"),
)
PLACES: dict[str, Place] = {
    "Lower station": (-12.0, 22.0),
    "Larkfell car park": (-95.0, 70.0),
    "Middle hut": (745.0, -150.0),
    "Patrol hut at the crest": (1232.0, 48.0),
    "Upper station": (1622.0, -18.0),
}
TRACK = (
    (-95, 70), (-12, 22), (60, 48), (170, 62), (300, 95), (390, 60), (455, 30),
    (560, 55), (600, 110), (655, 75), (705, 34), (800, 66), (900, 118), (985, 150),
    (1060, 96), (1120, 48), (1190, 34), (1232, 48), (1340, 36), (1440, 66),
    (1545, 44), (1608, 24), (1622, -18),
)  # fmt: skip
PISTE = (
    (1622, -18), (1560, -58), (1440, -44), (1342, -30), (1215, -38), (1140, -48),
    (1060, -92), (960, -124), (840, -110), (745, -150), (690, -78), (560, -84),
    (452, -40), (330, -60), (210, -42), (120, -56), (30, -36), (-12, 22),
)  # fmt: skip


def supports_csv() -> str:
    """The line's supports with the ground surveyed to 0.1 m."""
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        ("support", "distance_m", "ground_m", "rope_height_m", "kind", "lat", "lon",
         "doubtful")
    )  # fmt: skip
    ends = SITE.degrees([(SUPPORTS[0][1], 0), (SUPPORTS[-1][1], 0)])
    for name, distance_m, height_m, kind in SUPPORTS:
        ground = ground_m(np.array([distance_m]), np.array([0.0]))[0]
        lon, lat = {"0": ends[0], "17": ends[1]}.get(name, ("", ""))
        writer.writerow(
            (name, distance_m, round(float(ground), 1), height_m, kind, lat, lon, "no")
        )
    return text.getvalue()


def hazards() -> list[Feature]:
    """What lies under the line."""
    stream = [(float(gully_axis_m(np.array([r]))[0]), r) for r in range(-420, 421, 30)]
    return [
        SITE.line(
            [(150, -300), (168, -120), (176, 0), (186, 110), (210, 300)],
            id="road", kind="road", name="Larkfell road",
            opens_low_min=4, opens_min=8, opens_high_min=15,
            opened_by="car park crew", extra_s_per_passenger=0, extra_people=1,
            note="close both ends before anyone is lowered above it",
        ),
        SITE.line(
            stream,
            id="stream", kind="water", name="Lark burn",
            opens_low_min=0, opens_min=0, opens_high_min=0, opened_by="",
            extra_s_per_passenger=25, extra_people=0,
            note="hold passengers off the water with a tag line",
        ),
        SITE.line(
            [(740, -420), (760, -120), (772, 0), (788, 160), (806, 420)],
            id="power", kind="power line", name="Valley feeder, 20 kV",
            opens_low_min=12, opens_min=20, opens_high_min=35,
            opened_by="grid control room", extra_s_per_passenger=0, extra_people=0,
            note="switched off, tested and earthed, then confirmed by radio",
        ),
        SITE.polygon(
            [(980, -40), (1020, -34), (1030, 40), (990, 34)],
            id="step", kind="steep ground", name="Steep step below support 10",
            opens_low_min=0, opens_min=0, opens_high_min=0, opened_by="",
            extra_s_per_passenger=40, extra_people=0,
            note="landing at about 30 degrees: receiver with a fixed rope to the bench",
        ),
    ]  # fmt: skip


def ways() -> list[Feature]:
    """How teams get in."""
    hut = PLACES["Middle hut"]
    return [
        SITE.line(TRACK, id="track", kind="track", name="Supply track",
                  travel="foot | ski | snow vehicle", one_way="no"),
        SITE.line(PISTE, id="piste", kind="piste", name="Long Lark",
                  travel="ski | foot | snow vehicle", one_way="no"),
        SITE.line([(-95, 70), (60, 120), (186, 110), (176, 0), (168, -120)],
             id="road", kind="road", name="Larkfell road",
                  travel="foot | snow vehicle", one_way="no"),
        SITE.line([hut, (705, 34)], id="link", kind="path", name="Hut path",
                  travel="foot | ski", one_way="no"),
        SITE.line([(985, 150), (1005, 60), (1012, 20), (1045, 10), (1120, 48)],
             id="step-path", kind="path", name="Path round the step",
                  travel="foot | ski", one_way="no"),
    ]  # fmt: skip


def muster_points() -> list[Feature]:
    """Where evacuees are gathered."""
    return [
        SITE.point(PLACES["Lower station"], id="lower", name="Lower station hall",
                   shelter_places=180, vehicle_seats=0, vehicle_round_min=0,
                   receivers=2),
        SITE.point(PLACES["Middle hut"], id="hut", name="Middle hut",
                   shelter_places=120, vehicle_seats=8, vehicle_round_min=18,
                   receivers=2),
        SITE.point(PLACES["Upper station"], id="upper", name="Upper station restaurant",
                   shelter_places=150, vehicle_seats=0, vehicle_round_min=0,
                   receivers=2),
    ]  # fmt: skip


def main() -> None:
    """Write the tables and layers of the demo."""
    files = {
        "supports.csv": supports_csv(),
        "hazards.geojson": geojson(hazards()),
        "access.geojson": geojson(ways()),
        "muster.geojson": geojson(muster_points()),
    }
    for name, text in files.items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
