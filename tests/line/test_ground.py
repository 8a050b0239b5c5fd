"""The ground between the centres of a grid, against scipy and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from evac.ground import (
    at_places,
    bilinear,
    lowest_along,
    lowest_within,
    slope_deg,
)

GRID = {"west_m": 100.0, "south_m": -50.0, "cell_m": 5.0}


def hills(rows: int = 30, columns: int = 40) -> np.ndarray:
    row, column = np.mgrid[0:rows, 0:columns]
    return 100 + 8 * np.sin(row / 3.0) + 5 * np.cos(column / 2.0) + 0.4 * column


def test_ground_between_centres_is_that_of_scipys_linear_interpolator() -> None:
    # Independent reference: scipy RegularGridInterpolator, method "linear".
    values = hills()
    rng = np.random.default_rng(5)
    row, column = rng.uniform(0, 29, 500), rng.uniform(0, 39, 500)
    expected = RegularGridInterpolator((np.arange(30.0), np.arange(40.0)), values)(
        np.column_stack([row, column])
    )
    assert bilinear(values, row=row, column=column) == pytest.approx(expected)


def test_ground_outside_the_outer_centres_is_not_known() -> None:
    found = bilinear(hills(), row=[-0.01, 29.01, 5, 5], column=[5, 5, -0.01, 39.01])
    assert np.isnan(found).all()


def test_a_void_spreads_to_the_cells_around_it_and_no_farther() -> None:
    values = hills()
    values[10, 10] = np.nan
    assert np.isnan(
        bilinear(values, row=[9.5, 10.5, 10.0], column=[9.9, 10.1, 10.0])
    ).all()
    # On the neighbouring row itself the void has no weight.
    assert bilinear(values, row=[9.0], column=[10.0]) == pytest.approx(values[9, 10])
    assert np.isfinite(bilinear(values, row=[11.0, 8.99], column=[10.5, 10.5])).all()


@settings(max_examples=40, deadline=None)
@given(
    a=st.floats(-3, 3), b=st.floats(-3, 3), x=st.floats(110, 280), y=st.floats(-40, 80)
)
def test_a_plane_is_met_exactly_in_height_and_slope(
    a: float, b: float, x: float, y: float
) -> None:
    row, column = np.mgrid[0:30, 0:40]
    plane = 50 + a * (100 + 5.0 * column) + b * (-50 + 5.0 * row)
    assert at_places(plane, x_m=[x], y_m=[y], **GRID)[0] == pytest.approx(
        50 + a * x + b * y, abs=1e-9
    )
    # By hand: the steepest slope of a plane is the length of its gradient.
    assert slope_deg(plane, x_m=[x], y_m=[y], **GRID)[0] == pytest.approx(
        np.degrees(np.arctan(np.hypot(a, b))), abs=1e-9
    )


@settings(max_examples=25, deadline=None)
@given(x=st.floats(120, 270), y=st.floats(-35, 75), radius=st.floats(3, 14))
def test_the_lowest_ground_of_a_disc_is_never_above_a_dense_search(
    x: float, y: float, radius: float
) -> None:
    values = hills()
    found = lowest_within(values, x_m=[x], y_m=[y], radius_m=radius, **GRID)[0]
    grid = np.linspace(-radius, radius, 81)
    east, north = np.meshgrid(grid, grid)
    near = np.hypot(east, north) <= radius
    searched = at_places(values, x_m=x + east[near], y_m=y + north[near], **GRID).min()
    # The search misses what lies between its points; the rim is met exactly where it
    # leaves a cell, and in 48 directions.
    assert found == pytest.approx(searched, abs=0.12)
    assert found <= searched + 0.02


def test_a_void_within_the_radius_makes_the_stance_unknown() -> None:
    values = hills()
    values[10, 12] = np.nan  # at x = 160, y = 0
    found = lowest_within(values, x_m=[152.0, 148.0], y_m=[0, 0], radius_m=10.0, **GRID)
    assert np.isnan(found[0])
    # 12 m away with a cell of 5 m between: the rim touches the cells beside the void.
    assert np.isnan(found[1])
    far = lowest_within(values, x_m=[140.0], y_m=[0.0], radius_m=10.0, **GRID)
    assert np.isfinite(far[0])


def test_lowest_along_a_profile_is_a_point_of_the_table_or_an_end() -> None:
    distance = np.array([0.0, 10.0, 20.0, 30.0])
    ground = np.array([5.0, 1.0, 4.0, 0.0])
    found = lowest_along(distance, ground, at_m=np.array([8.0, 18.0, 0.0]), reach_m=5.0)
    # By hand: 1 at the table's 10 m; at 13 m 1 + 3 * 0.3 = 1.9; at 5 m 5 - 5 * 0.4.
    assert found == pytest.approx([1.0, 1.9, 3.0])
