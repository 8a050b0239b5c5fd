"""Beside a support whose rollers the rope leaves nobody works on the rope (rule 9)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import LOOP, ON_ROPE, make_lift

from evac.assignment.costs import make_columns
from evac.facts.heights import Heights
from evac.facts.lift import Lift, Side
from evac.facts.work import NEVER_S
from evac.gear import find_reaches, options
from evac.gear.reach import ON_THE_ROPE
from evac.heights.envelope import find_heights
from evac.heights.follow import LASTING, follow
from evac.line import lay_out
from evac.ready import make_ready, settle
from evac.timing import cross_seconds
from evac.words import Words

DAY = dt.date(2026, 1, 20)


@cache
def dip() -> tuple[Lift, Heights]:
    """Support 2 is so low that the rope rests on it only under the full line."""
    lift = make_lift(limits=())
    supports = tuple(
        replace(support, rope_height_m=6.6) if support.id == "2" else support
        for support in lift.supports
    )
    # The rope is steep there; whether it is too steep to work on is not asked here.
    techniques = tuple(replace(t, most_rope_slope_deg=60.0) for t in lift.techniques)
    lift = replace(lift, supports=supports, techniques=techniques)
    return lift, find_heights(lift, lay_out(lift))[0]


@pytest.mark.parametrize(
    "kind", [ON_ROPE, "climb from the support", "from within a cabin"]
)
def test_who_climbs_onto_the_rope_does_not_reach_the_spans_beside_it(kind: str) -> None:
    lift, heights = dip()
    assert {report.support_id for report in heights.supports if report.lifted} == {"2"}
    techniques = tuple(
        replace(item, kind=kind) if item.id == ON_ROPE else item
        for item in lift.techniques
    )
    lift = replace(lift, techniques=techniques)
    found = options(lift)
    technique = {option.index: option.technique for option in found}
    beside = {
        (technique[reach.option_index], reach.span_index, reach.limit)
        for reach in find_reaches(lift, found, heights.units)
        if technique[reach.option_index] in (LOOP, ON_ROPE)
    }
    assert {
        span for name, span, limit in beside if name == ON_ROPE and limit == "lifted"
    } == {1, 2}
    # From the ground a loop is thrown there as anywhere.
    assert "lifted" not in {limit for name, _, limit in beside if name == LOOP}


def test_one_side_that_lifts_closes_the_rollers_as_a_doubtful_support_does() -> None:
    lift, heights = dip()
    option = next(o for o in options(lift) if o.technique == ON_ROPE)
    doubtful = tuple(replace(s, doubtful=s.id == "2") for s in lift.supports)
    resting = replace(
        heights,
        supports=tuple(replace(report, lifted=False) for report in heights.supports),
    )
    over_s = cross_seconds(lift, resting, option, support_index=2).likely
    down_and_up_s = cross_seconds(
        replace(lift, supports=doubtful), resting, option, support_index=2
    ).likely
    assert down_and_up_s != over_s
    for side in Side:
        reports = tuple(
            replace(report, lifted=report.lifted and report.side is side)
            for report in heights.supports
        )
        lifted = replace(heights, supports=reports)
        found_s = cross_seconds(lift, lifted, option, support_index=2).likely
        assert found_s == down_and_up_s


def test_no_climb_begins_at_it() -> None:
    lift, heights = dip()
    work = make_ready(lift, heights, date=DAY).work
    columns = make_columns(work)
    high = (work.start_upper == work.upper_is_last)[work.option_team]
    kinds = {item.id: item.kind for item in lift.techniques}
    starts: dict[bool, set[int]] = {True: set(), False: set()}
    for row, option in enumerate(work.options):
        climbs = kinds[option.technique] in ON_THE_ROPE
        for _, first, last in np.argwhere(columns.finish_s[row] < NEVER_S):
            starts[climbs].add(int(last + 1 if high[row] else first))
    assert 2 not in starts[True]
    assert 2 in starts[False]


def test_a_support_that_only_the_chosen_order_lifts_is_closed_as_well() -> None:
    # The heights of the line with the low support, as if no state had lifted it.
    lift, heights = dip()
    unaware = replace(
        heights,
        supports=tuple(replace(report, lifted=False) for report in heights.supports),
        units=tuple(replace(unit, beside_lifted=False) for unit in heights.units),
    )
    settled = settle(lift, unaware, date=DAY)
    told = [item for item in settled.findings if item.key == "heights.lifted_in_order"]
    assert {str(item.values["support"]) for item in told} == {"2"}
    assert set(LASTING) >= {item.key for item in told}
    for unit in settled.heights.units:
        assert unit.beside_lifted == (unit.span_index in (1, 2))
    assert follow(lift, settled.heights, settled.schedule).raised is None
    assert "leaves its rollers" in Words().finding(told[0])[0]
