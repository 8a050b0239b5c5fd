"""By when evacuation must be ordered: limit, darkness, cold.

Four durations are kept apart (rule 1): stop -> order; order -> first lowering; order ->
last passenger on the ground; last on the ground -> all at a safe place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from evac.daylight import (
    Light,
    by_daylight,
    clock_after,
    in_the_dark,
    light_of,
    sun_of,
)
from evac.emptying import emptying_s, running_pays_until_s
from evac.exposure import cold_class, wind_chill_c
from evac.factors import NIGHT
from evac.facts.finding import Finding, Severity
from evac.facts.lift import CarrierType, FloatArray, Lift
from evac.facts.work import Assignment, Clock, LatestOrder, Schedule, Simulation
from evac.limits import FROM_STOP, PLANNED_SHARE, end_s
from evac.line import line_length_m, ride_s
from evac.quantiles import quantile

LIMIT = "limit"
FROM_ORDER = "limit_from_order"
"""Why no order time helps: a missed limit that counts from the order itself."""

SAME_S = 1e-3
"""Less than this between two times is rounding."""


def decide(lift: Lift, simulation: Simulation, schedule: Schedule) -> Clock:
    """Work out by when evacuation must be ordered, and what stands beside it.

    Parameters
    ----------
    lift : Lift
        Its limits, conditions, drives and organisation.
    simulation : Simulation
        Of the plan.
    schedule : Schedule
        Says how long running the line, once it can run again, beats going on.

    Returns
    -------
    Clock
        ``latest`` holds one entry for each limit that counts from the stop, one for
        dusk (unless the plan is for the night) and one for cold where bare skin
        freezes. A limit that counts from the order gives no latest time: it appears
        only where the plan cannot meet it, with how much is missing as a negative
        time. ``binding`` is the earliest that matters, see `binding_order`; None where
        there is none.

    Notes
    -----
    Latest order time = limit - P90(order -> the limit's own end). How long stop ->
    order takes does not enter, so ordering later leaves it where it is and only
    decides whether it is ``met`` (rule 1). While people are not reached it is the
    latest order for the others, and the limit is not met by it. Cold counts from when
    the first passenger sat down, one ride before the stop (rule 4), and for open
    carriers only: how cold a cabin grows behind its doors is not known here.
    """
    conditions, organisation = lift.conditions, lift.organisation
    order_s = organisation.stop_to_order_s.likely
    sun = sun_of(lift)
    chill_c = _chill_c(lift)
    cold = cold_class(chill_c)
    latest = latest_orders(lift, simulation)
    round_s = informer_round_s(lift)
    return Clock(
        stop_clock_s=conditions.stop_clock_s,
        order_clock_s=clock_after(conditions, order_s),
        latest=latest,
        binding=binding_order(latest),
        sunset_clock_s=sun.sunset_s,
        dusk_clock_s=sun.dusk_s,
        wind_chill_c=None if math.isnan(chill_c) else chill_c,
        cold_class=cold.key,
        exposure_limit_s=cold.least_s,
        emptying_s=emptying_s(lift),
        standdown_s=organisation.standdown_s.likely,
        informer_round_s=round_s,
        running_pays_until_s=running_pays_until_s(lift, schedule),
        first_word_met=None
        if round_s is None
        else round_s <= organisation.first_word_s,
    )


def latest_orders(lift: Lift, simulation: Simulation) -> tuple[LatestOrder, ...]:
    """By when the order must come for every reason; see `decide`.

    Parameters
    ----------
    lift : Lift
    simulation : Simulation
        Of the plan, or of the same line with a team away.
    """
    order_s = lift.organisation.stop_to_order_s.likely
    chairs = lift.carriers.type is CarrierType.CHAIR
    freezes_s = cold_class(_chill_c(lift)).least_s
    return (
        *_limits(lift, simulation, order_s=order_s),
        *_dusk(lift, simulation, order_s=order_s),
        *(_cold(lift, simulation, freezes_s, order_s=order_s) if chairs else ()),
    )


def binding_order(latest: Iterable[LatestOrder]) -> LatestOrder | None:
    """The latest order that the papers hold everybody to.

    The earliest of the limits, and of dusk and cold where some order still meets them.
    Skin that freezes within minutes, or light that is gone by the stop, is lost
    whenever the order comes: said in its own words, it must not hide by when a limit
    is still met. A limit that is already missed stays: that alarms. Without any of
    these the earliest of what is lost.
    """
    timed = [item for item in latest if item.reason != FROM_ORDER]
    held = [item for item in timed if not item.lost]
    return min(held or timed, key=lambda item: item.after_stop_s, default=None)


def _chill_c(lift: Lift) -> float:
    conditions = lift.conditions
    return float(
        wind_chill_c(conditions.air_temperature_c, wind_m_per_s=conditions.wind_m_per_s)
    )


def is_dark(lift: Lift) -> bool:
    """Whether the work begins without daylight, by the planned order.

    Planned for the night, or ordered before sunrise or after dusk; all day where the
    sun does not come clear of the skyline.
    """
    if lift.conditions.night:
        return True
    sun = sun_of(lift)
    order_s = clock_after(lift.conditions, lift.organisation.stop_to_order_s.likely)
    late = sun.dusk_s is not None and order_s >= sun.dusk_s
    first_s = sun.dawn_s if sun.sunrise_s is None else sun.sunrise_s
    early = first_s is not None and order_s < first_s
    return sun.dark_all_day or late or early


def light_from_order(lift: Lift) -> Light:
    """Daylight counted from the order at its likely time."""
    return light_of(lift).seen_from(lift.organisation.stop_to_order_s.likely)


def likely_clear_s(lift: Lift, assignment: Assignment) -> dict[str, float]:
    """Team -> when its zone is clear at likely times, work in the dark counted [s].

    From the order, each zone at the stop position that takes it longest.
    """
    light = light_from_order(lift)
    return {
        zone.team: float(in_the_dark(np.array([float(zone.finish_s)]), light)[0])
        for zone in assignment.zones
    }


def informer_round_s(lift: Lift) -> float | None:
    """Time until a voice has reached every carrier once (rule 6); None: nobody goes.

    Both sides hang within earshot of one walk under the line, so the informers share
    its length; each walks back over the part to speak again.
    """
    organisation = lift.organisation
    if organisation.informer_count < 1 or organisation.informer_speed_m_per_s <= 0:
        return None
    share_m = line_length_m(lift) / organisation.informer_count
    return share_m / organisation.informer_speed_m_per_s


def _limits(lift: Lift, simulation: Simulation, *, order_s: float) -> list[LatestOrder]:
    found = []
    for limit in lift.limits:
        needed_s = quantile(end_s(limit, simulation), PLANNED_SHARE)
        if math.isinf(needed_s):
            # Not known when all are safe: missed, and no order time would meet it.
            continue
        after_s = 60.0 * limit.minutes - needed_s
        if limit.counts_from == FROM_STOP:
            after_s = _latest_s(
                lift, end_s(limit, simulation), by_s=60.0 * limit.minutes
            )
            latest = _latest(lift, LIMIT, after_s, order_s=order_s, source=limit.source)
            in_time = latest.met and simulation.everyone_reached
            found.append(replace(latest, met=in_time))
        elif after_s < 0:
            found.append(
                LatestOrder(
                    reason=FROM_ORDER,
                    after_stop_s=after_s,
                    clock_s=clock_after(lift.conditions, after_s),
                    met=False,
                    source=limit.source,
                )
            )
    return found


def _latest(
    lift: Lift, reason: str, after_stop_s: float, *, order_s: float, source: str
) -> LatestOrder:
    return LatestOrder(
        reason=reason,
        after_stop_s=after_stop_s,
        clock_s=clock_after(lift.conditions, after_stop_s),
        met=order_s <= after_stop_s,
        source=source,
    )


def _latest_s(lift: Lift, end_s: FloatArray, *, by_s: float) -> float:
    """How late after the stop the order may come for P90 of an end to keep a time.

    The days were imagined with the order at its likely time; at another one another
    part of the same work falls into the dark. Ordered later nothing ends sooner, so
    the search halves a bracket, and keeps its early side.
    """
    light = light_of(lift)
    day_s = by_daylight(end_s, light_from_order(lift))

    def ends_s(after_s: float) -> float:
        shown_s = in_the_dark(day_s, light.seen_from(after_s))
        return after_s + quantile(shown_s, PLANNED_SHARE)

    late_s = by_s - quantile(day_s, PLANNED_SHARE)
    if ends_s(late_s) <= by_s + SAME_S:
        return late_s
    early_s = by_s - quantile(NIGHT * day_s, PLANNED_SHARE)
    while late_s - early_s > 1.0:
        middle_s = (early_s + late_s) / 2
        if ends_s(middle_s) <= by_s:
            early_s = middle_s
        else:
            late_s = middle_s
    return early_s


def _dusk(lift: Lift, simulation: Simulation, *, order_s: float) -> list[LatestOrder]:
    dusk_s = light_of(lift).to_s
    if math.isinf(dusk_s):
        return []
    after_s = _latest_s(lift, simulation.order_to_clear_s, by_s=dusk_s)
    return [_latest(lift, "dusk", after_s, order_s=order_s, source="")]


def _cold(
    lift: Lift, simulation: Simulation, freezes_s: float | None, *, order_s: float
) -> list[LatestOrder]:
    if freezes_s is None:
        return []
    by_s = freezes_s - ride_s(lift)
    after_s = _latest_s(lift, simulation.order_to_clear_s, by_s=by_s)
    return [_latest(lift, "cold", after_s, order_s=order_s, source="")]


def doubts(lift: Lift, clock: Clock) -> tuple[Finding, ...]:
    """What must be said about the decision times.

    Parameters
    ----------
    lift : Lift
    clock : Clock
        Of `decide`.

    Returns
    -------
    tuple of Finding
        Darkness or cold that come before the last is down, cold outside closed
        cabins, a valley that the sun does not reach, an order in the dark with times
        of daylight, a word that comes too late, is repeated too late, or that nobody
        brings. Missed limits are the plan's to say.
    """
    found = [
        Finding(
            key=f"clock.{item.reason}_too_late",
            severity=Severity.WARN,
            values={
                "order_clock_s": clock.order_clock_s,
                "late_s": lift.organisation.stop_to_order_s.likely - item.after_stop_s,
                "factor": NIGHT,
                "dusk_clock_s": clock.dusk_clock_s or 0.0,
                "chill_c": clock.wind_chill_c or 0.0,
            },
        )
        for item in clock.latest
        if item.reason in ("dusk", "cold") and not item.met
    ]
    no_dusk = clock.dusk_clock_s is None
    if no_dusk and any(item.reason == "dusk" for item in clock.latest):
        # The entry of a day without dusk counts from noon; its words must not name one.
        found = [item for item in found if item.key != "clock.dusk_too_late"]
        found.append(
            Finding(
                key="clock.no_sun",
                severity=Severity.WARN,
                values={
                    "skyline_deg": lift.conditions.skyline_angle_deg,
                    "factor": NIGHT,
                },
            )
        )
    elif not lift.conditions.night and is_dark(lift):
        found.append(
            Finding(
                key="clock.order_in_dark",
                severity=Severity.WARN,
                values={"order_clock_s": clock.order_clock_s, "factor": NIGHT},
            )
        )
    if lift.carriers.type is CarrierType.CABIN and clock.exposure_limit_s is not None:
        found.append(
            Finding(
                key="clock.cold_outside",
                severity=Severity.WARN,
                values={"chill_c": clock.wind_chill_c or 0.0},
            )
        )
    return (*found, *_word_doubts(lift, clock))


def _word_doubts(lift: Lift, clock: Clock) -> list[Finding]:
    """Whether a voice comes to every carrier in time, and again in time (rule 6)."""
    organisation, round_s = lift.organisation, clock.informer_round_s
    if round_s is None:
        return [Finding(key="clock.no_informers", severity=Severity.NOTE)]
    found = []
    if not clock.first_word_met:
        found.append(
            Finding(
                key="clock.first_word_late",
                severity=Severity.WARN,
                values={
                    "round_s": round_s,
                    "due_s": organisation.first_word_s,
                    "count": organisation.informer_count,
                },
            )
        )
    # There and back: the ends of a stretch hear a voice only every second round.
    again_s = 2 * round_s
    if again_s > organisation.repeat_word_s:
        found.append(
            Finding(
                key="clock.repeat_late",
                severity=Severity.WARN,
                values={
                    "again_s": again_s,
                    "due_s": organisation.repeat_word_s,
                    "count": organisation.informer_count,
                },
            )
        )
    return found
