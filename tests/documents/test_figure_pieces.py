"""Pieces of the drawings keep their promises for any input."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import matplotlib as mpl
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_plan import make_long_lift, make_plan
from shapely.geometry import LineString, Point, box

from evac.facts.plan import Plan
from evac.figures import (
    clearing_times,
    line_section,
    svg_bytes,
    timeline,
    zone_map,
    zone_section,
)
from evac.figures.below import Stretch, packed_rows, stretches
from evac.figures.canvas import axes_mm, drawing, new_figure, spread, text_width_mm
from evac.figures.hazard_bars import ROW_MM, draw_hazards, hazard_text, lay_hazards
from evac.figures.map_labels import View, write_scale_and_north
from evac.figures.reach import reach_lines
from evac.figures.zone_layout import lay_zone
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
    start_mm=st.floats(0, 182),
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
    assert bar.start_mm >= 0.0
    # Wide enough to be seen, and not cut at the edge.
    assert bar.start_mm + 1.5 <= bar.end_mm + 1e-9 <= 182.0 + 2e-9
    wide_mm = text_width_mm(bar.text)
    left_mm = {"left": 0.0, "right": wide_mm, "center": wide_mm / 2}[bar.place]
    assert bar.text_mm - left_mm >= -1e-9
    assert bar.text_mm - left_mm + wide_mm <= 182.0 + 1e-9


def test_a_text_on_its_own_bar_leaves_one_bar_and_not_two_patches() -> None:
    hazard = replace(make_long_lift().hazards[0], name="Long slope")
    stretch = Stretch(hazard=hazard, start_m=5.0, end_m=178.0)
    (bar,) = lay_hazards(
        [stretch], words=Words(), low_m=0.0, high_m=182.0, mm_per_m=1.0
    )
    assert bar.place == "center"
    with drawing():
        figure = new_figure(182.0, height_mm=ROW_MM)
        axes = axes_mm(figure, left=0.0, bottom=0.0, width=182.0, height=ROW_MM)
        draw_hazards(axes, [bar], width_mm=182.0)
        figure.draw_without_rendering()
    (patch,), (text,) = axes.patches, axes.texts
    paper = text.get_bbox_patch()
    assert paper is not None
    drawn, covered = patch.get_window_extent(), paper.get_window_extent()
    assert drawn.y0 < covered.y0
    assert covered.y1 < drawn.y1


@pytest.mark.parametrize("hours", [3, 5, 12])
def test_no_mark_of_a_time_axis_is_cut(hours: int) -> None:
    plan = make_plan()
    # The axis ends 1.15 times the slowest day, 1.04 times the last zone: a mark there.
    days_s = np.full(1000, hours * 3600 / 1.15 + 0.1)
    zones = tuple(
        replace(zone, finish_s=round(hours * 3600 / 1.04 + 1))
        for zone in plan.assignment.zones
    )
    plan = replace(
        plan,
        simulation=replace(
            plan.simulation,
            order_to_clear_s=days_s,
            p50_s=days_s[0],
            p90_s=days_s[0],
        ),
        assignment=replace(plan.assignment, zones=zones),
    )
    for draw in (clearing_times, timeline):
        figure = draw(plan, words=Words())
        with drawing():
            figure.draw_without_rendering()
        (axes,) = figure.axes
        low_s, high_s = axes.get_xlim()
        marks = [
            label
            for place, label in zip(
                axes.get_xticks(), axes.get_xticklabels(), strict=True
            )
            if low_s <= place <= high_s
        ]
        assert marks[-1].get_text() == f"{hours} h 00 min"
        for text in (*marks, *axes.texts):
            assert text.get_window_extent().x1 <= figure.bbox.x1


def test_a_hazard_beyond_the_last_support_of_a_zone_is_not_drawn_for_it() -> None:
    plan = make_plan()
    zone = plan.assignment.zones[1]
    end_m = plan.heights.line.spans[zone.last_span].end_m
    first, last = plan.lift.supports[0], plan.lift.supports[-1]
    axis = LineString([(first.x_m, first.y_m), (last.x_m, last.y_m)])

    def laid(at_m: float) -> int:
        # A belayer stands up to 10 m away: that much is below the line on either side.
        spot = axis.interpolate(at_m).buffer(0.5)
        hazard = replace(plan.lift.hazards[0], geometry=spot)
        lift = replace(plan.lift, hazards=(hazard,))
        layout = lay_zone(
            replace(plan, lift=lift), [zone], words=Words(), side_height_mm=40.0
        )
        assert layout.window.high_m > end_m + 1.0
        return len(layout.bars)

    assert laid(end_m - 2.0) == 1
    beyond_m = max(technique.belayer_radius_m for technique in plan.lift.techniques)
    beyond_m = max(beyond_m, 10.0) + 2.0
    assert laid(end_m + beyond_m) == 0


def map_texts(svg: bytes) -> str:
    return re.sub(r"<[^>]*>", "\n", svg.decode("utf-8"))


def test_the_map_of_a_sheet_names_hazards_and_explains_its_marks() -> None:
    plan = make_plan()
    zone = next(item for item in plan.assignment.zones if item.first_span <= 7)
    figure = zone_map(plan, [zone], route=None, words=Words(), height_mm=80.0)
    texts = map_texts(svg_bytes(figure))
    seen = [
        hazard
        for hazard in plan.lift.hazards
        if hazard_text(hazard, Words()) in texts or f"\n{hazard.kind}\n" in texts
    ]
    assert seen
    assert "Cross, M: muster point" in texts


@pytest.mark.parametrize("turn_deg", range(0, 360, 30))
def test_the_way_in_never_covers_the_name_of_the_start_support(turn_deg: int) -> None:
    plan = make_plan()
    zone = plan.assignment.zones[1]
    start = plan.lift.supports[zone.start_support]
    away = np.array([np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))])
    route = replace(
        plan.routes[0],
        support_index=zone.start_support,
        x_m=(float(start.x_m + 300 * away[0]), start.x_m),
        y_m=(float(start.y_m + 300 * away[1]), start.y_m),
    )
    figure = zone_map(plan, [zone], route=route, words=Words())
    with drawing():
        figure.draw_without_rendering()
    (axes,) = figure.axes
    (name,) = (text for text in axes.texts if text.get_text() == start.id)
    corners = axes.transData.inverted().transform(name.get_window_extent())
    west, south, east, north = corners.ravel()
    way = LineString(list(zip(route.x_m, route.y_m, strict=True)))
    assert box(west, south, east, north).distance(way) > 0


def test_drawings_show_feet_where_they_are_asked_for() -> None:
    plan, words = make_plan(), Words(feet=True)
    section = map_texts(svg_bytes(line_section(plan, words=words)))
    unit = plan.heights.units[0]
    assert words.length(unit.seat_greatest_m) in section
    zone = plan.assignment.zones[1]
    strip = map_texts(svg_bytes(zone_map(plan, [zone], route=None, words=words)))
    assert re.search(r"\d+ m \([\d,]+ ft\)\n", strip)
    assert re.search(r"contours \d+ m \(\d+ ft\) apart", strip)


def test_a_sheets_section_explains_the_mark_of_a_hold_down() -> None:
    plan = make_plan()
    zone = next(z for z in plan.assignment.zones if z.first_span <= 7 <= z.last_span)
    assert "hold-down" in map_texts(
        svg_bytes(zone_section(plan, [zone], words=Words()))
    )


def test_north_and_scale_never_lie_on_each_other() -> None:
    # One corner free: the scale takes it, north must go elsewhere, however crowded.
    crowd = [(float(x), 40.0, float(x) + 2.0, 56.0) for x in range(0, 112, 2)]
    crowd += [(float(x), 0.0, float(x) + 2.0, 16.0) for x in range(70, 112, 2)]
    view = View(
        west_m=0.0,
        south_m=0.0,
        east_m=112.0,
        north_m=56.0,
        m_per_mm=1.0,
        taken=crowd,
    )
    with drawing():
        figure = new_figure(112.0, height_mm=56.0)
        axes = axes_mm(figure, left=0.0, bottom=0.0, width=112.0, height=56.0)
        axes.set_xlim(0.0, 112.0)
        axes.set_ylim(0.0, 56.0)
        write_scale_and_north(axes, view, Words())
        figure.draw_without_rendering()
    scale, north = (text.get_window_extent() for text in axes.texts)
    (bar,) = (line.get_window_extent() for line in axes.lines)
    assert not north.overlaps(scale)
    assert not north.overlaps(bar)


def test_dashes_are_explained_only_where_some_are_drawn() -> None:
    # A 25 m rope ends within the picture; the reach of one of 2 km lies above it.
    plan = make_plan()
    zone = plan.assignment.zones[1]
    for rope_m, explained in ((25.0, True), (2000.0, False)):
        kits = tuple(replace(kit, rope_length_m=rope_m) for kit in plan.lift.kits)
        other = replace(plan, lift=replace(plan.lift, kits=kits))
        drawn = svg_bytes(zone_section(other, [zone], words=Words()))
        assert ("dashes: reach" in map_texts(drawn)) is explained
        # The pattern of the reach, 7 on and 3 off, of lines 0.9 thick.
        assert (b"stroke-dasharray: 6.3,2.7" in drawn) is explained


def counted_from_stance(*, radius_m: float) -> Plan:
    """Loops whose crew, in a radius above 0, stands 10 m below the rope's ground."""
    plan = make_plan()
    techniques = tuple(
        replace(item, belayer_radius_m=radius_m) for item in plan.lift.techniques
    )
    envelopes = {
        side: replace(item, stance_greatest_m=item.rope_greatest_m + 10.0)
        for side, item in plan.heights.envelopes.items()
    }
    return replace(
        plan,
        lift=replace(plan.lift, techniques=techniques),
        heights=replace(plan.heights, envelopes=envelopes),
    )


def test_a_zones_reach_from_the_stance_stands_beside_the_height_from_the_stance() -> (
    None
):
    plan = counted_from_stance(radius_m=10.0)
    zone = plan.assignment.zones[1]
    figure = zone_section(plan, [zone], words=Words())
    lines = [
        line
        for axes in figure.axes
        for line in axes.lines
        if line.is_dashed()
        if len(line.get_xdata()) > 20
    ]
    assert lines
    for line, side in zip(lines, reversed(zone.sides), strict=True):
        envelope = plan.heights.envelopes[side]
        expected_m = np.interp(
            line.get_xdata(),
            envelope.distance_m,
            envelope.rope_greatest_m + 10.0 + envelope.margin_m,
        )
        np.testing.assert_allclose(line.get_ydata(), expected_m)
        low_m, high_m = line.axes.get_ylim()
        assert low_m < np.nanmax(line.get_ydata()) < high_m
    assert "dots: from stance" in map_texts(svg_bytes(figure))
    straight_down = counted_from_stance(radius_m=0.0)
    drawn = svg_bytes(zone_section(straight_down, [zone], words=Words()))
    assert "dots" not in map_texts(drawn)


def test_a_rope_that_ends_just_above_its_throw_is_shown_with_the_stance() -> None:
    # A throw of 16 m suffices for ropes up to 13 m; counted from a stance 10 m lower
    # the rope of the kit, which ends at 21.1 m, does not everywhere.
    plan = counted_from_stance(radius_m=10.0)
    zone = plan.assignment.zones[0]
    (kit,) = (item for item in plan.lift.kits if item.id == zone.option.kit)
    kits = tuple(
        replace(item, throw_height_m=16.0, rope_length_m=60.0)
        if item.id == kit.id
        else item
        for item in plan.lift.kits
    )
    plan = replace(plan, lift=replace(plan.lift, kits=kits))
    (line,) = reach_lines(plan, kits=(kit.id,))
    assert not line.from_stance
    assert line.rope_height_m == 16.0
    # By hand as in the line section's test: h = (57 / 1.03 - 13) / 2 = 21.17 m.
    assert line.stance_height_m == pytest.approx(21.1)
    drawn = map_texts(svg_bytes(zone_section(plan, [zone], words=Words())))
    assert "dots: from stance; dashes: reach" in drawn


def test_no_rope_is_drawn_where_its_height_is_not_known() -> None:
    # One seat that would touch the ground makes the whole span unknown, not a sample.
    plan = make_plan()
    unknown = 4
    units = tuple(
        replace(unit, known=unit.span_index != unknown, reason="seat_in_ground")
        for unit in plan.heights.units
    )
    plan = replace(plan, heights=replace(plan.heights, units=units))
    span = plan.heights.line.spans[unknown]
    zone = replace(plan.assignment.zones[0], first_span=0, last_span=6)
    for figure, crossed in (
        (line_section(plan, words=Words()), 3),
        (zone_section(plan, [zone], words=Words()), len(zone.sides)),
    ):
        hatched = 0
        for axes in figure.axes:
            for line in axes.lines:
                x_m, y_m = (np.asarray(part, float) for part in line.get_data())
                # Ground is drawn grey; masts and leaders hold few points.
                if line.get_color() != "black" or x_m.size < 20:
                    continue
                inside = (x_m > span.start_m) & (x_m < span.end_m)
                assert not np.isfinite(y_m[inside]).any()
            for patch in axes.patches:
                if patch.get_hatch() == "xx" and patch.get_width() == pytest.approx(
                    span.end_m - span.start_m
                ):
                    assert patch.get_x() == pytest.approx(span.start_m)
                    hatched += 1
        assert hatched == crossed
