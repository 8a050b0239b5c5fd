"""Does the order-free set bound real sequences? Measured, not proven."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented_lines import five_lines, up_down_up

from evac.facts.lift import Lift, Side
from evac.heights.envelope import find_heights
from evac.heights.follow import excess_m
from evac.heights.load_cases import (
    load_cases,
    people_by_sign,
    rises_and_falls,
    row_of,
)
from evac.heights.margins import (
    ORDER_FREE_EXCESS_M,
    ORDER_FREE_SHARE,
    find_margins,
)
from evac.heights.stop import side_models
from evac.heights.unloading import Step, unload
from evac.line import lay_out

SEQUENCES = 110


def random_order(
    rng: np.random.Generator, counts: dict[Side, int], teams: int
) -> list[Step]:
    """Zones of 1-11 teams, each worked up or down, their carriers interleaved."""
    queues: list[list[Step]] = []
    for side, count in counts.items():
        cuts = np.sort(rng.choice(np.arange(1, count), size=teams - 1, replace=False))
        for zone in np.split(np.arange(count), cuts):
            carriers = zone if rng.random() < 0.5 else zone[::-1]
            queues.append([(side, int(k)) for k in carriers])
    order: list[Step] = []
    while queues:
        order.append(queues[rng.integers(len(queues))].pop(0))
        queues = [queue for queue in queues if queue]
    return order


def worst_excess_m(lift: Lift, *, seed: int) -> tuple[float, float]:
    rng = np.random.default_rng(seed)
    line = lay_out(lift)
    heights, _ = find_heights(lift, line)
    cases = load_cases(lift)
    above = below = 0.0
    for number in range(SEQUENCES):
        case = cases[number % len(cases)]
        offset_m = float(rng.uniform(0, lift.carriers.spacing_m))
        at_stop = unload(lift, line, order=(), stop_offset_m=offset_m, load_case=case)
        counts = {side: at_stop.sides[side].distance_m.size for side in Side}
        order = random_order(rng, counts, teams=int(rng.integers(1, 12)))
        found = unload(lift, line, order=order, stop_offset_m=offset_m, load_case=case)
        for side in Side:
            up, down = excess_m(heights.envelopes[side], found.sides[side])
            above, below = max(above, float(up.max())), max(below, float(down.max()))
    return above, below


def by_legs(
    places_m: dict[Side, np.ndarray], *, leg_m: float, first: int, back: bool
) -> list[Step]:
    """Every other rise of the line cleared before all the others."""
    order: list[Step] = []
    for side, at_m in places_m.items():
        leg = np.floor(at_m / leg_m).astype(int)
        halves = [np.flatnonzero(leg % 2 == (first + n) % 2) for n in (0, 1)]
        for half in halves:
            order += [(side, int(k)) for k in (half[::-1] if back else half)]
    return order


@pytest.mark.parametrize(
    ("legs", "at_drive", "drive_at_last"),
    [(3, False, False), (3, False, True), (4, False, False), (3, True, False)],
)
def test_on_a_line_up_down_and_up_an_order_made_to_pull_stays_within_the_excess(
    legs: int, at_drive: bool, drive_at_last: bool
) -> None:
    # Loaded rises and empty falls let the rope down in front of them, by up to 0.5 m
    # below what emptying from either end does (measured before they were in the set).
    lift = up_down_up(legs=legs, drive_at_last=drive_at_last)
    tension = replace(lift.tension, held_at_drive=at_drive)
    lift = replace(lift, tension=tension)
    line = lay_out(lift)
    heights, _ = find_heights(lift, line)
    full = load_cases(lift)[1]
    rng = np.random.default_rng(6)
    worst = 0.0
    at_stop = unload(lift, line, order=(), stop_offset_m=5.0, load_case=full)
    places_m = {side: found.distance_m for side, found in at_stop.sides.items()}
    counts = {side: at_m.size for side, at_m in places_m.items()}
    orders = [
        by_legs(places_m, leg_m=1800.0 / legs, first=first, back=back)
        for first in (0, 1)
        for back in (False, True)
    ]
    orders += [random_order(rng, counts, teams=teams) for teams in (4, 7)]
    for order in orders:
        found = unload(lift, line, order=order, stop_offset_m=5.0, load_case=full)
        for side in Side:
            for excess in excess_m(heights.envelopes[side], found.sides[side]):
                worst = max(worst, float(excess.max()))

    assert worst <= ORDER_FREE_EXCESS_M


def test_a_line_that_only_rises_needs_no_states_by_sign() -> None:
    steep, wavy = five_lines()["steep, tension at the lower end"], up_down_up()
    assert not rises_and_falls(lay_out(steep))
    line = lay_out(wavy)
    assert rises_and_falls(line)
    row = row_of(wavy, line, side=Side.ASCENDING, phase_m=0.0)
    full = np.full(row.distance_m.size, 4.0)
    tight, loose = people_by_sign(line, row=row, full=full, drive_at_last=False)[:2]
    # Of the first span (to 150 m), by hand, with the line's top at 600 m and its
    # bottom at 1200 m: the fall between them pulls, the rises hold back.
    own, falls = row.distance_m <= 150.0, np.abs(row.distance_m - 900.0) < 299.0
    assert (tight[own] == 0).all()
    assert (loose[own] == 4).all()
    assert (tight[falls] == 4).all()
    assert (loose[falls] == 0).all()
    rises = (row.distance_m > 1201.0) | ((row.distance_m > 151) & ~falls)
    rises &= np.abs(row.distance_m - 900.0) > 301.0
    assert (tight[rises] == 0).all()
    assert (loose[rises] == 4).all()


def test_what_an_order_may_miss_on_such_a_line_grows_with_the_other_parts() -> None:
    lift = up_down_up(low_m=100.0)
    line = lay_out(lift)
    found = find_margins(
        lift,
        line,
        models=side_models(lift, line),
        side=Side.ASCENDING,
        cases=load_cases(lift),
    )
    root_m = np.sqrt(sum(part**2 for part in found.part_m.values()))
    in_full_m = abs(line.ground_step_m) + found.order_m
    assert found.margin_m == pytest.approx(root_m + in_full_m)
    assert found.order_m == pytest.approx(
        np.maximum(ORDER_FREE_EXCESS_M, ORDER_FREE_SHARE * root_m)
    )


@pytest.mark.slow
def test_550_random_sequences_on_five_lines_stay_within_the_set_and_its_excess(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # Zones of 1-11 teams, random stops, every declared load case; the excess found is
    # what ORDER_FREE_EXCESS_M holds in every margin.
    worst = 0.0
    for seed, (name, lift) in enumerate(five_lines().items()):
        above, below = worst_excess_m(lift, seed=seed)
        with capsys.disabled():
            print(f"\n{name}: {above:.3f} m above, {below:.3f} m below", end="")
        worst = max(worst, above, below)

    assert worst <= ORDER_FREE_EXCESS_M
