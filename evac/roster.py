"""Who is on duty: rosters differ by hour (rule 21)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from evac.daylight import clock_after, seconds_after_stop
from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift, Team
from evac.facts.work import LatestOrder
from evac.words import Words

DAY_S = 86_400.0


def on_duty(lift: Lift) -> Lift:
    """The lift with those teams that are on duty when the order is planned to come.

    The order comes at the stop's clock time and the likely time to decide. Teams
    without hours are always there. The others are kept in ``off_duty``, so that the
    same lift can be asked for another hour.

    Parameters
    ----------
    lift : Lift

    Raises
    ------
    NoPlanError
        If nobody is on duty then.
    """
    everyone = (*lift.teams, *lift.off_duty)
    order_s = order_clock_s(lift)
    if everyone and not any(is_on_duty(team, order_s) for team in everyone):
        message = Words().say("roster.nobody", order_clock_s=order_s)
        raise NoPlanError(message)
    return replace(
        lift,
        teams=tuple(team for team in everyone if is_on_duty(team, order_s)),
        off_duty=tuple(team for team in everyone if not is_on_duty(team, order_s)),
    )


def order_clock_s(lift: Lift) -> float:
    """Clock time of the planned order, seconds after midnight of the day."""
    return clock_after(lift.conditions, lift.organisation.stop_to_order_s.likely)


def is_on_duty(team: Team, clock_s: float) -> bool:
    """Whether a team is there at a clock time; its duty may pass midnight.

    Examples
    --------
    A night watch from 22:00 to 06:00:

    >>> from types import SimpleNamespace
    >>> watch = SimpleNamespace(duty_from_s=22 * 3600, duty_to_s=6 * 3600)
    >>> [is_on_duty(watch, hour * 3600) for hour in (21, 23, 5, 6)]
    [False, True, True, False]
    """
    if team.duty_from_s is None or team.duty_to_s is None:
        return True
    return hours_contain(team.duty_from_s, team.duty_to_s, clock_s)


def hours_contain(from_s: float, to_s: float, clock_s: float) -> bool:
    """Whether ``from_s <= clock_s < to_s``, also where the hours pass midnight."""
    clock_s %= DAY_S
    if from_s <= to_s:
        return from_s <= clock_s < to_s
    return not to_s <= clock_s < from_s


def doubts(
    lift: Lift,
    *,
    p90_s: float,
    clear_s: Mapping[str, float],
    latest: LatestOrder | None = None,
) -> tuple[Finding, ...]:
    """Teams that are not there at the order, and those whose duty ends too soon.

    Too soon for the planned order, or for the latest order that the papers allow; that
    matters only for teams with a zone. One that goes home before its own zone is clear
    at likely times leaves people hanging on the usual day: the plan does not hold
    unless it stays.

    Parameters
    ----------
    lift : Lift
        As `on_duty` left it.
    p90_s : float
        From the order to the last passenger on the ground in 9 of 10 days [s].
    clear_s : mapping of str to float
        Team with a zone -> from the order until it is clear, at likely times [s].
    latest : LatestOrder, optional
        By when the plan says that evacuation must be ordered.
    """
    found = [
        Finding(
            key="roster.absent",
            severity=Severity.WARN,
            where=team.id,
            values={
                "from_clock_s": team.duty_from_s or 0.0,
                "to_clock_s": team.duty_to_s or 0.0,
                "order_clock_s": order_clock_s(lift),
            },
        )
        for team in lift.off_duty
    ]
    for team in lift.teams:
        if team.duty_to_s is not None and team.id in clear_s:
            found += _leaves(
                lift, team, team.duty_to_s, p90_s=p90_s, clear_s=clear_s, latest=latest
            )
    return tuple(found)


def _leaves(
    lift: Lift,
    team: Team,
    duty_to_s: float,
    *,
    p90_s: float,
    clear_s: Mapping[str, float],
    latest: LatestOrder | None,
) -> list[Finding]:
    """What must be said about a team that goes home at a clock time."""
    likely_s, order_s = lift.organisation.stop_to_order_s.likely, order_clock_s(lift)
    ends_clock_s = order_s + (duty_to_s - order_s) % DAY_S
    # From the order, on the wall's clock as it runs that night.
    left_s = seconds_after_stop(lift.conditions, ends_clock_s) - likely_s
    values: dict[str, str | float | int] = {"to_clock_s": duty_to_s, "p90_s": p90_s}
    key, severity = "roster.leaves", Severity.WARN
    if left_s < clear_s[team.id]:
        key, severity = "roster.leaves_zone", Severity.STOP
        values["clear_s"] = clear_s[team.id]
    elif left_s >= p90_s:
        later_s = 0.0 if latest is None else max(latest.after_stop_s - likely_s, 0.0)
        if latest is None or left_s >= later_s + p90_s:
            return []
        key = "roster.leaves_latest"
        values["latest_clock_s"] = latest.clock_s
        values["by_clock_s"] = clock_after(lift.conditions, likely_s + left_s - p90_s)
    return [Finding(key=key, severity=severity, where=team.id, values=values)]
