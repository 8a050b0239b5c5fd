"""A complete lift folder made of an OpenStreetMap line and a terrain file.

OpenStreetMap knows where the supports stand. Everything else is assumed, and stands in
``[assumptions]`` with its reason until somebody replaces it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from shapely.geometry import LineString

from evac.errors import InputError
from evac.facts.lift import FloatArray, SupportKind, Terrain
from evac.frame import Frame
from evac.ground import sample_grid
from evac.inputs.dem import (
    crop,
    read_terrain,
    require_cover,
)
from evac.inputs.dem_file import NoGroundError
from evac.inputs.dem_tile import Bounds
from evac.inputs.osm import (
    OsmLift,
    is_pylon,
    judged,
    lift_ways,
    reason_text,
)
from evac.inputs.osm_added import with_supports
from evac.inputs.osm_assume import Assumed, assume
from evac.inputs.osm_extract import OsmExtract, OsmWay, problem, read_extract
from evac.inputs.osm_heights import ChosenHeights, choose_heights
from evac.inputs.osm_layers import (
    access_layer,
    hazard_layer,
    muster_layer,
    placed_near,
)
from evac.inputs.osm_teams import technique_tables
from evac.inputs.osm_toml import lift_toml
from evac.words import Words

MARGIN_M = 800.0
"""Terrain is kept this far around the line."""
PROFILE_STEP_M = 5.0
LEAST_GAP_M = 1.0
"""Vertices closer together than this are one support drawn twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """The line as drawn: ids and places of its supports, from the first vertex on.

    ``distance_m`` (n,) along the chord; ``x_m, y_m`` (n,) in the frame.
    """

    frame: Frame
    ids: tuple[str, ...]
    distance_m: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    latitude_deg: FloatArray
    longitude_deg: FloatArray


def lift_folder_files(
    extract: Path,
    *,
    way_id: int,
    terrain: Path | Sequence[Path],
    terrain_crs: str | None = None,
    supports: Path | None = None,
) -> dict[str, bytes]:
    """Files of a lift folder for one lift of an extract.

    Parameters
    ----------
    extract : Path
        As for `evac.inputs.osm.list_lifts`.
    way_id : int
        Id of a usable lift.
    terrain : Path or sequence of Path
        Terrain files that cover the line.
    terrain_crs : str, optional
        Coordinate reference system of terrain that names none, such as "EPSG:31287".
    supports : Path, optional
        Table with ``lat`` and ``lon`` of supports that the map lacks.

    Returns
    -------
    dict
        File name -> content: ``lift.toml``, tables, layers, and the terrain cut to
        the surroundings of the line.

    Raises
    ------
    InputError
        If there is no such lift, it is not usable (with the reason), or the terrain
        does not cover it.
    """
    read = read_extract(extract)
    if supports is not None:
        read = with_supports(read, _way(read, way_id), supports)
    way, lift = _chosen(read, way_id)
    drawn = _drawn(way, read)
    paths = [terrain] if isinstance(terrain, Path) else list(terrain)
    bounds = _bounds(drawn)
    ground = _ground(drawn, paths, terrain_crs)
    ground_m = sample_grid(ground, x_m=drawn.x_m, y_m=drawn.y_m)
    upper_is_last = bool(ground_m[-1] >= ground_m[0])
    assumed = assume(
        way.tags,
        length_m=float(drawn.distance_m[-1]),
        longest_span_m=float(np.diff(drawn.distance_m).max()),
        rise_m=float(ground_m.max() - ground_m.min()),
    )
    heights = _heights(drawn, ground, ground_m, assumed)
    line = LineString([(drawn.x_m[0], drawn.y_m[0]), (drawn.x_m[-1], drawn.y_m[-1])])
    frame = drawn.frame
    ways = placed_near(read, frame=frame, line=line)
    terrain_files = crop(paths, frame=frame, bounds=bounds, crs=terrain_crs)
    layers = {
        "access.geojson": access_layer(ways, frame=frame, line=line),
        "hazards.geojson": hazard_layer(ways, frame=frame, line=line),
    }
    files = {
        "supports.csv": _supports_csv(drawn, heights),
        **terrain_files,
        # An empty layer would read as one that somebody forgot to draw.
        **{name: content for name, content in layers.items() if content},
        "muster.geojson": muster_layer(
            frame=frame, line=line, upper_is_last=upper_is_last
        ),
        **technique_tables(
            cabin=assumed.type == "cabin",
            length_m=float(drawn.distance_m[-1]),
            upper=_end(drawn, last=upper_is_last),
            lower=_end(drawn, last=not upper_is_last),
        ),
    }
    toml = lift_toml(
        lift,
        assumed=assumed,
        heights=heights,
        terrain=ground,
        upper_is_last=upper_is_last,
        longitude_deg=float(drawn.longitude_deg[0]),
        terrain_files=list(terrain_files),
    )
    return {"lift.toml": toml, **files}


def on_terrain(
    read: OsmExtract,
    lifts: Sequence[OsmLift],
    *,
    terrain: Sequence[Path],
    terrain_crs: str | None = None,
) -> list[OsmLift]:
    """The lifts, those not usable over whose supports the terrain has no height.

    Raises
    ------
    InputError
        If a terrain file cannot be used at all.
    """
    ways = {way.id: way for way in lift_ways(read)}
    found = []
    for lift in lifts:
        if lift.usable:
            try:
                _ground(_drawn(ways[lift.way_id], read), terrain, terrain_crs)
            except NoGroundError:
                lift = replace(lift, usable=False, reason="no_terrain")
        found.append(lift)
    return found


def _bounds(drawn: _Drawn) -> Bounds:
    return (
        float(drawn.x_m.min()) - MARGIN_M,
        float(drawn.y_m.min()) - MARGIN_M,
        float(drawn.x_m.max()) + MARGIN_M,
        float(drawn.y_m.max()) + MARGIN_M,
    )


def _ground(drawn: _Drawn, paths: Sequence[Path], crs: str | None) -> Terrain:
    """The terrain around the line; refused where a support stands on none of it."""
    ground = read_terrain(paths, frame=drawn.frame, bounds=_bounds(drawn), crs=crs)
    places = list(zip(drawn.ids, drawn.x_m, drawn.y_m, strict=True))
    require_cover(paths[0].name, terrain=ground, supports=places)
    return ground


def _way(extract: OsmExtract, way_id: int) -> OsmWay:
    ways = lift_ways(extract)
    way = next((way for way in ways if way.id == way_id), None)
    if way is None:
        detail = problem("no_such_way", where="way", found=str(way_id), count=len(ways))
        raise InputError(extract.file, [detail])
    return way


def _chosen(extract: OsmExtract, way_id: int) -> tuple[OsmWay, OsmLift]:
    way = _way(extract, way_id)
    lift = judged(way, extract)
    if not lift.usable:
        detail = problem(
            "not_usable",
            where=f"way {way_id}",
            found=f"{lift.name or lift.type}",
            reason=reason_text(lift, Words()),
        )
        raise InputError(extract.file, [detail])
    return way, lift


def _drawn(way: OsmWay, extract: OsmExtract) -> _Drawn:
    """Ends and pylons of a way on its chord."""
    places = extract.places(way)
    frame = Frame(
        latitude_deg=places[0].latitude_deg, longitude_deg=places[0].longitude_deg
    )
    latitude = np.array([place.latitude_deg for place in places])
    longitude = np.array([place.longitude_deg for place in places])
    x_m, y_m = frame.from_degrees(latitude_deg=latitude, longitude_deg=longitude)
    length_m = float(np.hypot(x_m[-1], y_m[-1]))
    along_m = (x_m * x_m[-1] + y_m * y_m[-1]) / length_m
    keep = [0]
    for index in range(1, len(places) - 1):
        far_enough = along_m[index] - along_m[keep[-1]] >= LEAST_GAP_M
        before_end = along_m[index] <= length_m - LEAST_GAP_M
        if is_pylon(places[index]) and far_enough and before_end:
            keep.append(index)
    keep.append(len(places) - 1)
    ids = tuple(str(number) for number in range(len(keep)))
    return _Drawn(
        frame=frame,
        ids=ids,
        distance_m=along_m[keep] - along_m[0],
        x_m=x_m[keep],
        y_m=y_m[keep],
        latitude_deg=latitude[keep],
        longitude_deg=longitude[keep],
    )


def _heights(
    drawn: _Drawn, terrain: Terrain, ground_m: FloatArray, assumed: Assumed
) -> ChosenHeights:
    """Support heights over the terrain of both sides and the middle of the line."""
    length_m = float(drawn.distance_m[-1])
    at_m = np.arange(0.0, length_m, PROFILE_STEP_M)
    east, north = drawn.x_m[-1] / length_m, drawn.y_m[-1] / length_m
    sides = [
        sample_grid(
            terrain,
            x_m=at_m * east + right_m * north,
            y_m=at_m * north - right_m * east,
        )
        for right_m in (-assumed.gauge_m / 2, 0.0, assumed.gauge_m / 2)
    ]
    return choose_heights(
        drawn.distance_m,
        ground_m,
        profile_distance_m=at_m,
        profile_ground_m=np.maximum.reduce(sides),
        rope=assumed.rope,
        rules=assumed.rules,
    )


def _end(drawn: _Drawn, *, last: bool) -> tuple[float, float]:
    index = -1 if last else 0
    return float(drawn.latitude_deg[index]), float(drawn.longitude_deg[index])


def _supports_csv(drawn: _Drawn, heights: ChosenHeights) -> bytes:
    """``supports.csv``; the ground is left to the terrain."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(
        ("support", "distance_m", "ground_m", "rope_height_m", "kind", "lat", "lon")
    )
    last = len(drawn.ids) - 1
    for index, name in enumerate(drawn.ids):
        kind = SupportKind.STATION if index in (0, last) else SupportKind.SUPPORT
        if heights.combined[index]:
            kind = SupportKind.COMBINED
        writer.writerow(
            (
                name,
                f"{drawn.distance_m[index] + 0.0:.2f}",
                "",
                f"{heights.height_m[index]:.2f}",
                kind.value,
                f"{drawn.latitude_deg[index]:.7f}",
                f"{drawn.longitude_deg[index]:.7f}",
            )
        )
    return text.getvalue().encode("utf-8")
