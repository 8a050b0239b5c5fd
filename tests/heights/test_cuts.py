"""Spans cut at named places: the rope does not notice, the sharing never loses."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from builders import make_lift
from invented_lines import line_of

from evac.assignment import assign
from evac.assignment.costs import BOTH, make_columns
from evac.documents.bundle import document_files
from evac.facts.heights import Heights, UnitHeights
from evac.facts.lift import Lift, Side
from evac.facts.plan import Plan
from evac.facts.work import NEVER_S
from evac.gear.reach import ON_THE_ROPE
from evac.heights.cuts import cut, marks_m, uncut
from evac.heights.envelope import find_heights
from evac.heights.follow import _raised
from evac.heights.side_model import span_of
from evac.heights.stop import stop_heights
from evac.heights.unloading import unload
from evac.line import lay_out, line_length_m
from evac.maps import map_html
from evac.plan import make_plan
from evac.ready import make_ready, worth_cutting
from evac.words import Words

DAY = dt.date(2026, 1, 20)
CUTS_M = (170.0, 530.0)


@cache
def whole() -> tuple[Lift, Heights]:
    lift = make_lift(limits=())
    return lift, find_heights(lift, lay_out(lift))[0]


@cache
def halved() -> tuple[Lift, Heights]:
    lift, heights = whole()
    return cut(lift, heights, cuts_m=CUTS_M)


def test_taking_the_marks_out_gives_the_lift_and_the_line_back() -> None:
    lift, heights = halved()
    assert marks_m(lift) == CUTS_M
    bare_lift, bare = uncut(lift, heights.line)
    assert bare_lift == whole()[0]
    line = whole()[1].line
    assert bare.spans == line.spans
    assert bare.supports == line.supports
    np.testing.assert_array_equal(bare.distance_m, line.distance_m)
    np.testing.assert_array_equal(bare.rope_elevation_m, line.rope_elevation_m)
    assert line_length_m(lift) == line_length_m(whole()[0])


@pytest.mark.parametrize("side", list(Side))
def test_the_rope_hangs_as_before(side: Side) -> None:
    lift, heights = halved()
    plain_lift, plain = whole()
    case = plain.load_cases[0]
    one, other = (
        stop_heights(*both, side=side, stop_offset_m=7.0, load_case=case)
        for both in ((lift, heights.line), (plain_lift, plain.line))
    )
    np.testing.assert_array_equal(one.rope_elevation_m, other.rope_elevation_m)
    np.testing.assert_array_equal(
        one.carriers.rope_height_m, other.carriers.rope_height_m
    )
    # Every carrier lies between the ends of the span that it is said to be in.
    for index, at_m in zip(
        one.carriers.span_index, one.carriers.distance_m, strict=True
    ):
        span = heights.line.spans[index]
        assert span.start_m - 1e-3 <= at_m <= span.end_m + 1e-3
    stands = [not support.mark for support in lift.supports]
    np.testing.assert_array_equal(one.loads.load_n[stands], other.loads.load_n)
    assert np.isnan(one.loads.load_n[np.logical_not(stands)]).all()
    assert one.span_horizontal_tension_n.size == len(heights.line.spans)


def test_heights_found_for_a_cut_lift_are_those_that_were_cut() -> None:
    lift, heights = halved()
    again, _ = find_heights(lift, heights.line)
    assert again.units == heights.units
    assert again.line.spans == heights.line.spans
    for side in Side:
        np.testing.assert_array_equal(
            again.stops.span_index[side], heights.stops.span_index[side]
        )


def test_the_halves_of_a_unit_are_no_higher_than_the_whole_and_one_is_as_high() -> None:
    spans = halved()[1].line.spans
    for unit in whole()[1].units:
        parts = [
            part
            for part in halved()[1].units
            if part.side is unit.side
            and spans[part.span_index].id.rstrip("ab") == unit.span_id
        ]
        highest_m = max(part.rope_greatest_m for part in parts)
        # The envelope is sampled every metre; a half holds one sample beyond its end.
        assert highest_m == pytest.approx(unit.rope_greatest_m, abs=0.3)


@cache
def long_line() -> tuple[Lift, Heights]:
    """2.9 km with 600 m of rise, held at the lower end: carriers drift by metres."""
    at_m = np.linspace(0.0, 2900.0, 15)
    share = at_m / 2900.0
    rope_m = 50.0 + 600.0 * share + 160.0 * share * (1 - share)
    rows = [(float(x), float(z), "support") for x, z in zip(at_m, rope_m, strict=True)]
    rows[0], rows[-1] = ((*row[:2], "station") for row in (rows[0], rows[-1]))
    lift = make_lift(limits=())
    lift = replace(
        line_of(lift, rows, heights_m=30.0),
        drive_at_last=True,
        carriers=replace(lift.carriers, spacing_m=23.0),
        tension=replace(
            lift.tension,
            force_n=300_000.0,
            low_force_n=285_000.0,
            high_force_n=315_000.0,
        ),
    )
    return lift, find_heights(lift, lay_out(lift))[0]


@pytest.mark.parametrize(("made", "least_m"), [(whole, 0.2), (long_line, 4.0)])
def test_a_half_holds_what_a_carrier_that_drifts_across_its_cut_meets(
    made: Callable[[], tuple[Lift, Heights]], least_m: float
) -> None:
    lift, heights = made()
    stop = {"stop_offset_m": 5.0, "load_case": heights.load_cases[0]}
    at_stop = unload(lift, heights.line, order=(), **stop).sides
    order = [(s, k) for s in Side for k in range(at_stop[s].distance_m.size)]
    most_m = 0.0
    for side, found in unload(lift, heights.line, order=order, **stop).sides.items():
        envelope = heights.envelopes[side]
        away_m = np.abs(found.distance_m[:, None] - heights.line.distance_m).min(axis=1)
        # The three that drift farthest of those in the middle of a span.
        far_m = np.where(away_m > 25.0, np.abs(found.drift_m), 0.0)
        for carrier in np.argsort(far_m)[-3:]:
            stood_m, drift_m = found.distance_m[carrier], found.drift_m[carrier]
            cut_m = float(stood_m + np.sign(drift_m) * 0.1)
            halves = cut(lift, heights, cuts_m=(cut_m,))[1]
            index = int(span_of(halves.line, np.array([stood_m]))[0])
            (half,) = (
                unit
                for unit in halves.units
                if unit.side is side and unit.span_index == index
            )
            went = envelope.distance_m >= found.least_distance_m[carrier] - 0.5
            went &= envelope.distance_m <= found.greatest_distance_m[carrier] + 0.5
            assert half.rope_greatest_m >= envelope.rope_greatest_m[went].max()
            assert half.stance_greatest_m >= envelope.stance_greatest_m[went].max()
            assert half.rope_least_m <= envelope.rope_least_m[went].min()
            most_m = max(most_m, float(abs(drift_m)))
    assert most_m > least_m


def test_a_cut_beside_a_support_holds_no_heights_of_the_next_span() -> None:
    lift, heights = whole()
    for before, after in pairwise(lift.supports):
        for at_m in (before.distance_m + 1.0, after.distance_m - 1.0):
            halves = cut(lift, heights, cuts_m=(at_m,))[1]
            for unit in heights.units:
                parts = [
                    part
                    for part in halves.units
                    if part.side is unit.side
                    and part.span_id in (unit.span_id + "a", unit.span_id + "b")
                ]
                for part in parts:
                    assert part.rope_greatest_m <= unit.rope_greatest_m
                    assert part.rope_least_m >= unit.rope_least_m


def test_a_half_may_hold_one_carrier_more_than_the_grid_of_stops_shows() -> None:
    # The grid knows sixteen stops of one load; a carrier that the others bring in is
    # one more to lower.
    heights = halved()[1]
    most = {(unit.side, unit.span_id): unit.carriers_most for unit in whole()[1].units}
    seen = 0
    for unit in heights.units:
        if unit.span_id[-1] not in "ab":
            continue
        placed = heights.stops.span_index[unit.side] == unit.span_index
        counted = int(placed.sum(axis=1).max())
        whole_most = most[unit.side, unit.span_id.rstrip("ab")]
        assert unit.carriers_most == min(counted + 1, whole_most)
        seen += unit.carriers_most > counted
    assert seen > 0


@pytest.mark.parametrize("up_m", [0.0, 0.4])
def test_raising_the_envelope_never_lowers_a_half(up_m: float) -> None:
    lift, heights = halved()
    excess = {
        side: (
            np.full(envelope.distance_m.size, up_m),
            np.zeros(envelope.distance_m.size),
        )
        for side, envelope in heights.envelopes.items()
    }
    # A half at whose cut the carrier of another stop hangs higher than any sample.
    lower = replace(
        heights,
        units=tuple(
            replace(
                unit,
                rope_greatest_m=unit.rope_greatest_m + 0.2,
                stance_greatest_m=unit.stance_greatest_m + 0.2,
                rope_least_m=unit.rope_least_m - 0.2,
            )
            for unit in heights.units
        ),
    )
    for before, after in zip(
        _by_name(lower), _by_name(_raised(lift, lower, excess)), strict=True
    ):
        assert after.span_id == before.span_id
        assert after.rope_greatest_m >= before.rope_greatest_m
        assert after.stance_greatest_m >= before.stance_greatest_m
        assert after.rope_least_m <= before.rope_least_m
        assert after.seat_greatest_m >= before.seat_greatest_m
        assert after.seat_least_m <= before.seat_least_m
    for before, after in zip(
        _by_name(heights), _by_name(_raised(lift, heights, excess)), strict=True
    ):
        assert after.rope_greatest_m == pytest.approx(before.rope_greatest_m + up_m)
        assert after.stance_greatest_m == pytest.approx(before.stance_greatest_m + up_m)


def _by_name(heights: Heights) -> list[UnitHeights]:
    return sorted(heights.units, key=lambda unit: (unit.side.value, unit.span_index))


def test_cuts_that_are_kept_never_make_the_sharing_worse() -> None:
    lift, heights = whole()
    # Descenders that would wear out weigh more than time: here none does.
    lift = replace(
        lift, kits=tuple(replace(kit, descent_energy_j=None) for kit in lift.kits)
    )
    base = assign(make_ready(lift, heights, date=DAY).work).objectives[:2]
    for at_m in (60.0, 170.0, 287.0, 400.0, 530.0):
        named = replace(lift, cuts_m=(at_m,))
        kept = worth_cutting(named, heights, date=DAY)
        work = make_ready(*cut(named, heights, cuts_m=kept), date=DAY).work
        found = assign(work).objectives[:2]
        assert found < base if kept else found == base


def test_who_must_climb_begins_at_a_support_and_passes_a_mark_along_the_rope() -> None:
    lift, heights = halved()
    work = make_ready(lift, heights, date=DAY).work
    columns = make_columns(work)
    marks = [n for n, support in enumerate(lift.supports) if support.mark]
    high = (work.start_upper == work.upper_is_last)[work.option_team]
    kinds = {item.id: item.kind for item in lift.techniques}
    seen = {True: 0, False: 0}
    for row, option in enumerate(work.options):
        climbs = kinds[option.technique] in ON_THE_ROPE
        for kind, first, last in np.argwhere(columns.finish_s[row] < NEVER_S):
            start = last + 1 if high[row] else first
            inside = [mark for mark in marks if first < mark <= last]
            seen[climbs] += start in marks
            if not climbs:
                continue
            # 60 m of air below the rope: nobody gets up there, on no side.
            assert start not in marks
            assert not (kind == BOTH and inside)
            for mark in inside:
                behind = mark if high[row] else mark - 1
                assert work.valid[row, kind, behind]
    assert seen[True] == 0
    assert seen[False] > 0


@cache
def planned() -> Plan:
    # One cut after the other until the plan uses one.
    for at_m in range(20, 590, 15):
        lift = make_lift(limits=(), cuts_m=(float(at_m),))
        if min(abs(support.distance_m - at_m) for support in lift.supports) < 10:
            continue
        if worth_cutting(lift, whole()[1], date=DAY):
            return make_plan(lift, date=DAY)
    message = "no cut is worth making on this line"
    raise AssertionError(message)


def test_a_plan_with_a_cut_clears_every_carrier_once_and_prints() -> None:
    plan = planned()
    stops = plan.heights.stops
    on_line = sum(int((stops.span_index[side][0] >= 0).sum()) for side in Side)
    places = {(item.side, item.distance_m) for item in plan.schedule.rescues}
    assert len(plan.schedule.rescues) == len(places) == on_line
    for rescue in plan.schedule.rescues:
        span = plan.heights.line.spans[rescue.span_index]
        assert span.start_m - 1e-3 <= rescue.distance_m <= span.end_m + 1e-3
    assert "plan.cuts_made" in {item.key for item in plan.findings}
    assert "plan.pdf" in document_files(plan, Words())
    assert b"mark" in map_html(plan, Words())


def test_a_cut_that_does_not_help_is_left_out_and_said() -> None:
    # One team alone has nobody to share a span with.
    lift = make_lift(limits=(), cuts_m=(170.0,))
    plan = make_plan(replace(lift, teams=lift.teams[:1]), date=DAY)
    assert marks_m(plan.lift) == ()
    finding = next(item for item in plan.findings if item.key == "plan.cuts_idle")
    assert "170 m" in Words().finding(finding)[0]
