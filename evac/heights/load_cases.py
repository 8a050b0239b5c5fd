"""Who sits where at the stop: the declared load cases, as people in each carrier."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from evac.facts.heights import BoolArray, Line
from evac.facts.lift import FloatArray, Lift, LoadCase, Side
from evac.units import GRAVITY_M_PER_S2

DEFAULT_CASES = (
    LoadCase(
        name="ascending side full",
        ascending_share=1.0,
        descending_share=0.0,
    ),
    LoadCase(name="both sides full", ascending_share=1.0, descending_share=1.0),
    LoadCase(
        name="lower half full",
        ascending_share=1.0,
        descending_share=0.0,
        to_share=0.5,
    ),
    LoadCase(
        name="upper half full",
        ascending_share=1.0,
        descending_share=0.0,
        from_share=0.5,
    ),
    LoadCase(name="descending side full", ascending_share=0.0, descending_share=1.0),
    LoadCase(
        name="groups of six with gaps of six",
        ascending_share=1.0,
        descending_share=0.0,
        batch_loaded=6,
        batch_empty=6,
    ),
)
"""What a folder without load cases is planned for (rule 10)."""

ALL_EMPTY = LoadCase(name="all empty", ascending_share=0.0, descending_share=0.0)


PART_EMPTIED = "part emptied"
"""What a line is called on which some carriers are cleared and others not yet."""

COUNTER_FALL_M = 5.0
"""All falls of a line together that leave it one that only rises: loaded carriers there
move the tension by less than a hundredth (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """The row of carriers of one side: how many load numbers it takes, and where.

    ``distance_m`` (k,) is roughly where each carrier of the row stands, by which load
    cases tell a lower from an upper half; carriers count from the drive.
    """

    side: Side
    distance_m: FloatArray
    on_line: int
    """So many of the row stand between the stations; the rest are spare numbers."""


def load_cases(lift: Lift) -> tuple[LoadCase, ...]:
    """The folder's load cases, or the default ones where it names none."""
    return lift.load_cases or DEFAULT_CASES


def row_of(lift: Lift, line: Line, *, side: Side, phase_m: float) -> Row:
    """Where the carriers of one side roughly stand, along the chords of the line.

    Stretch and sag move a carrier by a few metres along the line, which matters to
    nobody's place in the lower or the upper half; the exact place comes from the rope.

    Parameters
    ----------
    lift : Lift
    line : Line
    side : Side
    phase_m : float
        Unstretched rope from the drive's support to the first carrier [m].
    """
    chord_m = np.hypot(np.diff(line.distance_m), np.diff(line.rope_elevation_m))
    passed_m = np.append(0.0, np.cumsum(chord_m))
    spacing_m = lift.carriers.spacing_m
    # Sag makes the rope longer than its chords, and a carrier may stand on the edge.
    count = int(1.02 * passed_m[-1] / spacing_m) + 3
    rope_m = phase_m + spacing_m * np.arange(count)
    if lift.drive_at_last:
        distance_m = np.interp(passed_m[-1] - rope_m, passed_m, line.distance_m)
    else:
        distance_m = np.interp(rope_m, passed_m, line.distance_m)
    on_line = int(np.sum(rope_m <= passed_m[-1]))
    return Row(side=side, distance_m=distance_m, on_line=on_line)


def people_of(lift: Lift, line: Line, *, row: Row, case: LoadCase) -> FloatArray:
    """People in each carrier of a row under one load case.

    Parameters
    ----------
    lift : Lift
    line : Line
    row : Row
    case : LoadCase

    Returns
    -------
    ndarray, shape (k,)
        From 0 to the seats of a carrier, in order from the drive; not whole where
        the case's share of the seats is not.
    """
    share = case.ascending_share
    if row.side is Side.DESCENDING:
        share = case.descending_share
    length_m = line.distance_m[-1] - line.distance_m[0]
    part = (row.distance_m - line.distance_m[0]) / length_m
    if not lift.upper_is_last:
        part = 1 - part
    loaded = (part >= case.from_share - 1e-9) & (part <= case.to_share + 1e-9)
    if case.batch_loaded > 0:
        loaded &= _in_batch(part, case, on_line=row.on_line)
    return np.where(loaded, share * lift.carriers.seats, 0.0)


def _in_batch(part: FloatArray, case: LoadCase, *, on_line: int) -> BoolArray:
    """Whether each carrier is one of the loaded ones, counted from below."""
    upwards = part[on_line - 1] >= part[0]
    number = np.arange(part.size)
    from_below = number if upwards else on_line - 1 - number
    batch = case.batch_loaded + case.batch_empty
    within: BoolArray = (from_below % batch) < case.batch_loaded
    return within


def rises_and_falls(line: Line) -> bool:
    """Whether a line both rises and falls by more than `COUNTER_FALL_M`."""
    rise_m = np.diff(line.rope_elevation_m)
    return bool(
        min(rise_m.clip(min=0).sum(), -rise_m.clip(max=0).sum()) > (COUNTER_FALL_M)
    )


def people_by_sign(
    line: Line, *, row: Row, full: FloatArray, drive_at_last: bool
) -> FloatArray:
    """People on a line that is emptied so that one span hangs highest, or lowest.

    A line that rises, falls and rises again is pulled tightest in a span by neither
    all nor none of the others: what is loaded on a stretch that rises from there
    towards the return station takes tension away, what is loaded where it falls adds.

    Parameters
    ----------
    line : Line
    row : Row
    full : ndarray, shape (k,)
        People of the full side.
    drive_at_last : bool

    Returns
    -------
    ndarray, shape (2 n, k)
        For each of n spans two rows: the span itself empty and all others pulling it
        tight; itself full and all others letting it down. On a line that only rises
        or only falls, emptying from either end does the same.

    Notes
    -----
    Along a rope over frictionless rollers the tension grows by ``P sin(slope)`` at
    each carrier of weight P. With the tension held at the return only carriers between
    there and the span count; held at the drive or by both, those on the other side
    count the other way round (first order; by the slope of each carrier's span).
    """
    rise_m = np.diff(line.rope_elevation_m) * (-1 if drive_at_last else 1)
    spans = np.clip(
        np.searchsorted(line.distance_m, row.distance_m, side="left") - 1,
        0,
        rise_m.size - 1,
    )
    rises = rise_m[spans] > 0
    people: list[FloatArray] = []
    for own in range(rise_m.size):
        beyond = spans < own if drive_at_last else spans > own
        for tight in (True, False):
            loaded = np.where(beyond, rises != tight, rises == tight)
            people.append(full * np.where(spans == own, not tight, loaded))
    return np.array(people)


def weight_n(lift: Lift, people: FloatArray) -> FloatArray:
    """Weight [N] of carriers with so many people in them."""
    carriers = lift.carriers
    mass_kg = carriers.empty_mass_kg + people * carriers.passenger_mass_kg
    weight: FloatArray = mass_kg * GRAVITY_M_PER_S2
    return weight


def fullest_people(lift: Lift, people: FloatArray, side: Side) -> FloatArray:
    """The most people any declared case puts into each carrier of a row.

    Parameters
    ----------
    lift : Lift
    people : ndarray, shape (c, k)
        One row a load case.
    side : Side

    Returns
    -------
    ndarray, shape (k,)
    """
    most: FloatArray = people.max(axis=0)
    occupancy = lift.occupancy
    if side is Side.DESCENDING:
        occupancy = lift.descending_occupancy
    return np.maximum(most, occupancy.high * lift.carriers.seats)


def most_alone(lift: Lift, people: FloatArray, side: Side) -> float:
    """People in the one loaded carrier of an otherwise empty side: all seats or none.

    Even where only a tenth of the seats of a side is taken, one carrier may be full.
    """
    seats = float(lift.carriers.seats)
    return seats if fullest_people(lift, people, side).max() > 0 else 0.0
