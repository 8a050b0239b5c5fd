"""Descenders against their energy class, after the zones are known."""

from __future__ import annotations

from dataclasses import replace

import pytest
from builders import ON_ROPE, make_kits, make_lift
from flat_heights import make_flat_heights

from evac.facts.finding import Finding
from evac.facts.lift import Side
from evac.facts.work import Assignment, Zone
from evac.gear import budget_doubts, options
from evac.words import Words


def told(*, people: int, used_j: float) -> tuple[Finding, ...]:
    kits = tuple(
        replace(kit, descent_energy_j=1.5e6, descent_used_j=used_j)
        if kit.technique == ON_ROPE
        else kit
        for kit in make_kits()
    )
    lift = make_lift(kits=kits)
    option = next(o for o in options(lift) if o.technique == ON_ROPE)
    zone = Zone(
        team=option.team,
        option=option,
        first_span=0,
        last_span=4,
        sides=(Side.ASCENDING,),
        start_support=5,
        arrival_s=0,
        start_s=0,
        finish_s=0,
        work_s=0,
        people=people,
    )
    assignment = Assignment(
        zones=(zone,),
        uncovered=(),
        objectives=(),
        bound_s=0,
        proven=True,
        method="",
        binding_teams=(),
        reserve_teams=(),
    )
    return budget_doubts(lift, make_flat_heights(lift, rope_m=12.5), assignment)


# 90 kg over 12 m (rope 12.5 m, descender 0.5 m below): 90 x 9.80665 x 12 = 10,591 J;
# class B (1.5 MJ, EN 341) keeps 30 % up to 99 descents and ends after 141.


def test_a_descender_with_plenty_left_is_no_doubt() -> None:
    assert told(people=99, used_j=0.0) == ()


def test_under_30_percent_left_is_a_warning() -> None:
    (finding,) = told(people=100, used_j=0.0)
    assert (finding.key, finding.severity) == ("gear.energy_low", "warn")
    assert finding.values["left_share"] == pytest.approx(1 - 100 * 10_591 / 1.5e6, 1e-3)
    assert all(Words().finding(finding))


def test_beyond_the_class_is_a_stop() -> None:
    assert told(people=141, used_j=0.0)[0].severity == "warn"
    (finding,) = told(people=142, used_j=0.0)
    assert (finding.key, finding.severity) == ("gear.energy_over", "stop")
    assert all(Words().finding(finding))


def test_what_was_used_before_counts() -> None:
    assert told(people=71, used_j=0.75e6)[0].key == "gear.energy_over"
