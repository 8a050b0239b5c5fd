"""Parts of a team sheet that are lists: carriers, gates, kit, muster, warnings."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from evac.documents.names import runs_text
from evac.facts.lift import Kit, Side, Team
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S, Rescue, UnitGate, Zone
from evac.figures.canvas import MM_PER_PT
from evac.figures.hazard_bars import hazard_text
from evac.figures.taken import units_taken
from evac.muster import landing_class
from evac.units import FOOT_M
from evac.words import Words

_LINES_ALONE = 11
"""Lines of carriers and span-sides that one column holds before another begins."""
_MOST_COLUMNS = 2
_HALF_PAGE_MM = 91.5
_LIST_ALONE_MM = 110.0
_LEAST_BLANK_MM = 12.0
"""Two digits written by hand, gloves on (common practice, no source)."""
_HEADS_MM = (12.0, 18.0, 9.0, 11.0, 11.0, 8.6)
"""What heading and handwriting need at 9 pt: order, carrier, at, seat, rope, min."""
_HEADS_FEET_MM = (7.6, 13.6, 9.0, 11.0, 11.0, 8.6)
_DIGIT_EM, _MARK_EM = 0.64, 0.34
_EDGES_MM = 1.6


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


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierTable:
    """How a list of carriers is set."""

    list_mm: float
    """Width of one column of the list."""
    widths_mm: tuple[float, ...]
    """Of what stands in it: order, carrier, at, seat, rope, minutes."""
    text_pt: float

    @property
    def blank_mm(self) -> float:
        """What is left for the number that is written by hand."""
        return self.list_mm - sum(self.widths_mm)


def carrier_table(
    columns: Sequence[Sequence[Sequence[str]]], words: Words, *, text_pt: float
) -> CarrierTable:
    """Widths of the columns of `carrier_columns`, wide enough for what is in them.

    Letters shrink from `text_pt` to 9 pt before the blank gets too narrow for a number
    written with gloves on; a list that is not divided has more than half the page.
    """
    list_mm = _HALF_PAGE_MM if len(columns) > 1 else _LIST_ALONE_MM
    rows = [row for column in columns for row in column if len(row) > 1]
    heads = _HEADS_FEET_MM if words.feet else _HEADS_MM
    at_nine_points = [
        max([head, *(_printed_mm(row[place]) for row in rows)])
        for place, head in enumerate(heads)
    ]
    room_mm = list_mm - _LEAST_BLANK_MM
    most_pt = 9.0 * room_mm / sum(at_nine_points)
    letters_pt = round(max(9.0, min(text_pt, math.floor(10.0 * most_pt) / 10.0)), 1)
    return CarrierTable(
        list_mm=list_mm,
        widths_mm=tuple(round(width * letters_pt / 9.0, 1) for width in at_nine_points),
        text_pt=letters_pt,
    )


def _printed_mm(text: str) -> float:
    """Width of digits and marks in DejaVu Sans at 9 pt, with the cell's edges [mm]."""
    em = sum(_MARK_EM if letter in ".,/" else _DIGIT_EM for letter in text)
    return em * 9.0 * MM_PER_PT + _EDGES_MM


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
    taken = units_taken(plan, zones)
    lines = [
        _kit_line(plan, kit, words, not_for=_not_for(plan, team, kit, taken, words))
        for kit in kits
    ]
    left = [kit.id for kit in own if kit.id not in able]
    if left:
        lines.append(words.say("sheet.kit_leave", kits=", ".join(left)))
    return lines


def _not_for(
    plan: Plan, team: Team, kit: Kit, taken: set[tuple[Side, int]], words: Words
) -> list[str]:
    """Where in the team's own zone a kit does not reach, and why, alike ones together.

    The other kit of a team is carried beside that of the zone, and nobody may find
    out at the carrier that it is too short.
    """
    options = {
        option.index
        for option in plan.work.options
        if (option.team, option.kit) == (team.id, kit.id)
    }
    reaches = [item for item in plan.reaches if item.option_index in options]
    good = {(item.side, item.span_index) for item in reaches if item.ok}
    found: dict[str, dict[Side, list[int]]] = {}
    needed_m: dict[str, float] = {}
    for item in reaches:
        unit = (item.side, item.span_index)
        if unit in taken - good:
            found.setdefault(item.limit, {}).setdefault(item.side, []).append(unit[1])
            needed_m[item.limit] = max(
                item.rope_needed_m, needed_m.get(item.limit, item.rope_needed_m)
            )
    both = len({side for side, _ in taken}) > 1
    return [
        words.say(
            "sheet.kit_short" if limit == "rope" else "sheet.kit_not_for",
            spans=_units_text(plan, sides, words, both=both),
            # Rounded up: a rope must never seem to suffice by rounding.
            needed_m=_whole_above(needed_m[limit]),
            reason=words.say(f"reach.{limit}"),
        )
        for limit, sides in found.items()
    ]


def _kit_line(plan: Plan, kit: Kit, words: Words, *, not_for: Sequence[str]) -> str:
    parts = [
        words.say(
            "sheet.kit_line",
            kit=kit.id,
            technique=kit.technique,
            rope_m=kit.rope_length_m,
            stored_at=kit.stored_at or words.say("gear.store"),
        ),
        *not_for,
        _rated_text(kit, words),
    ]
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


def _rated_text(kit: Kit, words: Words) -> str:
    """The load a kit is rated for; that none is stated is said, too."""
    least, most = kit.rated_least_kg, kit.rated_most_kg
    if most is None:
        return words.say("sheet.kit_unrated")
    if least is None:
        return words.say("sheet.kit_rated_most", most_kg=most)
    return words.say("sheet.kit_rated", least_kg=least, most_kg=most)


def landing_lines(plan: Plan, zones: Sequence[Zone], words: Words) -> list[str]:
    """What the ground asks at the landings of each span-side, alike ones together."""
    found: dict[str, dict[Side, list[int]]] = {}
    for side, span in sorted(units_taken(plan, zones), key=lambda unit: unit[::-1]):
        name = landing_class(plan.heights.line, side=side, span_index=span)
        found.setdefault(name, {}).setdefault(side, []).append(span)
    both = len({side for sides in found.values() for side in sides}) > 1
    lines = []
    for name, sides in found.items():
        lines.append(
            words.say(
                "sheet.landing",
                spans=_units_text(plan, sides, words, both=both),
                landing=words.say(f"muster.landing.{name}"),
            )
        )
    return lines


def _units_text(
    plan: Plan, sides: Mapping[Side, list[int]], words: Words, *, both: bool
) -> str:
    """Spans of each side; the side is named where the zone has both and it matters."""
    runs = {side: runs_text(plan, spans) for side, spans in sides.items()}
    if not both or (len(runs) > 1 and len(set(runs.values())) == 1):
        return next(iter(runs.values()))
    return "; ".join(
        f"{text} {words.say(f'sheet.side_{side.value}')}" for side, text in runs.items()
    )


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
