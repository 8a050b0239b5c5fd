"""Does the order-free set bound real sequences? Measured, not proven."""

from __future__ import annotations

import numpy as np
import pytest
from invented_lines import five_lines

from evac.facts.lift import Lift, Side
from evac.heights.envelope import find_heights
from evac.heights.follow import excess_m
from evac.heights.load_cases import load_cases
from evac.heights.margins import ORDER_FREE_EXCESS_M
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
