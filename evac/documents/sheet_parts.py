"""Parts of a team sheet that are lists: carriers, gates, kit, muster, warnings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from shapely.geometry import LineString

from evac.access.network import AVALANCHE
from evac.documents.names import runs_text
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Kit, Side, Team
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S, Rescue, UnitGate, Zone
from evac.figures.hazard_bars import hazard_text
from evac.figures.taken import units_taken
from evac.units import FOOT_M
from evac.words import Words

_MOST_WARNINGS = 5
_ROWS_ALONE = 8
_MOST_COLUMNS = 3
_EVERYWHERE = frozenset(
    {
        "inputs.height_step",
        "inputs.length_in_doubt",
        "line.terrain_coarse",
    }
)
"""Findings about the whole line that a team must know before it trusts a height."""
_ORDER = {Severity.STOP: 0, Severity.WARN: 1, Severity.NOTE: 2}


def carrier_columns(plan: Plan, team: Team, words: Words) -> list[list[list[str]]]:
    """Every carrier of a team in order, grouped by span-side, in columns side by side.

    Returns
    -------
    list of list of list of str
        Columns; in a column, rows of one cell (the name of a span-side) or of five:
        number, metres from the span's first support, seat, rope needed, minutes.
    """
    mine = sorted(
        (item for item in plan.schedule.rescues if item.team == team.id),
        key=lambda item: item.order,
    )
    # Feet in brackets take the room of a third column.
    most = _MOST_COLUMNS - 1 if words.feet else _MOST_COLUMNS
    columns = max(1, min(most, math.ceil(len(mine) / _ROWS_ALONE)))
    each = math.ceil(len(mine) / columns)
    found = []
    for start in range(0, len(mine), max(each, 1)):
        rows: list[list[str]] = []
        last = None
        for number, rescue in enumerate(mine[start : start + each], start=start + 1):
            unit = (rescue.side, rescue.span_index)
            if unit != last:
                rows.append([_unit_text(plan, rescue, words)])
                last = unit
            rows.append(_carrier_row(plan, number, rescue, words))
        found.append(rows)
    return found


def carrier_widths_mm(words: Words, *, text_pt: float) -> tuple[float, ...]:
    """Widths of the five columns of `carrier_columns`; a blank takes the rest."""
    at_nine_points = (8.4, 19.0, 18.5, 18.5, 8.6)
    if not words.feet:
        at_nine_points = (8.4, 8.6, 10.6, 10.4, 8.6)
    return tuple(round(width * text_pt / 9.0, 1) for width in at_nine_points)


def _unit_text(plan: Plan, rescue: Rescue, words: Words) -> str:
    return words.say(
        "sheet.unit",
        span=plan.heights.line.spans[rescue.span_index].id,
        side=words.say(f"sheet.{rescue.side.value}"),
    )


def _carrier_row(plan: Plan, number: int, rescue: Rescue, words: Words) -> list[str]:
    span = plan.heights.line.spans[rescue.span_index]
    minutes = math.ceil((rescue.finish_s - rescue.start_s) / 60)
    return [
        str(number),
        _metres(rescue.distance_m - span.start_m, 0, words),
        _metres(rescue.seat_height_m, 1, words),
        # Rounded up: a rope must never seem to suffice by rounding.
        _metres(_whole_above(rescue.rope_needed_m), 0, words),
        words.number(minutes, 0),
    ]


def _whole_above(value_m: float) -> float:
    return float(math.ceil(value_m)) if math.isfinite(value_m) else value_m


def _metres(value_m: float, digits: int, words: Words) -> str:
    """Metres as a bare number for a column headed "m", feet in brackets on request."""
    if not math.isfinite(value_m):
        return words.say("sheet.unknown")
    text = words.number(value_m, digits)
    if words.feet:
        return f"{text} ({words.number(value_m / FOOT_M, 0)})"
    return text


def gate_rows(
    plan: Plan, units: set[tuple[Side, int]], words: Words
) -> list[tuple[str, str, str, str]]:
    """What lies below some span-sides: hazard, spans, opened by, expected."""
    spans: dict[str, list[UnitGate]] = {}
    for gate in plan.gates:
        if (gate.side, gate.span_index) in units:
            for hazard_id in gate.hazard_ids:
                spans.setdefault(hazard_id, []).append(gate)
    rows = []
    for hazard in plan.lift.hazards:
        gates = spans.get(hazard.id)
        if not gates:
            continue
        name = hazard_text(hazard, words)
        notes = [name, hazard.note]
        if hazard.extra_s_per_passenger > 0:
            notes.append(
                words.say("sheet.gate_extra", extra_s=hazard.extra_s_per_passenger)
            )
        if hazard.extra_people:
            notes.append(words.say("sheet.people_extra", count=hazard.extra_people))
        opens = hazard.opens_s
        nobody = "nobody_named" if opens and opens.high > 0 else "nobody"
        if any(gate.opens_s >= NEVER_S for gate in gates) and opens is not None:
            expected = words.say("sheet.gate_never")
        elif opens is None or opens.high <= 0:
            expected = words.say("sheet.gate_none")
        else:
            expected = words.say(
                "sheet.gate_opens",
                opens_s=opens.likely,
                low_s=opens.low,
                high_s=opens.high,
            )
        rows.append(
            (
                "; ".join(note.strip().rstrip(".") for note in notes if note.strip()),
                runs_text(plan, (gate.span_index for gate in gates)),
                hazard.opened_by or words.say(f"sheet.{nobody}"),
                expected,
            )
        )
    return rows


def kit_lines(plan: Plan, team: Team, zones: Sequence[Zone], words: Words) -> list[str]:
    """The kits that the zones use, then the team's others, with what is due.

    Kit of the team that no option uses is named to be left behind.
    """
    used = [zone.option.kit for zone in zones]
    able = {option.kit for option in plan.work.options if option.team == team.id}
    own = [kit for kit in plan.lift.kits if kit.team == team.id and kit.id not in used]
    kits = [kit for kit in plan.lift.kits if kit.id in used]
    kits += [kit for kit in own if kit.id in able]
    lines = [_kit_line(plan, kit, words) for kit in kits]
    left = [kit.id for kit in own if kit.id not in able]
    if left:
        lines.append(words.say("sheet.kit_leave", kits=", ".join(left)))
    return lines


def _kit_line(plan: Plan, kit: Kit, words: Words) -> str:
    parts = [
        words.say(
            "sheet.kit_line",
            kit=kit.id,
            technique=kit.technique,
            rope_m=kit.rope_length_m,
            stored_at=kit.stored_at,
        )
    ]
    if kit.rated_least_kg is not None and kit.rated_most_kg is not None:
        parts.append(
            words.say(
                "sheet.kit_rated",
                least_kg=kit.rated_least_kg,
                most_kg=kit.rated_most_kg,
            )
        )
    if kit.descent_energy_j is not None:
        parts.append(
            words.say(
                "sheet.kit_energy",
                left_j=max(kit.descent_energy_j - kit.descent_used_j, 0.0),
                energy_j=kit.descent_energy_j,
            )
        )
    if kit.retire_on is not None and kit.retire_on <= plan.date:
        parts.append(words.say("sheet.kit_retired", day=kit.retire_on))
    if kit.inspection_due is None:
        parts.append(words.say("sheet.kit_no_due"))
    elif kit.inspection_due < plan.date:
        parts.append(words.say("sheet.kit_overdue", day=kit.inspection_due))
    else:
        parts.append(words.say("sheet.kit_due", day=kit.inspection_due))
    return "; ".join(parts)


def muster_lines(plan: Plan, zones: Sequence[Zone], words: Words) -> list[str]:
    """Where passengers of each span go, longest way stated."""
    spans = sorted({span for _, span in units_taken(plan, zones)})
    to: dict[str, list[int]] = {}
    for span in spans:
        to.setdefault(plan.muster_point.get(span, ""), []).append(span)
    points = {point.id: point for point in plan.lift.muster_points}
    lines = []
    for point_id, its_spans in to.items():
        ids = runs_text(plan, its_spans)
        if not point_id:
            lines.append(words.say("sheet.muster_none", spans=ids))
            continue
        point = points[point_id]
        ways = [plan.muster[span].seconds for span in its_spans if span in plan.muster]
        parts = [
            words.say(
                "sheet.muster",
                spans=ids,
                name=point.name,
                seconds_s=max(ways, default=0.0),
            ),
            words.say(
                "sheet.muster_shelter",
                places=point.shelter_places,
                receivers=point.receivers,
            ),
        ]
        if point.vehicle_seats:
            parts.append(
                words.say(
                    "sheet.muster_vehicle",
                    seats=point.vehicle_seats,
                    round_s=point.vehicle_round_s,
                )
            )
        lines.append("; ".join(parts))
    return lines


def warning_texts(
    plan: Plan, team: Team, zones: Sequence[Zone], words: Words
) -> list[str]:
    """Findings about the zone or the team, gravest first; what is left out is said."""
    found = sorted(
        (
            item
            for item in plan.findings
            if item.severity is not Severity.NOTE and _concerns(plan, item, team, zones)
        ),
        key=lambda item: _ORDER[item.severity],
    )
    texts = [" ".join(words.finding(item)) for item in found[:_MOST_WARNINGS]]
    if len(found) > _MOST_WARNINGS:
        texts.append(
            words.say("sheet.warnings_more", count=len(found) - _MOST_WARNINGS)
        )
    return texts


def _concerns(plan: Plan, finding: Finding, team: Team, zones: Sequence[Zone]) -> bool:
    if finding.key == "access.avalanche":
        return _meets_avalanche(plan, team, zones)
    if not finding.where:
        return finding.key in _EVERYWHERE
    spans, supports = plan.heights.line.spans, plan.lift.supports
    places = {team.id, team.vehicle}
    for side, span in units_taken(plan, zones):
        places |= {f"{spans[span].id} {side.value}", spans[span].id}
        for support in supports[span : span + 2]:
            places |= {f"{support.id} {side.value}", support.id}
    for zone in zones:
        places |= {zone.option.kit, zone.option.technique}
    return finding.where in places


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
