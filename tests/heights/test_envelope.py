"""The envelope holds what may happen, and says what it does not know."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import along, make_lift, make_terrain
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_lines import five_lines, line_of

from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights
from evac.facts.lift import Lift, LoadCase, Side
from evac.heights.envelope import find_heights
from evac.heights.load_cases import ALL_EMPTY, DEFAULT_CASES, load_cases
from evac.heights.passes import stop_positions_m
from evac.heights.stop import stop_heights
from evac.line import lay_out
from evac.words import Words


@cache
def five_heights() -> dict[str, tuple[Lift, Heights, tuple[Finding, ...]]]:
    return {
        name: (lift, *find_heights(lift, lay_out(lift)))
        for name, lift in five_lines().items()
    }


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(sorted(five_lines())),
    share=st.floats(0, 1),
    case=st.sampled_from((*DEFAULT_CASES, ALL_EMPTY)),
    side=st.sampled_from(list(Side)),
)
def test_every_single_stop_lies_within_the_envelope(
    name: str, share: float, case: LoadCase, side: Side
) -> None:
    lift, heights, _ = five_heights()[name]
    found = stop_heights(
        lift,
        heights.line,
        side=side,
        stop_offset_m=share * lift.carriers.spacing_m,
        load_case=case,
    ).carriers
    envelope = heights.envelopes[side]
    place = np.rint(found.distance_m).astype(int)
    known = found.known & envelope.known[place]
    rope = found.rope_height_m[known]
    # A stop between two tried ones (0.25 m) and a bin of 1 m: the ground's slope
    # within 0.125 m, here up to 45 degrees, and the rope's.
    assert (rope <= envelope.rope_greatest_m[place][known] + 0.1).all()
    assert (rope >= envelope.rope_least_m[place][known] - 0.1).all()


@pytest.mark.parametrize("name", sorted(five_lines()))
def test_units_hold_their_span_of_the_envelope_with_its_margin(name: str) -> None:
    lift, heights, _ = five_heights()[name]
    assert [(u.side, u.span_index) for u in heights.units] == [
        (side, span.index) for side in Side for span in heights.line.spans
    ]
    for unit in heights.units:
        span = heights.line.spans[unit.span_index]
        envelope = heights.envelopes[unit.side]
        inside = (envelope.distance_m >= span.start_m) & (
            envelope.distance_m <= span.end_m
        )
        if not unit.known:
            assert unit.reason
            continue
        with_margin = (envelope.rope_greatest_m + envelope.margin_m)[inside]
        assert unit.rope_greatest_m + unit.margin_m >= with_margin.max() - 1e-9
        assert unit.rope_greatest_m >= envelope.rope_greatest_m[inside].max() - 1e-9
        assert unit.rope_least_m <= envelope.rope_least_m[inside].min() + 1e-9
        assert unit.stance_greatest_m >= unit.rope_greatest_m - 1e-9
        assert unit.seat_greatest_m == pytest.approx(
            unit.rope_greatest_m - lift.carriers.rope_to_seat_m
        )
        assert span.start_m - 1 <= unit.greatest_at_m <= span.end_m + 1


@pytest.mark.parametrize("name", sorted(five_lines()))
def test_no_state_is_taken_with_a_residual(name: str) -> None:
    lift, heights, _ = five_heights()[name]
    assert heights.greatest_residual_n < 1e-6 * lift.tension.force_n
    assert heights.states_solved > 1000


@pytest.mark.parametrize("name", sorted(five_lines()))
def test_nobody_is_lost_on_the_stop_grid(name: str) -> None:
    _, heights, _ = five_heights()[name]
    grid = heights.stops
    for side in Side:
        placed = ~np.isnan(grid.distance_m[side])
        assert (placed == (grid.span_index[side] >= 0)).all()
        for unit in heights.units:
            if unit.side is side:
                here = (grid.span_index[side] == unit.span_index).sum(axis=1)
                assert here.max() <= unit.carriers_most
    assert 12 <= grid.offset_m.size <= 24


def test_stop_positions_are_a_quarter_metre_apart_over_one_spacing() -> None:
    positions = stop_positions_m(12.3)
    assert positions[0] == 0
    assert np.diff(positions).max() <= 0.25
    assert 12.3 - positions[-1] <= 0.25


def test_a_mirrored_side_has_the_other_sides_envelope() -> None:
    # With the same ground and both sides equally loaded nothing tells them apart.
    lift = make_lift(
        load_cases=(LoadCase(name="full", ascending_share=1.0, descending_share=1.0),)
    )
    table = lift.ground_table
    assert table is not None
    lift = replace(lift, ground_table=replace(table, descending_m=table.ascending_m))
    heights, _ = find_heights(lift, lay_out(lift))
    up, down = (heights.envelopes[side] for side in Side)
    assert up.rope_greatest_m == pytest.approx(down.rope_greatest_m, abs=1e-9)
    assert up.rope_least_m == pytest.approx(down.rope_least_m, abs=1e-9)


def void_lift() -> Lift:
    lift = make_lift(terrain=make_terrain(), ground_table=None)
    assert lift.terrain is not None
    values = lift.terrain.elevation_m.copy()
    x_m, y_m = along(170.0)
    row = round((y_m - lift.terrain.south_m) / lift.terrain.cell_m)
    column = round((x_m - lift.terrain.west_m) / lift.terrain.cell_m)
    values[row, column] = np.nan
    return replace(lift, terrain=replace(lift.terrain, elevation_m=values))


def doubtful_lift() -> Lift:
    lift = make_lift()
    supports = list(lift.supports)
    supports[2] = replace(supports[2], doubtful=True)
    return replace(lift, supports=tuple(supports))


def hill_lift(rise_m: float) -> Lift:
    lift = make_lift()
    table = lift.ground_table
    assert table is not None
    hill = table.ascending_m + rise_m * (np.abs(table.distance_m - 170) < 20)
    return replace(lift, ground_table=replace(table, ascending_m=hill))


@pytest.mark.parametrize(
    ("lift", "unknown", "reason"),
    [
        (void_lift(), {("ascending", 1), ("descending", 1)}, "void"),
        (
            doubtful_lift(),
            {(side, k) for side in ("ascending", "descending") for k in (1, 2)},
            "doubtful",
        ),
        (hill_lift(8.5), {("ascending", 1)}, "seat_in_ground"),
        (hill_lift(13.0), {("ascending", 1)}, "rope_in_ground"),
    ],
)
def test_a_height_that_is_not_known_is_not_planned_and_told(
    lift: Lift, unknown: set[tuple[str, int]], reason: str
) -> None:
    heights, findings = find_heights(lift, lay_out(lift))
    told = [unit for unit in heights.units if not unit.known]
    assert {(unit.side.value, unit.span_index) for unit in told} == unknown
    for unit in told:
        assert unit.reason == reason
        assert np.isnan(unit.rope_greatest_m)
        assert Words().has(f"unknown.{reason}")
    stops = [f for f in findings if f.key == f"heights.unknown_{reason}"]
    assert len(stops) == len(unknown)
    assert all(finding.severity is Severity.STOP for finding in stops)


def test_a_rope_that_leaves_its_rollers_is_named() -> None:
    # A support in a hollow that only the full line presses on.
    lift = line_of(
        make_lift(),
        [
            (0, 6, "station"),
            (120, 36, "support"),
            (240, 58, "support"),
            (360, 100, "support"),
            (480, 130, "station"),
        ],
    )
    heights, findings = find_heights(lift, lay_out(lift))
    lifted = [report for report in heights.supports if report.lifted]
    assert {report.support_id for report in lifted} == {"2"}
    assert {f.where for f in findings if f.key == "heights.lifted"} == {
        "2 ascending",
        "2 descending",
    }


def test_reports_name_loads_tensions_and_the_safety_factor() -> None:
    lift, heights, _ = five_heights()["gully, drive below"]
    assert len(heights.supports) == 2 * (len(lift.supports) - 2)
    assert len(heights.spans) == 2 * len(heights.line.spans)
    for report in heights.supports:
        assert report.least_load_n <= report.greatest_load_n
        assert report.worst_load_name
    breaking_n = lift.rope.breaking_force_n
    assert breaking_n is not None
    for span in heights.spans:
        assert span.least_tension_n < span.greatest_tension_n
        assert span.safety_factor == pytest.approx(breaking_n / span.greatest_tension_n)
    # By hand: the rope pulls hardest at its upper end, where half the force is held.
    assert max(s.greatest_tension_n for s in heights.spans) == pytest.approx(180_000)


def test_the_drive_holds_the_difference_of_full_and_empty_side() -> None:
    lift, heights, _ = five_heights()["gully, drive below"]
    # Difference and ratio part where the tension system pulls least.
    least = replace(
        lift, tension=replace(lift.tension, force_n=lift.tension.low_force_n)
    )
    at_drive = [
        stop_heights(
            least, heights.line, side=side, stop_offset_m=0.0, load_case=case
        ).loads.tension_n[0]
        for side, case in (
            (Side.ASCENDING, DEFAULT_CASES[0]),
            (Side.DESCENDING, ALL_EMPTY),
        )
    ]
    # The full ascending side hangs on the upper end and leaves less below.
    assert heights.drive_ratio == pytest.approx(max(at_drive) / min(at_drive))
    assert 1.0 < heights.drive_ratio < 1.2


def test_default_load_cases_are_those_of_the_trade() -> None:
    # Rule 10: lower half, upper half, both full, descending only, gaps; one alone is
    # always in the set.
    assert load_cases(make_lift()) == DEFAULT_CASES
    names = [case.name for case in DEFAULT_CASES]
    assert names == [
        "ascending side full",
        "both sides full",
        "lower half full",
        "upper half full",
        "descending side full",
        "groups of six with gaps of six",
    ]


@pytest.mark.parametrize("name", sorted(five_lines()))
def test_every_finding_has_its_sentences(name: str) -> None:
    _, _, findings = five_heights()[name]
    for finding in findings:
        assert all(Words().finding(finding))


def test_unit_heights_say_what_their_margin_is_made_of() -> None:
    # Root of the sum of squares for all but the height step, the order of work and what
    # the place lies lower, which are added in full (JCGM 100:2008, 5.1.2, for
    # independent parts).
    for _, heights, _ in five_heights().values():
        for unit in heights.units:
            if not unit.known:
                assert not unit.margin_parts_m
                continue
            parts = dict(unit.margin_parts_m)
            in_full = sum(
                parts.pop(name) for name in ("height step", "order of work", "place")
            )
            whole = np.sqrt(sum(part**2 for part in parts.values())) + in_full
            assert unit.margin_m == pytest.approx(whole, abs=1e-9)
            assert unit.margin_parts_m["place"] <= 0
            assert {"tension", "modulus", "friction", "survey", "ground"} <= set(parts)
