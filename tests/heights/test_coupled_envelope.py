"""Locked lines and tension held at the drive: the envelope holds real sequences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import make_lift
from invented_lines import five_lines
from test_order_free import random_order

from evac.facts.lift import Lift, Side, TensionState
from evac.heights.envelope import find_heights
from evac.heights.follow import excess_m
from evac.heights.load_cases import load_cases
from evac.heights.margins import ORDER_FREE_EXCESS_M
from evac.heights.unloading import unload
from evac.line import lay_out

LINES: dict[str, Lift] = {
    "gully": make_lift(),
    "crest": five_lines()["crest, tension at the lower end"],
    "flat": five_lines()["flat, fixed grips 12 m apart"],
}


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(LINES))
@pytest.mark.parametrize(
    ("state", "at_drive"),
    [
        (TensionState.CONSTANT, True),
        (TensionState.LOCKED, False),
        (TensionState.LOCKED, True),
    ],
)
def test_sequences_of_coupled_sides_stay_within_the_envelope(
    name: str,
    state: TensionState,
    at_drive: bool,
    capsys: pytest.CaptureFixture[str],
) -> None:
    lift = LINES[name]
    lift = replace(
        lift, tension=replace(lift.tension, state=state, held_at_drive=at_drive)
    )
    line = lay_out(lift)
    heights, _ = find_heights(lift, line)
    rng = np.random.default_rng(9)
    worst = 0.0
    cases = load_cases(lift)
    for number in range(12):
        asked = {
            "stop_offset_m": float(rng.uniform(0, lift.carriers.spacing_m)),
            "load_case": cases[number % len(cases)],
        }
        at_stop = unload(lift, line, order=(), **asked)
        counts = {side: at_stop.sides[side].distance_m.size for side in Side}
        order = random_order(rng, counts, teams=int(rng.integers(1, 8)))
        found = unload(lift, line, order=order, **asked)
        for side in Side:
            up, down = excess_m(heights.envelopes[side], found.sides[side])
            worst = max(worst, float(up.max()), float(down.max()))
    with capsys.disabled():
        print(f"\n{name}, {state.value}, drive {at_drive}: {worst:.3f} m", end="")

    assert worst <= ORDER_FREE_EXCESS_M
