"""What stands on the sheet of one team."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from evac.documents.codes import geo_address, qr_svg
from evac.documents.names import labels, not_yours_text, place_text, zone_text
from evac.documents.sheet_assumed import assumed_text
from evac.documents.sheet_parts import (
    carrier_columns,
    carrier_table,
    gate_rows,
    kit_lines,
    landing_lines,
    muster_lines,
)
from evac.documents.sheet_people import (
    count_text,
    cover_lines,
    load_text,
    special_lines,
    special_note,
)
from evac.documents.sheet_warnings import (
    alarm_texts,
    crossing_texts,
    idle_reasons,
    limits_text,
    support_legend,
    warning_texts,
)
from evac.documents.typeset import Fact
from evac.facts.lift import Team, Technique, TensionState
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S, Route, Zone
from evac.figures import svg_bytes, zone_map, zone_section
from evac.figures.carrier_words import say_of
from evac.figures.taken import units_taken
from evac.figures.zone_layout import WIDTH_MM, lay_zone
from evac.gear import technique_of
from evac.words import Words

_MAP_WIDTH_MM = 112.0
_CARRIERS_MOST_MM = 130.0
"""What the second page has left for carriers beside everything else on it."""
_AT_THE_DOOR_M = 1.0
"""A way in shorter than this is none: the team starts at its first support."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """How large drawings, text and the rows to write in are printed."""

    section_mm: float
    map_mm: float
    text_pt: float
    row_mm: float
    """Height of a carrier's row: gloves and a pencil want 6 mm or more."""
    split: bool
    """Whether the second page begins with the gates; else it runs on where it may."""


ROOMS = (
    Room(section_mm=50.0, map_mm=70.0, text_pt=10.5, row_mm=7.0, split=True),
    Room(section_mm=44.0, map_mm=66.0, text_pt=10.0, row_mm=6.5, split=True),
    Room(section_mm=40.0, map_mm=58.0, text_pt=9.5, row_mm=6.0, split=True),
    Room(section_mm=32.0, map_mm=50.0, text_pt=9.5, row_mm=6.0, split=True),
    Room(section_mm=32.0, map_mm=50.0, text_pt=9.0, row_mm=6.0, split=True),
    Room(section_mm=40.0, map_mm=58.0, text_pt=9.5, row_mm=4.6, split=True),
    Room(section_mm=32.0, map_mm=50.0, text_pt=9.5, row_mm=4.0, split=True),
    Room(section_mm=32.0, map_mm=50.0, text_pt=9.5, row_mm=4.0, split=False),
    Room(section_mm=20.0, map_mm=32.0, text_pt=9.0, row_mm=6.0, split=False),
    Room(section_mm=20.0, map_mm=32.0, text_pt=9.0, row_mm=4.6, split=False),
    Room(section_mm=26.0, map_mm=42.0, text_pt=9.0, row_mm=3.4, split=False),
    Room(section_mm=20.0, map_mm=32.0, text_pt=9.0, row_mm=3.4, split=False),
)
"""From generous to tight; the first with which a sheet keeps to two pages is taken.

Rows to write in stay tall as long as smaller drawings help: only the longest lists
get the low ones at the end.
"""

ROOM_OF_LONG_SHEETS = ROOMS[5]


def rooms_for(plan: Plan, team: Team, words: Words) -> tuple[Room, ...]:
    """The rooms worth trying: those in which the list of carriers alone may fit."""
    columns = carrier_columns(plan, team, words)
    rows = max((len(column) for column in columns), default=0)
    worth = tuple(room for room in ROOMS if rows * room.row_mm < _CARRIERS_MOST_MM)
    return worth or ROOMS[-1:]


def sheet_facts(
    plan: Plan,
    team: Team,
    zones: Sequence[Zone],
    words: Words,
    *,
    room: Room,
    draw: bool = True,
) -> dict[str, Fact]:
    """Everything that the template of a team sheet prints, in words.

    Parameters
    ----------
    plan : Plan
    team : Team
    zones : sequence of Zone
        All of this team; empty for a team in reserve.
    words : Words
    room : Room
        For the drawings.
    draw : bool
        False leaves the drawings blank, yet of their size: to see whether all fits.
    """
    facts: dict[str, Fact] = {
        "label": _labels(plan, words),
        "text_pt": room.text_pt,
        "row_mm": room.row_mm,
        "split": room.split,
        "team": team.id,
        "channel": team.channel or "",
        "stamp": words.say(
            "sheet.stamp",
            lift=plan.lift.name,
            revision=plan.lift.revision,
            day=plan.date,
            fingerprint=plan.fingerprint,
        ),
        "alarms": list(alarm_texts(plan, words)),
        "secured": _secured(plan, words),
        "kits": list(kit_lines(plan, team, zones, words)),
        "phrases": _numbered(plan, words, "phrase"),
        "special": special_lines(plan, team, zones, words),
        "special_note": special_note(plan, team, zones, words),
        "covers": list(cover_lines(plan, team, words)),
        "standdown": _numbered(plan, words, "standdown"),
        "assumptions": assumed_text(plan.lift, words),
        "cautions": words.say("cautions.short"),
        "reserve": "",
        "idle": False,
        "limits": "",
        "crossings": [],
        "warnings": [],
    }
    if zones:
        facts |= _zone_facts(plan, team, zones, words, room)
        facts |= _drawings(plan, team, zones, words, room, draw=draw)
    else:
        able = any(option.team == team.id for option in plan.work.options)
        facts["reserve"] = words.say(
            "sheet.reserve" if able else "sheet.cannot_go",
            place=team.start_place,
            ready_s=team.ready_s,
        )
        facts["key_facts"] = _reserve_facts(team, words)
        if not able:
            facts["idle"] = True
            facts["warnings"] = list(idle_reasons(plan, team, words))
    return facts


def _zone_facts(
    plan: Plan, team: Team, zones: Sequence[Zone], words: Words, room: Room
) -> dict[str, Fact]:
    first = zones[0]
    route = _route_in(plan, team, first)
    support = plan.lift.supports[first.start_support]
    address = geo_address(plan.lift, support)
    columns = carrier_columns(plan, team, words)
    # Tables are set half a point smaller than the text around them.
    table = carrier_table(columns, words, text_pt=room.text_pt - 0.5)
    mine = [item for item in plan.schedule.rescues if item.team == team.id]
    return {
        "zones": [zone_text(plan.lift, zone, words) for zone in zones],
        "not_yours": _not_yours(plan, zones, words),
        "key_facts": _key_facts(plan, team, zones, words),
        "limits": limits_text(plan, zones, words),
        "crossings": list(crossing_texts(plan, zones, words)),
        "section_legend": support_legend(plan, zones, words),
        "warnings": list(warning_texts(plan, team, zones, words)),
        "way": _way_lines(plan, team, route, words),
        "access_point": words.say(
            "sheet.access_point", place=place_text(support, words)
        ),
        "address": address,
        "qr_svg": qr_svg(address),
        "gates": [
            list(row) for row in gate_rows(plan, units_taken(plan, zones), words)
        ],
        "hazards_listed": bool(plan.lift.hazards),
        "carrier_list": table.list_mm,
        "carrier_widths": list(table.widths_mm),
        "carrier_pt": table.text_pt,
        "carriers": [[list(row) for row in column] for column in columns],
        "carriers_note": words.say(
            "sheet.carriers_at" if columns else "sheet.carriers_none"
        ),
        "landings": " ".join(landing_lines(plan, zones, words)),
        "evacuees": list(muster_lines(plan, zones, words)),
        "expected": count_text(plan, zones, mine, words),
    }


def _drawings(
    plan: Plan,
    team: Team,
    zones: Sequence[Zone],
    words: Words,
    room: Room,
    *,
    draw: bool,
) -> dict[str, Fact]:
    sides = {side for zone in zones for side in zone.sides}
    side_mm = room.section_mm / len(sides)
    if not draw:
        layout = lay_zone(plan, zones, words=words, side_height_mm=side_mm)
        return {
            "section_svg": _blank_svg(WIDTH_MM, layout.height_mm),
            "map_svg": _blank_svg(_MAP_WIDTH_MM, room.map_mm),
        }
    route = _route_in(plan, team, zones[0])
    section = zone_section(plan, zones, words=words, side_height_mm=side_mm)
    strip = zone_map(plan, zones, route=route, words=words, height_mm=room.map_mm)
    return {"section_svg": _svg(section), "map_svg": _svg(strip)}


def _blank_svg(width_mm: float, height_mm: float) -> str:
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        f'width="{width_mm:.2f}mm" height="{height_mm:.2f}mm"/>'
    )


def _not_yours(plan: Plan, zones: Sequence[Zone], words: Words) -> str:
    """Span-sides inside the zone that somebody else, or nobody, clears."""
    units = not_yours_text(plan, zones, words)
    return words.say("sheet.not_yours", units=units) if units else ""


def _svg(figure: Figure) -> str:
    return svg_bytes(figure).decode("utf-8")


def _labels(plan: Plan, words: Words) -> dict[str, Fact]:
    """Every fixed text, for cabins that of cabins."""
    return {key: _label(plan, key, words) for key in labels(words, "sheet.label")}


def _label(plan: Plan, key: str, words: Words) -> str:
    """A fixed text; with feet, that of a column that shows them too."""
    feet = f"{key}_feet"
    if words.feet and words.has(f"sheet.label.{feet}"):
        key = feet
    return say_of(words, f"sheet.label.{key}", plan.lift)


def _numbered(plan: Plan, words: Words, name: str) -> list[Fact]:
    found: list[Fact] = []
    while words.has(key := f"sheet.label.{name}_{len(found) + 1}"):
        found.append(say_of(words, key, plan.lift))
    return found


def _secured(plan: Plan, words: Words) -> list[Fact]:
    tension = plan.lift.tension
    if tension.state is TensionState.UNKNOWN:
        state = words.say("sheet.tension_unknown")
    else:
        state = words.say(
            f"sheet.tension_{tension.state.value}", force_n=tension.force_n
        )
    names = ("secured_drive", "secured_brake", "secured_auxiliary")
    return [
        *(words.say(f"sheet.label.{name}") for name in names),
        state,
        words.say("sheet.label.secured_radio"),
    ]


def _key_facts(
    plan: Plan, team: Team, zones: Sequence[Zone], words: Words
) -> list[Fact]:
    first = zones[0]
    technique = technique_of(plan.lift, first.option.technique)
    rows = [item for item in plan.schedule.rescues if item.team == team.id]
    gear = "; ".join(dict.fromkeys(_gear_text(plan, zone, words) for zone in zones))
    facts: dict[str, str] = {
        "start": _start_text(plan, first, words),
        "direction": _direction_text(plan, first, words),
        "crew": _crew_text(team, technique, words),
        "technique": gear,
        "arrives": words.say("sheet.arrives", arrival_s=first.arrival_s),
        "first_work": _begin_text(plan, zones, words),
        "load": load_text(plan, zones, rows, words),
        "clear": words.say(
            "sheet.clear", finish_s=max(item.finish_s for item in zones)
        ),
    }
    return _labelled(facts, words)


def _begin_text(plan: Plan, zones: Sequence[Zone], words: Words) -> str:
    """When work begins: a time to reckon with, not one to wait for."""
    taken = units_taken(plan, zones)
    gated = any(
        gate.opens_s > 0 and (gate.side, gate.span_index) in taken
        for gate in plan.gates
    )
    return words.say(
        "sheet.first_work_gates" if gated else "sheet.first_work",
        start_s=zones[0].start_s,
    )


def _direction_text(plan: Plan, zone: Zone, words: Words) -> str:
    """From which support the zone is worked, and whether that is up or down.

    The order of carriers on the sheet runs so and another team may come towards this
    one, so it is said also where the technique would allow either way.
    """
    from_last = zone.start_support > zone.first_span
    last = zone.first_span if from_last else zone.last_span + 1
    downhill = from_last == plan.lift.upper_is_last
    return words.say(
        "sheet.direction_downhill" if downhill else "sheet.direction_uphill",
        first=place_text(plan.lift.supports[zone.start_support], words),
        last=place_text(plan.lift.supports[last], words),
    )


def _crew_text(team: Team, technique: Technique, words: Words) -> str:
    """Who does what; people beyond the technique's crew get their role on site."""
    roles = technique.roles.replace(" | ", ", ")
    more = team.crew - technique.min_crew
    return words.say(
        "sheet.crew_more" if more > 0 else "sheet.crew",
        crew=team.crew,
        roles=roles,
        more=more,
    )


def _reserve_facts(team: Team, words: Words) -> list[Fact]:
    facts = {
        "crew": words.number(team.crew, 0),
        "technique": words.say(
            "sheet.reserve_techniques", techniques=", ".join(team.techniques)
        ),
    }
    return _labelled(facts, words)


def _labelled(facts: dict[str, str], words: Words) -> list[Fact]:
    return [[words.say(f"sheet.label.{key}"), text] for key, text in facts.items()]


def _gear_text(plan: Plan, zone: Zone, words: Words) -> str:
    kit = next(item for item in plan.lift.kits if item.id == zone.option.kit)
    return words.say(
        "sheet.technique_rope",
        technique=zone.option.technique,
        kit=kit.id,
        rope_m=kit.rope_length_m,
    )


def _start_text(plan: Plan, zone: Zone, words: Words) -> str:
    at_last = zone.start_support > zone.first_span
    upper = at_last == plan.lift.upper_is_last
    support = plan.lift.supports[zone.start_support]
    return words.say(
        "sheet.start_mark" if support.mark else "sheet.start",
        support=support.id,
        end=words.say("sheet.end_upper" if upper else "sheet.end_lower"),
    )


def _route_in(plan: Plan, team: Team, zone: Zone) -> Route | None:
    return next(
        (
            item
            for item in plan.routes
            if item.team == team.id
            and item.support_index == zone.start_support
            and item.seconds < NEVER_S
        ),
        None,
    )


def _way_lines(plan: Plan, team: Team, route: Route | None, words: Words) -> list[Fact]:
    ready = words.say("sheet.ready", place=team.start_place, ready_s=team.ready_s)
    if route is None:
        return [ready, words.say("sheet.no_way")]
    travel = (
        words.say("sheet.vehicle", travel=team.travel, vehicle=team.vehicle)
        if team.vehicle
        else team.travel
    )
    if route.length_m < _AT_THE_DOOR_M:
        place = place_text(plan.lift.supports[route.support_index], words)
        return [ready, words.say("sheet.way_none", place=place)]
    lines: list[Fact] = [
        ready,
        words.say(
            "sheet.way_in",
            seconds_s=route.seconds,
            place=team.start_place,
            travel=travel,
        ),
        words.say(
            "sheet.way_length", length_m=route.length_m, climb_m=max(route.climb_m, 0.0)
        ),
    ]
    names = {way.id: way.name or way.kind for way in plan.lift.ways}
    ways = dict.fromkeys(names[item] for item in route.way_ids if item in names)
    if ways:
        lines.append(words.say("sheet.ways", ways=", ".join(ways)))
    return lines
