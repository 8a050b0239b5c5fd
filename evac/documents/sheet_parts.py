"""Parts of a team sheet that are lists: carriers, gates, kit, muster, warnings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from evac.documents.names import runs_text
from evac.facts.lift import Kit, Side, Team
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S, Rescue, UnitGate, Zone
from evac.figures.hazard_bars import hazard_text
from evac.figures.taken import units_taken
from evac.muster import landing_class
from evac.units import FOOT_M
from evac.words import Words

_LINES_ALONE = 11
"""Lines of carriers and span-sides that one column holds before another begins."""
_MOST_COLUMNS = 2


def carrier_columns(plan: Plan, team: Team, words: Words) -> list[list[list[str]]]:
    """Every carrier of a team in order, grouped by span-side, in columns side by side.

    Returns
    -------
    list of list of list of str
        Columns; in a column, rows of one cell (the name of a span-side) or of six:
        order, a blank for the number painted on the carrier (the lift stops anywhere,
        so nobody knows it beforehand), metres from the span's first support, seat,
        rope needed, minutes.
    """
    mine = sorted(
        (item for item in plan.schedule.rescues if item.team == team.id),
        key=lambda item: item.order,
    )
    units = [(rescue.side, rescue.span_index) for rescue in mine]
    lines = len(mine) + sum(one != other for one, other in pairwise([None, *units]))
    columns = max(1, min(_MOST_COLUMNS, math.ceil(lines / _LINES_ALONE)))
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
    """Widths of the six columns of `carrier_columns`; a blank takes the rest."""
    at_nine_points = (12.0, 13.6, 15.6, 15.4, 15.6, 8.6)
    if not words.feet:
        at_nine_points = (12.0, 18.0, 9.0, 11.0, 11.0, 8.6)
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
        "",
        _metres(rescue.distance_m - span.start_m, 0, words),
        _metres(rescue.seat_height_m, 1, words),
        # Rounded up: a rope must never seem to suffice by rounding.
        _metres(_whole_above(rescue.rope_needed_m), 0, words),
        words.number(minutes, 0),
    ]


def _whole_above(value_m: float) -> float:
    return float(math.ceil(value_m)) if math.isfinite(value_m) else value_m


def _metres(value_m: float, digits: int, words: Words) -> str:
    """Metres as a bare number for a column headed so, feet behind it on request."""
    if not math.isfinite(value_m):
        return words.say("sheet.unknown")
    text = words.number(value_m, digits)
    if words.feet:
        return f"{text}/{words.number(value_m / FOOT_M, 0)}"
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
    if kit.retire_on is not None and kit.retire_on <= plan.due_day:
        parts.append(words.say("sheet.kit_retired", day=kit.retire_on))
    if kit.inspection_due is None:
        parts.append(words.say("sheet.kit_no_due"))
    elif kit.inspection_due < plan.due_day:
        parts.append(words.say("sheet.kit_overdue", day=kit.inspection_due))
    else:
        parts.append(words.say("sheet.kit_due", day=kit.inspection_due))
    return "; ".join(parts)


def landing_lines(plan: Plan, zones: Sequence[Zone], words: Words) -> list[str]:
    """What the ground asks at the landings of each span-side, alike ones together."""
    found: dict[str, dict[Side, list[int]]] = {}
    for side, span in sorted(units_taken(plan, zones), key=lambda unit: unit[::-1]):
        name = landing_class(plan.heights.line, side=side, span_index=span)
        found.setdefault(name, {}).setdefault(side, []).append(span)
    both = len({side for sides in found.values() for side in sides}) > 1
    lines = []
    for name, sides in found.items():
        runs = {side: runs_text(plan, spans) for side, spans in sides.items()}
        if not both or (len(runs) > 1 and len(set(runs.values())) == 1):
            where = next(iter(runs.values()))
        else:
            where = "; ".join(
                f"{text} {words.say(f'sheet.side_{side.value}')}"
                for side, text in runs.items()
            )
        lines.append(
            words.say(
                "sheet.landing",
                spans=where,
                landing=words.say(f"muster.landing.{name}"),
            )
        )
    return lines


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
