"""How long one carrier, one set-up, one crossing takes: low, likely, high.

Every time is the table's (corrected by drills where the chain says so), multiplied by
the day's factor (rule 27). Nothing is rounded here. Drills flatter: the drill-to-real
factor (rule 25) is not in here, it belongs to the simulation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from evac.facts.heights import Heights, IntArray, UnitHeights
from evac.facts.lift import (
    FloatArray,
    Kit,
    Lift,
    Side,
    SupportKind,
    Team,
    Technique,
    Triple,
)
from evac.facts.work import Option, Spread, UnitGate
from evac.gear import kit_of, technique_of
from evac.gear.reach import HAND_THROW_M
from evac.timing import steps
from evac.walking import walking_seconds

ALONG_ROPE_M_PER_S = Triple(low=1.8, likely=1.0, high=0.5)
"""Riding down the haul rope between carriers: at most 1.8 m/s (an operator's figure,
seen); likely and slow are common practice, no source."""

UP_ROPE_M_PER_S = Triple(low=0.5, likely=0.25, high=0.1)
"""Pulling oneself up along the haul rope from carrier to carrier (common practice, no
source)."""


def planned_people(lift: Lift, side: Side, *, carriers: int) -> IntArray:
    """People that the plan counts in each carrier of one side at one stop.

    The high occupancy of the side, spread evenly: the plan is made for the fullest
    line that the folder states, the imagined days draw their own.

    Parameters
    ----------
    lift : Lift
    side : Side
    carriers : int
        Carriers on the side at this stop.

    Returns
    -------
    ndarray of int, shape (carriers,)
        In order of distance; none above the seats.

    Notes
    -----
    With q people a carrier on average, carrier k holds ``floor((k + 1) q) -
    floor(k q)``, so that any run of carriers holds its share within one person.
    """
    ascending = side is Side.ASCENDING
    share = lift.occupancy if ascending else lift.descending_occupancy
    average = min(max(share.high, 0.0), 1.0) * lift.carriers.seats
    # The small addition keeps whole averages whole in floating point.
    before = np.floor(np.arange(carriers + 1) * average + 1e-9)
    people: IntArray = np.diff(before).astype(np.int64)
    return people


def rescue_seconds(
    lift: Lift,
    technique: Technique,
    *,
    team: Team | None = None,
    people: ArrayLike,
    rope_height_m: ArrayLike,
    seat_height_m: ArrayLike,
    gate_extra_s_per_passenger: ArrayLike = 0.0,
    ground_slope_deg: ArrayLike = 0.0,
) -> Spread:
    """Seconds to reach, clear and leave one carrier; an empty one is checked.

    Parameters
    ----------
    lift : Lift
        Its step times, carriers and conditions.
    technique : Technique
    team : Team, optional
        How it travels and from which end it works; on foot downhill if left out.
    people : array_like
        Passengers in the carrier, 0 or more; 0 means a look and a log entry (16).
    rope_height_m, seat_height_m : array_like
        Heights above the ground [m].
    gate_extra_s_per_passenger : array_like
        What hazards below add for every passenger [s].
    ground_slope_deg : array_like
        Slope of the landing [deg]; 0 where a hazard already states the seconds.

    Returns
    -------
    Spread
        Arrays of the broadcast shape.

    Notes
    -----
    Reach the next carrier + make ready + leave + people x (prepare + release + extra
    + lower x seat height + gear back x rope height), times the day's factor. Between
    carriers more than 20 m apart a team also moves the rest: on the ground by the
    table's rows for 20 m, on the rope at `ALONG_ROPE_M_PER_S`. Uphill on the rope the
    table's row, timed downhill, counts beside the whole way at `UP_ROPE_M_PER_S`.
    """
    kind = technique.kind
    count = np.asarray(people, dtype=float)
    rope_m = np.maximum(np.asarray(rope_height_m, dtype=float), 0.0)
    seat_m = np.maximum(np.asarray(seat_height_m, dtype=float), 0.0)
    steep = np.asarray(ground_slope_deg, dtype=float) >= steps.STEEP_GROUND_DEG
    extra_s = np.asarray(gate_extra_s_per_passenger, dtype=float)
    reach = next_carrier_seconds(lift, technique, team)
    rows = {
        "carrier": steps.carrier_rows(lift, kind),
        "passenger": steps.passenger_rows(lift, kind),
        "lower": steps.lower_rows(lift, kind),
        "back": steps.gear_back_rows(lift, kind),
        "steep": steps.steep_rows(lift, kind) if np.any(steep) else steps.ZERO,
        "check": steps.check_rows(lift, kind),
    }
    factor = steps.day_factor(lift.conditions, with_rope=kind != steps.LADDER)

    def one(field: str) -> FloatArray:
        step = {name: float(getattr(row, field)) for name, row in rows.items()}
        each = (
            step["passenger"]
            + step["lower"] * seat_m
            + step["back"] * rope_m
            + np.where(steep, step["steep"], 0.0)
        )
        occupied = step["carrier"] + count * each
        hands_on = np.where(count > 0, occupied, step["check"])
        seconds: FloatArray = (
            factor * (float(getattr(reach, field)) + hands_on) + count * extra_s
        )
        return seconds

    return Spread(low_s=one("low"), likely_s=one("likely"), high_s=one("high"))


def next_carrier_seconds(lift: Lift, technique: Technique, team: Team | None) -> Triple:
    """From one carrier to the next, without the day's factor."""
    reach = steps.reach_rows(lift, technique.kind)
    more_m = max(lift.carriers.spacing_m - steps.MOVE_M, 0.0)
    on_rope = steps.cross_rows(lift, technique.kind, over_rollers=True) is not None
    uphill = team is not None and not team.start_upper
    if reach is not None and on_rope:
        speed = UP_ROPE_M_PER_S if uphill else ALONG_ROPE_M_PER_S
        rope_m = lift.carriers.spacing_m if uphill else more_m
        ride = Triple(
            low=rope_m / speed.low,
            likely=rope_m / speed.likely,
            high=rope_m / speed.high,
        )
        return steps.added(reach, ride)
    move = steps.move_rows(lift, team, uphill=uphill)
    if reach is None:
        return steps.scaled(move, lift.carriers.spacing_m / steps.MOVE_M)
    return steps.added(reach, steps.scaled(move, more_m / steps.MOVE_M))


def pause_s_per_passenger(kit: Kit) -> float:
    """What the descender's cooling adds, spread evenly over its descents (rule 14).

    Spread so, a zone is never counted shorter than with its whole pauses, and longer
    by less than one pause.
    """
    return kit.pause_s / kit.pause_after if kit.pause_after else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unit:
    extra_s: FloatArray
    slope_deg: FloatArray


def carrier_seconds(
    lift: Lift,
    heights: Heights,
    gates: Sequence[UnitGate],
    option: Option,
    *,
    side: Side,
    span_index: IntArray,
    people: ArrayLike,
    rope_height_m: ArrayLike,
    seat_height_m: ArrayLike,
) -> Spread:
    """Seconds of carriers where they hang: hazards and landing slope looked up.

    A landing that a hazard of kind steep ground already gives seconds for does not
    get the table's seconds for steep ground as well.

    Parameters
    ----------
    lift, heights, gates
        Of one chain.
    option : Option
        Who works, with what.
    side : Side
    span_index : ndarray of int
        Span of each carrier; negative entries (padding) give any number.
    people, rope_height_m, seat_height_m : array_like
        As for :func:`rescue_seconds`, of the same shape.
    """
    unit = _unit_tables(lift, heights, gates, side=side)
    pause_s = pause_s_per_passenger(kit_of(lift, option.kit))
    spans = np.maximum(np.asarray(span_index), 0)
    return rescue_seconds(
        lift,
        technique_of(lift, option.technique),
        team=lift.teams[option.team_index],
        people=people,
        rope_height_m=rope_height_m,
        seat_height_m=seat_height_m,
        gate_extra_s_per_passenger=unit.extra_s[spans] + pause_s,
        ground_slope_deg=unit.slope_deg[spans],
    )


def setup_seconds(lift: Lift, option: Option, unit: UnitHeights) -> Triple:
    """The set-up that an option needs in a unit, once."""
    technique = technique_of(lift, option.technique)
    kit = next(item for item in lift.kits if item.id == option.kit)
    seconds = steps.span_rows(lift, technique.kind)
    high = not unit.rope_greatest_m + unit.margin_m <= HAND_THROW_M
    if kit.launcher and technique.needs_line_over_rope and high:
        seconds = steps.added(seconds, steps.launcher_rows(lift, technique.kind))
    return steps.scaled(seconds, _factor(lift, technique))


def cross_seconds(
    lift: Lift,
    heights: Heights,
    option: Option,
    *,
    support_index: int,
    sets_up_next: bool = True,
) -> Triple:
    """Passing an inner support from one span to the next, beside the next set-up.

    On the ground: walking round it, packed or deep and steep. On the rope: over the
    rollers where the technique passes them, else down and up again. Climbing is then
    part of the crossing, so the next span's set-up, which is that climb, is taken off
    (never below 0); all of it counts where no set-up follows (``sets_up_next`` False).
    """
    if lift.supports[support_index].mark:
        # Nothing stands at a cut: no rollers, nothing to walk round.
        return steps.ZERO
    technique = technique_of(lift, option.technique)
    team = lift.teams[option.team_index]
    kinds = support_kinds(lift, heights, support_index)
    pressed = bool(kinds & {SupportKind.HOLD_DOWN, SupportKind.COMBINED})
    passes = technique.passes_hold_downs if pressed else technique.passes_rollers
    stays_on = not is_off_rollers(lift, heights, support_index)
    rows = steps.cross_rows(lift, technique.kind, over_rollers=passes and stays_on)
    if rows is None:
        slope_deg = max(
            (
                _landing_deg(unit)
                for unit in heights.units
                if unit.span_index in (support_index - 1, support_index) and unit.known
            ),
            default=0.0,
        )
        hard = steps.is_hard_ground(lift, team, slope_deg=slope_deg)
        rows = steps.walk_rows(lift, technique.kind, is_hard=hard)
    elif sets_up_next:
        climb = steps.span_rows(lift, technique.kind)
        rows = Triple(
            low=max(rows.low - climb.low, 0.0),
            likely=max(rows.likely - climb.likely, 0.0),
            high=max(rows.high - climb.high, 0.0),
        )
    return steps.scaled(rows, _factor(lift, technique))


def side_change_seconds(lift: Lift, option: Option) -> Triple:
    """From one side of the line to the other, beside the next set-up (rule 18)."""
    technique = technique_of(lift, option.technique)
    rows = steps.change_rows(lift, technique.kind)
    return steps.scaled(rows, _factor(lift, technique))


def walk_back_seconds(
    lift: Lift, heights: Heights, option: Option, *, span_index: int
) -> Triple:
    """Back along a span on foot or ski, between its two sides (rules 17 and 18).

    Both sides of a span are worked in the same direction, so who has come to its far
    end on the one begins the other at its near end again: on the ground, against the
    direction of work, at most from support to support. Turning round instead takes as
    long: the way back is then walked after the second side.

    Notes
    -----
    The table's row for 20 m, uphill where the ground rises that way. The row for packed
    snow knows no slope, so who walks is never quicker than the walking rule off any way
    from support to support, as on every other way between two supports. Who skis down
    takes the row alone.
    """
    technique = technique_of(lift, option.technique)
    team = lift.teams[option.team_index]
    span = heights.line.spans[span_index]
    first, last = heights.line.supports[span_index : span_index + 2]
    towards_last = team.start_upper != lift.upper_is_last
    # Back from the far end to the near one.
    rise_m = (first.ground_m - last.ground_m) * (1 if towards_last else -1)
    along_m = span.end_m - span.start_m
    rows = steps.move_rows(lift, team, uphill=rise_m > 0)
    timed = steps.scaled(rows, math.hypot(along_m, rise_m) / steps.MOVE_M)
    if team.travel != "ski" or rise_m > 0:
        walked_s = _off_way_s(lift, length_m=along_m, rise_m=rise_m)
        timed = Triple(
            low=max(timed.low, walked_s),
            likely=max(timed.likely, walked_s),
            high=max(timed.high, walked_s),
        )
    return steps.scaled(timed, _factor(lift, technique))


def _off_way_s(lift: Lift, *, length_m: float, rise_m: float) -> float:
    """On foot off any way by daylight; the night is in the day's factor."""
    travel = lift.travel
    walked_s = walking_seconds(
        travel.walking_rule,
        length_m=length_m,
        up_m=max(rise_m, 0.0),
        down_m=max(-rise_m, 0.0),
    )
    return travel.foot_factor * travel.off_way_factor * float(walked_s)


def is_off_rollers(lift: Lift, heights: Heights, support_index: int) -> bool:
    """Whether the rope is said to be off a support's rollers, or leaves them.

    Said by the folder (``doubtful``), or found on either side in any solved state.
    """
    support = lift.supports[support_index]
    return support.doubtful or any(
        report.lifted and report.support_id == support.id for report in heights.supports
    )


def support_kinds(
    lift: Lift, heights: Heights, support_index: int
) -> frozenset[SupportKind]:
    """The kinds of a support on both sides, inferred where the folder is blank."""
    support = lift.supports[support_index]
    if support.kind is not None:
        return frozenset({support.kind})
    return frozenset(
        SupportKind(report.kind)
        for report in heights.supports
        if report.support_id == support.id
    )


def _landing_deg(unit: UnitHeights) -> float:
    """The slope of a unit's ground; where it is not known it counts as steep."""
    return 90.0 if math.isnan(unit.ground_slope_deg) else unit.ground_slope_deg


def _factor(lift: Lift, technique: Technique) -> float:
    return steps.day_factor(lift.conditions, with_rope=technique.kind != steps.LADDER)


def _unit_tables(
    lift: Lift, heights: Heights, gates: Sequence[UnitGate], *, side: Side
) -> _Unit:
    spans = len(lift.supports) - 1
    extra_s, slope_deg = np.zeros(spans), np.zeros(spans)
    for unit in heights.units:
        if unit.side is side and unit.known:
            slope_deg[unit.span_index] = _landing_deg(unit)
    stated = {
        hazard.id
        for hazard in lift.hazards
        if hazard.kind == "steep ground" and hazard.extra_s_per_passenger > 0
    }
    for gate in gates:
        if gate.side is side:
            extra_s[gate.span_index] = gate.extra_s_per_passenger
            if stated & set(gate.hazard_ids):
                slope_deg[gate.span_index] = 0.0
    return _Unit(extra_s=extra_s, slope_deg=slope_deg)
