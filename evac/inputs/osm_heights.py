"""Support heights for a line whose heights nobody drew, so that a rope can lie on it.

Arrays only. The least heights are sought at which the bare rope rests on every
support, however the line below is loaded; a support that would have to be higher than
any is built becomes one that carries the rope from either side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

PRESSED_SHARE = 0.5
"""Share of the bare rope's own weight that must still press on every support."""
MOST_SWEEPS = 4000
STATION_ZONE_M = 80.0
"""Over this length from a station the clearance grows: carriers come in low."""
STATION_CLEARANCE_M = 3.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Ropeway:
    """What the rope of a line weighs and how it is pulled.

    ``tension_low_n`` and ``tension_high_n`` act on one side at the lower station.
    """

    bare_n_per_m: float
    loaded_n_per_m: float
    tension_low_n: float
    tension_high_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightRules:
    """The range in which support heights are chosen [m]."""

    lowest_m: float
    highest_m: float
    station_m: float
    clearance_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenHeights:
    """Rope heights above ground (n,), and which supports carry it from either side."""

    height_m: FloatArray
    combined: NDArray[np.bool_]


def choose_heights(
    distance_m: FloatArray,
    ground_m: FloatArray,
    *,
    profile_distance_m: FloatArray,
    profile_ground_m: FloatArray,
    rope: Ropeway,
    rules: HeightRules,
) -> ChosenHeights:
    """The least support heights within a range that keep the rope on its supports.

    Parameters
    ----------
    distance_m, ground_m : ndarray, shape (n,)
        The supports along the line and the ground below them [m], stations' edges
        first and last; at least 2.
    profile_distance_m, profile_ground_m : ndarray, shape (m,)
        Ground between them [m], NaN where not known.
    rope : Ropeway
        Weights and tension.
    rules : HeightRules
        Range, height at the stations, and clearance below the rope.

    Returns
    -------
    ChosenHeights
        To 0.01 m, rounded up.

    Notes
    -----
    The rope rests on a support as long as its bare sag on both sides outweighs the
    chords' upward bend: z >= chord - p w d1 d2 / (2 T), with w the bare rope, d1 and
    d2 the spans, T the greatest tension there and p `PRESSED_SHARE`. Raising every
    support that fails to just this height, again and again, converges from below to
    the least solution, since no support's bound falls when another one rises.
    """
    combined = np.zeros(distance_m.size, dtype=bool)
    while True:
        rope_m, resting_m = _raised(
            distance_m,
            ground_m,
            combined=combined,
            profile=(profile_distance_m, profile_ground_m),
            rope=rope,
            rules=rules,
        )
        # Only the wish to rest makes a support needlessly high: clearance is needed.
        excess_m = np.where(combined, 0.0, resting_m - ground_m - rules.highest_m)
        excess_m[[0, -1]] = 0.0
        if excess_m.max() <= 0:
            break
        combined[int(np.argmax(excess_m))] = True
    # To the centimetre: between supports 10 m apart a decimetre would lift the rope.
    height_m = np.ceil((rope_m - ground_m) * 100 - 1e-6) / 100
    return ChosenHeights(height_m=height_m, combined=combined)


def _raised(
    distance_m: FloatArray,
    ground_m: FloatArray,
    *,
    combined: NDArray[np.bool_],
    profile: tuple[FloatArray, FloatArray],
    rope: Ropeway,
    rules: HeightRules,
) -> tuple[FloatArray, FloatArray]:
    """Rope heights (n,) above datum, and the greatest that resting alone asked for."""
    rope_m = ground_m + rules.lowest_m
    rope_m[[0, -1]] = ground_m[[0, -1]] + rules.station_m
    resting_m = np.full(rope_m.size, -np.inf)
    span_m = np.diff(distance_m)
    above_m = ground_m - ground_m.min()
    tightest_n = rope.tension_high_n + rope.loaded_n_per_m * above_m
    sag_m = PRESSED_SHARE * rope.bare_n_per_m * span_m[:-1] * span_m[1:]
    sag_m = sag_m / (2 * tightest_n[1:-1])
    share = span_m[:-1] / (span_m[:-1] + span_m[1:])
    for _ in range(MOST_SWEEPS):
        before_m = rope_m.copy()
        for index in range(1, rope_m.size - 1):
            if combined[index]:
                continue
            left, right = rope_m[index - 1], rope_m[index + 1]
            least_m = left + share[index - 1] * (right - left) - sag_m[index - 1]
            if least_m > rope_m[index]:
                rope_m[index] = resting_m[index] = least_m
        _clear(rope_m, distance_m, above_m, profile=profile, rope=rope, rules=rules)
        if np.abs(rope_m - before_m).max() < 1e-4:
            break
    return rope_m, resting_m


def _clear(
    rope_m: FloatArray,
    distance_m: FloatArray,
    above_m: FloatArray,
    *,
    profile: tuple[FloatArray, FloatArray],
    rope: Ropeway,
    rules: HeightRules,
) -> None:
    """Raise both ends of every span whose loaded rope comes too near the ground."""
    at_m, ground_m = profile
    last = rope_m.size - 1
    for index in range(last):
        start_m, end_m = distance_m[index], distance_m[index + 1]
        inside = (at_m > start_m) & (at_m < end_m)
        x_m = at_m[inside] - start_m
        if x_m.size == 0:
            continue
        length_m = end_m - start_m
        slackest_n = rope.tension_low_n + rope.bare_n_per_m * above_m[index]
        sag_m = rope.loaded_n_per_m * x_m * (length_m - x_m) / (2 * slackest_n)
        chord_m = rope_m[index] + x_m / length_m * (rope_m[index + 1] - rope_m[index])
        from_end_m = np.minimum(at_m[inside], distance_m[-1] - at_m[inside])
        grown = np.clip(from_end_m / STATION_ZONE_M, 0.0, 1.0)
        wanted_m = STATION_CLEARANCE_M + grown * (
            rules.clearance_m - STATION_CLEARANCE_M
        )
        short_m = wanted_m - (chord_m - sag_m - ground_m[inside])
        short_m = np.where(np.isnan(short_m), -np.inf, short_m)
        worst = int(np.argmax(short_m))
        if short_m[worst] <= 1e-4:
            continue
        weight = np.array([1 - x_m[worst] / length_m, x_m[worst] / length_m])
        free = np.array([index > 0, index + 1 < last])
        if not free.any():
            continue
        # The least raise of the free ends that lifts the rope there by what lacks.
        weight = np.where(free, weight, 0.0)
        rope_m[index : index + 2] += short_m[worst] * weight / (weight**2).sum()
