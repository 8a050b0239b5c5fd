"""The decision ladder: steps that cost nothing to take early, who takes them, when."""

from __future__ import annotations

import math

from evac.daylight import clock_after, light_of
from evac.exposure import whole_c
from evac.facts.lift import Lift
from evac.facts.work import Clock, LadderStep, Trigger

CHILL_THAT_DECIDES_C = -28.0
"""Wind chill from which the decision is not put off (rule 4)."""

DUSK_THAT_DECIDES_S = 7200.0
"""Daylight below which the decision is not put off (rule 4)."""

WIND_THAT_DECIDES_M_PER_S = 10.0
"""Gusts from which lowering slows down (rule 27)."""


def ladder(lift: Lift, clock: Clock) -> tuple[LadderStep, ...]:
    """The steps from the stop to the first lowering, with who takes them (rule 4).

    Stand-by and the look-out at once; the first word; staging while the mechanics
    still work, from the soonest that a decision may fall; the decision, planned at its
    likely time and no later than the binding latest order; securing.

    Parameters
    ----------
    lift : Lift
        Its roles, times and decision delay.
    clock : Clock
        Of `evac.clock.decide`.
    """
    organisation = lift.organisation
    decide, secure = organisation.stop_to_order_s, organisation.order_to_secured_s
    latest_s = None
    if clock.binding is not None and clock.binding.after_stop_s >= 0:
        latest_s = clock.binding.after_stop_s
    steps: list[tuple[str, str, str, float, float | None]] = [
        ("standby", "drive operator", "drive_operator", 0.0, None),
        ("first_word", "informers", "informers", 0.0, organisation.first_word_s),
        ("staging", "command", "command", decide.low, None),
        ("decision", "command", "command", decide.likely, latest_s),
        (
            "secured",
            "line mechanic",
            "line_mechanic",
            decide.likely + secure.low,
            decide.likely + secure.high,
        ),
    ]
    return tuple(
        LadderStep(
            key=key,
            role=role,
            people=organisation.informer_count
            if name == "informers"
            else organisation.roles.get(name),
            from_s=from_s,
            to_s=to_s,
        )
        for key, name, role, from_s, to_s in steps
    )


def triggers(lift: Lift, clock: Clock) -> tuple[Trigger, ...]:
    """What brings the decision forward, and what of it the planned day already has."""
    conditions, chill = lift.conditions, clock.wind_chill_c
    # Whichever comes first: little daylight left, or too little for the work; as the
    # plan counts it, in a valley without sun it ends at noon.
    needed_s = [item.after_stop_s for item in clock.latest if item.reason == "dusk"]
    left_s = min([light_of(lift).to_s - DUSK_THAT_DECIDES_S, *needed_s])
    dusk_s = None if math.isinf(left_s) else clock_after(conditions, left_s)
    return (
        Trigger(
            key="wind",
            values={
                "gust_m_per_s": conditions.gust_m_per_s,
                "limit_m_per_s": WIND_THAT_DECIDES_M_PER_S,
            },
            clock_s=None,
            now=conditions.gust_m_per_s >= WIND_THAT_DECIDES_M_PER_S,
        ),
        Trigger(
            key="cold",
            values={"chill_c": CHILL_THAT_DECIDES_C},
            clock_s=None,
            now=chill is not None and whole_c(chill) <= CHILL_THAT_DECIDES_C,
        ),
        Trigger(
            key="dusk",
            values={"dusk_s": DUSK_THAT_DECIDES_S},
            clock_s=dusk_s,
            now=conditions.night or left_s <= 0,
        ),
        Trigger(key="passenger", values={}, clock_s=None, now=None),
        Trigger(key="rope", values={}, clock_s=None, now=None),
    )
