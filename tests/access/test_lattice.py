"""Routes over random lattices of ways equal SciPy's shortest paths."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from builders import along, make_lift, make_terrain
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra
from shapely.geometry import LineString

from evac.access import find_routes
from evac.facts.lift import Lift, Way
from evac.line import lay_out

ACROSS_M = (0.0, 80.0, 170.0, 240.0)
SPEED = 5000 / 3600


def lattice(seed: int) -> tuple[Lift, np.ndarray]:
    """Ways between the supports' lines, some missing, and the true lengths.

    Nodes are the crossings of lines along (0 to 240 m to the right) and lines across
    at every support; each way is one straight piece between neighbouring nodes, so
    ways meet at their ends only. Returned lengths (6,) run from the far corner.
    """
    lift = make_lift(terrain=make_terrain(), ground_table=None, hazards=())
    flat = replace(lift.terrain, elevation_m=np.zeros_like(lift.terrain.elevation_m))
    supports = tuple(replace(s, ground_m=0.0) for s in lift.supports)
    distances = [support.distance_m for support in supports]
    rng = np.random.default_rng(seed)
    ways: list[Way] = []
    rows, columns, lengths = [], [], []

    def add(a: tuple[int, int], b: tuple[int, int]) -> None:
        ends = [along(distances[i], ACROSS_M[j]) for i, j in (a, b)]
        line = LineString(ends)
        one_way = bool(rng.random() < 0.2)
        ways.append(
            replace(
                lift.ways[0],
                id=f"w{len(ways)}",
                geometry=line,
                travel=("foot",),
                one_way=one_way,
            )
        )
        for start, end in ((a, b),) if one_way else ((a, b), (b, a)):
            rows.append(start[0] * 4 + start[1])
            columns.append(end[0] * 4 + end[1])
            lengths.append(line.length)

    for i in range(6):
        for j, k in pairwise(range(4)):
            if rng.random() < 0.8:
                add((i, k), (i, j))
    for i, k in pairwise(range(6)):
        for j in range(1, 4):
            if rng.random() < 0.8:
                add((i, j), (k, j))
    start = along(distances[0], ACROSS_M[3])
    team = replace(lift.teams[0], travel="foot", start_x_m=start[0], start_y_m=start[1])
    travel = replace(
        lift.travel, walking_rule="naismith", foot_factor=1.0, off_way_factor=1e5
    )
    made = replace(
        lift, terrain=flat, supports=supports, ways=tuple(ways), teams=(team,)
    )
    graph = coo_array((lengths, (rows, columns)), shape=(24, 24)).tocsr()
    reached = dijkstra(graph, indices=3)
    return replace(made, travel=travel), reached[[i * 4 for i in range(6)]]


def test_routes_over_random_lattices() -> None:
    compared = 0
    for seed in range(12):
        lift, expected_m = lattice(seed)
        routes = find_routes(lift, lay_out(lift))
        for route, length_m in zip(routes, expected_m, strict=True):
            # Where the lattice does not lead, walking off it is 100,000 times slower.
            if np.isfinite(length_m):
                assert route.seconds == pytest.approx(length_m / SPEED, rel=1e-6)
                assert route.length_m == pytest.approx(length_m, rel=1e-6)
                compared += 1
            else:
                assert route.seconds > 1e5
    assert compared >= 40


def test_long_ways_that_cross_are_a_lattice_too() -> None:
    lift, _ = lattice(0)
    distances = [support.distance_m for support in lift.supports]
    lines = [
        LineString([along(-30, right), along(630, right)]) for right in ACROSS_M[1:]
    ] + [LineString([along(d, 0), along(d, 270)]) for d in distances]
    ways = tuple(
        replace(lift.ways[0], id=f"w{k}", geometry=line, one_way=False)
        for k, line in enumerate(lines)
    )
    lift = replace(lift, ways=ways)
    for route, distance_m in zip(
        find_routes(lift, lay_out(lift)), distances, strict=True
    ):
        # From (0, 240) along and across: the sum of both, whatever the corners.
        assert route.length_m == pytest.approx(distance_m + 240, rel=1e-6)
        assert route.seconds == pytest.approx((distance_m + 240) / SPEED, rel=1e-6)
