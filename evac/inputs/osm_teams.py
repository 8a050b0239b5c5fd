"""Teams, kit, techniques and step times that an imported lift begins with."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence

from evac.reference import step_times
from evac.words import Words

METRES_A_TEAM = 120.0
LEAST_TEAMS, MOST_TEAMS = 3, 12
LOOP = "loop over the haul rope belayed from the ground"
ON_ROPE = "rescuer on the haul rope with a descender"


def technique_tables(
    *,
    cabin: bool,
    length_m: float,
    upper: tuple[float, float],
    lower: tuple[float, float],
) -> dict[str, bytes]:
    """``teams.csv``, ``kit.csv``, ``techniques.csv`` and ``times.csv``.

    Parameters
    ----------
    cabin : bool
        Cabins are reached by a rescuer on the rope, chairs by a loop.
    length_m : float
        Of the line: about one team for each 120 m.
    upper, lower : (latitude, longitude)
        The stations, where the teams start by turns [deg].
    """
    words = Words()
    count = min(max(math.ceil(length_m / METRES_A_TEAM), LEAST_TEAMS), MOST_TEAMS)
    technique = "rope rescuer" if cabin else "loop"
    teams, kits = [], []
    for number in range(1, count + 1):
        at_top = number % 2 == 1
        name = words.say("osm.team", number=number)
        station = words.say("osm.upper_station" if at_top else "osm.lower_station")
        latitude, longitude = upper if at_top else lower
        teams.append(
            (
                name,
                3,
                technique,
                station,
                f"{latitude:.7f}",
                f"{longitude:.7f}",
                10,
                "ski" if at_top else "foot",
                "upper",
            )
        )
        rope, throw = (60, 0) if cabin else (100, 40)
        launcher = "no" if cabin else "yes"
        kits.append((f"K{number}", name, technique, rope, throw, launcher, station))
    return {
        "teams.csv": _table(
            ("team", "crew", "techniques", "start_place", "start_lat", "start_lon",
             "ready_min", "travel", "starts_at"),
            teams,
        ),
        "kit.csv": _table(
            ("kit", "team", "technique", "rope_length_m", "throw_height_m", "launcher",
             "stored_at"),
            kits,
        ),
        "techniques.csv": _techniques(cabin=cabin, approval=words.say("osm.approval")),
        "times.csv": _times(),
    }  # fmt: skip


def _techniques(*, cabin: bool, approval: str) -> bytes:
    """The one technique of the teams, with the usual figures of rule 13."""
    loop = {
        "technique": "loop", "kind": LOOP, "min_crew": 3,
        "roles": "two belaying | one receiving", "carrier_types": "chair",
        "per_rope_height": 2, "stance_m": 5, "knots_tails_m": 3, "belayer_tail_m": 2,
        "stretch_share": 0.02, "reserve_m": 3, "reserve_share": 0.05,
        "needs_line_over_rope": "yes", "most_rope_slope_deg": 40,
        "passes_rollers": "yes", "passes_hold_downs": "yes", "incapacitated": "no",
        "downhill_only": "yes", "wind_limit_m_per_s": 14, "approval": approval,
        "belayer_radius_m": 10,
    }  # fmt: skip
    on_rope = {
        **loop,
        "technique": "rope rescuer", "kind": ON_ROPE, "min_crew": 2,
        "roles": "one on the rope | one on the ground",
        "carrier_types": "chair | cabin",
        "per_rope_height": 0, "per_attachment_height": 1, "stance_m": 2,
        "knots_tails_m": 4, "belayer_tail_m": 1, "reserve_m": 2,
        "needs_line_over_rope": "no", "most_rope_slope_deg": 35,
        "passes_hold_downs": "no", "incapacitated": "yes", "wind_limit_m_per_s": 17,
    }  # fmt: skip
    row = on_rope if cabin else loop
    columns = tuple(dict.fromkeys([*loop, "per_attachment_height"]))
    return _table(columns, [tuple(row.get(column, 0) for column in columns)])


def _times() -> bytes:
    columns = ("technique", "step", "per", "low_s", "likely_s", "high_s", "condition")
    rows = [
        (
            row.technique,
            row.step,
            row.per,
            f"{row.seconds.low:g}",
            f"{row.seconds.likely:g}",
            f"{row.seconds.high:g}",
            row.condition,
        )
        for row in step_times()
    ]
    return _table(columns, rows)


def _table(columns: Sequence[str], rows: Sequence[Sequence[object]]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")
