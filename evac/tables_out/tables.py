"""The plan as tables: headings with units in their names, rows of typed entries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from evac.facts.plan import Plan
from evac.words import Words

Entry = str | float | int | date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A sheet: name, column headings (units in the name), rows of typed entries."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Entry, ...], ...]


def plan_tables(plan: Plan, words: Words) -> tuple[Table, ...]:
    """All tables of a plan, in the order of the workbook."""
    return (
        _summary(plan, words),
        _units(plan, words),
        _reach(plan, words),
        _zones(plan, words),
        _schedule(plan, words),
        _supports(plan, words),
        _rope(plan, words),
        _margins(plan, words),
        _findings(plan, words),
        Table(
            name=words.say("tables.sheet_assumptions"),
            columns=("key", "value", "reason", "accepted"),
            rows=tuple(
                (item.key, item.value, item.reason, _yes(item.accepted, words))
                for item in plan.lift.assumptions
            ),
        ),
        Table(
            name=words.say("tables.sheet_cautions"),
            columns=("caution",),
            rows=tuple((words.say(f"cautions.c{n}"),) for n in range(1, 5)),
        ),
    )


def _yes(value: bool, words: Words) -> str:
    return words.say("tables.yes" if value else "tables.no")


def _summary(plan: Plan, words: Words) -> Table:
    simulation, clock = plan.simulation, plan.clock
    binding = clock.binding
    rows: list[tuple[Entry, ...]] = [
        ("lift", plan.lift.name),
        ("operator", plan.lift.operator),
        ("revision", plan.lift.revision),
        ("planned for", plan.date),
        ("input fingerprint", plan.fingerprint),
        ("everyone reached", _yes(plan.everyone_reached, words)),
        (
            "limit met at P90",
            words.say("tables.not_known")
            if plan.limit_met is None
            else _yes(plan.limit_met, words),
        ),
        ("order to last on the ground, likely [min]", plan.schedule.clear_s / 60),
        ("order to last on the ground, P50 [min]", simulation.p50_s / 60),
        ("order to last on the ground, P90 [min]", simulation.p90_s / 60),
        ("order to all in safety, P90 [min]", simulation.safe_p90_s / 60),
        (
            "latest order after the stop [min]",
            binding.after_stop_s / 60 if binding else None,
        ),
        ("assignment proven optimal", _yes(plan.assignment.proven, words)),
        ("caution", words.say("cautions.short")),
    ]
    return Table(
        name=words.say("tables.sheet_summary"),
        columns=("item", "value"),
        rows=tuple(rows),
    )


def _units(plan: Plan, words: Words) -> Table:
    return Table(
        name=words.say("tables.sheet_units"),
        columns=(
            "side",
            "span",
            "known",
            "rope greatest_m",
            "rope least_m",
            "seat greatest_m",
            "seat least_m",
            "margin_m",
            "greatest at distance_m",
            "carriers at most",
        ),
        rows=tuple(
            (
                unit.side.value,
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
        ),
    )


def _reach(plan: Plan, words: Words) -> Table:
    options = plan.work.options
    spans = plan.heights.line.spans
    return Table(
        name=words.say("tables.sheet_reach"),
        columns=(
            "side",
            "span",
            "team",
            "kit",
            "technique",
            "rope needed_m",
            "rope carried_m",
            "reaches",
            "decided by",
        ),
        rows=tuple(
            (
                reach.side.value,
                spans[reach.span_index].id,
                options[reach.option_index].team,
                options[reach.option_index].kit,
                options[reach.option_index].technique,
                reach.rope_needed_m,
                reach.rope_have_m,
                _yes(reach.ok, words),
                reach.limit,
            )
            for reach in plan.reaches
        ),
    )


def _zones(plan: Plan, words: Words) -> Table:
    spans = plan.heights.line.spans
    supports = plan.lift.supports
    rows: list[tuple[Entry, ...]] = [
        (
            zone.team,
            spans[zone.first_span].id,
            spans[zone.last_span].id,
            " + ".join(side.value for side in zone.sides),
            zone.option.technique,
            zone.option.kit,
            supports[zone.start_support].id,
            zone.arrival_s / 60,
            zone.start_s / 60,
            zone.finish_s / 60,
            zone.people,
        )
        for zone in plan.assignment.zones
    ]
    return Table(
        name=words.say("tables.sheet_zones"),
        columns=(
            "team",
            "first span",
            "last span",
            "sides",
            "technique",
            "kit",
            "enters at support",
            "arrives_min",
            "starts_min",
            "clear_min",
            "people at most",
        ),
        rows=tuple(rows),
    )


def _schedule(plan: Plan, words: Words) -> Table:
    spans = plan.heights.line.spans
    return Table(
        name=words.say("tables.sheet_schedule"),
        columns=(
            "team",
            "order",
            "side",
            "span",
            "distance_m",
            "people planned",
            "seat height_m",
            "rope needed_m",
            "begins_min",
            "ends_min",
        ),
        rows=tuple(
            (
                rescue.team,
                rescue.order,
                rescue.side.value,
                spans[rescue.span_index].id,
                rescue.distance_m,
                rescue.people,
                rescue.seat_height_m,
                rescue.rope_needed_m,
                rescue.start_s / 60,
                rescue.finish_s / 60,
            )
            for rescue in plan.schedule.rescues
        ),
    )


def _supports(plan: Plan, words: Words) -> Table:
    return Table(
        name=words.say("tables.sheet_supports"),
        columns=(
            "side",
            "support",
            "kind",
            "kind inferred",
            "least load_kn",
            "greatest load_kn",
            "greatest deflection_deg",
            "rope lifts off",
        ),
        rows=tuple(
            (
                item.side.value,
                item.support_id,
                item.kind,
                _yes(item.inferred, words),
                item.least_load_n / 1000,
                item.greatest_load_n / 1000,
                item.greatest_deflection_deg,
                _yes(item.lifted, words),
            )
            for item in plan.heights.supports
        ),
    )


def _rope(plan: Plan, words: Words) -> Table:
    return Table(
        name=words.say("tables.sheet_rope"),
        columns=(
            "side",
            "span",
            "greatest sag_m",
            "least tension_kn",
            "greatest tension_kn",
            "safety factor",
        ),
        rows=tuple(
            (
                item.side.value,
                item.span_id,
                item.greatest_sag_m,
                item.least_tension_n / 1000,
                item.greatest_tension_n / 1000,
                item.safety_factor,
            )
            for item in plan.heights.spans
        ),
    )


def _margins(plan: Plan, words: Words) -> Table:
    parts = list(
        dict.fromkeys(
            part for unit in plan.heights.units for part in unit.margin_parts_m
        )
    )
    return Table(
        name=words.say("tables.sheet_margins"),
        columns=("side", "span", "margin_m", *(f"{part}_m" for part in parts)),
        rows=tuple(
            (
                unit.side.value,
                unit.span_id,
                unit.margin_m,
                *(unit.margin_parts_m.get(part) for part in parts),
            )
            for unit in plan.heights.units
        ),
    )


def _findings(plan: Plan, words: Words) -> Table:
    return Table(
        name=words.say("tables.sheet_findings"),
        columns=("severity", "where", "finding", "remedy"),
        rows=tuple(
            (finding.severity.value, finding.where, *words.finding(finding))
            for finding in plan.findings
        ),
    )
