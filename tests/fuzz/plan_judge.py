"""What must hold of every plan, whatever folder it came from."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import fields, is_dataclass
from typing import Any

from folder_judge import DAY, Broken

from evac.facts.lift import Lift, Side
from evac.facts.plan import Plan
from evac.plan import make_plan
from evac.words import Words


def plan_and_judge(lift: Lift) -> None:
    """Make the plan and check it.

    Raises
    ------
    Broken
        If a unit is lost or taken twice, a time is no number, a quantile is out of
        order, or a doubt cannot be told.
    """
    plan = make_plan(lift, date=DAY)
    _require_units_once(plan)
    _require_times(plan)
    for path, value in _plain_numbers(plan.assignment, "assignment"):
        if not math.isfinite(value):
            message = f"{path} is {value}"
            raise Broken(message)
    for finding in plan.findings:
        for sentence in Words().finding(finding):
            if not sentence or " nan" in sentence.lower():
                message = f"{finding.key}: {sentence!r}"
                raise Broken(message)


def _require_units_once(plan: Plan) -> None:
    """Every span-side is in exactly one zone or named as not covered."""
    taken: Counter[tuple[Side, int]] = Counter(
        (unit.side, unit.span_index) for unit in plan.assignment.uncovered
    )
    passed = set(taken)
    for zone in plan.assignment.zones:
        for side in zone.sides:
            for span in range(zone.first_span, zone.last_span + 1):
                # A zone walks past a unit that nobody can take.
                if (side, span) not in passed:
                    taken[side, span] += 1
    spans = range(len(plan.lift.supports) - 1)
    wanted = {(side, span): 1 for side in Side for span in spans}
    # A span-side that no carrier can be in needs nobody.
    wrong = {
        unit: count for unit, count in taken.items() if count != 1 or unit not in wanted
    }
    if wrong:
        message = f"units taken other than once: {wrong}"
        raise Broken(message)
    lost = [
        unit
        for unit in wanted
        if unit not in taken
        and plan.work.people[list(Side).index(unit[0]), unit[1]] > 0
    ]
    if lost:
        message = f"units with people that nobody has: {lost}"
        raise Broken(message)
    if plan.everyone_reached != (not plan.assignment.uncovered):
        message = "everyone_reached does not say what is not covered"
        raise Broken(message)


def _require_times(plan: Plan) -> None:
    """P50 is not above P90, nothing ends before it begins, nobody is early."""
    simulation = plan.simulation
    if plan.assignment.zones and not simulation.p50_s <= simulation.p90_s:
        message = f"P50 {simulation.p50_s} above P90 {simulation.p90_s}"
        raise Broken(message)
    for rescue in plan.schedule.rescues:
        if not 0 <= rescue.start_s <= rescue.finish_s <= plan.schedule.clear_s + 1:
            message = f"a rescue from {rescue.start_s} to {rescue.finish_s}"
            raise Broken(message)
    for zone in plan.assignment.zones:
        if not 0 <= zone.start_s <= zone.finish_s:
            message = f"zone of {zone.team} from {zone.start_s} to {zone.finish_s}"
            raise Broken(message)


def _plain_numbers(value: Any, path: str) -> list[tuple[str, float]]:
    if isinstance(value, float):
        return [(path, value)]
    if isinstance(value, tuple):
        return [
            pair
            for index, each in enumerate(value)
            for pair in _plain_numbers(each, f"{path}[{index}]")
        ]
    if is_dataclass(value):
        return [
            pair
            for item in fields(value)
            for pair in _plain_numbers(getattr(value, item.name), f"{path}.{item.name}")
        ]
    return []
