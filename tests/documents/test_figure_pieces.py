"""Pieces of the drawings keep their promises for any input."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_plan import make_long_lift, make_plan
from shapely.geometry import LineString, Point

from evac.figures import (
    clearing_times,
    line_section,
    svg_bytes,
    timeline,
    zone_map,
    zone_section,
)
from evac.figures.below import Stretch, packed_rows, stretches
from evac.figures.canvas import spread, text_width_mm
from evac.figures.hazard_bars import lay_hazards
from evac.hazards import find_gates
from evac.words import Words

PLACES = st.lists(st.floats(0, 100, allow_nan=False), min_size=1, max_size=30)


@given(places=PLACES, gap=st.floats(0.1, 10))
def test_spread_labels_keep_their_gap_and_order(
    places: list[float], gap: float
) -> None:
    laid = spread(sorted(places), gap=gap, low=0.0, high=100.0)
    assert laid.size == len(places)
    least = min(gap, 100.0 / max(len(places) - 1, 1))
    assert np.all(np.diff(laid) >= least - 1e-9)
    assert laid[0] >= -1e-9
    assert laid[-1] <= 100.0 + 1e-9


@given(places=PLACES, gap=st.floats(0.1, 2))
def test_labels_that_have_room_do_not_move(places: list[float], gap: float) -> None:
    kept = sorted(places)
    if len(kept) > 1 and min(np.diff(kept)) < gap:
        return
    laid = spread(kept, gap=gap, low=0.0, high=100.0)
    assert laid == pytest.approx(kept)


@given(
    runs=st.lists(
        st.tuples(st.floats(0, 50), st.floats(0.1, 20)).map(lambda r: (r[0], sum(r))),
        max_size=20,
    )
)
def test_runs_in_one_row_do_not_touch(runs: list[tuple[float, float]]) -> None:
    ordered = sorted(runs)
    rows = packed_rows(ordered)
    for row in set(rows):
        mine = [run for run, its in zip(ordered, rows, strict=True) if its == row]
        for before, after in pairwise(mine):
            assert before[1] < after[0]


def test_hazards_lie_where_the_geometry_crosses_the_line() -> None:
    # By another way: distance of the hazard to points laid along the line by hand.
    plan = make_plan()
    lift, line = plan.lift, plan.heights.line
    first, last = lift.supports[0], lift.supports[-1]
    axis = LineString([(first.x_m, first.y_m), (last.x_m, last.y_m)])
    found = {item.hazard.id: item for item in stretches(lift, line)}
    for hazard in lift.hazards:
        near = [
            distance
            for distance in range(1601)
            if hazard.geometry.distance(Point(axis.interpolate(distance))) <= 10.0
        ]
        # The sides run 3 m beside the axis, so ends differ by a few metres.
        assert found[hazard.id].start_m == pytest.approx(min(near), abs=5)
        assert found[hazard.id].end_m == pytest.approx(max(near), abs=5)


def test_what_shuts_a_span_is_drawn_below_it() -> None:
    # Work goes on as far beside the rope as a belayer may stand: a hazard there has a
    # gate, and must stand in the drawing too.
    plan = make_plan()
    lift, line = plan.lift, plan.heights.line
    first, last = lift.supports[0], lift.supports[-1]
    axis = LineString([(first.x_m, first.y_m), (last.x_m, last.y_m)])
    beside = axis.parallel_offset(23.0, "left").interpolate(0.5, normalized=True)
    hazard = replace(lift.hazards[0], id="beside", geometry=beside.buffer(0.5))
    wide = tuple(replace(t, belayer_radius_m=25.0) for t in lift.techniques)
    lift = replace(lift, hazards=(hazard,), techniques=wide)
    assert any(gate.hazard_ids for gate in find_gates(lift, line))
    assert [item.hazard.id for item in stretches(lift, line)] == ["beside"]


def all_figures() -> list[bytes]:
    plan, words = make_plan(), Words()
    zone = plan.assignment.zones[1]
    return [
        svg_bytes(line_section(plan, words=words)),
        svg_bytes(zone_section(plan, [zone], words=words)),
        svg_bytes(zone_map(plan, [zone], route=None, words=words)),
        svg_bytes(clearing_times(plan, words=words)),
        svg_bytes(timeline(plan, words=words)),
    ]


def test_the_users_own_settings_of_the_drawing_library_change_nothing() -> None:
    usual = all_figures()
    with mpl.rc_context(
        {
            "font.size": 20,
            "lines.linewidth": 9,
            "svg.fonttype": "path",
            "axes.grid": True,
        }
    ):
        assert all_figures() == usual


def test_a_map_without_terrain_says_so() -> None:
    plan = make_plan()
    bare = replace(plan, lift=replace(plan.lift, terrain=None))
    svg = svg_bytes(
        zone_map(bare, [bare.assignment.zones[0]], route=None, words=Words())
    )
    assert b"No terrain grid" in svg


@given(
    start_mm=st.floats(0, 180),
    length_mm=st.floats(1.5, 182),
    name=st.text(alphabet="abcdefgh ", min_size=1, max_size=40),
)
def test_a_hazards_name_stays_inside_the_drawing(
    start_mm: float, length_mm: float, name: str
) -> None:
    # Scale 1 mm a metre; the drawing is 182 mm wide, as on a team sheet.
    hazard = replace(make_long_lift().hazards[0], name=name)
    stretch = Stretch(hazard=hazard, start_m=start_mm, end_m=start_mm + length_mm)
    (bar,) = lay_hazards(
        [stretch], words=Words(), low_m=0.0, high_m=182.0, mm_per_m=1.0
    )
    wide_mm = text_width_mm(bar.text)
    left_mm = {"left": 0.0, "right": wide_mm, "center": wide_mm / 2}[bar.place]
    assert bar.text_mm - left_mm >= -1e-9
    assert bar.text_mm - left_mm + wide_mm <= 182.0 + 1e-9
