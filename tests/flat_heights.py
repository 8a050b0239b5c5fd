"""Heights made by hand for tests of gear and timing: one height everywhere.

The rope hangs ``rope_m`` above level ground, whatever the load; nothing here is
computed by the project's rope.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from evac.facts.heights import Heights, Line, SideEnvelope, StopGrid, UnitHeights
from evac.facts.lift import FloatArray, Lift, Side
from evac.line import lay_out

SIDES = (Side.ASCENDING, Side.DESCENDING)


def make_units(
    lift: Lift,
    *,
    rope_m: float = 12.0,
    stance_m: float | None = None,
    margin_m: float = 0.0,
    slope_deg: float = 10.0,
    ground_deg: float = 5.0,
    known: bool = True,
) -> tuple[UnitHeights, ...]:
    """Every unit of a lift at one height."""
    supports = lift.supports
    return tuple(
        UnitHeights(
            side=side,
            span_index=index,
            span_id=f"{a.id}-{b.id}",
            rope_greatest_m=rope_m,
            stance_greatest_m=rope_m if stance_m is None else stance_m,
            greatest_at_m=(a.distance_m + b.distance_m) / 2,
            rope_least_m=rope_m,
            seat_greatest_m=rope_m - lift.carriers.rope_to_seat_m,
            seat_least_m=rope_m - lift.carriers.rope_to_seat_m,
            margin_m=margin_m,
            slope_greatest_deg=slope_deg,
            ground_slope_deg=ground_deg,
            carriers_most=int((b.distance_m - a.distance_m) // lift.carriers.spacing_m)
            + 1,
            known=known,
            reason="" if known else "terrain",
        )
        for side in SIDES
        for index, (a, b) in enumerate(pairwise(supports))
    )


def make_envelopes(
    line: Line,
    *,
    rope_m: float = 12.0,
    stance_m: float | None = None,
    margin_m: float = 0.0,
    slope_deg: float = 10.0,
    **_others: float,
) -> dict[Side, SideEnvelope]:
    """The envelope whose units `make_units` gives."""
    distance_m = line.ground[Side.ASCENDING].distance_m

    def everywhere(value: float) -> FloatArray:
        return np.full(distance_m.size, value)

    return {
        side: SideEnvelope(
            side=side,
            distance_m=distance_m,
            rope_greatest_m=everywhere(rope_m),
            rope_least_m=everywhere(rope_m),
            stance_greatest_m=everywhere(rope_m if stance_m is None else stance_m),
            margin_m=everywhere(margin_m),
            slope_greatest_deg=everywhere(slope_deg),
            drift_m=everywhere(0.0),
            known=np.ones(distance_m.size, dtype=bool),
        )
        for side in SIDES
    }


def make_flat_heights(lift: Lift, *, rope_m: float = 12.0, **units: float) -> Heights:
    """Heights of a lift whose rope is level above the ground, at four stops."""
    line = lay_out(lift)
    length_m = lift.supports[-1].distance_m
    spacing_m = lift.carriers.spacing_m
    offsets = np.linspace(0.0, spacing_m, 4, endpoint=False)
    most = int(length_m // spacing_m) + 1
    distance = offsets[:, None] + spacing_m * np.arange(most)
    on = distance <= length_m
    spans = np.searchsorted(line.distance_m, distance, side="left") - 1
    span_index = np.where(on, np.clip(spans, 0, len(line.spans) - 1), -1)
    placed = np.where(on, distance, np.nan)
    rope = np.where(on, rope_m, np.nan)
    return Heights(
        line=line,
        load_cases=(),
        envelopes=make_envelopes(line, rope_m=rope_m, **units),
        units=make_units(lift, rope_m=rope_m, **units),
        stops=StopGrid(
            offset_m=offsets,
            distance_m=dict.fromkeys(SIDES, placed),
            span_index=dict.fromkeys(SIDES, span_index),
            rope_height_m=dict.fromkeys(SIDES, rope),
            seat_height_m=dict.fromkeys(SIDES, rope - lift.carriers.rope_to_seat_m),
        ),
        supports=(),
        spans=(),
        reference={},
        states_solved=0,
        greatest_residual_n=0.0,
    )


def one_technique(lift: Lift, technique_id: str, **changes: object) -> Lift:
    """The lift with one of its techniques changed."""
    return replace(
        lift,
        techniques=tuple(
            replace(item, **changes) if item.id == technique_id else item
            for item in lift.techniques
        ),
    )
