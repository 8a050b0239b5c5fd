"""Parts of the plan document about zones, ways in, hazards and care of evacuees."""

from __future__ import annotations

from evac.assignment import last_finish_s
from evac.documents.blocks import (
    Block,
    figure,
    gap,
    heading,
    paragraph,
    points,
    table,
)
from evac.documents.names import not_yours_text, runs_text, zone_text
from evac.documents.sheet_parts import gate_rows
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S, UnitGate, Zone
from evac.figures import svg_bytes, timeline, times
from evac.muster.care import LANDING_CLASSES, landing_class, landing_slope_deg
from evac.words import Words


def zone_blocks(plan: Plan, words: Words) -> list[Block]:
    """Zones with their certificate, who is not reached, what would help."""
    assignment = plan.assignment
    keys = ("team", "what", "gear", "enters", "there", "first", "clear", "people")
    blocks = [
        heading(words.say("plandoc.zones")),
        table(
            [words.say(f"plandoc.zone_{key}") for key in keys],
            rows=[_zone_row(plan, zone, words) for zone in assignment.zones],
            widths=[1.1, 1.6, 1.4, 0, 0.7, 0.7, 0.9, 0],
            right=[7],
        ),
        paragraph(words.say("plandoc.times_from_order")),
        figure(svg_bytes(timeline(plan, words=words)), width_mm=times.WIDTH_MM),
        paragraph(_certificate(plan, words)),
    ]
    if assignment.binding_teams:
        teams = ", ".join(assignment.binding_teams)
        blocks.append(paragraph(words.say("plandoc.binding", teams=teams)))
    if assignment.reserve_teams:
        teams = ", ".join(assignment.reserve_teams)
        blocks.append(paragraph(words.say("plandoc.reserve", teams=teams)))
    if assignment.uncovered:
        blocks += [
            heading(words.say("plandoc.uncovered"), level=2),
            points(_uncovered(plan, words)),
        ]
    if plan.remedies:
        blocks += [
            heading(words.say("plandoc.remedies"), level=2),
            _remedies(plan, words),
        ]
    return blocks


def _zone_row(plan: Plan, zone: Zone, words: Words) -> list[str]:
    return [
        zone.team,
        _zone_what(plan, zone, words),
        f"{zone.option.technique}, {zone.option.kit}",
        plan.lift.supports[zone.start_support].id,
        words.duration(zone.arrival_s),
        words.duration(zone.start_s),
        words.duration(zone.finish_s),
        words.number(zone.people, 0),
    ]


def _zone_what(plan: Plan, zone: Zone, words: Words) -> str:
    text, passed = (
        zone_text(plan.lift, zone, words),
        not_yours_text(plan, [zone], words),
    )
    return words.say("plandoc.zone_but", zone=text, units=passed) if passed else text


def _certificate(plan: Plan, words: Words) -> str:
    assignment = plan.assignment
    clear_s = last_finish_s(assignment)
    proven = "proven" if assignment.proven else "not_proven"
    if assignment.chosen_by != "likely":
        proven += "_by_mean"
    return words.say(
        f"plandoc.{proven}",
        method=words.say(f"plandoc.method_{assignment.method}"),
        bound_s=assignment.bound_s,
        clear_s=clear_s,
    )


def _uncovered(plan: Plan, words: Words) -> list[str]:
    return [
        words.say(
            "plandoc.uncovered_row",
            span=plan.heights.line.spans[item.span_index].id,
            side=words.say(f"sheet.{item.side.value}"),
            count=item.people,
            reason=words.say(item.reason, **item.values),
            remedy=words.say(item.remedy, **item.values),
        )
        for item in plan.assignment.uncovered
    ]


def _remedies(plan: Plan, words: Words) -> Block:
    keys = ["remedy", "remedy_people", "remedy_clear"]
    rows = [
        [
            words.say(f"remedy.{item.key}", **item.values),
            words.number(item.uncovered_people, 0),
            words.duration(item.clear_s),
        ]
        for item in plan.remedies
    ]
    widths: list[float] = [3, 1, 1]
    right = [1]
    if any(item.cost is not None for item in plan.remedies):
        keys.append("remedy_cost")
        widths.append(0)
        right.append(3)
        for row, item in zip(rows, plan.remedies, strict=True):
            row.append("" if item.cost is None else words.number(item.cost, 0))
    return table(
        [words.say(f"plandoc.{key}") for key in keys],
        rows=rows,
        widths=widths,
        right=right,
    )


def access_blocks(plan: Plan, words: Words) -> list[Block]:
    """Every team's way to where it begins."""
    rows = []
    for zone in plan.assignment.zones:
        team = next(item for item in plan.lift.teams if item.id == zone.team)
        route = next(
            (
                item
                for item in plan.routes
                if item.team == zone.team and item.support_index == zone.start_support
            ),
            None,
        )
        support = plan.lift.supports[zone.start_support].id
        if route is None or route.seconds >= NEVER_S:
            rows.append([zone.team, team.start_place, support, "", "", ""])
            continue
        rows.append(
            [
                zone.team,
                team.start_place,
                support,
                words.length(route.length_m),
                words.length(max(route.climb_m, 0.0)),
                words.duration(route.seconds),
            ]
        )
    keys = (
        "zone_team",
        "access_from",
        "zone_enters",
        "access_length",
        "access_climb",
        "access_time",
    )
    return [
        heading(words.say("plandoc.access")),
        table(
            [words.say(f"plandoc.{key}") for key in keys],
            rows=rows,
            widths=[1.2, 1.6, 0, 1, 1, 1],
            right=[3, 4, 5],
        ),
    ]


def hazard_blocks(plan: Plan, words: Words) -> list[Block]:
    """What lies below the line, as gates."""
    blocks = [heading(words.say("plandoc.hazards"))]
    rows = gate_rows(plan, _all_units(plan), words)
    if not rows:
        if not plan.lift.hazards:
            return [*blocks, gap(words.say("plandoc.hazards_unknown"))]
        return [*blocks, paragraph(words.say("plandoc.hazards_none"))]
    keys = ("hazard", "muster_spans", "opened_by", "opens")
    blocks.append(
        table(
            [words.say(f"plandoc.{key}") for key in keys],
            rows=rows,
            widths=[2.4, 1, 1.2, 1.4],
        )
    )
    return blocks


def _all_units(plan: Plan) -> set[tuple[Side, int]]:
    return {(gate.side, gate.span_index) for gate in plan.gates}


def power_line_spans(plan: Plan) -> list[UnitGate]:
    """The span-sides above which a power line must be switched off."""
    lines = {item.id for item in plan.lift.hazards if item.kind == "power line"}
    return [gate for gate in plan.gates if lines.intersection(gate.hazard_ids)]


def care_blocks(plan: Plan, words: Words) -> list[Block]:
    """Where evacuees go, how they are counted."""
    blocks = [heading(words.say("plandoc.care"))]
    rows = []
    for point in plan.lift.muster_points:
        spans = [
            span for span, point_id in plan.muster_point.items() if point_id == point.id
        ]
        ways = [plan.muster[span].seconds for span in spans if span in plan.muster]
        vehicle = (
            words.say(
                "plandoc.muster_seats",
                count=point.vehicle_seats,
                round_s=point.vehicle_round_s,
            )
            if point.vehicle_seats
            else words.say("plandoc.not_simulated")
        )
        rows.append(
            [
                point.name,
                runs_text(plan, spans),
                words.duration(max(ways)) if ways else "",
                str(point.shelter_places),
                str(point.receivers),
                vehicle,
            ]
        )
    if not rows:
        blocks.append(gap(words.say("plandoc.muster_none")))
    else:
        keys = ("point", "spans", "way", "places", "receivers", "vehicle")
        blocks.append(
            table(
                [words.say(f"plandoc.muster_{key}") for key in keys],
                rows=rows,
                widths=[1.4, 1.6, 0.8, 0.8, 0.8, 1.4],
                right=[3, 4],
            )
        )
    return [
        *blocks,
        heading(words.say("plandoc.landings"), level=2),
        paragraph(words.say("plandoc.landings_intro")),
        _landings(plan, words),
        paragraph(words.say("plandoc.carriers")),
    ]


def _landings(plan: Plan, words: Words) -> Block:
    """The ground below by class: which spans, and how steep nine in ten metres are."""
    line = plan.heights.line
    found: dict[str, list[tuple[Side, int]]] = {}
    for span in line.spans:
        for side in Side:
            name = landing_class(line, side=side, span_index=span.index)
            found.setdefault(name, []).append((side, span.index))
    rows = []
    for name in (*(name for _, name in LANDING_CLASSES), "very_steep", "unknown"):
        units = found.get(name, [])
        if not units:
            continue
        slopes = (
            landing_slope_deg(line, side=side, span_index=span) for side, span in units
        )
        rows.append(
            [
                words.say(f"muster.landing.{name}"),
                _units_text(plan, units, words),
                words.show("slope_deg", max(slopes)),
            ]
        )
    return table(
        [words.say(f"plandoc.landing_{key}") for key in ("ground", "spans", "slope")],
        rows=rows,
        widths=[1.4, 2, 0.8],
        right=[2],
    )


def _units_text(plan: Plan, units: list[tuple[Side, int]], words: Words) -> str:
    """Spans of both sides first, joined, then those of one side only."""
    both = [span for _, span in units if {(side, span) for side in Side} <= {*units}]
    parts = [words.say("plandoc.landing_both", spans=runs_text(plan, both))] * bool(
        both
    )
    for side in Side:
        alone = [span for each, span in units if each is side and span not in both]
        if alone:
            parts.append(
                words.say(
                    "plandoc.landing_side",
                    spans=runs_text(plan, alone),
                    side=words.say(f"plandoc.side_{side.value}"),
                )
            )
    return "; ".join(parts)
