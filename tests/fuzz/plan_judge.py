"""What must hold of every plan, whatever folder it came from."""

from __future__ import annotations

import json
import math
from collections import Counter
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
from defusedxml import ElementTree
from folder_judge import DAY, Broken

from evac.facts.finding import Severity
from evac.facts.lift import Lift, Side
from evac.facts.plan import Plan
from evac.plan import make_plan
from evac.tables_out import geojson_bytes, gpx_bytes, plan_json
from evac.words import Words


def plan_and_judge(lift: Lift) -> None:
    """Make the plan and check it: see `judge_plan`."""
    judge_plan(make_plan(lift, date=DAY))


def judge_plan(plan: Plan) -> None:
    """Check what must hold of every plan.

    Raises
    ------
    Broken
        If a unit or a carrier is lost or taken twice, somebody begins too early or
        does not reach, a time is no number, a quantile is out of order, or a doubt
        cannot be told.
    """
    for requirement in (
        _require_units_once,
        _require_times,
        _require_rescues,
        _require_reach,
        _require_heights,
        _require_said,
        _require_written,
    ):
        requirement(plan)
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
    """Quantiles in order, nothing before it may begin, zones that hold their work."""
    simulation = plan.simulation
    if plan.assignment.zones:
        _require(
            simulation.p50_s <= simulation.p90_s,
            f"P50 {simulation.p50_s} above P90 {simulation.p90_s}",
        )
        first, clear = simulation.order_to_first_s, simulation.order_to_clear_s
        _require(
            bool(np.isfinite(clear).all() and np.isfinite(first).all()),
            "an imagined day has no end",
        )
        _require(
            bool(
                (first <= clear).all() and (clear <= simulation.order_to_safe_s).all()
            ),
            "an imagined day ends before it begins",
        )
    chance = simulation.chance_of_limit
    _require(chance is None or 0 <= chance <= 1, f"a chance of {chance}")
    for zone in plan.assignment.zones:
        _require(
            max(zone.arrival_s, plan.work.secured_s) <= zone.start_s <= zone.finish_s,
            f"zone of {zone.team}: arrival {zone.arrival_s}, secured "
            f"{plan.work.secured_s}, from {zone.start_s} to {zone.finish_s}",
        )
    finishes = [zone.finish_s for zone in plan.assignment.zones]
    # Rescues are in seconds and their parts, zones in whole seconds rounded up.
    _require(
        plan.schedule.clear_s <= max(finishes, default=0) + 1,
        f"the line is clear at {plan.schedule.clear_s}, zones end at {finishes}",
    )
    _require(
        plan.assignment.bound_s <= max(finishes, default=0),
        f"the bound {plan.assignment.bound_s} is above the last finish {finishes}",
    )


def _require_rescues(plan: Plan) -> None:
    """Every carrier of a zone once, one after another, when and where it may be."""
    zones = {zone.team: zone for zone in plan.assignment.zones}
    _require(len(zones) == len(plan.assignment.zones), "a team has two zones")
    opens_s = {(gate.side, gate.span_index): gate.opens_s for gate in plan.gates}
    free_s: dict[str, float] = {}
    taken: Counter[tuple[Side, int]] = Counter()
    for rescue in plan.schedule.rescues:
        zone = zones[rescue.team]
        said = f"rescue {rescue.order} of {rescue.team}"
        begin_s = max(zone.start_s, free_s.get(rescue.team, 0.0))
        unit = (rescue.side, rescue.span_index)
        _require(
            begin_s - 1e-6 <= rescue.start_s < rescue.finish_s <= zone.finish_s + 1,
            f"{said} from {rescue.start_s} to {rescue.finish_s}, free at {begin_s}, "
            f"zone ends at {zone.finish_s}",
        )
        _require(
            rescue.start_s >= opens_s.get(unit, 0.0),
            f"{said} begins at {rescue.start_s}, its gate opens at {opens_s.get(unit)}",
        )
        free_s[rescue.team] = rescue.finish_s
        taken[unit] += 1
    _require_no_carrier_lost(plan, taken)


def _require_no_carrier_lost(plan: Plan, taken: Counter[tuple[Side, int]]) -> None:
    """At the stop of the schedule, as many rescues in a unit as carriers hang there."""
    stops = plan.heights.stops
    stop = int(np.argmin(np.abs(stops.offset_m - plan.schedule.stop_offset_m)))
    named = {(unit.side, unit.span_index) for unit in plan.assignment.uncovered}
    for side in Side:
        spans = stops.span_index[side][stop]
        for span in range(len(plan.lift.supports) - 1):
            hang = int((spans == span).sum())
            have = taken[side, span]
            _require(
                have == (0 if (side, span) in named else hang),
                f"{have} rescues for {hang} carriers in span {span} {side}",
            )


def _require_reach(plan: Plan) -> None:
    """Who takes a unit reaches all of it, with margin; kit is in one hand only."""
    reaches = {
        (reach.option_index, reach.side, reach.span_index): reach
        for reach in plan.reaches
    }
    ropes_m = {kit.id: kit.rope_length_m for kit in plan.lift.kits}
    named = {(unit.side, unit.span_index) for unit in plan.assignment.uncovered}
    for zone in plan.assignment.zones:
        for side in zone.sides:
            for span in range(zone.first_span, zone.last_span + 1):
                if (side, span) in named:
                    continue
                reach = reaches[zone.option.index, side, span]
                _require(
                    reach.ok and reach.rope_needed_m <= reach.rope_have_m + 1e-6,
                    f"{zone.team} is to clear {side} {span}: {reach}",
                )
    options = {zone.team: zone.option for zone in plan.assignment.zones}
    for rescue in plan.schedule.rescues:
        option = options[rescue.team]
        _require(
            rescue.rope_needed_m <= ropes_m[option.kit] + 1e-6,
            f"{rescue.rope_needed_m} m of rope needed, {option.kit} has "
            f"{ropes_m[option.kit]}",
        )
    kits = [zone.option.kit for zone in plan.assignment.zones]
    _require(len(set(kits)) == len(kits), f"one kit in two hands: {kits}")


def _require_heights(plan: Plan) -> None:
    """Greatest above least, margins not below 0, a solved rope."""
    for unit in plan.heights.units:
        if unit.known:
            _require(
                unit.rope_least_m <= unit.rope_greatest_m
                and unit.seat_greatest_m > 0
                and unit.seat_least_m <= unit.seat_greatest_m
                and unit.margin_m >= 0,
                f"heights out of order: {unit}",
            )
    _require(
        plan.heights.greatest_residual_n < 1.0,
        f"a residual of {plan.heights.greatest_residual_n} N",
    )


def _require_said(plan: Plan) -> None:
    """STOP is said exactly where somebody is not reached or a limit is missed."""
    stops = [item.key for item in plan.findings if item.severity is Severity.STOP]
    bad = bool(plan.assignment.uncovered) or plan.limit_met is False
    _require(bool(stops) == bad, f"STOP said by {stops}, needed: {bad}")
    latest = [item for item in plan.clock.latest if item.reason != "limit_from_order"]
    held = [item for item in latest if item.reason == "limit" or item.after_stop_s >= 0]
    if plan.clock.binding is not None:
        _require(
            plan.clock.binding.after_stop_s
            == min(item.after_stop_s for item in held or latest),
            f"binding {plan.clock.binding} among {latest}",
        )


def _require_written(plan: Plan) -> None:
    """What devices and other programs read has no NaN and is what it says."""
    for content in (plan_json(plan), geojson_bytes(plan, Words())):
        text = content.decode("utf-8")
        json.loads(text, parse_constant=_no_constant)
    root = ElementTree.fromstring(gpx_bytes(plan, Words()))
    for element in root.iter():
        for name in ("lat", "lon"):
            degrees = float(element.get(name, 0.0))
            _require(math.isfinite(degrees), f"{name} of {degrees} in the GPX")


def _no_constant(name: str) -> float:
    message = f"{name} on a paper"
    raise Broken(message)


def _require(holds: bool, message: str) -> None:
    if not holds:
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
