"""A doubtful support takes only the spans beside it out of the plan (rule 9)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import make_lift
from invented_lines import line_of

from evac.facts.heights import Heights
from evac.facts.lift import Lift, Side
from evac.heights.cuts import cut
from evac.heights.envelope import find_heights
from evac.heights.follow import _raised
from evac.line import lay_out

ROWS = [
    (0.0, 6.0, "station"),
    # Of the two samples beside a support the nearer one is once before it, once
    # beyond it.
    (30.6, 15.0, "support"),
    (120.3, 40.0, "support"),
    (210.7, 65.0, "support"),
    (250.0, 76.0, "station"),
]
INNER = (1, 2, 3)


def with_doubt(index: int) -> tuple[Lift, Heights]:
    lift = line_of(make_lift(), ROWS, heights_m=25.0)
    lift = replace(
        lift,
        carriers=replace(lift.carriers, spacing_m=10.3),
        supports=tuple(
            replace(support, doubtful=number == index)
            for number, support in enumerate(lift.supports)
        ),
    )
    return lift, find_heights(lift, lay_out(lift))[0]


@pytest.mark.parametrize("index", INNER)
def test_only_the_spans_beside_a_doubtful_support_lose_their_heights(
    index: int,
) -> None:
    lift, heights = with_doubt(index)
    for unit in heights.units:
        beside = unit.span_index in (index - 1, index)
        assert unit.known is not beside
        assert unit.reason == ("doubtful" if beside else "")
    # Every carrier of the other spans keeps its height, right beside them as well.
    unknown = {unit.span_index for unit in heights.units if not unit.known}
    for side in Side:
        spans = heights.stops.span_index[side]
        rope_m = heights.stops.rope_height_m[side]
        counts = (spans >= 0) & ~np.isin(spans, list(unknown))
        assert np.isfinite(rope_m[counts]).all()
        assert np.isfinite(heights.stops.seat_height_m[side][counts]).all()
        assert np.isnan(rope_m[~counts]).all()

    # An order of work that comes 1 m higher raises the spans next to them too.
    count = heights.envelopes[Side.ASCENDING].distance_m.size
    met = dict.fromkeys(Side, (np.full(count, 1.0), np.full(count, 0.5)))
    raised = _raised(lift, heights, met)
    for before, after in zip(heights.units, raised.units, strict=True):
        if before.known:
            assert after.rope_greatest_m == pytest.approx(before.rope_greatest_m + 1)
            assert after.stance_greatest_m == pytest.approx(
                before.stance_greatest_m + 1
            )
            assert after.rope_least_m == pytest.approx(before.rope_least_m - 0.5)
    for side in Side:
        was_m, now_m = (item.stops.rope_height_m[side] for item in (heights, raised))
        np.testing.assert_allclose(now_m, was_m + 1)

    # And halves of a span next to them stay known.
    next_to = index + 1 if index < INNER[-1] else index - 2
    span = heights.line.spans[next_to]
    halved = cut(lift, heights, cuts_m=[(span.start_m + span.end_m) / 2])[1]
    parts = [unit for unit in halved.units if unit.span_id.startswith(span.id)]
    assert [unit.known for unit in parts] == [True] * 4
