"""A lift folder, read whole and checked: the one way into the chain."""

from __future__ import annotations

import re
from datetime import date
from difflib import get_close_matches
from pathlib import Path

from evac.errors import InputError
from evac.facts.lift import Assumption, Lift, Terrain
from evac.inputs import build, dem, plausibility, standing
from evac.inputs.cells import small_letters
from evac.inputs.crosscheck import check_accepted, check_cuts
from evac.inputs.files import TOML_NAME, FolderFiles
from evac.inputs.lift_toml import named_files, read_lift_toml
from evac.inputs.parts import crew_part, drill_part, ground_part, layer_part, line_part
from evac.inputs.problems import problem
from evac.inputs.sections import LiftToml
from evac.inputs.troubles import Troubles
from evac.inputs.unread import unread_findings

_LIFT_TABLE = re.compile(rb"^\s*\[\s*lift\s*\]", re.MULTILINE)


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
        With every problem of every file that cannot be used (`FolderError` where that
        is more than one); what only shows in all files together is told once each of
        them can be read.

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
        raise _no_folder(files)
    files.inside(TOML_NAME)
    troubles = Troubles()
    content = files.content(TOML_NAME)
    read = troubles.tried(lambda: read_lift_toml(content, file=TOML_NAME))
    named = named_files(content) if read is None else read.files
    if named is None:
        # Other files cannot be judged without knowing which ones are meant.
        named = troubles.settled(named)
    drawn = troubles.tried(lambda: line_part(files, named))
    frame = None if drawn is None else drawn.placed.frame
    crews = crew_part(files, named, frame=frame, troubles=troubles)
    layers = layer_part(files, named, frame=frame, troubles=troubles)
    drills = troubles.tried(lambda: drill_part(files, named))
    line = troubles.settled(drawn) if drawn is None else drawn
    placed = line.placed
    teams = build.teams(crews.teams or (), frame=placed.frame)
    ground = ground_part(
        files, named, placed, teams=teams, layers=layers, troubles=troubles
    )
    troubles.require_none()
    toml = troubles.settled(read)
    supports = standing.stand_supports(
        line.rows, placed, terrain=ground.terrain, ground=ground.table
    )
    check_cuts(toml.assignment.cuts_m, supports, file=TOML_NAME)
    times = build.step_times(troubles.settled(crews.times))
    accepted = frozenset(small_letters(name) for name in toml.learning.accepted)
    check_accepted(sorted(accepted), times, file=TOML_NAME)
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
        data_source=section.data_source,
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
        kits=build.kits(troubles.settled(crews.kits)),
        techniques=build.techniques(troubles.settled(crews.techniques)),
        step_times=times,
        hazards=layers.hazards,
        ways=layers.ways,
        muster_points=layers.points,
        terrain=ground.terrain,
        ground_table=ground.table,
        assumptions=_assumptions(toml, ground.terrain),
        plan_texts=dict(toml.plan_texts),
        findings=(
            *unread_findings(files, toml.files),
            *line.findings,
            *crews.findings,
            *ground.findings,
        ),
        drill_records=troubles.settled(drills),
        accepted_steps=accepted,
        cuts_m=tuple(sorted(toml.assignment.cuts_m)),
        fingerprint=dict(sorted(files.hashes.items())),
    )
    return plausibility.checked(
        lift,
        supports_file=line.file,
        stated_per_hour=toml.carriers.capacity_per_hour,
    )


def _no_folder(files: FolderFiles) -> InputError:
    """That there is no ``lift.toml``; names a file that may be meant as one."""
    for name in files.names():
        if _is_meant(files, name):
            fault = problem("toml_misnamed", where="the folder", found=name, name=name)
            return InputError(files.path, [fault])
    return InputError(files.path, [problem("no_folder", where="the folder")])


def _is_meant(files: FolderFiles, name: str) -> bool:
    """Whether a file is a misnamed ``lift.toml``: by its name or by what it holds."""
    small = name.lower()
    if small in ("lift.toml.txt", "lift.txt", "lift"):
        return True
    if not small.endswith(".toml"):
        return False
    if get_close_matches(small, [TOML_NAME], cutoff=0.8):
        return True
    try:
        return _LIFT_TABLE.search(files.content(name)) is not None
    except InputError:
        # It cannot be read, so nothing shows that it is a lift.
        return False


def _assumptions(toml: LiftToml, terrain: Terrain | None) -> tuple[Assumption, ...]:
    stated = [
        Assumption(
            key=key, value=entry.value, reason=entry.reason, accepted=entry.accepted
        )
        for key, entry in toml.assumptions.items()
    ]
    stated += build.tension_assumptions(toml)
    if terrain is not None and toml.files.terrain_sd_m is None:
        stated.append(dem.sd_assumption(terrain))
    return tuple(stated)
