"""Which carrier hangs where, how many people are on the line, and who is still missing.

Numbers follow from one sighting: carriers keep their order on the loop.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights, StopGrid
from evac.facts.lift import Carriers, Grip, Lift, Side, Triple
from evac.words import Words

SPACING_TOLERANCE = 0.01
"""The loop may differ from carriers x spacing by this share before it is said."""

IN_STATIONS = 8
"""Carriers of a detachable lift that run slowly and close together in its stations, at
most, beyond those that their rope would hold (common practice, no source)."""

GATE_MISSES = Triple(low=0.0, likely=0.01, high=0.03)
"""Share of people whom an entry gate does not count (common practice, no source)."""

_SCORE_90 = 1.6448536269514722


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One carrier that somebody has seen: its number and where it stands."""

    number: str
    side: Side
    distance_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """Numbers of the carriers of one stop.

    ``by_place[side][k]`` is the number of column k of the stop grid, ``""`` where a
    carrier cannot be numbered or none stands. ``doubtful`` sides are those beyond a
    station from the sighting on a lift whose carriers may stand in the station.
    """

    by_place: Mapping[Side, tuple[str, ...]]
    doubtful: tuple[Side, ...]


def number_carriers(
    lift: Lift, stops: StopGrid, *, stop_index: int, sighting: Sighting
) -> Numbers:
    """Number every carrier on the line from one sighting (rule 11).

    Parameters
    ----------
    lift : Lift
        ``carriers.numbers`` holds the numbers in order of travel: the first passes a
        place before the second does. Parked carriers are left out of it.
    stops : StopGrid
        Where carriers stand.
    stop_index : int
        Row of the stop grid nearest to how the lift stands; see `nearest_stop`.
    sighting : Sighting
        The carrier that is known; the one on its side nearest to it gets its number.

    Returns
    -------
    Numbers

    Raises
    ------
    NoPlanError
        If the folder has no numbers, or not this one, or nothing stands near.

    Notes
    -----
    Carriers travel up the ascending side, round the upper station and down. Against
    the travel from the sighting numbers grow, with it they shrink. Numbers on the
    sighted side are sure. Beyond a station a detachable lift may have carriers
    standing inside; how many is not known, so that side is ``doubtful``: check one.
    """
    numbers = lift.carriers.numbers
    if sighting.number not in numbers:
        message = Words().say(
            "carriers.not_listed", number=sighting.number, count=len(numbers)
        )
        raise NoPlanError(message)
    order = _in_order_of_travel(lift, stops, stop_index=stop_index)
    seen = _nearest(stops, order, stop_index=stop_index, sighting=sighting)
    start = numbers.index(sighting.number)
    if len(order) > len(numbers):
        message = Words().say(
            "carriers.too_few_numbers", standing=len(order), count=len(numbers)
        )
        raise NoPlanError(message)
    by_place = {side: [""] * rows.shape[1] for side, rows in stops.span_index.items()}
    for place, (side, column) in enumerate(order):
        # The one ahead in travel has passed already: its number comes earlier.
        by_place[side][column] = numbers[(start + seen - place) % len(numbers)]
    return Numbers(
        by_place={side: tuple(found) for side, found in by_place.items()},
        doubtful=tuple(
            side
            for side in Side
            if side is not sighting.side and lift.carriers.grip is Grip.DETACHABLE
        ),
    )


def nearest_stop(stops: StopGrid, sighting: Sighting) -> int:
    """Row of the stop grid in which a carrier stands nearest to a sighting."""
    away = np.abs(stops.distance_m[sighting.side] - sighting.distance_m)
    return int(np.nanargmin(np.nanmin(away, axis=1)))


def _in_order_of_travel(
    lift: Lift, stops: StopGrid, *, stop_index: int
) -> list[tuple[Side, int]]:
    """Side and column of every carrier, the last in travel (lowest ascending) first."""
    found: list[tuple[Side, int]] = []
    for side in (Side.ASCENDING, Side.DESCENDING):
        columns = np.flatnonzero(stops.span_index[side][stop_index] >= 0)
        towards_last = (side is Side.ASCENDING) == lift.upper_is_last
        found += [
            (side, int(column))
            for column in (columns if towards_last else columns[::-1])
        ]
    return found


def _nearest(
    stops: StopGrid,
    order: Sequence[tuple[Side, int]],
    *,
    stop_index: int,
    sighting: Sighting,
) -> int:
    away = [
        abs(float(stops.distance_m[side][stop_index, column]) - sighting.distance_m)
        if side is sighting.side
        else math.inf
        for side, column in order
    ]
    if not away or min(away) == math.inf:
        message = Words().say("carriers.none_stands", side=str(sighting.side))
        raise NoPlanError(message)
    return int(np.argmin(away))


def carriers_by_span(
    numbers: Numbers, stops: StopGrid, *, stop_index: int
) -> dict[tuple[Side, int], tuple[str, ...]]:
    """The numbers in every span of both sides, in order of distance along the line.

    Parameters
    ----------
    numbers : Numbers
        Of `number_carriers`.
    stops : StopGrid
    stop_index : int
        The row that the numbers were made for.

    Returns
    -------
    dict
        (side, span index) -> numbers; spans in which none stands do not appear.
    """
    found: dict[tuple[Side, int], tuple[str, ...]] = {}
    for side, rows in stops.span_index.items():
        for column in np.flatnonzero(rows[stop_index] >= 0):
            key = (side, int(rows[stop_index, column]))
            number = numbers.by_place[side][int(column)]
            found[key] = (*found.get(key, ()), number)
    return found


def loop_length_m(lift: Lift, heights: Heights) -> float:
    """Unstretched length of the haul rope's loop, both bullwheels included [m].

    Notes
    -----
    Arc length of each side's rope in the loaded reference state, less the stretch of
    its mean tension T: length / (1 + T / EA). Half a bullwheel of the gauge at either
    end; the deflection into the stations is not known and left out.
    """
    length_m = math.pi * lift.gauge_m
    for state in heights.reference.values():
        arc_m = float(
            np.hypot(
                np.diff(state.rope_distance_m), np.diff(state.rope_elevation_m)
            ).sum()
        )
        tension_n = float(np.mean(state.span_horizontal_tension_n))
        tension_n *= arc_m / float(np.ptp(state.rope_distance_m))
        length_m += arc_m / (1 + tension_n / lift.rope.axial_stiffness_n)
    return length_m


def spacing_doubt(lift: Lift, *, loop_m: float) -> tuple[Finding, ...]:
    """Check carriers x spacing against the rope's loop (rule 11).

    Parameters
    ----------
    lift : Lift
        With its carriers on the loop, where stated.
    loop_m : float
        Unstretched length of the loop [m], both sides and both bullwheels.

    Returns
    -------
    tuple of Finding
        One where they differ by more than 1 % and more than half a spacing: then
        carriers are missing, parked or standing in a station, or the spacing is wrong.
        On a detachable lift some more than the rope holds stand in the stations.
    """
    carriers = lift.carriers
    if carriers.on_loop is None:
        return ()
    by_spacing_m = carriers.on_loop * carriers.spacing_m
    away_m = abs(by_spacing_m - loop_m)
    allowed_m = max(SPACING_TOLERANCE * loop_m, carriers.spacing_m / 2)
    if carriers.grip is Grip.DETACHABLE and by_spacing_m > loop_m:
        allowed_m += IN_STATIONS * carriers.spacing_m
    if away_m <= allowed_m:
        return ()
    return (
        Finding(
            key="carriers.spacing",
            severity=Severity.WARN,
            where="[carriers] on_loop",
            values={
                "count": carriers.on_loop,
                "spacing_m": carriers.spacing_m,
                "by_spacing_m": by_spacing_m,
                "loop_m": loop_m,
                "fitting": round(loop_m / carriers.spacing_m),
            },
        ),
    )


class PeopleSource(StrEnum):
    """What a number of people on the line comes from; ``BOTH``: a side from each."""

    GATE = "gate"
    OCCUPANCY = "occupancy"
    BOTH = "gate_and_occupancy"


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleOnLine:
    """People hanging on the line, from low to high, as sure as its source.

    By occupancy: 9 of 10 days if the stated occupancy is right. By the gate: a minute
    more or less of the same stream, and the people whom a gate misses.
    """

    low: int
    likely: int
    high: int
    source: PeopleSource


def people_from_gate(
    counted: int,
    *,
    ride_s: float,
    missed_share: Triple = GATE_MISSES,
) -> PeopleOnLine:
    """People on the ascending side from a count at the entry gate.

    Parameters
    ----------
    counted : int
        People who passed the gate within one ride before the stop.
    ride_s : float
        From the gate to getting off at the top [s], at the speed it ran.
    missed_share : Triple
        Share of people whom the gate does not count.

    Returns
    -------
    PeopleOnLine
        The interval holds the share missed, and one minute more or less of the same
        stream of people between gate and boarding.
    """
    if ride_s <= 0 or counted < 0:
        message = "a gate count needs a ride above 0 s and no fewer than 0 people"
        raise NoPlanError(message)
    minute = min(60.0 / ride_s, 1.0)
    return PeopleOnLine(
        low=math.floor(counted * (1 - minute) * (1 + missed_share.low)),
        likely=round(counted * (1 + missed_share.likely)),
        high=math.ceil(counted * (1 + minute) * (1 + missed_share.high)),
        source=PeopleSource.GATE,
    )


def people_from_occupancy(
    carriers: Carriers, *, on_side: int, occupancy: Triple
) -> PeopleOnLine:
    """People on one side from how full the lift was.

    Parameters
    ----------
    carriers : Carriers
        Their seats.
    on_side : int
        Carriers standing on the side.
    occupancy : Triple
        Low, likely and high share of the seats taken.

    Returns
    -------
    PeopleOnLine
        Low and high widen the stated shares by chance seating: with share q of n seats
        taken one by one, the count has standard deviation sqrt(n q (1 - q)).
    """
    seats = on_side * carriers.seats

    def bound(share: float, score: float) -> float:
        taken = min(max(share, 0.0), 1.0)
        spread = math.sqrt(seats * taken * (1 - taken))
        return min(max(seats * taken + score * spread, 0.0), float(seats))

    return PeopleOnLine(
        low=math.floor(bound(occupancy.low, -_SCORE_90)),
        likely=round(bound(occupancy.likely, 0.0)),
        high=math.ceil(bound(occupancy.high, _SCORE_90)),
        source=PeopleSource.OCCUPANCY,
    )


def people_on_line(lift: Lift, stops: StopGrid) -> dict[Side, PeopleOnLine]:
    """People to expect on each side at the stop, from the folder's occupancy.

    Taken at the stop position with the most carriers on the side.
    """
    shares = {
        Side.ASCENDING: lift.occupancy,
        Side.DESCENDING: lift.descending_occupancy,
    }
    return {
        side: people_from_occupancy(
            lift.carriers,
            on_side=int((stops.span_index[side] >= 0).sum(axis=1).max()),
            occupancy=occupancy,
        )
        for side, occupancy in shares.items()
    }


def both_sides(sides: Mapping[Side, PeopleOnLine]) -> PeopleOnLine:
    """People on the whole line; the sides' bounds added, so rather too wide."""
    found = sides.values()
    sources = {item.source for item in found}
    return PeopleOnLine(
        low=sum(item.low for item in found),
        likely=sum(item.likely for item in found),
        high=sum(item.high for item in found),
        source=sources.pop() if len(sources) == 1 else PeopleSource.BOTH,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """The three counts (rule 23), and whether the line may be called clear.

    ``lowered``: the tallies of all carriers together. ``received``: at the muster
    points. ``logged``: hanging carriers with a tally, empty or not. ``parked``: those
    of the loop found in a station or parked. ``on_loop``: as the folder says; None:
    how many really hang is not known. ``reckoned``: the fewest that hang at any stop
    by the plan. ``out``: people at work not yet counted back.
    """

    expected: PeopleOnLine
    lowered: int
    received: int
    logged: int
    parked: int
    on_loop: int | None
    reckoned: int
    out: int

    @property
    def missing(self) -> int:
        """People who are down but have not arrived; below 0 a count is wrong."""
        return self.lowered - self.received

    @property
    def untallied(self) -> int:
        """Carriers without a tally; below 0 one was logged twice.

        Where nobody says how many are on the loop: of those that the plan reckons,
        and never below 0, as more may hang.
        """
        if self.on_loop is None:
            return max(0, self.reckoned - self.logged)
        return self.on_loop - self.logged - self.parked

    @property
    def within_expected(self) -> bool:
        """Whether as many were lowered as were to be expected; it only warns."""
        return self.expected.low <= self.lowered <= self.expected.high

    @property
    def nothing_open(self) -> bool:
        """No known carrier untallied, everybody lowered received, everybody back."""
        return self.untallied == 0 and self.missing == 0 and self.out == 0

    @property
    def line_clear(self) -> bool:
        """Nothing open, and it is known how many carriers there are."""
        return self.on_loop is not None and self.nothing_open
