"""A lift folder, read whole and checked: the one way into the chain."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from evac.errors import InputError
from evac.facts.drill import DrillRecord
from evac.facts.finding import Finding
from evac.facts.lift import (
    Assumption,
    Hazard,
    Lift,
    MusterPoint,
    Terrain,
    Way,
)
from evac.inputs import build, crosscheck, dem, geo, plausibility, standing
from evac.inputs.files import TOML_NAME, FolderFiles, file_name, required_table
from evac.inputs.layers import read_layer
from evac.inputs.lift_toml import read_lift_toml
from evac.inputs.placing import Placed, place_supports
from evac.inputs.problems import problem
from evac.inputs.rows import (
    DrillRow,
    KitRow,
    StepTimeRow,
    SupportRow,
    TeamRow,
    TechniqueRow,
)
from evac.inputs.sections import LiftToml
from evac.inputs.tables import feet_findings, raw_table, read_table


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
    files = FolderFiles(path=Path(folder))
    if not files.path.is_dir() or not (files.path / TOML_NAME).is_file():
        raise InputError(files.path, [problem("no_folder", where="the folder")])
    toml = read_lift_toml(files.content(TOML_NAME), file=TOML_NAME)
    findings: list[Finding] = []

    supports_table = required_table(files, toml, "supports")
    support_rows = read_table(supports_table, model=SupportRow, name="supports")
    placed = place_supports(
        support_rows, numbers=supports_table.numbers, file=supports_table.file
    )
    findings += placed.findings
    findings += feet_findings(supports_table)
    technique_rows, team_rows, kit_rows, time_rows = _crew_tables(
        files, toml, placed, findings
    )
    teams = build.teams(team_rows, frame=placed.frame)
    hazards, ways, points = _layers(files, toml, placed)
    drills = _drill_records(files, toml)
    ground, doubts = standing.ground_table(files, toml, placed)
    findings += doubts
    others = [
        *((t.start_x_m, t.start_y_m, t.start_x_m, t.start_y_m) for t in teams),
        *((p.x_m, p.y_m, p.x_m, p.y_m) for p in points),
        *(way.geometry.bounds for way in ways),
    ]
    terrain = standing.read_terrain(files, toml, placed, others=others)
    supports = standing.stand_supports(
        support_rows, placed, terrain=terrain, ground=ground
    )
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


def _crew_tables(
    files: FolderFiles, toml: LiftToml, placed: Placed, findings: list[Finding]
) -> tuple[
    tuple[TechniqueRow, ...],
    tuple[TeamRow, ...],
    tuple[KitRow, ...],
    tuple[StepTimeRow, ...],
]:
    """Techniques, teams, kits and step times, checked against each other."""
    table = required_table(files, toml, "techniques")
    findings += feet_findings(table)
    techniques = read_table(table, model=TechniqueRow, name="techniques")
    crosscheck.check_techniques(techniques, numbers=table.numbers, file=table.file)

    table = required_table(files, toml, "times")
    times = read_table(table, model=StepTimeRow, name="times")
    crosscheck.check_step_times(
        times, numbers=table.numbers, file=table.file, techniques=techniques
    )

    table = required_table(files, toml, "teams")
    teams = read_table(table, model=TeamRow, name="teams")
    crosscheck.check_teams(
        teams,
        numbers=table.numbers,
        file=table.file,
        techniques=techniques,
        frame=placed.frame,
    )

    table = required_table(files, toml, "kit")
    findings += feet_findings(table)
    kits = read_table(table, model=KitRow, name="kit")
    crosscheck.check_kits(
        kits, numbers=table.numbers, file=table.file, techniques=techniques, teams=teams
    )
    return techniques, teams, kits, times


def _drill_records(files: FolderFiles, toml: LiftToml) -> tuple[DrillRecord, ...]:
    """What was timed in drills; () where there is no table or none has rows."""
    name = file_name(files, toml, "drills")
    if name is None:
        return ()
    table = raw_table(files.content(name), file=name)
    rows = read_table(table, model=DrillRow, name="drills", may_be_empty=True)
    crosscheck.check_drills(rows, numbers=table.numbers, file=name)
    return build.drill_records(rows, numbers=table.numbers, file=name)


def _layers(
    files: FolderFiles, toml: LiftToml, placed: Placed
) -> tuple[tuple[Hazard, ...], tuple[Way, ...], tuple[MusterPoint, ...]]:
    """The map layers; () for those that the folder does not have."""
    hazards: tuple[Hazard, ...] = ()
    ways: tuple[Way, ...] = ()
    points: tuple[MusterPoint, ...] = ()
    frame = placed.frame
    name = file_name(files, toml, "hazards")
    if name is not None:
        features = read_layer(files.content(name), file=name)
        hazards = geo.hazards(features, frame=frame, file=name)
    name = file_name(files, toml, "access")
    if name is not None:
        features = read_layer(files.content(name), file=name)
        ways = geo.ways(features, frame=frame, file=name)
    name = file_name(files, toml, "muster")
    if name is not None:
        features = read_layer(files.content(name), file=name)
        points = geo.muster_points(features, frame=frame, file=name)
    return hazards, ways, points


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
