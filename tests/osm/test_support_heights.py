"""Support heights that keep a rope on its supports, by its own equations."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evac.inputs.osm_heights import (
    PRESSED_SHARE,
    HeightRules,
    Ropeway,
    choose_heights,
)

ROPE = Ropeway(
    bare_n_per_m=60.0,
    loaded_n_per_m=250.0,
    tension_low_n=150_000.0,
    tension_high_n=170_000.0,
)
RULES = HeightRules(lowest_m=8.0, highest_m=16.0, station_m=4.5, clearance_m=5.6)


def chosen(distance_m, ground_m):
    distance = np.asarray(distance_m, float)
    ground = np.asarray(ground_m, float)
    at = np.arange(0.0, distance[-1], 5.0)
    heights = choose_heights(
        distance,
        ground,
        profile_distance_m=at,
        profile_ground_m=np.interp(at, distance, ground),
        rope=ROPE,
        rules=RULES,
    )
    return heights, ground + heights.height_m


def test_an_even_slope_gets_the_lowest_supports():
    distance = np.arange(0.0, 601.0, 60.0)
    heights, _ = chosen(distance, 0.3 * distance)
    assert heights.height_m[2:-2] == pytest.approx(8.0)
    assert heights.height_m[[0, -1]] == pytest.approx(4.5)
    assert not heights.combined.any()


def test_a_hollow_no_tower_fills_gets_rollers_on_both_sides():
    distance = np.arange(0.0, 601.0, 60.0)
    ground = np.where(distance < 300, 0.0, 0.6 * (distance - 300))
    heights, _ = chosen(distance, ground)
    assert heights.combined[4:7].any()
    assert not heights.combined[[0, 1, 9, 10]].any()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(15, 150), min_size=2, max_size=14),
    st.lists(st.floats(-0.15, 0.6), min_size=14, max_size=14),
)
def test_the_bare_rope_presses_on_every_plain_support(spans, slopes):
    distance = np.concatenate([[0.0], np.cumsum(spans)])
    steps = np.array(slopes[: len(spans)]) * np.array(spans)
    ground = np.concatenate([[0.0], np.cumsum(steps)])
    heights, rope = chosen(distance, ground)
    assert (heights.height_m[1:-1] >= RULES.lowest_m - 0.01).all()
    # Parabola of a bare span (any statics text): its ends slope by w d / 2 T beside
    # the chord. The rope presses where it arrives steeper than it leaves.
    tightest = ROPE.tension_high_n + ROPE.loaded_n_per_m * (ground - ground.min())
    chord = np.diff(rope) / np.diff(distance)
    for index in range(1, len(distance) - 1):
        own = ROPE.bare_n_per_m * np.diff(distance)[index - 1 : index + 1].sum()
        turn = chord[index - 1] - chord[index] + own / (2 * tightest[index])
        # 1 cm of rounding beside, seen from both spans.
        slack = 0.01 * (1 / np.diff(distance)[index - 1 : index + 1]).sum()
        if not heights.combined[index]:
            least = (1 - PRESSED_SHARE) * own / (2 * tightest[index])
            assert turn >= least - slack
