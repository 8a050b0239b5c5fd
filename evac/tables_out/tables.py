"""The plan as tables: headings and what they mean from the words, typed entries."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from evac.assignment import last_finish_s
from evac.facts.heights import UnitHeights
from evac.facts.plan import Plan
from evac.facts.work import LatestOrder, Zone
from evac.figures.doubt import of_reached, reach_in_doubt
from evac.figures.taken import carriers_most, units_passed, units_taken
from evac.words import Words

Entry = str | float | int | date | None
Row = tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A sheet: name, column headings, rows of typed entries.

    ``keys`` names the columns in code; a key's unit ending chooses how its numbers are
    shown. Where it is left out the headings serve as keys.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    keys: tuple[str, ...] = ()


def plan_tables(plan: Plan, words: Words) -> tuple[Table, ...]:
    """All tables of a plan, in workbook order; the last explains the columns."""
    tables = (
        _summary(plan, words),
        _units(plan, words),
        _reach(plan, words),
        _zones(plan, words),
        _schedule(plan, words),
        _supports(plan, words),
        _rope(plan, words),
        _margins(plan, words),
        _findings(plan, words),
        _assumptions(plan, words),
        _table(
            "cautions",
            ("caution",),
            ((words.say(f"cautions.c{number}"),) for number in range(1, 5)),
            words,
        ),
    )
    return (*tables, _columns(tables, words))


def margin_parts(units: Sequence[UnitHeights]) -> tuple[str, ...]:
    """Every source of uncertainty that any margin names, in their own order."""
    return tuple(dict.fromkeys(part for unit in units for part in unit.margin_parts_m))


def margin_key(part: str) -> str:
    """The words key of a source of uncertainty, below ``margin.``."""
    return part.replace(" ", "_")


def _table(name: str, keys: Sequence[str], rows: Iterable[Row], words: Words) -> Table:
    return Table(
        name=words.say(f"tables.sheet_{name}"),
        columns=tuple(words.say(f"tables.column.{key}") for key in keys),
        rows=tuple(rows),
        keys=tuple(keys),
    )


def _columns(tables: Sequence[Table], words: Words) -> Table:
    """What every column of every table holds."""
    rows = [
        (table.name, heading, _about(key, words))
        for table in tables
        for key, heading in zip(table.keys, table.columns, strict=True)
    ]
    return _table("columns", ("table", "column", "meaning"), rows, words)


def _about(key: str, words: Words) -> str:
    part = key.removeprefix("part_").removesuffix("_m")
    if key.startswith("part_"):
        return words.say("tables.about_part", part=words.say(f"margin.{part}"))
    return words.say(f"tables.about.{key}")


def _yes(value: bool, words: Words) -> str:
    return words.say("tables.yes" if value else "tables.no")


def _side(side: str, words: Words) -> str:
    return words.say(f"tables.side_{side}")


def _summary(plan: Plan, words: Words) -> Table:
    simulation, binding = plan.simulation, plan.clock.binding
    met = plan.limit_met
    items: dict[str, Entry] = {
        "lift": plan.lift.name,
        "operator": plan.lift.operator,
        "revision": plan.lift.revision,
        "date": plan.date,
        "fingerprint": plan.fingerprint,
        "everyone_reached": _yes(plan.everyone_reached, words),
        "places_not_reached": sum(item.people for item in plan.assignment.uncovered),
        "in_doubt": _yes(reach_in_doubt(plan), words),
        "limit_met": words.say("tables.not_known") if met is None else _yes(met, words),
        "clear_min": last_finish_s(plan.assignment) / 60,
        "clear_p50_min": simulation.p50_s / 60,
        "clear_p90_min": simulation.p90_s / 60,
        "safe_p90_min": (
            simulation.safe_p90_s / 60
            if math.isfinite(simulation.safe_p90_s)
            else words.say("tables.not_known")
        ),
        "latest_order_min": _latest_order(binding, words),
        "proven": _yes(plan.assignment.proven, words),
        "caution": words.say("cautions.short"),
    }
    timed = ("clear_min", "clear_p50_min", "clear_p90_min", "safe_p90_min")
    rows = (
        (
            words.say(
                of_reached(plan, f"tables.item.{key}")
                if key in (*timed, "latest_order_min")
                else f"tables.item.{key}"
            ),
            value,
        )
        for key, value in items.items()
    )
    return _table("summary", ("item", "value"), rows, words)


def _latest_order(binding: LatestOrder | None, words: Words) -> Entry:
    if binding is None:
        return None
    if binding.lost:
        return words.say("tables.no_order")
    return binding.after_stop_s / 60


def _units(plan: Plan, words: Words) -> Table:
    keys = (
        "side",
        "span",
        "known",
        "rope_greatest_m",
        "rope_least_m",
        "seat_greatest_m",
        "seat_least_m",
        "margin_m",
        "greatest_at_m",
        "carriers_most",
    )
    rows: Iterable[Row] = (
        (
            _side(unit.side, words),
            unit.span_id,
            _yes(unit.known, words),
            unit.rope_greatest_m,
            unit.rope_least_m,
            unit.seat_greatest_m,
            unit.seat_least_m,
            unit.margin_m,
            unit.greatest_at_m,
            unit.carriers_most,
        )
        for unit in plan.heights.units
    )
    return _table("units", keys, rows, words)


def _reach(plan: Plan, words: Words) -> Table:
    options, spans = plan.work.options, plan.heights.line.spans
    keys = (
        "side",
        "span",
        "team",
        "kit",
        "technique",
        "height_m",
        "margin_m",
        "rope_needed_m",
        "rope_have_m",
        "reaches",
        "decided_by",
    )
    rows: Iterable[Row] = (
        (
            _side(reach.side, words),
            spans[reach.span_index].id,
            options[reach.option_index].team,
            options[reach.option_index].kit,
            options[reach.option_index].technique,
            reach.height_m,
            reach.margin_m,
            reach.rope_needed_m,
            reach.rope_have_m,
            _yes(reach.ok, words),
            words.say(f"reach.{reach.limit}"),
        )
        for reach in plan.reaches
    )
    return _table("reach", keys, rows, words)


def _zones(plan: Plan, words: Words) -> Table:
    keys = (
        "team",
        "first_span",
        "last_span",
        "sides",
        "clears",
        "passes",
        "technique",
        "kit",
        "enters_at",
        "arrives_min",
        "starts_min",
        "clear_min",
        "people_most",
        "seats_most",
    )
    rows = (_zone_row(plan, zone, words) for zone in plan.assignment.zones)
    return _table("zones", keys, rows, words)


def _zone_row(plan: Plan, zone: Zone, words: Words) -> Row:
    spans = plan.heights.line.spans

    def named(units: Iterable[tuple[str, int]]) -> str:
        ordered = sorted(units, key=lambda unit: (unit[1], unit[0]))
        return ", ".join(
            words.say("tables.unit", span=spans[span].id, side=_side(side, words))
            for side, span in ordered
        )

    return (
        zone.team,
        spans[zone.first_span].id,
        spans[zone.last_span].id,
        " + ".join(_side(side, words) for side in zone.sides),
        named(units_taken(plan, [zone])),
        named(units_passed(plan, [zone])),
        zone.option.technique,
        zone.option.kit,
        plan.lift.supports[zone.start_support].id,
        zone.arrival_s / 60,
        zone.start_s / 60,
        zone.finish_s / 60,
        zone.people,
        carriers_most(plan, [zone]) * plan.lift.carriers.seats,
    )


def _schedule(plan: Plan, words: Words) -> Table:
    spans = plan.heights.line.spans
    keys = (
        "team",
        "order",
        "side",
        "span",
        "distance_m",
        "people_planned",
        "seat_height_m",
        "rope_needed_m",
        "begins_min",
        "ends_min",
    )
    rows: Iterable[Row] = (
        (
            rescue.team,
            rescue.order,
            _side(rescue.side, words),
            spans[rescue.span_index].id,
            rescue.distance_m,
            rescue.people,
            rescue.seat_height_m,
            rescue.rope_needed_m,
            rescue.start_s / 60,
            rescue.finish_s / 60,
        )
        for rescue in plan.schedule.rescues
    )
    return _table("schedule", keys, rows, words)


def _supports(plan: Plan, words: Words) -> Table:
    keys = (
        "side",
        "support",
        "kind",
        "kind_inferred",
        "load_least_kn",
        "load_greatest_kn",
        "deflection_deg",
        "lifts_off",
        "least_load_case",
    )
    rows: Iterable[Row] = (
        (
            _side(item.side, words),
            item.support_id,
            item.kind,
            _yes(item.inferred, words),
            item.least_load_n / 1000,
            item.greatest_load_n / 1000,
            item.greatest_deflection_deg,
            _yes(item.lifted, words),
            item.worst_load_name,
        )
        for item in plan.heights.supports
    )
    return _table("supports", keys, rows, words)


def _rope(plan: Plan, words: Words) -> Table:
    keys = (
        "side",
        "span",
        "sag_m",
        "tension_least_kn",
        "tension_greatest_kn",
        "safety_factor",
    )
    rows: Iterable[Row] = (
        (
            _side(item.side, words),
            item.span_id,
            item.greatest_sag_m,
            item.least_tension_n / 1000,
            item.greatest_tension_n / 1000,
            item.safety_factor,
        )
        for item in plan.heights.spans
    )
    return _table("rope", keys, rows, words)


def _margins(plan: Plan, words: Words) -> Table:
    parts = margin_parts(plan.heights.units)
    keys = ("side", "span", "known", "rope_greatest_m", "margin_m")
    fixed = tuple(words.say(f"tables.column.{key}") for key in keys)
    names = tuple(words.say(f"margin.{margin_key(part)}") for part in parts)
    return Table(
        name=words.say("tables.sheet_margins"),
        columns=(
            *fixed,
            *(words.say("tables.column_part", part=name) for name in names),
        ),
        rows=tuple(
            (
                _side(unit.side, words),
                unit.span_id,
                _yes(unit.known, words),
                unit.rope_greatest_m,
                unit.margin_m,
                *(unit.margin_parts_m.get(part) for part in parts),
            )
            for unit in plan.heights.units
        ),
        keys=(*keys, *(f"part_{margin_key(part)}_m" for part in parts)),
    )


def _findings(plan: Plan, words: Words) -> Table:
    rows: Iterable[Row] = (
        (
            words.say(f"tables.severity_{finding.severity}"),
            finding.where,
            *words.finding(finding),
        )
        for finding in plan.findings
    )
    return _table("findings", ("severity", "where", "finding", "remedy"), rows, words)


def _assumptions(plan: Plan, words: Words) -> Table:
    rows: Iterable[Row] = (
        (item.key, item.value, item.reason, _yes(item.accepted, words))
        for item in plan.lift.assumptions
    )
    keys = ("assumption", "assumed", "reason", "accepted")
    return _table("assumptions", keys, rows, words)
