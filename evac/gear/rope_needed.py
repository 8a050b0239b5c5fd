"""How much rope a technique needs over a given height (rule 13)."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from evac.facts.lift import Carriers, FloatArray, Kit, Technique


def rope_needed_m(
    technique: Technique,
    *,
    rope_height_m: ArrayLike,
    attachment_height_m: ArrayLike,
    seat_height_m: ArrayLike,
    margin_m: ArrayLike = 0.0,
) -> FloatArray:
    """Length of rope that a technique needs, reserve included.

    Parameters
    ----------
    technique : Technique
        Its shares of the three heights and its lengths for stance, knots, tails and
        reserve.
    rope_height_m, attachment_height_m, seat_height_m : array_like
        Heights of the haul rope, of the descender's attachment and of the seat [m]
        above the lowest ground on which the rope's end must arrive.
    margin_m : array_like
        Uncertainty of the heights [m], 0 or more; added to each of them.

    Returns
    -------
    ndarray
        Rope needed [m]; NaN where a height that counts is NaN.

    Notes
    -----
    ``(a (h_r + u) + b (h_a + u) + c (h_s + u) + stance + knots + tail) (1 + e)``
    and then ``max(reserve, share)`` of that, with a, b, c the technique's
    ``per_..._height``, h the three heights, u the margin and e ``stretch_share``
    (common practice, no source; the coefficients are the technique's own data).

    Examples
    --------
    A loop over a rope 12 m up, 5 m to the stance, 3 m of knots and tails, 3 m
    reserve, no stretch: 2 x 12 + 5 + 3 + 3 = 35 m.

    >>> from evac.facts.lift import CarrierType
    >>> loop = Technique(
    ...     id="loop", kind="loop over the haul rope belayed from the ground",
    ...     min_crew=3, roles="", carrier_types=(CarrierType.CHAIR,),
    ...     per_rope_height=2, per_attachment_height=0, per_seat_height=0, stance_m=5,
    ...     knots_tails_m=3, belayer_tail_m=0, stretch_share=0, reserve_m=3,
    ...     reserve_share=0.05, needs_line_over_rope=True, most_seat_height_m=None,
    ...     most_rope_slope_deg=40, passes_rollers=True, passes_hold_downs=True,
    ...     incapacitated=False, downhill_only=True, wind_limit_m_per_s=14,
    ...     approval="invented")
    >>> float(rope_needed_m(
    ...     loop, rope_height_m=12, attachment_height_m=11.4, seat_height_m=9.3))
    35.0
    """
    heights_m = np.broadcast_arrays(
        np.asarray(rope_height_m, dtype=float),
        np.asarray(attachment_height_m, dtype=float),
        np.asarray(seat_height_m, dtype=float),
        np.asarray(margin_m, dtype=float),
    )
    margin = heights_m[-1]
    shares = (
        technique.per_rope_height,
        technique.per_attachment_height,
        technique.per_seat_height,
    )
    working = np.full(
        margin.shape,
        technique.stance_m + technique.knots_tails_m + technique.belayer_tail_m,
    )
    for share, height_m in zip(shares, heights_m[:-1], strict=True):
        # A height that does not count may be unknown without spoiling the answer.
        if share:
            working = working + share * (height_m + margin)
    stretched = working * (1 + technique.stretch_share)
    needed: FloatArray = stretched + np.maximum(
        technique.reserve_m, technique.reserve_share * stretched
    )
    return needed


def greatest_rope_height_m(
    technique: Technique, *, kit: Kit, carriers: Carriers
) -> float:
    """Greatest height of the haul rope that a kit serves, uncertainty included [m].

    The least of what its rope allows, what a line can be got over, and the ladder's
    seat height; 0 where it serves nothing, infinite where nothing limits it.

    Parameters
    ----------
    technique : Technique
    kit : Kit
        Of that technique.
    carriers : Carriers
        How far attachment and seat hang below the rope.
    """

    def needed_at_m(height_m: float) -> float:
        return float(
            rope_needed_m(
                technique,
                rope_height_m=height_m,
                attachment_height_m=height_m - carriers.rope_to_descender_m,
                seat_height_m=height_m - carriers.rope_to_seat_m,
            )
        )

    reach_m = _highest_m(needed_at_m, kit.rope_length_m)
    if technique.needs_line_over_rope:
        reach_m = min(reach_m, kit.throw_height_m)
    if technique.most_seat_height_m is not None:
        reach_m = min(reach_m, technique.most_seat_height_m + carriers.rope_to_seat_m)
    return max(reach_m, 0.0)


def _highest_m(needed_at_m: Callable[[float], float], have_m: float) -> float:
    """Greatest height whose need is at most ``have_m``; the need rises with height."""
    if needed_at_m(0.0) > have_m:
        return 0.0
    low_m, high_m = 0.0, 2 * have_m + 100.0
    if needed_at_m(high_m) <= have_m:
        return float("inf")
    while high_m - low_m > 1e-6:
        middle_m = (low_m + high_m) / 2
        if needed_at_m(middle_m) <= have_m:
            low_m = middle_m
        else:
            high_m = middle_m
    return low_m


def whole_metres(needed_m: float) -> float:
    """A length to ask for, rounded up: a kit of the length that is said must suffice.

    Examples
    --------
    >>> whole_metres(68.1345)
    69.0
    """
    return float(math.ceil(needed_m - 1e-9)) if math.isfinite(needed_m) else needed_m
