"""What the line stands on: ground table, terrain, and the supports upon them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evac.errors import InputError
from evac.facts.finding import Finding
from evac.facts.lift import GroundTable, Support, SupportKind, Terrain
from evac.ground import sample_grid
from evac.inputs import dem
from evac.inputs.dem_tile import Bounds
from evac.inputs.files import TOML_NAME, FolderFiles, file_name
from evac.inputs.placing import Placed
from evac.inputs.problems import problem
from evac.inputs.rows import GroundRow, SupportRow
from evac.inputs.sections import FilesSection
from evac.inputs.tables import feet_findings, raw_table, read_table

AROUND_LINE_M = 400.0
"""Terrain is read this far around everything that stands in the folder."""
FARTHEST_TERRAIN_M = 6_000.0
"""Ground farther from the line is not needed to find a way in."""
MOST_TERRAIN_BYTES = 2_000_000_000
SURVEY_SD_M = 0.3
"""Of a height in ``ground.csv`` (common practice, no source)."""


def ground_table(
    files: FolderFiles, named: FilesSection, placed: Placed
) -> tuple[GroundTable | None, list[Finding]]:
    """The surveyed ground, where there is a table of it, and doubts met in it.

    Raises
    ------
    InputError
        If it is out of order or does not reach from end to end.
    """
    name = file_name(files, named, "ground")
    if name is None:
        return None, []
    table = raw_table(files.content(name), file=name)
    rows = read_table(table, model=GroundRow, name="ground")
    distance_m = np.array([row.distance_m for row in rows])
    problems = [
        problem(
            "ground_out_of_order",
            where=f"row {number}, column distance_m",
            found=float(here),
            before_m=float(before),
        )
        for number, here, before in zip(
            table.numbers[1:], distance_m[1:], distance_m[:-1], strict=True
        )
        if here <= before
    ]
    end_m = float(placed.distance_m[-1])
    if distance_m[0] > 0.5 or distance_m[-1] < end_m - 0.5:
        found = f"{distance_m[0]:g} to {distance_m[-1]:g}"
        problems.append(
            problem(
                "ground_too_short",
                where="column distance_m",
                found=found,
                end_m=end_m,
            )
        )
    if problems:
        raise InputError(table.file, problems)
    surveyed = GroundTable(
        distance_m=distance_m,
        ascending_m=np.array([row.ascending_m for row in rows]),
        descending_m=np.array([row.descending_m for row in rows]),
        sd_m=SURVEY_SD_M,
    )
    return surveyed, feet_findings(table)


def read_terrain(
    files: FolderFiles, named: FilesSection, placed: Placed, *, others: Sequence[Bounds]
) -> Terrain | None:
    """The terrain around the line and whatever else stands near it.

    Parameters
    ----------
    files, named, placed
        What was read already.
    others : sequence of (x_min, y_min, x_max, y_max)
        Where teams, ways and muster points are [m]; those farther off than
        `FARTHEST_TERRAIN_M` do not widen what is read.

    Raises
    ------
    InputError
        If a terrain file cannot be read or covers nothing of this.
    """
    stated = named.terrain
    if isinstance(stated, list):
        names = list(stated)
    elif stated is not None:
        names = [stated]
    else:
        found = file_name(files, named, "terrain")
        names = [] if found is None else [found]
    if not names:
        return None
    paths = []
    for name in names:
        path = files.inside(name, key="terrain")
        if path.stat().st_size > MOST_TERRAIN_BYTES:
            size = f"{path.stat().st_size:,} bytes"
            raise InputError(
                name,
                [
                    problem(
                        "too_large",
                        where="the file",
                        found=size,
                        most=MOST_TERRAIN_BYTES,
                    )
                ],
            )
        files.note(name)
        beside = path.with_suffix(".prj")
        if beside.is_file():
            # GDAL takes the reference system of an ASCII grid from there.
            files.note(beside.relative_to(files.path).as_posix())
        paths.append(path)
    return dem.read_terrain(
        paths,
        frame=placed.frame,
        bounds=_around(placed, others),
        crs=named.terrain_crs,
        sd_m=named.terrain_sd_m,
    )


def _around(placed: Placed, others: Sequence[Bounds]) -> Bounds:
    """A rectangle around the line and the others, kept within bounds itself."""
    line = (
        float(placed.x_m.min()),
        float(placed.y_m.min()),
        float(placed.x_m.max()),
        float(placed.y_m.max()),
    )
    far = FARTHEST_TERRAIN_M
    every = [line, *others]
    return (
        max(min(b[0] for b in every), line[0] - far) - AROUND_LINE_M,
        max(min(b[1] for b in every), line[1] - far) - AROUND_LINE_M,
        min(max(b[2] for b in every), line[2] + far) + AROUND_LINE_M,
        min(max(b[3] for b in every), line[3] + far) + AROUND_LINE_M,
    )


def stand_supports(
    rows: Sequence[SupportRow],
    placed: Placed,
    *,
    terrain: Terrain | None,
    ground: GroundTable | None,
) -> tuple[Support, ...]:
    """The supports; ground that is left blank comes from the table or the terrain.

    Raises
    ------
    InputError
        If there is neither, or no height under a support.
    """
    if ground is None and terrain is None:
        raise InputError(TOML_NAME, [problem("no_ground", where="[files] ground")])
    taken = _ground_at(placed, terrain=terrain, ground=ground)
    blank = [i for i, row in enumerate(rows) if row.ground_m is None]
    if ground is None and terrain is not None:
        dem.require_cover(
            terrain.source,
            terrain=terrain,
            supports=[
                (row.support, float(x), float(y))
                for row, x, y in zip(rows, placed.x_m, placed.y_m, strict=True)
            ],
        )
    last = len(rows) - 1
    return tuple(
        Support(
            id=row.support,
            distance_m=float(placed.distance_m[i]),
            ground_m=float(taken[i]) if row.ground_m is None else row.ground_m,
            rope_height_m=row.rope_height_m,
            kind=SupportKind.STATION if i in (0, last) else row.kind,
            x_m=float(placed.x_m[i]),
            y_m=float(placed.y_m[i]),
            doubtful=row.doubtful,
            surveyed=i not in blank,
        )
        for i, row in enumerate(rows)
    )


def _ground_at(
    placed: Placed, *, terrain: Terrain | None, ground: GroundTable | None
) -> list[float]:
    """Ground under every support; the table goes before the terrain."""
    if ground is not None:
        mean_m = (ground.ascending_m + ground.descending_m) / 2
        return list(np.interp(placed.distance_m, ground.distance_m, mean_m))
    if terrain is not None:
        return list(sample_grid(terrain, x_m=placed.x_m, y_m=placed.y_m))
    return [float("nan")] * len(placed.x_m)
