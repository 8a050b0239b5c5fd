"""Whether surveyed supports, the ground table and the terrain tell one story.

A survey in another height datum stands a constant step above or below the terrain;
terrain of another place, or in a reference system that lies, differs without rule.
Either would put every height of the plan in the wrong place, so a gross misfit is
refused; what is small is a finding.
"""

from __future__ import annotations

import numpy as np

from evac.errors import InputError
from evac.facts.finding import Finding, Severity
from evac.facts.lift import FloatArray, Lift, Terrain
from evac.ground import sample_grid
from evac.inputs.problems import problem
from evac.units import FOOT_M

LEAST_STEP_M = 10.0
"""A smaller step may be terrain error; geoid steps are 20 to 60 m in the mountains."""
TABLE_STEP_M = 2.0
SPIKE_STEP_M = 15.0
LEAST_VALLEY_M = 10.0
"""Ground less far below the lower, or above the upper station is no valley or crest."""


def require_fit(lift: Lift, *, file: str) -> None:
    """Refuse supports, table and terrain that cannot belong together.

    Parameters
    ----------
    lift : Lift
        As read.
    file : str
        Name of the table of supports, for the message.

    Raises
    ------
    InputError
        If surveyed ground stands a constant step, or wildly, off the terrain.
    """
    surveyed_m, terrain_m = _survey_and_terrain_m(lift)
    apart_m = surveyed_m - terrain_m
    if apart_m.size < 2 or lift.terrain is None:
        return
    limit_m = max(4 * lift.terrain.sd_m, LEAST_STEP_M)
    middle_m = float(np.median(apart_m))
    spread_m = float(np.median(np.abs(apart_m - middle_m)))
    if spread_m > limit_m:
        key = "terrain_misfit"
        values = {"apart_m": float(np.abs(apart_m).max())}
    elif abs(middle_m) > limit_m:
        key = "height_datum"
        values = {"apart_m": abs(middle_m)}
    else:
        return
    if float(np.median(np.abs(surveyed_m * FOOT_M - terrain_m))) <= limit_m:
        key = "ground_in_feet"
    found = f"{surveyed_m[0]:,.1f} m at the first surveyed support"
    raise InputError(
        file, [problem(key, where="column ground_m", found=found, **values)]
    )


def doubts(lift: Lift) -> list[Finding]:
    """Small constant steps, supports off the ground table, spikes, valleys."""
    return [*_step(lift), *_off_table(lift), *_spikes(lift), *_up_and_down(lift)]


def _survey_and_terrain_m(lift: Lift) -> FloatArray:
    """Surveyed ground and the terrain's at every support that has both, (2, n)."""
    surveyed = [support for support in lift.supports if support.surveyed]
    if lift.terrain is None or not surveyed:
        return np.zeros((2, 0))
    terrain_m = sample_grid(
        lift.terrain,
        x_m=np.array([support.x_m for support in surveyed]),
        y_m=np.array([support.y_m for support in surveyed]),
    )
    both_m = np.array([[support.ground_m for support in surveyed], terrain_m])
    return both_m[:, np.isfinite(terrain_m)]


def _step(lift: Lift) -> list[Finding]:
    surveyed_m, terrain_m = _survey_and_terrain_m(lift)
    apart_m = surveyed_m - terrain_m
    if apart_m.size < 4 or lift.terrain is None:
        return []
    middle_m = float(np.median(apart_m))
    # Many supports average out the terrain's error: a step beyond that is a datum.
    expected_m = max(2 * lift.terrain.sd_m / np.sqrt(apart_m.size), 1.0)
    if abs(middle_m) <= expected_m:
        return []
    values = {"apart_m": abs(middle_m), "way": "above" if middle_m > 0 else "below"}
    return [Finding(key="inputs.height_step", severity=Severity.WARN, values=values)]


def _off_table(lift: Lift) -> list[Finding]:
    """Supports whose surveyed ground is not on the surveyed ground table."""
    table = lift.ground_table
    if table is None:
        return []
    found = []
    mean_m = (table.ascending_m + table.descending_m) / 2
    slack_m = np.abs(table.ascending_m - table.descending_m) / 2 + TABLE_STEP_M
    for support in lift.supports:
        if not support.surveyed:
            continue
        at_m = float(np.interp(support.distance_m, table.distance_m, mean_m))
        allowed_m = float(np.interp(support.distance_m, table.distance_m, slack_m))
        if abs(support.ground_m - at_m) > allowed_m:
            found.append(
                Finding(
                    key="inputs.off_table",
                    severity=Severity.WARN,
                    where=support.id,
                    values={
                        "support": support.id,
                        "support_m": support.ground_m,
                        "table_m": at_m,
                    },
                )
            )
    return found


def _spikes(lift: Lift) -> list[Finding]:
    """Single terrain heights along the line that stand out on both sides."""
    terrain = lift.terrain
    if terrain is None or lift.ground_table is not None:
        return []
    step_m = max(terrain.source_cell_m, 10.0)
    along_m, height_m = _terrain_along(lift, terrain, step_m=step_m)
    before_m, after_m = height_m[1:-1] - height_m[:-2], height_m[1:-1] - height_m[2:]
    least_m = np.minimum(np.abs(before_m), np.abs(after_m))
    limit_m = SPIKE_STEP_M + step_m
    with np.errstate(invalid="ignore"):
        spikes = (before_m * after_m > 0) & (least_m > limit_m)
    return [
        Finding(
            key="inputs.spike",
            severity=Severity.WARN,
            where=f"{along_m[index + 1]:.0f} m",
            values={
                "distance_m": float(along_m[index + 1]),
                "step_m": float(least_m[index]),
            },
        )
        for index in np.flatnonzero(spikes)
    ]


def _terrain_along(
    lift: Lift, terrain: Terrain, *, step_m: float
) -> tuple[FloatArray, FloatArray]:
    """Distances along the line and the terrain there, (n,) each."""
    distance_m = np.array([support.distance_m for support in lift.supports])
    along_m = np.arange(0.0, float(distance_m[-1]), step_m)
    height_m = sample_grid(
        terrain,
        x_m=np.interp(along_m, distance_m, [s.x_m for s in lift.supports]),
        y_m=np.interp(along_m, distance_m, [s.y_m for s in lift.supports]),
    )
    return along_m, height_m


def _up_and_down(lift: Lift) -> list[Finding]:
    """A line over a valley or a crest: up and down change along it."""
    table = lift.ground_table
    if table is not None:
        inside = (table.distance_m >= 0) & (
            table.distance_m <= lift.supports[-1].distance_m
        )
        along_m = table.distance_m[inside]
        height_m = ((table.ascending_m + table.descending_m) / 2)[inside]
    elif lift.terrain is not None:
        along_m, height_m = _terrain_along(lift, lift.terrain, step_m=10.0)
    else:
        return []
    known = np.isfinite(height_m)
    if known.sum() < 3:
        return []
    along_m, height_m = along_m[known], height_m[known]
    if table is None:
        # A single odd height of the terrain is a spike, not a crest.
        three = np.stack([height_m[:-2], height_m[1:-1], height_m[2:]])
        along_m, height_m = along_m[1:-1], np.median(three, axis=0)
    ends_m = (lift.supports[0].ground_m, lift.supports[-1].ground_m)
    found = []
    for key, index, apart_m in (
        ("inputs.valley", int(height_m.argmin()), min(ends_m) - float(height_m.min())),
        ("inputs.crest", int(height_m.argmax()), float(height_m.max()) - max(ends_m)),
    ):
        if apart_m > LEAST_VALLEY_M:
            values = {"apart_m": apart_m, "distance_m": float(along_m[index])}
            found.append(Finding(key=key, severity=Severity.WARN, values=values))
    return found
