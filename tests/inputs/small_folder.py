"""A small invented lift folder in text, for tests that spoil one thing in it.

400 m long, five supports, surveyed ground, two teams; it opens without a doubt.
"""

from __future__ import annotations

from pathlib import Path

LIFT_TOML = """schema = 1
[lift]
name = "Smallfell Double"
revision = "A"
kind = "fixed two-seat chairlift"
ascending_side = "right"
upper_station = "last"
drive_station = "first"
gauge_m = 4.5
[rope]
mass_kg_per_m = 3.0
axial_stiffness_mn = 33.0
diameter_mm = 29
breaking_force_kn = 510
[tension]
state = "constant"
held_at = "return"
force_kn = 120
low_kn = 114
high_kn = 126
[carriers]
type = "chair"
grip = "fixed"
seats = 2
empty_mass_kg = 110
passenger_mass_kg = 85
spacing_m = 18.0
rope_to_descender_m = 0.5
rope_to_seat_m = 2.2
on_loop = 46
[loading]
occupancy = [0.3, 0.6, 1.0]
descending_occupancy = [0.0, 0.02, 0.1]
[[loading.case]]
name = "ascending side full"
ascending = 1.0
descending = 0.0
[[limit]]
minutes = 150
counts_from = "stop"
counts_to = "on the ground"
source = "invented for tests"
[drives]
line_speed_m_per_s = 2.2
emergency_speed_m_per_s = [0.5, 1.0, 2.0]
emergency_engage_min = [5, 10, 20]
[conditions]
date = 2027-01-20
stop_time = "13:30"
time_zone = "Europe/Vienna"
air_temperature_c = -8
wind_m_per_s = 4
gust_m_per_s = 8
snow_most_m = 1.0
[organisation]
stop_to_order_min = [10, 15, 30]
order_to_secured_min = [5, 10, 15]
ground_to_safe_min = [10, 15, 25]
standdown_min = [10, 15, 25]
informers = 1
informer_speed_m_per_s = 1.0
first_word_min = 15
repeat_word_min = 20
[organisation.roles]
command = 1
[travel]
walking_rule = "din33466"
foot_factor = 1.5
ski_down_m_per_s = 5.0
ski_flat_m_per_s = 1.2
vehicle_m_per_s = 4.0
off_way_factor = 2.0
[files]
supports = "supports.csv"
"""

SUPPORTS = """support,distance_m,ground_m,rope_height_m,kind,lat,lon,doubtful
0,0,1500,4,station,46.8,9.9,no
1,60,1508,8,support,,,no
2-3,160,1530,8.5,,,,no
#4,280,1560,9,support,,,no
T\u00e4li,400,1590,4,station,46.803597,9.9,no
"""

GROUND = """distance_m,ascending_m,descending_m
0,1500,1500
60,1508,1508
160,1530,1529.5
280,1560,1560
400,1590,1590
"""

TEAMS = """\
team,crew,techniques,start_place,start_lat,start_lon,ready_min,travel,starts_at
Upper patrol,3,loop | ladder,Hut,46.8035,9.9005,6,ski,upper
Lower crew,3,loop,Lower station,46.8,9.9,8,snow vehicle,
"""

KIT = """kit,team,technique,rope_length_m,throw_height_m,launcher,inspection_due
L1,Upper patrol,loop,50,12,no,2027-09-30
L2,Lower crew,loop,50,12,no,2027-09-30
A1,Upper patrol,ladder,5,0,no,2027-09-30
"""

TECHNIQUES = (
    "technique,kind,min_crew,roles,carrier_types,per_rope_height,"
    "per_attachment_height,per_seat_height,stance_m,knots_tails_m,belayer_tail_m,"
    "stretch_share,reserve_m,reserve_share,needs_line_over_rope,most_seat_height_m,"
    "most_rope_slope_deg,passes_rollers,passes_hold_downs,incapacitated,"
    "downhill_only,wind_limit_m_per_s,approval\n"
    "loop,loop over the haul rope belayed from the ground,3,two belaying,chair,2,0,0,"
    "5,3,2,0.02,3,0.05,yes,,40,yes,yes,no,yes,14,invented\n"
    "ladder,ladder,3,two footing,chair,0,0,0,0,0,0,0,0,0,no,4.5,45,yes,yes,no,no,17,"
    "invented\n"
)

LOOP = "loop over the haul rope belayed from the ground"

TIMES = f"""technique,step,per,low_s,likely_s,high_s,condition
{LOOP},first set-up in a span,span,120,240,900,
{LOOP},lower,metre,1.2,1.7,3.0,
ladder,take a passenger down,passenger,90,120,180,
{LOOP},make ready,carrier,45,90,240,
{LOOP},prepare a passenger,passenger,45,90,240,
"""

HAZARDS = """{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"id": "road", "kind": "road",
 "opens_low_min": 4, "opens_min": 8, "opens_high_min": 15},
 "geometry": {"type": "LineString",
 "coordinates": [[9.898, 46.801], [9.902, 46.801]]}}
]}"""

ACCESS = """{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"id": "t1", "kind": "track"},
 "geometry": {"type": "LineString", "coordinates": [[9.901, 46.8], [9.901, 46.804]]}}
]}"""

MUSTER = """{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"id": "hut", "shelter_places": 60},
 "geometry": {"type": "Point", "coordinates": [9.9005, 46.8035]}}
]}"""

FILES: dict[str, str] = {
    "lift.toml": LIFT_TOML,
    "supports.csv": SUPPORTS,
    "ground.csv": GROUND,
    "teams.csv": TEAMS,
    "kit.csv": KIT,
    "techniques.csv": TECHNIQUES,
    "times.csv": TIMES,
    "hazards.geojson": HAZARDS,
    "access.geojson": ACCESS,
    "muster.geojson": MUSTER,
}


def write_folder(folder: Path, **replaced: str | bytes | None) -> Path:
    """Write the folder; ``supports_csv="..."`` replaces a file, None leaves it out."""
    folder.mkdir(parents=True, exist_ok=True)
    files: dict[str, str | bytes | None] = dict(FILES)
    for key, content in replaced.items():
        stem, _, ending = key.rpartition("_")
        files[f"{stem}.{ending}"] = content
    for name, content in files.items():
        if content is None:
            continue
        data = content.encode("utf-8") if isinstance(content, str) else content
        (folder / name).write_bytes(data)
    return folder


def edited(name: str, old: str, new: str) -> str:
    """The content of a file with one place changed; the place must be there once."""
    text = FILES[name]
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}"
    return text.replace(old, new)
