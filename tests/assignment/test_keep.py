"""Zones as they are: the same spans with the same kit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from steady_plan import steady_plan

from evac.assignment import assign
from evac.assignment.keep import own_zones_only
from evac.facts.work import Work, Zone


def _who_does_what(zone: Zone) -> tuple[object, ...]:
    option = zone.option
    return (
        *(option.team, option.technique, option.kit),
        *(zone.first_span, zone.last_span, zone.sides),
    )


def test_a_team_keeps_its_kit_though_another_would_be_quicker() -> None:
    plan = steady_plan()
    # Free to choose, it would change: only so does this test tell anything.
    quicker = assign(plan.work)
    assert quicker.objectives[1] < plan.assignment.objectives[1]
    kept = assign(own_zones_only(plan.work, plan.assignment.zones, planned=plan.work))
    assert kept.zones == plan.assignment.zones
    assert kept.objectives == plan.assignment.objectives


def test_a_zone_finds_its_kit_where_the_options_stand_in_another_order() -> None:
    plan = steady_plan()
    turned = _turned(plan.work)
    kept = assign(own_zones_only(turned, plan.assignment.zones, planned=plan.work))
    assert [_who_does_what(zone) for zone in kept.zones] == [
        _who_does_what(zone) for zone in plan.assignment.zones
    ]


def test_where_its_kit_is_gone_a_team_takes_nothing() -> None:
    plan = steady_plan()
    zones = plan.assignment.zones
    used = {(zone.team, zone.option.kit) for zone in zones}
    gone = np.array([(o.team, o.kit) not in used for o in plan.work.options])
    left = replace(plan.work, valid=plan.work.valid & gone[:, None, None])
    assert left.valid.any()
    assert not own_zones_only(left, zones, planned=plan.work).valid.any()


def _turned(work: Work) -> Work:
    """The same work with its options in the opposite order."""
    options = tuple(
        replace(option, index=index) for index, option in enumerate(work.options[::-1])
    )
    return replace(
        work,
        options=options,
        option_team=work.option_team[::-1],
        valid=work.valid[::-1],
        work_s=work.work_s[::-1],
        cross_s=work.cross_s[::-1],
        spared_s=None if work.spared_s is None else work.spared_s[::-1],
        side_change_s=work.side_change_s[::-1],
        walk_back_s=work.walk_back_s[::-1],
        no_start=None if work.no_start is None else work.no_start[::-1],
    )
