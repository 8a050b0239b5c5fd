"""``lift.toml`` of an imported lift: what is known, what is assumed, and why."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import tomlkit

from evac.facts.lift import Terrain
from evac.inputs.dem import sd_assumption
from evac.inputs.osm import OsmLift
from evac.inputs.osm_assume import TENSION_SPREAD, Assumed
from evac.inputs.osm_heights import ChosenHeights
from evac.words import Words


def lift_toml(
    lift: OsmLift,
    *,
    assumed: Assumed,
    heights: ChosenHeights,
    terrain: Terrain,
    upper_is_last: bool,
    longitude_deg: float,
    terrain_files: list[str],
) -> bytes:
    """``lift.toml`` with every assumed value and its reason."""
    words = Words()
    end = "last" if upper_is_last else "first"
    ropeway = words.say(f"osm.kind.{assumed.grip}_{assumed.type}", seats=assumed.seats)
    force = assumed.carriage_force_kn
    table: dict[str, Any] = {
        "schema": 1,
        "lift": {
            "name": lift.name or words.say("osm.unnamed", way=str(lift.way_id)),
            "operator": words.say("osm.operator"),
            "revision": "A",
            "kind": ropeway,
            "ascending_side": "right",
            "upper_station": end,
            "drive_station": end,
            "gauge_m": assumed.gauge_m,
            "data_source": words.say("osm.data_source"),
        },
        "rope": {
            "mass_kg_per_m": assumed.rope_mass_kg_per_m,
            "diameter_mm": assumed.rope_diameter_mm,
            "axial_stiffness_mn": assumed.axial_stiffness_mn,
            "breaking_force_kn": assumed.breaking_force_kn,
        },
        "tension": {
            "state": "constant",
            "held_at": "return",
            "force_kn": force,
            "low_kn": round(force * (1 - TENSION_SPREAD), 1),
            "high_kn": round(force * (1 + TENSION_SPREAD), 1),
        },
        "carriers": {
            "type": assumed.type,
            "grip": assumed.grip,
            "seats": assumed.seats,
            "empty_mass_kg": assumed.empty_mass_kg,
            "passenger_mass_kg": assumed.passenger_mass_kg,
            "spacing_m": assumed.spacing_m,
            "rope_to_descender_m": assumed.rope_to_descender_m,
            "rope_to_seat_m": assumed.rope_to_seat_m,
        },
        "drives": {
            "line_speed_m_per_s": assumed.line_speed_m_per_s,
            "emergency_speed_m_per_s": [0.5, 1.0, 2.0],
            "emergency_engage_min": [5.0, 10.0, 20.0],
        },
        **_usual(longitude_deg),
        "files": {
            "terrain": terrain_files[0] if len(terrain_files) == 1 else terrain_files,
            "terrain_sd_m": round(terrain.sd_m, 2),
        },
        "assumptions": _assumptions(
            assumed, heights=heights, terrain=terrain, words=words
        ),
    }
    document = tomlkit.document()
    document.add(tomlkit.comment(words.say("osm.header", way=str(lift.way_id))))
    document.add(tomlkit.comment(words.say("osm.licence")))
    for key, value in table.items():
        document.add(key, tomlkit.item(value))
    return tomlkit.dumps(document).encode("utf-8")


def _usual(longitude_deg: float) -> dict[str, Any]:
    """Loading, limit, weather, organisation and travel as in a usual winter."""
    hours = round(longitude_deg / 15)
    zone = "Etc/GMT" if hours == 0 else f"Etc/GMT{-hours:+d}"
    return {
        "loading": {
            "occupancy": [0.3, 0.6, 1.0],
            "descending_occupancy": [0.0, 0.02, 0.1],
            "case": [
                {"name": "ascending side full", "ascending": 1.0, "descending": 0.0},
                {"name": "a usual day", "ascending": 0.6, "descending": 0.02},
                {
                    "name": "descending side a tenth",
                    "ascending": 0.0,
                    "descending": 0.1,
                },
            ],
        },
        "limit": [
            {
                "minutes": 210,
                "counts_from": "stop",
                "counts_to": "on the ground",
                "before_rescue_min": 30,
                "source": Words().say("osm.limit_source"),
            }
        ],
        "conditions": {
            "stop_time": "13:00",
            "time_zone": zone,
            "air_temperature_c": -5.0,
            "wind_m_per_s": 4.0,
            "gust_m_per_s": 8.0,
            "snow_least_m": 0.0,
            "snow_most_m": 1.0,
        },
        "organisation": {
            "stop_to_order_min": [10, 18, 30],
            "order_to_secured_min": [5, 10, 20],
            "ground_to_safe_min": [10, 20, 40],
            "standdown_min": [10, 15, 25],
            "informers": 2,
            "informer_speed_m_per_s": 1.5,
            "first_word_min": 15,
            "repeat_word_min": 20,
            "roles": {
                "command": 1,
                "line mechanic": 1,
                "drive operator": 1,
                "muster": 1,
            },
        },
        "travel": {
            "walking_rule": "din33466",
            "foot_factor": 1.6,
            "ski_down_m_per_s": 4.0,
            "ski_flat_m_per_s": 1.0,
            "vehicle_m_per_s": 4.0,
            "off_way_factor": 2.0,
        },
    }


def _assumptions(
    assumed: Assumed, *, heights: ChosenHeights, terrain: Terrain, words: Words
) -> dict[str, dict[str, str | bool]]:
    """Every assumed value as it is printed, with its reason, none accepted yet."""
    values: Mapping[str, str] = {
        "carriers.seats": str(assumed.seats),
        "carriers.grip": assumed.grip,
        "carriers.spacing_m": words.show("spacing_m", assumed.spacing_m),
        "carriers.empty_mass_kg": words.show("mass_kg", assumed.empty_mass_kg),
        "carriers.passenger_mass_kg": words.show("mass_kg", assumed.passenger_mass_kg),
        "carriers.rope_to_seat_m": words.show("height_m", assumed.rope_to_seat_m),
        "drives.line_speed_m_per_s": words.show(
            "v_m_per_s", assumed.line_speed_m_per_s
        ),
        "drives.emergency_speed_m_per_s": words.say("osm.value_emergency"),
        "lift.gauge_m": words.show("gauge_m", assumed.gauge_m),
        "lift.drive_station": words.say("osm.value_drive"),
        "lift.ascending_side": words.say("osm.value_side"),
        "rope.mass_kg_per_m": words.show("m_kg_per_m", assumed.rope_mass_kg_per_m),
        "rope.axial_stiffness_mn": words.say(
            "osm.value_stiffness", stiffness=assumed.axial_stiffness_mn
        ),
        "tension.force_kn": words.show("force_kn", assumed.carriage_force_kn),
        "tension.state": words.say("osm.value_tension"),
    }
    rows = {key: (value, assumed.reasons[key]) for key, value in values.items()}
    least = float(heights.height_m[1:-1].min(initial=math.inf))
    most = float(heights.height_m[1:-1].max(initial=-math.inf))
    rows["supports.rope_height_m"] = (
        words.say("osm.value_heights", least_m=least, most_m=most),
        words.say(
            "osm.assumed.heights",
            lowest_m=assumed.rules.lowest_m,
            highest_m=assumed.rules.highest_m,
            clearance_m=assumed.rules.clearance_m,
        ),
    )
    rows["supports.kind"] = (
        words.say("osm.value_kinds", count=int(heights.combined.sum())),
        words.say("osm.assumed.kinds"),
    )
    for key in ("loading", "limit", "conditions", "organisation", "travel", "teams"):
        rows[key] = (words.say(f"osm.value.{key}"), words.say(f"osm.assumed.{key}"))
    sd = sd_assumption(terrain)
    rows[sd.key] = (sd.value, sd.reason)
    return {
        key: {"value": value, "reason": reason, "accepted": False}
        for key, (value, reason) in rows.items()
    }
