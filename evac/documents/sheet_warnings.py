"""What a team must know before it starts: alarms, crossings, limits, warnings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from shapely.geometry import LineString

from evac.access.network import AVALANCHE
from evac.documents.names import runs_text
from evac.documents.sheet_assumed import assumed_alarms
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Side, SupportKind, Team, Technique
from evac.facts.plan import Plan
from evac.facts.work import Zone
from evac.figures.doubt import limit_alarm
from evac.figures.taken import units_taken
from evac.gear import technique_of
from evac.gear.doubts import THROW_WIND_DOUBT_M_PER_S
from evac.gear.reach import THROW_WIND_MOST_M_PER_S
from evac.heights.reports import drift_near_m
from evac.timing.seconds import is_off_rollers, support_kinds
from evac.timing.steps import cross_rows
from evac.words import Words

_MOST_WARNINGS = 7
_EVERYWHERE = frozenset(
    {
        "access.no_terrain",
        "access.no_ways",
        "access.pickoff_none",
        "clock.cold_outside",
        "clock.cold_too_late",
        "clock.dusk_too_late",
        "clock.order_in_dark",
        "heights.sequence",
        "inputs.height_step",
        "inputs.length_in_doubt",
        "line.terrain_coarse",
    }
)
"""Findings about the whole line that every team must know."""
_NOTES_TOLD = frozenset(
    {"heights.sequence", "clearing.walks_past", "clearing.walks_back"}
)
"""Notes that matter beside the rope, though the plan holds without them."""
_LISTS = ("units", "spans", "beside")
"""Values of a finding that name places of the line, with commas between."""
_DRIFT = frozenset({"heights.drift", "heights.drift_everywhere"})
_FIRST = (
    "access.avalanche",
    "muster.waits",
    "muster.avalanche",
    "muster.landing_very_steep",
    "clock.order_in_dark",
    "clock.dusk_too_late",
    "clock.cold_too_late",
    "clock.cold_outside",
    "heights.weak_at_stop",
    "heights.doubtful_support",
    "heights.lifted",
    "heights.lifted_in_order",
    "heights.inferred_free",
    "heights.inferred_held",
    "heights.weak_support",
    "heights.drift",
    "heights.sequence",
    "informing.silent",
)
"""What hurts or kills soonest, gravest first (common practice, no source)."""
_LAST = (
    "access.vehicle_shared",
    "access.vehicle_detour",
    "muster.long_walk",
    "muster.rounds",
)
"""What others see to as well: left out first where a sheet is full."""
_PRESSED = frozenset({SupportKind.HOLD_DOWN, SupportKind.COMBINED})


def alarm_texts(plan: Plan, words: Words) -> list[str]:
    """What stands in a frame at the top of every sheet."""
    found: list[str] = []
    if not plan.everyone_reached:
        units = _uncovered_text(plan, words)
        key = "sheet.not_reached_units" if units else "sheet.not_reached"
        found.append(words.say(key, units=units))
    if verdict := limit_alarm(plan):
        found.append(words.say(f"sheet.{verdict}"))
    return [*found, *assumed_alarms(plan.lift, words)]


def _uncovered_text(plan: Plan, words: Words) -> str:
    """The span-sides that nobody clears, neighbours joined."""
    parts = []
    for side in Side:
        spans = [
            item.span_index for item in plan.assignment.uncovered if item.side is side
        ]
        if spans:
            name = words.say(f"sheet.{side.value}")
            parts.append(f"{runs_text(plan, spans)} {name}")
    return "; ".join(parts)


def crossing_texts(plan: Plan, zones: Sequence[Zone], words: Words) -> list[str]:
    """Supports inside the zones that a rescuer on the rope may not cross on it.

    The step times count going down and up again there
    (:func:`evac.timing.seconds.cross_seconds`); techniques that walk on the ground
    cross no support.
    """
    lift = plan.lift
    found: dict[str, dict[str, None]] = {}
    for zone in zones:
        technique = technique_of(lift, zone.option.technique)
        if cross_rows(lift, technique.kind, over_rollers=True) is None:
            continue
        for index in range(zone.first_span + 1, zone.last_span + 1):
            reason = _no_crossing(plan, technique, index)
            if reason:
                found.setdefault(reason, {})[lift.supports[index].id] = None
    return [
        words.say(f"sheet.no_cross_{reason}", supports=", ".join(ids))
        for reason, ids in found.items()
    ]


def _no_crossing(plan: Plan, technique: Technique, index: int) -> str:
    """Why a support is not crossed on the rope; "" where it is, or nothing stands."""
    support = plan.lift.supports[index]
    if support.mark:
        return ""
    if support.doubtful:
        return "doubtful"
    if is_off_rollers(plan.lift, plan.heights, index):
        return "lifted"
    if support_kinds(plan.lift, plan.heights, index) & _PRESSED:
        return "" if technique.passes_hold_downs else "hold_down"
    return "" if technique.passes_rollers else "rollers"


def support_legend(plan: Plan, zones: Sequence[Zone], words: Words) -> str:
    """What the marks of hold-downs in the section mean, with their supports."""
    parts = []
    for kind in (SupportKind.HOLD_DOWN, SupportKind.COMBINED):
        ids = dict.fromkeys(
            plan.lift.supports[index].id
            for zone in zones
            for index in range(zone.first_span, zone.last_span + 2)
            if kind in support_kinds(plan.lift, plan.heights, index)
        )
        if ids:
            key = f"sheet.legend_{kind.value.replace('-', '_')}"
            parts.append(words.say(key, supports=", ".join(ids)))
    return " ".join(parts)


def limits_text(plan: Plan, zones: Sequence[Zone], words: Words) -> str:
    """Wind, crew, slope and approval of the techniques that the zones use."""
    names = dict.fromkeys(zone.option.technique for zone in zones)
    return " ".join(
        _limits_of(technique_of(plan.lift, name), words, named=len(names) > 1)
        for name in names
    )


def _limits_of(technique: Technique, words: Words, *, named: bool) -> str:
    limit = technique.wind_limit_m_per_s
    parts = [words.say("sheet.limit_wind", wind_m_per_s=limit)]
    if technique.needs_line_over_rope:
        most = min(limit, THROW_WIND_MOST_M_PER_S)
        doubt = "sheet.limit_throw_doubt" if most > THROW_WIND_DOUBT_M_PER_S else ""
        parts.append(
            words.say(
                doubt or "sheet.limit_throw",
                doubt_m_per_s=THROW_WIND_DOUBT_M_PER_S,
                most_m_per_s=most,
            )
        )
    parts += [
        words.say("sheet.limit_crew", crew=technique.min_crew),
        words.say("sheet.limit_slope", slope_deg=technique.most_rope_slope_deg),
        words.say("sheet.limit_approval", approval=technique.approval)
        if technique.approval.strip()
        else words.say("sheet.limit_no_approval"),
    ]
    text = " ".join(parts)
    return f"{technique.id}: {text}" if named else text


def warning_texts(
    plan: Plan, team: Team, zones: Sequence[Zone], words: Words
) -> list[str]:
    """Findings about the zone or the team, gravest first; what is left out is said."""
    places = _places(plan, team, zones)
    own = [
        _own_part(item, places)
        for item in plan.findings
        if (item.severity is not Severity.NOTE or item.key in _NOTES_TOLD)
        and _concerns(plan, item, team, zones, places)
    ]
    if any(item.key == "muster.waits" for item in own):
        # It says the same, and of which spans.
        own = [item for item in own if item.key != "muster.avalanche"]
    found = sorted([*own, *_own_drift(plan, zones, words)], key=_harm)
    texts = [_field_text(item, words) for item in found[:_MOST_WARNINGS]]
    if len(found) > _MOST_WARNINGS:
        texts.append(
            words.say("sheet.warnings_more", count=len(found) - _MOST_WARNINGS)
        )
    return texts


def _harm(finding: Finding) -> tuple[bool, int]:
    """By which warnings stand in order; those of one rank stay in the plan's order."""
    # A note that is told at all is told by its harm, like a warning.
    rank = len(_FIRST)
    if finding.key in _FIRST:
        rank = _FIRST.index(finding.key)
    elif finding.key in _LAST:
        rank += 1 + _LAST.index(finding.key)
    return finding.severity is not Severity.STOP, rank


def _own_drift(plan: Plan, zones: Sequence[Zone], words: Words) -> list[Finding]:
    """The drift beside the team's own supports, of both sides in one sentence."""
    line, taken = plan.heights.line, units_taken(plan, zones)
    found = [item for item in plan.findings if item.key in _DRIFT]
    beside: dict[str, list[str]] = {}
    nears_m = []
    for side in (Side(str(item.values["side"])) for item in found):
        ends = {
            index for unit, span in taken if unit is side for index in (span, span + 1)
        }
        near_m = drift_near_m(line, plan.heights.envelopes[side])
        own = sorted(ends & near_m.keys())
        if own:
            names = ", ".join(line.supports[index].id for index in own)
            beside.setdefault(names, []).append(side.value)
            nears_m += [near_m[index] for index in own]
    if not nears_m:
        return []
    texts = [
        words.say(
            "sheet.beside",
            supports=names,
            sides=words.say(f"sheet.{sides[0] if len(sides) == 1 else 'both_sides'}"),
        )
        for names, sides in beside.items()
    ]
    own_values: dict[str, str | float] = {
        "near_m": max(nears_m),
        "supports": "; ".join(texts),
    }
    return [
        replace(found[0], key="heights.drift", values={**found[0].values, **own_values})
    ]


def idle_reasons(plan: Plan, team: Team, words: Words) -> list[str]:
    """Why a team cannot be sent: the findings about it and its kit."""
    return [
        " ".join(words.finding(item))
        for item in plan.findings
        if item.key.startswith("gear.")
        and item.key != "gear.idle_team"
        and team.id in {item.where, item.values.get("team")}
    ]


def _field_text(finding: Finding, words: Words) -> str:
    """A finding in the words of the field; the office's remedy is in the plan."""
    key = f"sheet.field.{finding.key}"
    if words.has(key):
        return words.say(key, **{"where": finding.where, **finding.values})
    return " ".join(words.finding(finding))


def _places(plan: Plan, team: Team, zones: Sequence[Zone]) -> frozenset[str]:
    """Names by which findings speak of a team, its gear, its spans and its people."""
    spans, supports = plan.heights.line.spans, plan.lift.supports
    points = {point.id: point.name or point.id for point in plan.lift.muster_points}
    places = {team.id}
    if team.vehicle is not None:
        places.add(team.vehicle)
    for side, span in units_taken(plan, zones):
        places |= {f"{spans[span].id} {side.value}", spans[span].id}
        for support in supports[span : span + 2]:
            places |= {f"{support.id} {side.value}", support.id}
        point = plan.muster_point.get(span, "")
        if point in points:
            places.add(points[point])
    for zone in zones:
        places |= {zone.option.kit, zone.option.technique}
    return frozenset(places)


def _own_places(
    values: Mapping[str, str | float | int], name: str, places: frozenset[str]
) -> str:
    """The places of a list that are the team's, with commas between."""
    value = values.get(name)
    if not isinstance(value, str):
        return ""
    return ", ".join(item for item in value.split(", ") if item in places)


def _own_part(finding: Finding, places: frozenset[str]) -> Finding:
    """A finding whose lists name only the places of the team."""
    if finding.where:
        return finding
    own = {name: _own_places(finding.values, name, places) for name in _LISTS}
    own = {name: text for name, text in own.items() if text}
    return replace(finding, values={**finding.values, **own}) if own else finding


def _concerns(
    plan: Plan,
    finding: Finding,
    team: Team,
    zones: Sequence[Zone],
    places: frozenset[str],
) -> bool:
    if finding.key in _EVERYWHERE:
        return True
    if finding.key == "access.avalanche":
        return _meets_avalanche(plan, team, zones)
    if finding.key == "muster.avalanche":
        return _meets_avalanche(plan, team, zones) or _lets_walk_to_one(plan, zones)
    if finding.where:
        return finding.where in places
    return any(_own_places(finding.values, name, places) for name in _LISTS)


def _meets_avalanche(plan: Plan, team: Team, zones: Sequence[Zone]) -> bool:
    """Whether avalanche ground lies below a team's spans or across its way in."""
    grounds = {item.id: item for item in plan.lift.hazards if item.kind == AVALANCHE}
    taken = units_taken(plan, zones)
    if any(
        (gate.side, gate.span_index) in taken and grounds.keys() & set(gate.hazard_ids)
        for gate in plan.gates
    ):
        return True
    starts = {zone.start_support for zone in zones}
    ways = [
        LineString(list(zip(route.x_m, route.y_m, strict=True)))
        for route in plan.routes
        if route.team == team.id
        and route.support_index in starts
        and len(route.x_m) > 1
    ]
    return any(
        way.intersects(ground.geometry) for way in ways for ground in grounds.values()
    )


def _lets_walk_to_one(plan: Plan, zones: Sequence[Zone]) -> bool:
    """Whether a team's evacuees may come to avalanche ground on their way out.

    The straight way to their muster point counts, too: who is not led takes it. Where
    no way out is known, they may come anywhere.
    """
    grounds = [item.geometry for item in plan.lift.hazards if item.kind == AVALANCHE]
    for span in {span for _, span in units_taken(plan, zones)}:
        way = plan.muster.get(span)
        if way is None or len(way.x_m) < 2:
            return True
        points = list(zip(way.x_m, way.y_m, strict=True))
        if any(
            LineString(walk).intersects(ground)
            for ground in grounds
            for walk in (points, [points[0], points[-1]])
        ):
            return True
    return False
