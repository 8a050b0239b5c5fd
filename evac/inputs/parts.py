"""The parts of a lift folder, each read as far as the other parts allow.

Where one file cannot be used, the others are still looked at, so that a person learns
of all that is wrong in one go. What needs two files is checked where both can be read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from evac.facts.drill import DrillRecord
from evac.facts.finding import Finding
from evac.facts.lift import GroundTable, Hazard, MusterPoint, Team, Terrain, Way
from evac.frame import Frame
from evac.inputs import build, crosscheck, geo, standing
from evac.inputs.dem_tile import Bounds
from evac.inputs.features import Feature
from evac.inputs.files import FolderFiles, file_name, required_table
from evac.inputs.layers import read_layer
from evac.inputs.placing import Placed, place_supports
from evac.inputs.rows import (
    DrillRow,
    KitRow,
    StepTimeRow,
    SupportRow,
    TeamRow,
    TechniqueRow,
)
from evac.inputs.sections import FilesSection
from evac.inputs.tables import feet_findings, raw_table, read_table
from evac.inputs.troubles import Troubles

Made = TypeVar("Made")


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePart:
    """The supports as written, and where they stand."""

    file: str
    rows: tuple[SupportRow, ...]
    placed: Placed
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewPart:
    """Who comes with what; None for a table that cannot be used."""

    techniques: tuple[TechniqueRow, ...] | None
    times: tuple[StepTimeRow, ...] | None
    teams: tuple[TeamRow, ...] | None
    kits: tuple[KitRow, ...] | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerPart:
    """The map layers in the lift's frame; () for those that the folder lacks."""

    hazards: tuple[Hazard, ...]
    ways: tuple[Way, ...]
    points: tuple[MusterPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundPart:
    """What the line stands on, as far as the folder has it."""

    table: GroundTable | None
    terrain: Terrain | None
    findings: tuple[Finding, ...]


def line_part(files: FolderFiles, named: FilesSection) -> LinePart:
    """The table of supports.

    Raises
    ------
    InputError
        If it cannot be used.
    """
    table = required_table(files, named, "supports")
    rows = read_table(table, model=SupportRow, name="supports")
    placed = place_supports(rows, numbers=table.numbers, file=table.file)
    return LinePart(
        file=table.file,
        rows=rows,
        placed=placed,
        findings=(*placed.findings, *feet_findings(table)),
    )


def crew_part(
    files: FolderFiles, named: FilesSection, *, frame: Frame | None, troubles: Troubles
) -> CrewPart:
    """Techniques, step times, teams and kits, checked against each other.

    Parameters
    ----------
    files, named
        The folder and its ``[files]``.
    frame : Frame or None
        Of the lift, where its supports could be placed.
    troubles : Troubles
        Takes what is wrong.
    """
    findings: list[Finding] = []

    def techniques() -> tuple[TechniqueRow, ...]:
        table = required_table(files, named, "techniques")
        findings.extend(feet_findings(table))
        rows = read_table(table, model=TechniqueRow, name="techniques")
        crosscheck.check_techniques(rows, numbers=table.numbers, file=table.file)
        return rows

    known = troubles.tried(techniques)

    def times() -> tuple[StepTimeRow, ...]:
        table = required_table(files, named, "times")
        rows = read_table(table, model=StepTimeRow, name="times")
        crosscheck.check_step_times(
            rows, numbers=table.numbers, file=table.file, techniques=known
        )
        return rows

    def teams() -> tuple[TeamRow, ...]:
        table = required_table(files, named, "teams")
        rows = read_table(table, model=TeamRow, name="teams")
        crosscheck.check_teams(
            rows, numbers=table.numbers, file=table.file, techniques=known, frame=frame
        )
        return rows

    timed, present = troubles.tried(times), troubles.tried(teams)

    def team_steps() -> None:
        if known is not None and timed is not None and present is not None:
            file = file_name(files, named, "times") or ""
            crosscheck.check_team_steps(
                timed, file=file, techniques=known, teams=present
            )

    troubles.tried(team_steps)

    def kits() -> tuple[KitRow, ...]:
        table = required_table(files, named, "kit")
        findings.extend(feet_findings(table))
        rows = read_table(table, model=KitRow, name="kit")
        crosscheck.check_kits(
            rows,
            numbers=table.numbers,
            file=table.file,
            techniques=known,
            teams=present,
        )
        return rows

    return CrewPart(
        techniques=known,
        times=timed,
        teams=present,
        kits=troubles.tried(kits),
        findings=tuple(findings),
    )


def layer_part(
    files: FolderFiles, named: FilesSection, *, frame: Frame | None, troubles: Troubles
) -> LayerPart:
    """The map layers; as `crew_part`."""

    def layer(
        key: str, make: Callable[[Sequence[Feature], Frame, str], tuple[Made, ...]]
    ) -> tuple[Made, ...]:
        def read() -> tuple[Made, ...]:
            name = file_name(files, named, key)
            if name is None:
                return ()
            features = read_layer(files.content(name), file=name)
            if frame is None:
                geo.require_properties(features, layer=key, file=name)
                return ()
            return make(features, frame, name)

        return troubles.tried(read) or ()

    return LayerPart(
        hazards=layer("hazards", lambda f, at, n: geo.hazards(f, frame=at, file=n)),
        ways=layer("access", lambda f, at, n: geo.ways(f, frame=at, file=n)),
        points=layer("muster", lambda f, at, n: geo.muster_points(f, frame=at, file=n)),
    )


def drill_part(files: FolderFiles, named: FilesSection) -> tuple[DrillRecord, ...]:
    """What was timed in drills; () where there is no table or none has rows.

    Raises
    ------
    InputError
        If the table cannot be used.
    """
    name = file_name(files, named, "drills")
    if name is None:
        return ()
    table = raw_table(files.content(name), file=name)
    rows = read_table(table, model=DrillRow, name="drills", may_be_empty=True)
    crosscheck.check_drills(rows, numbers=table.numbers, file=name)
    return build.drill_records(rows, numbers=table.numbers, file=name)


def ground_part(
    files: FolderFiles,
    named: FilesSection,
    placed: Placed,
    *,
    teams: Sequence[Team],
    layers: LayerPart,
    troubles: Troubles,
) -> GroundPart:
    """The ground table and the terrain around all that stands in the folder."""
    surveyed = troubles.tried(lambda: standing.ground_table(files, named, placed))
    table, findings = (None, []) if surveyed is None else surveyed
    others: list[Bounds] = [
        *((t.start_x_m, t.start_y_m, t.start_x_m, t.start_y_m) for t in teams),
        *((p.x_m, p.y_m, p.x_m, p.y_m) for p in layers.points),
        *(way.geometry.bounds for way in layers.ways),
    ]
    terrain = troubles.tried(
        lambda: standing.read_terrain(files, named, placed, others=others)
    )
    return GroundPart(table=table, terrain=terrain, findings=tuple(findings))
