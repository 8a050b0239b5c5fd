"""What is possible to read and still cannot be right, or is merely unusual.

Impossible: refused. Unusual: a finding that the plan prints.
"""

from __future__ import annotations

from dataclasses import replace

from evac.errors import InputError
from evac.facts.lift import Lift
from evac.inputs.problems import problem

LIFT_TOML = "lift.toml"


def checked(lift: Lift) -> Lift:
    """The lift with every doubt about its numbers added to its findings.

    Raises
    ------
    InputError
        If numbers of ``lift.toml`` cannot go together.
    """
    problems = []
    length_m = lift.supports[-1].distance_m
    if lift.carriers.spacing_m > length_m:
        problems.append(
            problem(
                "spacing_above_line",
                where="[carriers] spacing_m",
                found=round(lift.carriers.spacing_m, 2),
                length_m=length_m,
            )
        )
    if problems:
        raise InputError(LIFT_TOML, problems)
    return replace(lift, findings=lift.findings)
