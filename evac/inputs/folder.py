"""A lift folder, read whole and checked: the one way into the chain."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TypeVar

import numpy as np
from pydantic import BaseModel

from evac.errors import InputError
from evac.facts.drill import DrillRecord
from evac.facts.finding import Finding, Severity
from evac.facts.lift import (
    Assumption,
    GroundTable,
    Hazard,
    Lift,
    MusterPoint,
    Support,
    SupportKind,
    Team,
    Terrain,
    Way,
)
from evac.inputs import build, crosscheck, dem, geo, plausibility
from evac.inputs.layers import ENDINGS, read_layer
from evac.inputs.lift_toml import LiftToml, read_lift_toml
from evac.inputs.placing import Placed, place_supports
from evac.inputs.problems import nearest, problem
from evac.inputs.rows import (
    DrillRow,
    GroundRow,
    KitRow,
    StepTimeRow,
    SupportRow,
    TeamRow,
    TechniqueRow,
)
from evac.inputs.tables import RawTable, feet_cells, raw_table, read_table

TOML_NAME = "lift.toml"


def _layer_names(stem: str) -> tuple[str, ...]:
    return tuple(stem + ending for ending in ENDINGS)


DEFAULT_NAMES: Mapping[str, tuple[str, ...]] = {
    "supports": ("supports.csv", "supports.xlsx"),
    "ground": ("ground.csv", "ground.xlsx"),
    "terrain": ("terrain.tif", "terrain.asc", "terrain.hgt", "terrain.geojson"),
    "teams": ("teams.csv", "teams.xlsx"),
    "kit": ("kit.csv", "kit.xlsx"),
    "techniques": ("techniques.csv", "techniques.xlsx"),
    "times": ("times.csv", "times.xlsx"),
    "hazards": _layer_names("hazards"),
    "access": _layer_names("access"),
    "muster": _layer_names("muster"),
    "drills": ("drills.csv", "drills.xlsx"),
}
"""Names that are looked for where ``[files]`` names none."""

AROUND_LINE_M = 400.0
"""Terrain is read this far around everything that stands in the folder."""
MOST_TERRAIN_BYTES = 2_000_000_000
SURVEY_SD_M = 0.3
"""Of a height in ``ground.csv`` (common practice, no source)."""

Row = TypeVar("Row", bound=BaseModel)


@dataclass(slots=True, kw_only=True)
class _Folder:
    """The folder's files while they are read: contents come once, hashes stay."""

    path: Path
    hashes: dict[str, str] = field(default_factory=dict)

    def note(self, name: str) -> None:
        """Hash a file that another module opens itself, without holding it."""
        try:
            with (self.path / name).open("rb") as file:
                self.hashes[name] = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise _unreadable(error, name=name) from None

    def content(self, name: str) -> bytes:
        content = _bytes_of(self.path / name, name=name)
        self.hashes[name] = hashlib.sha256(content).hexdigest()
        return content

    def inside(self, name: str, *, key: str) -> Path:
        """The file of that name; refused where it leaves the folder."""
        found = self.path / name
        if Path(name).is_absolute() or "\\" in name or "\x00" in name:
            raise _leaves_folder(name, key=key)
        if not found.resolve().is_relative_to(self.path.resolve()):
            raise _leaves_folder(name, key=key)
        if not found.is_file():
            names = sorted(item.name for item in self.path.iterdir() if item.is_file())
            near = nearest(name, names)
            raise InputError(
                name, [problem("no_file", where=f"[files] {key}", found="", near=near)]
            )
        return found


def open_lift(folder: Path, *, today: date | None = None) -> Lift:
    """Read a lift folder and check all of it.

    Parameters
    ----------
    folder : Path
        The folder with ``lift.toml``; nothing in it is changed.
    today : date, optional
        The day that is planned for where ``[conditions]`` names none; the computer's
        date if absent.

    Returns
    -------
    Lift
        In SI units; doubts stand in its ``findings``.

    Raises
    ------
    InputError
        For the first file that cannot be used, with every problem of that file.

    Examples
    --------
    >>> from pathlib import Path
    >>> open_lift(Path("no such folder"))
    Traceback (most recent call last):
    evac.errors.InputError: no such folder, the folder: found nothing, expected a \
folder with a lift.toml. Give the path of a lift folder, or start one with "evac new".
    """
    files = _Folder(path=Path(folder))
    if not files.path.is_dir() or not (files.path / TOML_NAME).is_file():
        raise InputError(files.path, [problem("no_folder", where="the folder")])
    toml = read_lift_toml(files.content(TOML_NAME), file=TOML_NAME)
    findings: list[Finding] = []

    supports_table = _raw(files, toml, "supports")
    support_rows = read_table(supports_table, model=SupportRow, name="supports")
    placed = place_supports(
        support_rows, numbers=supports_table.numbers, file=supports_table.file
    )
    findings += placed.findings
    findings += _feet_findings(supports_table)
    technique_rows, team_rows, kit_rows, time_rows = _crew_tables(
        files, toml, placed, findings
    )
    teams = build.teams(team_rows, frame=placed.frame)
    hazards, ways, points = _layers(files, toml, placed)
    drills = _drill_records(files, toml)
    ground = _ground_table(files, toml, placed, findings)
    terrain = _terrain(files, toml, placed, teams=teams, ways=ways, points=points)
    supports = _supports(support_rows, placed, terrain=terrain, ground=ground)
    rope = build.rope(toml)
    section = toml.lift
    lift = Lift(
        name=section.name,
        operator=section.operator,
        revision=section.revision,
        kind=section.kind,
        ascending_on_right=section.ascending_side == "right",
        upper_is_last=section.upper_station == "last",
        drive_at_last=section.drive_station == "last",
        gauge_m=section.gauge_m,
        latitude_deg=placed.frame.latitude_deg,
        longitude_deg=placed.frame.longitude_deg,
        supports=supports,
        rope=rope,
        tension=build.tension(toml.tension),
        carriers=build.carriers(
            toml.carriers, axial_stiffness_n=rope.axial_stiffness_n
        ),
        load_cases=build.load_cases(toml),
        occupancy=build.triple(toml.loading.occupancy, factor=1),
        descending_occupancy=build.triple(toml.loading.descending_occupancy, factor=1),
        limits=build.limits(toml),
        drives=build.drives(toml.drives),
        conditions=build.conditions(toml.conditions, today=today or date.today()),
        organisation=build.organisation(toml.organisation),
        travel=build.travel(toml),
        teams=teams,
        kits=build.kits(kit_rows),
        techniques=build.techniques(technique_rows),
        step_times=build.step_times(time_rows),
        hazards=hazards,
        ways=ways,
        muster_points=points,
        terrain=terrain,
        ground_table=ground,
        assumptions=_assumptions(toml, terrain),
        plan_texts=dict(toml.plan_texts),
        findings=tuple(findings),
        drill_records=drills,
        accepted_steps=frozenset(toml.learning.accepted),
        fingerprint=dict(sorted(files.hashes.items())),
    )
    return plausibility.checked(lift, supports_file=supports_table.file)


def _bytes_of(path: Path, *, name: str) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(error, name=name) from None


def _unreadable(error: OSError, *, name: str) -> InputError:
    found = str(error.strerror)
    return InputError(name, [problem("unreadable", where="the file", found=found)])


def _leaves_folder(name: str, *, key: str) -> InputError:
    where = f"[files] {key}"
    return InputError(TOML_NAME, [problem("leaves_folder", where=where, found=name)])


def _name_of(files: _Folder, toml: LiftToml, key: str) -> str | None:
    """The file's name inside the folder, or None where there is none."""
    stated = getattr(toml.files, key)
    if stated is not None:
        files.inside(stated, key=key)
        return str(stated)
    for name in DEFAULT_NAMES[key]:
        if (files.path / name).is_file():
            files.inside(name, key=key)
            return name
    return None


def _raw(files: _Folder, toml: LiftToml, key: str) -> RawTable:
    """A table that every folder must have."""
    name = _name_of(files, toml, key)
    if name is None:
        wanted = DEFAULT_NAMES[key][0]
        names = sorted(item.name for item in files.path.iterdir() if item.is_file())
        raise InputError(
            wanted,
            [
                problem(
                    "no_file",
                    where=f"[files] {key}",
                    near=nearest(wanted, names),
                )
            ],
        )
    return raw_table(files.content(name), file=name)


def _crew_tables(
    files: _Folder, toml: LiftToml, placed: Placed, findings: list[Finding]
) -> tuple[
    tuple[TechniqueRow, ...],
    tuple[TeamRow, ...],
    tuple[KitRow, ...],
    tuple[StepTimeRow, ...],
]:
    """Techniques, teams, kits and step times, checked against each other."""
    table = _raw(files, toml, "techniques")
    findings += _feet_findings(table)
    techniques = read_table(table, model=TechniqueRow, name="techniques")
    crosscheck.check_techniques(techniques, numbers=table.numbers, file=table.file)

    table = _raw(files, toml, "times")
    times = read_table(table, model=StepTimeRow, name="times")
    crosscheck.check_step_times(
        times, numbers=table.numbers, file=table.file, techniques=techniques
    )

    table = _raw(files, toml, "teams")
    teams = read_table(table, model=TeamRow, name="teams")
    crosscheck.check_teams(
        teams,
        numbers=table.numbers,
        file=table.file,
        techniques=techniques,
        frame=placed.frame,
    )

    table = _raw(files, toml, "kit")
    findings += _feet_findings(table)
    kits = read_table(table, model=KitRow, name="kit")
    crosscheck.check_kits(
        kits, numbers=table.numbers, file=table.file, techniques=techniques, teams=teams
    )
    return techniques, teams, kits, times


def _drill_records(files: _Folder, toml: LiftToml) -> tuple[DrillRecord, ...]:
    """What was timed in drills; () where there is no table or none has rows."""
    name = _name_of(files, toml, "drills")
    if name is None:
        return ()
    table = raw_table(files.content(name), file=name)
    rows = read_table(table, model=DrillRow, name="drills", may_be_empty=True)
    crosscheck.check_drills(rows, numbers=table.numbers, file=name)
    return build.drill_records(rows, numbers=table.numbers, file=name)


def _layers(
    files: _Folder, toml: LiftToml, placed: Placed
) -> tuple[tuple[Hazard, ...], tuple[Way, ...], tuple[MusterPoint, ...]]:
    """The map layers; () for those that the folder does not have."""
    hazards: tuple[Hazard, ...] = ()
    ways: tuple[Way, ...] = ()
    points: tuple[MusterPoint, ...] = ()
    frame = placed.frame
    name = _name_of(files, toml, "hazards")
    if name is not None:
        features = read_layer(files.content(name), file=name)
        hazards = geo.hazards(features, frame=frame, file=name)
    name = _name_of(files, toml, "access")
    if name is not None:
        features = read_layer(files.content(name), file=name)
        ways = geo.ways(features, frame=frame, file=name)
    name = _name_of(files, toml, "muster")
    if name is not None:
        features = read_layer(files.content(name), file=name)
        points = geo.muster_points(features, frame=frame, file=name)
    return hazards, ways, points


def _ground_table(
    files: _Folder, toml: LiftToml, placed: Placed, findings: list[Finding]
) -> GroundTable | None:
    name = _name_of(files, toml, "ground")
    if name is None:
        return None
    table = raw_table(files.content(name), file=name)
    findings += _feet_findings(table)
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
    return GroundTable(
        distance_m=distance_m,
        ascending_m=np.array([row.ascending_m for row in rows]),
        descending_m=np.array([row.descending_m for row in rows]),
        sd_m=SURVEY_SD_M,
    )


def _terrain(
    files: _Folder,
    toml: LiftToml,
    placed: Placed,
    *,
    teams: tuple[Team, ...],
    ways: tuple[Way, ...],
    points: tuple[MusterPoint, ...],
) -> Terrain | None:
    """The terrain around everything in the folder that has a place."""
    stated = toml.files.terrain
    if isinstance(stated, list):
        names = list(stated)
    elif stated is not None:
        names = [stated]
    else:
        found = _name_of(files, toml, "terrain")
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
        paths.append(path)
    x_m = [*placed.x_m, *(t.start_x_m for t in teams), *(p.x_m for p in points)]
    y_m = [*placed.y_m, *(t.start_y_m for t in teams), *(p.y_m for p in points)]
    for way in ways:
        west, south, east, north = way.geometry.bounds
        x_m += [west, east]
        y_m += [south, north]
    return dem.read_terrain(
        paths,
        frame=placed.frame,
        bounds=(
            float(min(x_m)) - AROUND_LINE_M,
            float(min(y_m)) - AROUND_LINE_M,
            float(max(x_m)) + AROUND_LINE_M,
            float(max(y_m)) + AROUND_LINE_M,
        ),
        crs=toml.files.terrain_crs,
        sd_m=toml.files.terrain_sd_m,
    )


def _supports(
    rows: tuple[SupportRow, ...],
    placed: Placed,
    *,
    terrain: Terrain | None,
    ground: GroundTable | None,
) -> tuple[Support, ...]:
    """The supports; ground that is left blank comes from the table or the terrain."""
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
        return list(dem.height_at(terrain, x_m=placed.x_m, y_m=placed.y_m))
    return [float("nan")] * len(placed.x_m)


def _assumptions(toml: LiftToml, terrain: Terrain | None) -> tuple[Assumption, ...]:
    stated = [
        Assumption(
            key=key, value=entry.value, reason=entry.reason, accepted=entry.accepted
        )
        for key, entry in toml.assumptions.items()
    ]
    if terrain is not None and toml.files.terrain_sd_m is None:
        stated.append(dem.sd_assumption(terrain))
    return tuple(stated)


def _feet_findings(table: RawTable) -> list[Finding]:
    found = feet_cells(table)
    if not found:
        return []
    shown = "; ".join(found[:3]) + ("; …" if len(found) > 3 else "")
    return [
        Finding(
            key="inputs.feet_read",
            severity=Severity.NOTE,
            where=table.file,
            values={"cells": shown},
        )
    ]
