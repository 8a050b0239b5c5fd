"""plan.json: what a later plan is compared with."""

from __future__ import annotations

from evac.assignment import last_finish_s
from evac.facts.plan import Plan
from evac.tables_out.numbers import finite, json_bytes


def plan_json(plan: Plan) -> bytes:
    """What a later plan is compared with; keys sorted, numbers rounded."""
    spans = plan.heights.line.spans
    content = {
        "schema": 1,
        "lift": plan.lift.name,
        "revision": plan.lift.revision,
        "date": plan.date.isoformat(),
        "fingerprint": plan.fingerprint,
        "inputs": dict(plan.lift.fingerprint),
        "units": [
            {
                "side": unit.side.value,
                "span": unit.span_id,
                "known": unit.known,
                "rope_greatest_m": finite(unit.rope_greatest_m),
                "seat_greatest_m": finite(unit.seat_greatest_m),
                "margin_m": finite(unit.margin_m),
            }
            for unit in plan.heights.units
        ],
        "zones": [
            {
                "team": zone.team,
                "first": spans[zone.first_span].id,
                "last": spans[zone.last_span].id,
                "sides": [side.value for side in zone.sides],
                "start_support": plan.lift.supports[zone.start_support].id,
                "technique": zone.option.technique,
                "kit": zone.option.kit,
                "finish_s": int(zone.finish_s),
            }
            for zone in plan.assignment.zones
        ],
        "uncovered": [
            {"side": item.side.value, "span": spans[item.span_index].id}
            for item in plan.assignment.uncovered
        ],
        "clear_s": finite(float(last_finish_s(plan.assignment))),
        "p50_s": finite(plan.simulation.p50_s),
        "p90_s": finite(plan.simulation.p90_s),
        "safe_p90_s": finite(plan.simulation.safe_p90_s),
        "latest": [
            {"reason": item.reason, "after_stop_s": finite(item.after_stop_s)}
            for item in plan.clock.latest
        ],
        "everyone_reached": plan.everyone_reached,
        "limit_met": plan.limit_met,
    }
    return json_bytes(content)
