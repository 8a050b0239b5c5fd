"""What only shows when two tables are read together: names that lead nowhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches

from evac.errors import InputError, Problem
from evac.facts.lift import StepTime, Support
from evac.frame import Frame
from evac.inputs.geo import far_away
from evac.inputs.problems import did_you_mean, problem
from evac.inputs.rows import (
    TECHNIQUE_KINDS,
    DrillRow,
    KitRow,
    StepTimeRow,
    TeamRow,
    TechniqueRow,
)
from evac.learning import step_key
from evac.reference import step_times
from evac.timing.steps import ON_THE_GROUND, is_hard_walk, part_of
from evac.units import FOOT_M

FARTHEST_THROW_M = 25.0
"""Nobody gets a line higher over the rope by hand (common practice, no source)."""
LEAST_HALF_M = 10.0
"""A half shorter than this is no span to work in (common practice, no source)."""

_NEEDED = ("span", "carrier", "passenger", "lower")
"""Parts of the work that take time with every technique that the first table times."""


def check_techniques(
    rows: Sequence[TechniqueRow], *, numbers: Sequence[int], file: str
) -> None:
    """Refuse repeated techniques and unknown kinds.

    Raises
    ------
    InputError
        Listing every row in question.
    """
    problems = _repeats([r.technique for r in rows], numbers, column="technique")
    for row, number in zip(rows, numbers, strict=True):
        if row.kind not in TECHNIQUE_KINDS:
            problems.append(
                problem(
                    "technique_kind",
                    where=f"row {number}, column kind",
                    found=row.kind,
                    near=did_you_mean(row.kind, TECHNIQUE_KINDS),
                )
            )
    _raise(file, problems)


def check_step_times(
    rows: Sequence[StepTimeRow],
    *,
    numbers: Sequence[int],
    file: str,
    techniques: Sequence[TechniqueRow] | None,
) -> None:
    """Refuse rows of an unknown kind, repeats, and techniques without any row.

    Two rows of one step would be added, whatever conditions they name: only walking
    round a support is looked up by its condition.

    None stands for techniques that could not be read: nothing is held against them.

    Raises
    ------
    InputError
        Listing every row in question.
    """
    kinds = (*TECHNIQUE_KINDS, ON_THE_GROUND)
    problems: list[Problem] = []
    seen: dict[tuple[str, str, str, bool], int] = {}
    for row, number in zip(rows, numbers, strict=True):
        if row.technique not in kinds:
            problems.append(
                problem(
                    "times_of_unknown",
                    where=f"row {number}, column technique",
                    found=row.technique,
                    near=did_you_mean(row.technique, kinds),
                )
            )
        is_hard = is_hard_walk(row.step, condition=row.condition)
        # "lower" costs time for each metre and, beside it, for each passenger.
        key = (row.technique, row.step, row.per, is_hard)
        if key in seen:
            problems.append(
                problem(
                    "step_twice",
                    where=f"row {number}, column step",
                    found=row.step,
                    other=f"row {seen[key]}",
                )
            )
        seen[key] = number
    have = {row.technique for row in rows}
    # Outside help is never in the base plan, so nothing is timed with it.
    need = {row.kind for row in techniques or () if row.kind != "outside help"}
    problems += [
        problem("no_times", where="column technique", kind=kind)
        for kind in sorted(need - have)
    ]
    _raise(file, problems)


def check_team_steps(
    rows: Sequence[StepTimeRow],
    *,
    file: str,
    techniques: Sequence[TechniqueRow],
    teams: Sequence[TeamRow],
) -> None:
    """Refuse a table that gives no time to a part of what a team does.

    What is missing would count as no time at all, and the plan would come out too
    short. Needed is what the first table has for the technique's kind: a set-up for
    each span, a time for each carrier and passenger, lowering for each metre.

    Raises
    ------
    InputError
        Listing every part that is missing.
    """
    used = {name for team in teams for name in team.techniques}
    kinds = {row.kind for row in techniques if row.technique in used}
    problems = []
    for kind in sorted(kinds - {"outside help"}):
        for part, step in _needed_steps(kind).items():
            likely_s = [
                row.likely_s
                for row in rows
                if row.technique == kind and part_of(row.step, per=row.per) == part
            ]
            if sum(likely_s) > 0:
                continue
            problems.append(
                problem(
                    "step_missing",
                    where="column step",
                    found="0 s" if likely_s else "",
                    kind=kind,
                    step=step,
                    per="metre" if part == "lower" else part,
                )
            )
    _raise(file, problems)


def _needed_steps(kind: str) -> dict[str, str]:
    """Part of the work -> the first table's step for it; another kind's if unlisted."""
    listed = [row for row in step_times() if row.technique == kind]
    found: dict[str, str] = {}
    for row in listed or step_times():
        part = part_of(row.step, per=row.per)
        # Of a kind that the first table leaves out, only this much is known.
        if part in _NEEDED and (listed or part in ("passenger", "lower")):
            found.setdefault(part, row.step)
    return found


def check_drills(
    rows: Sequence[DrillRow], *, numbers: Sequence[int], file: str
) -> None:
    """Refuse drill records of an unknown kind of technique.

    Raises
    ------
    InputError
        Listing every row in question.
    """
    kinds = (*TECHNIQUE_KINDS, ON_THE_GROUND)
    problems = [
        problem(
            "times_of_unknown",
            where=f"row {number}, column technique",
            found=row.technique,
            near=did_you_mean(row.technique, kinds),
        )
        for row, number in zip(rows, numbers, strict=True)
        if row.technique not in kinds
    ]
    _raise(file, problems)


def check_teams(
    rows: Sequence[TeamRow],
    *,
    numbers: Sequence[int],
    file: str,
    techniques: Sequence[TechniqueRow] | None,
    frame: Frame | None,
) -> None:
    """Refuse repeated teams, unknown techniques, and starts far from the lift.

    Nothing is held against techniques or a place that could not be read (None).

    Raises
    ------
    InputError
        Listing every row in question.
    """
    known = [row.technique for row in techniques or ()]
    problems = _repeats([row.team for row in rows], numbers, column="team")
    for row, number in zip(rows, numbers, strict=True):
        problems += [
            problem(
                "unknown_technique",
                where=f"row {number}, column techniques",
                found=name,
                near=did_you_mean(name, known),
            )
            for name in row.techniques
            if techniques is not None and name not in known
        ]
        if frame is None:
            continue
        reason = far_away(
            frame, latitude_deg=row.start_lat, longitude_deg=row.start_lon
        )
        if reason is not None:
            key = "swapped_columns" if reason == "swapped" else "far_from_lift"
            shown = f"{row.start_lat:g}, {row.start_lon:g}"
            problems.append(
                problem(key, where=f"row {number}, column start_lat", found=shown)
            )
    _raise(file, problems)


def check_kits(
    rows: Sequence[KitRow],
    *,
    numbers: Sequence[int],
    file: str,
    techniques: Sequence[TechniqueRow] | None,
    teams: Sequence[TeamRow] | None,
) -> None:
    """Refuse repeated kits, kits of unknown teams or techniques, impossible throws.

    Nothing is held against teams or techniques that could not be read (None).

    Raises
    ------
    InputError
        Listing every row in question.
    """
    problems = _repeats([row.kit for row in rows], numbers, column="kit")
    known = [t.technique for t in techniques or ()]
    thrown = {t.technique for t in techniques or () if t.needs_line_over_rope}
    known_teams = [t.team for t in teams or ()]
    for row, number in zip(rows, numbers, strict=True):
        if techniques is not None and row.technique not in known:
            problems.append(
                problem(
                    "unknown_technique",
                    where=f"row {number}, column technique",
                    found=row.technique,
                    near=did_you_mean(row.technique, known),
                )
            )
        if teams is not None and row.team and row.team not in known_teams:
            problems.append(
                problem(
                    "unknown_team",
                    where=f"row {number}, column team",
                    found=row.team,
                    near=did_you_mean(row.team, known_teams),
                )
            )
        by_hand = row.technique in thrown and not row.launcher
        if by_hand and row.throw_height_m > FARTHEST_THROW_M:
            problems.append(
                problem(
                    "thrown_too_high",
                    where=f"row {number}, column throw_height_m",
                    found=row.throw_height_m,
                    most_m=FARTHEST_THROW_M,
                    by_feet_m=row.throw_height_m * FOOT_M,
                )
            )
    _raise(file, problems)


def check_cuts(
    cuts_m: Sequence[float], supports: Sequence[Support], *, file: str
) -> None:
    """Refuse cuts outside the line, beside a support, or beside one another.

    Raises
    ------
    InputError
        Listing every cut in question.
    """
    stands_m = [support.distance_m for support in supports]
    problems = []
    for number, at_m in enumerate(cuts_m):
        others = [*stands_m, *cuts_m[:number], *cuts_m[number + 1 :]]
        away_m = min(abs(at_m - other) for other in others)
        if stands_m[0] < at_m < stands_m[-1] and away_m >= LEAST_HALF_M:
            continue
        problems.append(
            problem(
                "cut_beside_support",
                where="[assignment] cuts_m",
                found=at_m,
                least_m=LEAST_HALF_M,
            )
        )
    _raise(file, problems)


def check_accepted(
    accepted: Iterable[str], times: Sequence[StepTime], *, file: str
) -> None:
    """Refuse names of accepted steps that no row of the step times bears.

    A name that fits nothing would accept nothing, and nobody would notice.

    Raises
    ------
    InputError
        Listing every name in question, with the rows that may be meant.
    """
    keys = {step_key(step): step.step for step in times}
    problems = []
    for name in accepted:
        if name in keys:
            continue
        # People leave out technique and unit, or misspell one of the parts.
        near = get_close_matches(name, keys, cutoff=0.8)
        steps = get_close_matches(name, dict.fromkeys(keys.values()), cutoff=0.7)
        near = near or [key for key, step in keys.items() if step in steps]
        problems.append(
            problem(
                "unknown_step",
                where="[learning] accepted",
                found=name,
                names="; ".join(near or keys),
            )
        )
    _raise(file, problems)


def _repeats(
    names: Iterable[str], numbers: Sequence[int], *, column: str
) -> list[Problem]:
    seen: dict[str, int] = {}
    problems = []
    for name, number in zip(names, numbers, strict=True):
        if name in seen:
            problems.append(
                problem(
                    "id_twice",
                    where=f"row {number}, column {column}",
                    found=name,
                    other=f"row {seen[name]}",
                )
            )
        seen[name] = number
    return problems


def _raise(file: str, problems: list[Problem]) -> None:
    if problems:
        raise InputError(file, problems)
