"""Telling passengers is work: who goes where, how soon, and where no voice reaches."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from evac import hazards
from evac.facts.finding import Finding, Severity
from evac.facts.heights import BoolArray, Heights
from evac.facts.lift import FloatArray, Lift, Side
from evac.facts.work import Informed

VOICE_M = 40.0
"""How far a voice carries to a person in a hood (common practice, no source)."""

STEEPEST_WALK_DEG = 40.0
"""Nobody walks under the line on steeper ground (common practice, no source)."""

NOT_WALKED = ("avalanche ground", "water")
"""Kinds of hazard over which no informer walks: avalanche ground before its release is
never crossed, and informers set out before anything is released."""


def inform(lift: Lift, heights: Heights) -> tuple[Informed, ...]:
    """Who tells the passengers of every span, how soon, and whom no voice reaches.

    Informers share the length of the line. Each begins at the upper end of the own
    stretch and goes down below it; the way to that place is not in the time. Voice is
    heard within 40 m, slant, from ground below the own side that may be walked: no
    avalanche ground, no water, nothing steeper than 40 degrees, no void.

    Parameters
    ----------
    lift : Lift
    heights : Heights
        Its envelope's greatest heights: the worst of every stop.

    Returns
    -------
    tuple of Informed
        In order of spans.
    """
    along_m = _along_line_m(lift)
    away = {side: _away_m(lift, heights, side) for side in Side}
    found = []
    for span in heights.line.spans:
        worst = {side: _worst_m(heights, away[side], side, span.index) for side in Side}
        informer, word_s = _word(lift, along_m, span.index)
        found.append(
            Informed(
                span_index=span.index,
                informer=informer,
                word_s=word_s,
                away_m=worst,
                silent=tuple(side for side in Side if worst[side] > VOICE_M),
            )
        )
    return tuple(found)


def _along_line_m(lift: Lift) -> FloatArray:
    """Length along the supports' rope from the lower station to each support."""
    steps = [
        float(
            np.hypot(
                there.distance_m - here.distance_m,
                there.ground_m
                + there.rope_height_m
                - here.ground_m
                - here.rope_height_m,
            )
        )
        for here, there in pairwise(lift.supports)
    ]
    along_m = np.concatenate([[0.0], np.cumsum(steps)])
    return along_m if lift.upper_is_last else along_m[-1] - along_m


def _word(
    lift: Lift, along_m: FloatArray, span_index: int
) -> tuple[int | None, float | None]:
    """Who comes last below a span, and after how long it has been passed."""
    count = lift.organisation.informer_count
    speed = lift.organisation.informer_speed_m_per_s
    if count < 1 or speed <= 0:
        return None, None
    share_m = float(along_m.max()) / count
    low_m, high_m = sorted(float(v) for v in along_m[span_index : span_index + 2])
    # Stretches that meet the span; the lower part of a stretch is told last.
    times: list[tuple[float, int]] = []
    first = min(int(low_m / share_m), count - 1)
    for number in range(first, count):
        begin_m, end_m = number * share_m, (number + 1) * share_m
        if begin_m >= high_m:
            break
        reached_m = max(begin_m, low_m)
        times.append(((end_m - reached_m) / speed, number + 1))
    word_s, informer = max(times)
    return informer, word_s


def _away_m(lift: Lift, heights: Heights, side: Side) -> FloatArray:
    """From the highest seat at each metre to the nearest ground that may be walked."""
    envelope, ground = heights.envelopes[side], heights.line.ground[side]
    distance_m = envelope.distance_m
    ground_m = np.interp(distance_m, ground.distance_m, ground.elevation_m)
    seat_m = ground_m + envelope.rope_greatest_m - lift.carriers.rope_to_seat_m
    places = np.flatnonzero(_walkable(lift, heights, side))
    if places.size == 0:
        return np.full(distance_m.size, np.inf)
    after = np.searchsorted(places, np.arange(distance_m.size))
    nearest = [
        places[np.clip(index, 0, places.size - 1)] for index in (after - 1, after)
    ]
    slant = [
        np.hypot(distance_m - distance_m[place], seat_m - ground_m[place])
        for place in nearest
    ]
    away_m: FloatArray = np.minimum(*slant)
    return away_m


def _walkable(lift: Lift, heights: Heights, side: Side) -> BoolArray:
    envelope, ground = heights.envelopes[side], heights.line.ground[side]
    distance_m = envelope.distance_m
    slope_deg = np.interp(distance_m, ground.distance_m, ground.slope_deg)
    elevation_m = np.interp(distance_m, ground.distance_m, ground.elevation_m)
    # NaN (a void) compares as not walkable.
    walkable = (slope_deg <= STEEPEST_WALK_DEG) & np.isfinite(elevation_m)
    for below in hazards.under(lift, heights.line):
        if below.side is side and below.kind in NOT_WALKED:
            walkable &= (distance_m < below.from_m) | (distance_m > below.to_m)
    return np.asarray(walkable)


def _worst_m(
    heights: Heights, away_m: FloatArray, side: Side, span_index: int
) -> float:
    span, distance_m = (
        heights.line.spans[span_index],
        heights.envelopes[side].distance_m,
    )
    inside = (distance_m >= span.start_m) & (distance_m <= span.end_m)
    # A height that is not known counts as out of hearing.
    return float(np.nan_to_num(away_m[inside], nan=np.inf).max())


def doubts(heights: Heights, informed: Sequence[Informed]) -> tuple[Finding, ...]:
    """Carriers that no voice reaches, by name (rule 6)."""
    silent = [
        f"{heights.line.spans[item.span_index].id} {side.value}"
        for item in informed
        for side in item.silent
    ]
    if not silent:
        return ()
    return (
        Finding(
            key="informing.silent",
            severity=Severity.WARN,
            values={"units": ", ".join(silent), "voice_m": VOICE_M},
        ),
    )
