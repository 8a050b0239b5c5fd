"""The table of step times, looked up by what a row says it is for."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from evac.errors import NoPlanError
from evac.factors import DEEP_SNOW_M, NIGHT
from evac.facts.lift import CarrierType, Conditions, Lift, StepTime, Team, Triple
from evac.words import Words

ON_THE_GROUND = "any on the ground"
"""Rows that are looked up for whoever moves on the ground below the line."""

LADDER = "ladder"

GLOVES = 1.3
GLOVES_BELOW_C = -15.0
WINDY = 1.3
WINDY_FROM_M_PER_S = 10.0
ICED = 1.5
"""Multipliers of the day beside the night (rule 27; common practice, no source)."""

STEEP_GROUND_DEG = 25.0
"""From this ground slope on a landing costs extra (common practice, no source)."""

MOVE_M = 20.0
"""Length of the move that the table's ground rows state."""

# The starts of steps that are done only under a condition, and of those looked up.
_SOMETIMES = ("add for", "check")
_LAUNCHER = "add for a line"
_STEEP = "add for steep ground"
_INCAPACITATED = "add for an incapacitated"
_CHILD = "add for a child"
_EMPTY, _CLOSED = "check an empty", "check a closed cabin"
_CHANGE = "change side"
_WALK = "walk round a support"
_FROM_ANYWHERE = (_STEEP, _INCAPACITATED, _CHILD, _EMPTY, _CLOSED, _CHANGE, _WALK)
_CROSS = "cross"
_OVER, _DOWN_UP = "over the rollers", "going down and up"
_MOVES = tuple(
    f"move 20 m on {how}"
    for how in (
        "ski downhill",
        "foot packed",
        "foot deep snow downhill",
        "foot deep snow uphill",
    )
)
_ON_SKI, _PACKED, _DEEP_DOWN, _DEEP_UP = _MOVES

_LOWER = "lower"
_WAY = "reach"
_MAKE_READY = "make ready"
_MAKE_READY_IN_CABIN = "make ready in a cabin"

ZERO = Triple(low=0.0, likely=0.0, high=0.0)


def day_factor(conditions: Conditions, *, with_rope: bool = True) -> float:
    """What night, cold hands, wind and an iced rope do to every step time.

    Parameters
    ----------
    conditions : Conditions
    with_rope : bool
        False for a technique that never touches the haul rope: ice does not count.

    Examples
    --------
    >>> from datetime import date
    >>> day = Conditions(
    ...     date=date(2027, 1, 20), stop_clock_s=45000, time_zone="Europe/Rome",
    ...     air_temperature_c=-18, wind_m_per_s=5, gust_m_per_s=9, night=True,
    ...     iced_rope=False, snow_least_m=0, snow_most_m=1, skyline_angle_deg=6)
    >>> round(day_factor(day), 2)
    1.69
    """
    factor = 1.0
    if conditions.night:
        factor *= NIGHT
    if conditions.air_temperature_c < GLOVES_BELOW_C:
        factor *= GLOVES
    if conditions.wind_m_per_s >= WINDY_FROM_M_PER_S:
        factor *= WINDY
    if conditions.iced_rope and with_rope:
        factor *= ICED
    return factor


def has_times(lift: Lift, kind: str) -> bool:
    """Whether the table says how long a passenger takes by this kind of technique."""
    return any(
        row.technique == kind and row.per == "passenger" for row in lift.step_times
    )


def total(rows: Iterable[StepTime]) -> Triple:
    """Sum of some rows."""
    picked = list(rows)
    return Triple(
        low=sum(row.seconds.low for row in picked),
        likely=sum(row.seconds.likely for row in picked),
        high=sum(row.seconds.high for row in picked),
    )


def scaled(seconds: Triple, factor: float) -> Triple:
    """Three times multiplied alike."""
    return Triple(
        low=seconds.low * factor,
        likely=seconds.likely * factor,
        high=seconds.high * factor,
    )


def added(first: Triple, second: Triple) -> Triple:
    """Sum of two."""
    return Triple(
        low=first.low + second.low,
        likely=first.likely + second.likely,
        high=first.high + second.high,
    )


def span_rows(lift: Lift, kind: str) -> Triple:
    """The set-up that every span needs."""
    return total(_of_part(lift, kind, "span"))


def launcher_rows(lift: Lift, kind: str) -> Triple:
    """What a line launcher adds to the set-up."""
    return total(_rows(lift, kind, "span", lambda row: row.step.startswith(_LAUNCHER)))


def occupied_carrier_rows(lift: Lift, kind: str) -> list[StepTime]:
    """The rows that count once at every occupied carrier, the way to it included.

    "make ready in a cabin" takes the place of "make ready" on a line of cabins, where
    the technique has both.
    """
    rows = _of_part(lift, kind, "carrier", "way")
    in_cabins = lift.carriers.type is CarrierType.CABIN
    if in_cabins and any(row.step == _MAKE_READY_IN_CABIN for row in rows):
        left_out = _MAKE_READY
    else:
        left_out = _MAKE_READY_IN_CABIN
    return [row for row in rows if row.step != left_out]


def carrier_rows(lift: Lift, kind: str) -> Triple:
    """What every occupied carrier costs beside its passengers and the move."""
    return total(row for row in occupied_carrier_rows(lift, kind) if not is_way(row))


def reach_rows(lift: Lift, kind: str) -> Triple | None:
    """Getting the gear to the next carrier; None where the table has no such row."""
    rows = _of_part(lift, kind, "way")
    return total(rows) if rows else None


def passenger_rows(lift: Lift, kind: str) -> Triple:
    """What every passenger costs, whatever the height."""
    return total(_of_part(lift, kind, "passenger"))


def steep_rows(lift: Lift, kind: str) -> Triple:
    """What a landing on steep ground adds for every passenger.

    From the technique's own rows, else from those of another technique: the ground
    is as steep for everybody.
    """
    return _own_or_any(lift, kind, _STEEP, lambda row: row.step.startswith(_STEEP))


def lower_rows(lift: Lift, kind: str) -> Triple:
    """Lowering, for every metre of seat height."""
    return total(_of_part(lift, kind, "lower"))


def gear_back_rows(lift: Lift, kind: str) -> Triple:
    """Everything else that every metre of height costs."""
    return total(_of_part(lift, kind, "gear"))


def check_rows(lift: Lift, kind: str) -> Triple:
    """Looking into an empty carrier (rule 16): closed cabins must be opened."""
    return _own_or_any(lift, kind, _check_step(lift), lambda row: is_check(lift, row))


def change_rows(lift: Lift, kind: str) -> Triple:
    """Changing from one side of the line to the other."""
    return _own_or_any(lift, kind, _CHANGE, lambda row: row.step.startswith(_CHANGE))


def cross_rows(lift: Lift, kind: str, *, over_rollers: bool) -> Triple | None:
    """Passing a support on the rope; None for kinds that walk on the ground."""
    wanted = _OVER if over_rollers else _DOWN_UP
    rows = _rows(
        lift,
        kind,
        "support",
        lambda row: row.step.startswith(_CROSS) and wanted in row.step,
    )
    return total(rows) if rows else None


def walk_rows(lift: Lift, kind: str, *, is_hard: bool) -> Triple:
    """Walking round a support: packed, or deep or steep."""

    def fits(row: StepTime) -> bool:
        return row.step.startswith(_WALK) and is_hard == is_hard_walk(
            row.step, condition=row.condition
        )

    return _own_or_any(lift, kind, _WALK, fits)


def is_hard_walk(step: str, *, condition: str) -> bool:
    """Whether a row is for walking round a support in deep snow or on steep ground.

    The one step that may stand twice for a technique: its condition is looked at.
    """
    return step.startswith(_WALK) and ("deep" in condition or "steep" in condition)


def move_rows(lift: Lift, team: Team | None, *, uphill: bool) -> Triple:
    """Moving 20 m on the ground below the line, as the team travels and the snow is."""
    if team is not None and team.travel == "ski" and not uphill:
        step = _ON_SKI
    elif lift.conditions.snow_most_m >= DEEP_SNOW_M:
        step = _DEEP_UP if uphill else _DEEP_DOWN
    else:
        step = _PACKED
    return _own_or_any(lift, ON_THE_GROUND, step, lambda row: row.step == step)


def is_hard_ground(lift: Lift, team: Team | None, *, slope_deg: float) -> bool:
    """Whether walking round a support takes the deep-or-steep time."""
    on_ski = team is not None and team.travel == "ski"
    deep = lift.conditions.snow_most_m >= DEEP_SNOW_M and not on_ski
    return deep or slope_deg >= STEEP_GROUND_DEG


def is_always(row: StepTime) -> bool:
    """Whether a step is done whatever the passenger, the ground and the carrier."""
    return not row.step.startswith(_SOMETIMES)


def part_of(step: str, *, per: str) -> str | None:
    """The part of the usual work that a row gives time to.

    Parameters
    ----------
    step, per : str
        As in the table of step times.

    Returns
    -------
    str or None
        ``"span"``, ``"carrier"``, ``"passenger"``, ``"way"`` to the next carrier,
        ``"lower"`` or ``"gear"`` (a metre of height each). None: done under a
        condition only, or beside the spans.

    Examples
    --------
    >>> part_of("lower", per="metre"), part_of("reach the next carrier", per="carrier")
    ('lower', 'way')
    >>> part_of("check an empty chair", per="carrier") is None
    True
    """
    if per == "metre":
        return "lower" if step.startswith(_LOWER) else "gear"
    if per not in ("span", "carrier", "passenger") or step.startswith(_SOMETIMES):
        return None
    return "way" if per == "carrier" and step.startswith(_WAY) else per


def is_taken(row: StepTime) -> bool:
    """Whether a row counts in some plan, always or where its condition holds."""
    if row.step in _MOVES or row.step.startswith(_FROM_ANYWHERE):
        return True
    if row.technique == ON_THE_GROUND:
        return False
    if row.per == "support":
        return row.step.startswith(_CROSS) and (
            _OVER in row.step or _DOWN_UP in row.step
        )
    launches = row.per == "span" and row.step.startswith(_LAUNCHER)
    return launches or part_of(row.step, per=row.per) is not None


def is_way(row: StepTime) -> bool:
    """Whether a step is the way to the next carrier."""
    return part_of(row.step, per=row.per) == "way"


def is_check(lift: Lift, row: StepTime) -> bool:
    """Whether a step is looking into an empty carrier of the lift's kind."""
    return row.step.startswith(_check_step(lift))


def adds_for_incapacitated(row: StepTime) -> bool:
    """Whether a step is what a passenger who cannot help adds."""
    return row.step.startswith(_INCAPACITATED)


def adds_for_child(row: StepTime) -> bool:
    """Whether a step is what a small child adds."""
    return row.step.startswith(_CHILD)


def _check_step(lift: Lift) -> str:
    in_cabins = lift.carriers.type is CarrierType.CABIN
    return _CLOSED if in_cabins else _EMPTY


def _of_part(lift: Lift, kind: str, *parts: str) -> list[StepTime]:
    return [
        row
        for row in lift.step_times
        if row.technique == kind and part_of(row.step, per=row.per) in parts
    ]


def _rows(
    lift: Lift, kind: str, per: str, fits: Callable[[StepTime], bool]
) -> list[StepTime]:
    return [
        row
        for row in lift.step_times
        if row.technique == kind and row.per == per and fits(row)
    ]


def _own_or_any(
    lift: Lift, kind: str, step: str, fits: Callable[[StepTime], bool]
) -> Triple:
    """The technique's own rows, else the slowest that another technique states."""
    own = [row for row in lift.step_times if row.technique == kind and fits(row)]
    if own:
        return total(own)
    others = [row for row in lift.step_times if fits(row)]
    if not others:
        message = Words().say("timing.no_row", technique=kind, step=step)
        raise NoPlanError(message)
    return max(others, key=lambda row: row.seconds.likely).seconds
