"""Hazards below the line as gates."""

from __future__ import annotations

from dataclasses import replace

import pytest
from builders import along, make_lift
from shapely.geometry import LineString, Polygon

from evac.facts.finding import Finding
from evac.facts.lift import Hazard, Lift, Side, Triple
from evac.facts.work import NEVER_S, UnitGate
from evac.hazards import doubts, find_gates, under
from evac.line import lay_out
from evac.words import Words

ROAD = make_lift().hazards[0]


def gates_of(*hazards: Hazard) -> dict[tuple[Side, int], UnitGate]:
    lift = make_lift(hazards=hazards)
    return {(g.side, g.span_index): g for g in find_gates(lift, lay_out(lift))}


def told(*hazards: Hazard) -> list[Finding]:
    lift = make_lift(hazards=hazards)
    line = lay_out(lift)
    return list(doubts(lift, line, find_gates(lift, line)))


def box(
    from_m: float, to_m: float, left_m: float, right_m: float, **changes: object
) -> Hazard:
    corners = [(from_m, left_m), (to_m, left_m), (to_m, right_m), (from_m, right_m)]
    return replace(ROAD, geometry=Polygon([along(d, r) for d, r in corners]), **changes)


def test_there_is_a_gate_for_every_unit_in_order() -> None:
    gates = find_gates(make_lift(), lay_out(make_lift()))
    assert [(gate.side, gate.span_index) for gate in gates] == [
        (side, index) for side in Side for index in range(5)
    ]


def test_a_road_across_the_line_gates_its_span_on_both_sides() -> None:
    # The builders' road crosses at 160 m: span 1 (110 to 230 m).
    gates = gates_of(ROAD)
    shut = {unit for unit, gate in gates.items() if gate.opens_s > 0}

    assert shut == {(Side.ASCENDING, 1), (Side.DESCENDING, 1)}
    gate = gates[Side.ASCENDING, 1]
    assert (gate.opens_low_s, gate.opens_s, gate.opens_high_s) == (300, 600, 900)
    assert gate.extra_people == 1


def test_a_hazard_beside_one_rope_gates_that_side_only() -> None:
    # Gauge 6 m: the ascending rope runs 3 m to the right; the belayer's radius is
    # 10 m. 12 m to the right is 9 m from it and 15 m from the other.
    gates = gates_of(box(20, 60, 12, 40))
    assert {unit for unit, gate in gates.items() if gate.hazard_ids} == {
        (Side.ASCENDING, 0)
    }


def test_a_hazard_beyond_the_belayers_radius_gates_nothing_and_is_told() -> None:
    assert not any(gate.hazard_ids for gate in gates_of(box(20, 60, 14, 40)).values())
    assert [finding.key for finding in told(box(20, 60, 14, 40))] == ["hazards.away"]


def test_a_hazard_at_a_support_gates_both_spans() -> None:
    gates = gates_of(box(225, 235, -10, 10))
    assert {unit[1] for unit, gate in gates.items() if gate.hazard_ids} == {1, 2}


def test_two_hazards_open_with_the_later_one_and_add_their_seconds() -> None:
    stream = box(
        150,
        155,
        -20,
        20,
        id="stream",
        kind="water",
        opens_s=Triple(low=100, likely=1200, high=1300),
        extra_s_per_passenger=25.0,
        extra_people=2,
    )
    gate = gates_of(replace(ROAD, extra_s_per_passenger=5.0), stream)[Side.ASCENDING, 1]

    assert (gate.opens_low_s, gate.opens_s, gate.opens_high_s) == (300, 1200, 1300)
    assert gate.extra_s_per_passenger == 30.0
    assert gate.extra_people == 3


@pytest.mark.parametrize("kind", ["power line", "road", "avalanche ground"])
def test_without_an_opening_nobody_is_lowered_there(kind: str) -> None:
    hazard = replace(ROAD, kind=kind, opens_s=None)

    assert gates_of(hazard)[Side.DESCENDING, 1].opens_s == NEVER_S
    findings = told(hazard)
    assert [finding.key for finding in findings] == ["hazards.shut"] * 2
    assert [finding.severity for finding in findings] == ["stop"] * 2
    assert findings[0].where == "1-2 ascending"


@pytest.mark.parametrize("kind", ["water", "ledge", "steep ground", "forest"])
def test_other_kinds_need_no_opening(kind: str) -> None:
    hazard = replace(ROAD, kind=kind, opens_s=None, extra_s_per_passenger=30.0)

    assert gates_of(hazard)[Side.ASCENDING, 1].opens_s == 0


def test_an_opening_that_nobody_makes_is_told() -> None:
    assert [f.key for f in told(replace(ROAD, opened_by=""))] == [
        "hazards.nobody_opens"
    ]


def test_water_without_seconds_is_told() -> None:
    hazard = replace(ROAD, kind="water", opens_s=None)
    assert [finding.key for finding in told(hazard)] == ["hazards.no_seconds"]


def test_findings_have_their_sentences() -> None:
    for finding in (
        *told(replace(ROAD, opens_s=None)),
        *told(replace(ROAD, opened_by="")),
        *told(replace(ROAD, kind="ledge", opens_s=None)),
        *told(box(20, 60, 50, 60)),
    ):
        assert all(Words().finding(finding))


def test_under_says_from_where_to_where() -> None:
    lift = make_lift(hazards=(box(140, 150, -30, 30),))
    below = under(lift, lay_out(lift))

    assert [(item.side, item.span_index) for item in below] == [
        (Side.ASCENDING, 1),
        (Side.DESCENDING, 1),
    ]
    for item in below:
        # 10 m of belayer's radius before and behind.
        assert item.from_m == pytest.approx(130, abs=0.1)
        assert item.to_m == pytest.approx(160, abs=0.1)


def test_a_power_line_that_crosses_askew_is_below_each_side_elsewhere() -> None:
    line = LineString([along(100, -50), along(200, 50)])
    lift: Lift = make_lift(hazards=(replace(ROAD, geometry=line),))
    middles = {
        item.side: (item.from_m + item.to_m) / 2 for item in under(lift, lay_out(lift))
    }
    # It crosses the ascending rope (3 m right) at 153 m, the other at 147 m.
    assert middles[Side.ASCENDING] == pytest.approx(153, abs=0.2)
    assert middles[Side.DESCENDING] == pytest.approx(147, abs=0.2)
