"""The judge of the fuzz runs finds what it is there to find."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "inputs"))

from folder_judge import Broken
from plan_judge import judge_plan

from evac.facts.plan import Plan


def with_zone(plan: Plan, **changes: object) -> Plan:
    """The plan whose first zone differs."""
    first, *others = plan.assignment.zones
    zones = (replace(first, **changes), *others)  # type: ignore[arg-type]  # any field
    return replace(plan, assignment=replace(plan.assignment, zones=zones))


def with_rescue(plan: Plan, **changes: object) -> Plan:
    """The plan whose first rescue differs."""
    first, *others = plan.schedule.rescues
    rescues = (replace(first, **changes), *others)  # type: ignore[arg-type]  # any field
    return replace(plan, schedule=replace(plan.schedule, rescues=rescues))


def without_first_reach(plan: Plan) -> Plan:
    zone = plan.assignment.zones[0]
    reaches = tuple(
        replace(reach, ok=False)
        if reach.option_index == zone.option.index
        and reach.span_index == zone.first_span
        else reach
        for reach in plan.reaches
    )
    return replace(plan, reaches=reaches)


SPOILT: dict[str, tuple[Callable[[Plan], Plan], str]] = {
    "a zone is lost": (
        lambda plan: replace(
            plan,
            assignment=replace(plan.assignment, zones=plan.assignment.zones[1:]),
        ),
        "nobody has",
    ),
    "a zone begins before its team is there": (
        lambda plan: with_zone(plan, start_s=0),
        "zone of",
    ),
    "a zone ends before its work": (
        lambda plan: with_zone(plan, finish_s=plan.assignment.zones[0].start_s + 1),
        "zone ends at",
    ),
    "a carrier is forgotten": (
        lambda plan: replace(
            plan,
            schedule=replace(plan.schedule, rescues=plan.schedule.rescues[1:]),
        ),
        "rescues for",
    ),
    "a rescue begins before the order": (
        lambda plan: with_rescue(plan, start_s=-1.0),
        "rescue 1 of",
    ),
    "a rope is too short": (
        lambda plan: with_rescue(plan, rope_needed_m=1e4),
        "m of rope needed",
    ),
    "a kit does not reach": (without_first_reach, "is to clear"),
    "a height is unknown on paper": (
        lambda plan: with_zone(plan, work_s=math.nan),
        "is nan",
    ),
    "quantiles change places": (
        lambda plan: replace(
            plan, simulation=replace(plan.simulation, p90_s=plan.simulation.p50_s - 60)
        ),
        "above P90",
    ),
    "somebody is not reached and it is not said": (
        lambda plan: replace(plan, limit_met=False),
        "STOP said by",
    ),
}


def test_the_plan_of_the_demo_passes(demo_plan: Plan) -> None:
    judge_plan(demo_plan)


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_plan_is_found(demo_plan: Plan, name: str) -> None:
    spoil, told = SPOILT[name]

    with pytest.raises(Broken, match=told):
        judge_plan(spoil(demo_plan))
