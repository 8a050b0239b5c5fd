"""What table and terrain say of the ground below one side, and how sure it is.

Ground of the invented lift: `builders.ground_m`, with a gully 14 m deep at 287 m.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from builders import LOOP, along, ground_m, make_lift, make_techniques, make_terrain

from evac import gear
from evac.facts.finding import Finding, Severity
from evac.facts.heights import UnitHeights
from evac.facts.lift import FloatArray, GroundTable, Lift, Side
from evac.ground import bilinear
from evac.heights.envelope import find_heights
from evac.line import COARSE_CELL_M, find_doubts, lay_out
from evac.side_ground import DENSE_ROWS_M, GAP_SHARE, stance_radius_m
from evac.words import Words

EVERY_5_M = np.arange(0.0, 601.0, 5.0)
AT_SUPPORTS = np.array([0.0, 110.0, 230.0, 345.0, 470.0, 600.0])


def table(rows_m: FloatArray, *, lower_m: float = 0.5) -> GroundTable:
    ground, aside_m = ground_m(rows_m), lower_m / 2
    return GroundTable(
        distance_m=rows_m,
        ascending_m=ground + aside_m,
        descending_m=ground - aside_m,
        sd_m=0.3,
    )


def with_table(rows_m: FloatArray, *, lower_m: float = 0.5, **changes: object) -> Lift:
    return make_lift(ground_table=table(rows_m, lower_m=lower_m), **changes)


def found_of(lift: Lift, key: str) -> list[Finding]:
    return [f for f in find_doubts(lift, lay_out(lift)) if f.key == key]


def unit_of(lift: Lift, span_id: str, side: Side = Side.ASCENDING) -> UnitHeights:
    heights, _ = find_heights(lift, lay_out(lift))
    return next(u for u in heights.units if u.span_id == span_id and u.side is side)


def limits(lift: Lift, technique: str) -> set[str]:
    heights, _ = find_heights(lift, lay_out(lift))
    options = gear.options(lift)
    return {
        reach.limit
        for reach in gear.find_reaches(lift, options, heights.units)
        if options[reach.option_index].technique == technique
    }


def test_a_gully_between_rows_far_apart_is_held_by_the_margin_and_told() -> None:
    dense, sparse = with_table(EVERY_5_M), with_table(AT_SUPPORTS)
    true, seen = unit_of(dense, "2-3"), unit_of(sparse, "2-3")
    # The rows at the supports miss the gully: the height itself is far too low.
    assert true.rope_greatest_m - seen.rope_greatest_m > 5
    assert seen.rope_greatest_m + seen.margin_m > true.rope_greatest_m
    # By hand: 0.3 m for the survey, a tenth of 115 - 5 m for the gap; two of them.
    assert seen.margin_parts_m["ground"] == pytest.approx(2 * (0.3 + 11))
    (told,) = found_of(sparse, "line.table_sparse")
    assert told.severity is Severity.WARN
    text, _ = Words().finding(told)
    assert "up to 130 m apart" in text
    assert "0-1, 1-2, 2-3, 3-4, 4-5" in text
    assert found_of(dense, "line.table_sparse") == []


def test_only_the_span_with_the_wide_gap_is_doubted() -> None:
    rows = EVERY_5_M[(EVERY_5_M <= 245) | (EVERY_5_M >= 330)]
    lift = with_table(rows)
    (told,) = found_of(lift, "line.table_sparse")
    assert (told.values["spans"], told.values["gap_m"]) == ("2-3", 85.0)
    assert "in span 2-3," in Words().finding(told)[0]
    # By hand: two standard deviations of 0.3 m.
    assert unit_of(lift, "3-4").margin_parts_m["ground"] == pytest.approx(0.6)


def test_no_plan_over_a_sparse_table_sounds_sure_of_reach() -> None:
    # Rows at the supports only: what reached by 8 m too little reaches no more.
    assert "ok" not in limits(with_table(AT_SUPPORTS), LOOP)
    assert "ok" in limits(with_table(EVERY_5_M), LOOP)


def test_where_rows_stand_far_apart_the_terrain_shows_the_gully() -> None:
    # The terrain's datum stands 3 m off: only its shape counts, hung up on the rows.
    terrain = make_terrain(cell_m=2.0, cross_slope=0.0)
    lift = with_table(
        AT_SUPPORTS,
        lower_m=0.0,
        terrain=replace(terrain, elevation_m=terrain.elevation_m + 3, sd_m=0.2),
    )
    ground = lay_out(lift).ground[Side.ASCENDING]
    away = np.min(np.abs(ground.distance_m[:, None] - AT_SUPPORTS), axis=1) > 6
    assert ground.elevation_m[away] == pytest.approx(
        ground_m(ground.distance_m)[away], abs=0.1
    )
    # By hand: 0.3 m of the survey and 0.2 m of the terrain.
    assert ground.sd_m == pytest.approx(0.5)
    assert found_of(lift, "line.table_sparse") == []
    (told,) = found_of(lift, "line.table_filled")
    assert told.values["below_m"] == pytest.approx(14.0, abs=0.3)


def test_terrain_of_coarse_cells_does_not_hide_that_the_table_is_sparse() -> None:
    terrain = replace(make_terrain(), source_cell_m=90.0, sd_m=6.1)
    (told,) = found_of(with_table(AT_SUPPORTS, terrain=terrain), "line.table_sparse")
    assert told.values["gap_m"] == 90.0


def test_a_void_of_the_terrain_leaves_the_gap_to_the_table_alone() -> None:
    terrain = make_terrain(cross_slope=0.0)
    values = terrain.elevation_m.copy()
    x_m, y_m = along(287.0)
    row = round((y_m - terrain.south_m) / terrain.cell_m)
    column = round((x_m - terrain.west_m) / terrain.cell_m)
    values[row - 3 : row + 4, column - 3 : column + 4] = np.nan
    lift = with_table(AT_SUPPORTS, terrain=replace(terrain, elevation_m=values))
    line = lay_out(lift)
    ground = line.ground[Side.ASCENDING]
    assert np.isfinite(ground.elevation_m + ground.stance_m + ground.slope_deg).all()
    # At 287 m, by hand: straight from row to row, and as unsure as the gap is wide.
    straight_m = np.interp(287.0, AT_SUPPORTS, ground_m(AT_SUPPORTS)) + 0.25
    assert ground.elevation_m[287] == pytest.approx(straight_m)
    assert ground.sd_m[287] == pytest.approx(0.3 + 11)
    keys = [finding.key for finding in find_doubts(lift, line)]
    assert {"line.table_sparse", "line.table_along_only"} <= set(keys)


@pytest.mark.parametrize("gap_m", [10, 20, 40, 80, 120])
@pytest.mark.parametrize(
    "name", ["dem_avaPfa_1m.asc", "dem_avaAlr_nordkette_5m_f32.tif"]
)
def test_the_doubt_of_a_gap_covers_real_ground(
    shared: Path, name: str, gap_m: int
) -> None:
    # Source: AvaFrame's terrain avaPfa (1 m cells) and Nordkette (5 m), Land Tirol.
    with rasterio.open(shared / "real" / name) as file:
        values = file.read(1).astype(float)
        values[values == file.nodata] = np.nan
        cell_m = file.res[0]
    rng = np.random.default_rng(3)
    worst: list[float] = []
    for _ in range(600):
        angle = rng.uniform(0, 2 * np.pi)
        row, column = rng.uniform(0, values.shape[0]), rng.uniform(0, values.shape[1])
        at_m = np.arange(0.0, gap_m + 0.5)
        ground = bilinear(
            values,
            row=row + at_m * np.cos(angle) / cell_m,
            column=column + at_m * np.sin(angle) / cell_m,
        )
        straight = np.interp(at_m, [0, gap_m], ground[[0, -1]])
        if np.isfinite(ground).all():
            worst.append(float(np.abs(ground - straight).max()))
    assert len(worst) > 100
    margin_m = 2 * (0.3 + GAP_SHARE * (gap_m - DENSE_ROWS_M))
    assert np.mean(np.array(worst) <= margin_m) >= 0.93


def test_terrain_beside_a_table_gives_the_stance_and_the_slope() -> None:
    # Beside the line the ground falls by 0.7; only the terrain shows it.
    terrain = make_terrain(cell_m=2.0, cross_slope=0.7)
    alone = lay_out(make_lift(ground_table=None, terrain=terrain))
    up, down = (alone.ground[side].elevation_m for side in Side)
    both = make_lift(
        terrain=terrain,
        ground_table=GroundTable(
            distance_m=alone.ground[Side.ASCENDING].distance_m[::5],
            ascending_m=up[::5] + 1.0,
            descending_m=down[::5] + 1.0,
            sd_m=0.3,
        ),
    )
    for side in Side:
        with_terrain, ground = alone.ground[side], lay_out(both).ground[side]
        # The table stands 1 m above the terrain and its heights count; the fall to the
        # stance is at least the terrain's.
        assert ground.elevation_m == pytest.approx(
            with_terrain.elevation_m + 1, abs=0.3
        )
        fall_m = with_terrain.elevation_m - with_terrain.stance_m
        assert (ground.elevation_m - ground.stance_m >= fall_m - 1e-9).all()
        assert (ground.slope_deg >= with_terrain.slope_deg - 1e-9).all()
        # By hand: 10 m down a slope of 0.7, steeper where the line climbs too.
        assert fall_m.min() > 6.9
    assert found_of(both, "line.table_along_only") == []


def test_the_tables_two_columns_show_a_side_slope() -> None:
    # By hand: 2.4 m over a gauge of 6 m on a line that rises by 0.2: hypot(0.4, 0.2).
    flat = GroundTable(
        distance_m=np.array([0.0, 300.0, 600.0]),
        ascending_m=np.array([0.0, 60.0, 120.0]),
        descending_m=np.array([-2.4, 57.6, 117.6]),
        sd_m=0.1,
    )
    supports = tuple(
        replace(s, ground_m=0.2 * s.distance_m, rope_height_m=7.0)
        for s in make_lift().supports
    )
    lift = make_lift(ground_table=flat, supports=supports)
    for ground in lay_out(lift).ground.values():
        assert ground.slope_deg == pytest.approx(
            np.degrees(np.arctan(np.hypot(0.4, 0.2)))
        )
    (told,) = found_of(lift, "line.table_side_slope")
    assert told.values["spans"] == "0-1, 1-2, 2-3, 3-4, 4-5"
    # By hand: 10 m down a slope of 0.4.
    assert told.values["fall_m"] == pytest.approx(4.0)
    assert all(Words().finding(told))


def test_no_ladder_is_footed_on_a_side_slope_of_the_table() -> None:
    # Rows every 5 m over level ground, 22 degrees across (by hand: 2.4 m over 6 m).
    def level(up_m: float) -> Lift:
        lift = make_lift()
        supports = tuple(
            replace(s, rope_height_m=7.0, ground_m=0.0) for s in lift.supports
        )
        rows = GroundTable(
            distance_m=EVERY_5_M,
            ascending_m=np.full(EVERY_5_M.size, up_m),
            descending_m=np.full(EVERY_5_M.size, -up_m),
            sd_m=0.1,
        )
        carriers = replace(lift.carriers, seats=2, empty_mass_kg=150.0)
        return replace(lift, supports=supports, ground_table=rows, carriers=carriers)

    assert "ground" not in limits(level(0.0), "ladder")
    assert limits(level(1.2), "ladder") == {"ground"}


def with_radius(lift: Lift, radius_m: float, *, ladder_m: float = 10.0) -> Lift:
    return replace(
        lift,
        techniques=tuple(
            replace(
                technique,
                belayer_radius_m=radius_m
                if technique.most_seat_height_m is None
                else ladder_m,
            )
            for technique in make_techniques()
        ),
    )


@pytest.mark.parametrize("radius_m", [0.0, 5.0, 30.0])
def test_the_stance_lies_within_the_techniques_greatest_radius(radius_m: float) -> None:
    terrain = make_terrain(cross_slope=0.6)
    lift = with_radius(make_lift(ground_table=None, terrain=terrain), radius_m)
    assert stance_radius_m(lift) == radius_m
    ground = lay_out(lift).ground[Side.ASCENDING]
    # Away from the gully and the kinks the ground is a plane: by hand, radius times
    # the length of the gradient (along the line 0.325 between 400 m and 460 m).
    fall_m = (ground.elevation_m - ground.stance_m)[410:420]
    assert fall_m == pytest.approx(radius_m * np.hypot(0.6, 40 / 125), abs=0.05)


def test_a_wider_radius_needs_more_rope_from_a_table_too() -> None:
    near, far = (
        lay_out(with_radius(with_table(EVERY_5_M), radius_m)).ground[Side.ASCENDING]
        for radius_m in (10.0, 30.0)
    )
    # By hand, on a line that falls by 33 m in 120 m: 10 m down it below the own rope;
    # or below the other rope, 6 m aside and 0.5 m lower.
    assert (near.elevation_m - near.stance_m)[180] == pytest.approx(10 * 33 / 120)
    assert (far.elevation_m - far.stance_m)[180] == pytest.approx(
        0.5 + np.sqrt(30**2 - 6**2) * 33 / 120
    )
    assert far.elevation_m == pytest.approx(near.elevation_m)


def test_a_ladders_radius_does_not_widen_the_stance_of_the_others() -> None:
    assert stance_radius_m(with_radius(make_lift(), 4.0, ladder_m=50.0)) == 4.0


@pytest.mark.parametrize("off_m", [2.9, -9.0])
def test_ground_is_taken_below_a_rope_that_runs_beside_the_straight_line(
    off_m: float,
) -> None:
    # On a side slope of 0.7 every tower stands beside the line, surveyed where it is.
    lift = make_lift(
        ground_table=None, terrain=replace(make_terrain(cross_slope=0.7), sd_m=0.1)
    )
    supports = tuple(
        support
        if index in (0, len(lift.supports) - 1)
        else replace(
            support,
            x_m=along(support.distance_m, off_m)[0],
            y_m=along(support.distance_m, off_m)[1],
            ground_m=float(ground_m(support.distance_m)) - 0.7 * off_m,
        )
        for index, support in enumerate(lift.supports)
    )
    beside = replace(lift, supports=supports)
    span = "1-2"
    straight, bent = unit_of(lift, span), unit_of(beside, span)
    # Rope and ground went aside together: the height is what it was, where ground
    # taken below the straight line would have missed by 0.7 * off_m, 2 m and more.
    assert bent.rope_greatest_m == pytest.approx(straight.rope_greatest_m, abs=0.3)
    ground = lay_out(beside).ground[Side.ASCENDING]
    expected = np.array([along(d, 3.0 + off_m) for d in (110.0, 170.0, 230.0)])
    places = np.column_stack([ground.x_m, ground.y_m])[[110, 170, 230]]
    assert places == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("step_m", [0.95, -1.9])
@pytest.mark.parametrize("surveyed", [6, 3])
def test_a_step_between_survey_and_terrain_is_in_the_margin_in_full(
    step_m: float, surveyed: int
) -> None:
    # Too small to be told as another datum, and with few supports to tell it by.
    terrain = replace(make_terrain(cross_slope=0.0), sd_m=0.1)
    lift = make_lift(ground_table=None, terrain=terrain)
    supports = tuple(
        replace(support, surveyed=index < surveyed)
        for index, support in enumerate(lift.supports)
    )
    lift = replace(lift, supports=supports)
    raised = replace(
        lift, terrain=replace(terrain, elevation_m=terrain.elevation_m + step_m)
    )
    right, wrong = unit_of(lift, "2-3"), unit_of(raised, "2-3")
    base_m = lay_out(lift).ground_step_m
    assert lay_out(raised).ground_step_m == pytest.approx(base_m + step_m)
    assert wrong.margin_parts_m["height step"] == pytest.approx(abs(base_m + step_m))
    assert abs(wrong.rope_greatest_m - right.rope_greatest_m) <= wrong.margin_m
    assert wrong.margin_m - right.margin_m == pytest.approx(
        abs(base_m + step_m) - abs(base_m), abs=0.02
    )


def test_a_step_between_survey_and_table_is_in_the_margin_too() -> None:
    lift = with_table(EVERY_5_M, lower_m=0.0)
    rows = table(EVERY_5_M, lower_m=0.0)
    raised = replace(
        lift,
        ground_table=replace(
            rows,
            ascending_m=rows.ascending_m + 1.9,
            descending_m=rows.descending_m + 1.9,
        ),
    )
    assert lay_out(lift).ground_step_m == pytest.approx(0.0, abs=1e-9)
    assert unit_of(raised, "2-3").margin_parts_m["height step"] == pytest.approx(1.9)


def test_a_lift_without_surveyed_supports_knows_no_step() -> None:
    lift = with_table(EVERY_5_M)
    supports = tuple(replace(s, surveyed=False) for s in lift.supports)
    assert lay_out(replace(lift, supports=supports)).ground_step_m == 0.0


def test_rows_as_far_apart_as_coarse_cells_are_the_least_that_is_told() -> None:
    def rows(gap_m: float) -> FloatArray:
        return np.append(np.arange(0.0, 600.0, gap_m), 600.0)

    assert found_of(with_table(rows(COARSE_CELL_M)), "line.table_sparse") == []
    assert found_of(with_table(rows(COARSE_CELL_M + 1)), "line.table_sparse") != []
