"""Who is on duty: rosters differ by hour (rule 21)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

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
    return lift.conditions.stop_clock_s + lift.organisation.stop_to_order_s.likely


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
    busy: Collection[str],
    p90_s: float,
    latest: LatestOrder | None = None,
) -> tuple[Finding, ...]:
    """Teams that are not there at the order, and those whose duty ends too soon.

    Too soon for the planned order, or for the latest order that the papers allow; that
    matters only for teams with a zone.

    Parameters
    ----------
    lift : Lift
        As `on_duty` left it.
    busy : collection of str
        Teams that have a zone.
    p90_s : float
        From the order to the last passenger on the ground in 9 of 10 days [s].
    latest : LatestOrder, optional
        By when the plan says that evacuation must be ordered.
    """
    order_s = order_clock_s(lift)
    found = [
        Finding(
            key="roster.absent",
            severity=Severity.WARN,
            where=team.id,
            values={
                "from_clock_s": team.duty_from_s or 0.0,
                "to_clock_s": team.duty_to_s or 0.0,
                "order_clock_s": order_s,
            },
        )
        for team in lift.off_duty
    ]
    later_s = 0.0 if latest is None else max(latest.clock_s - order_s, 0.0)
    for team in lift.teams:
        if team.duty_to_s is None or team.id not in busy:
            continue
        left_s = (team.duty_to_s - order_s) % DAY_S
        if left_s < p90_s:
            found.append(
                Finding(
                    key="roster.leaves",
                    severity=Severity.WARN,
                    where=team.id,
                    values={"to_clock_s": team.duty_to_s, "p90_s": p90_s},
                )
            )
        elif latest is not None and left_s < later_s + p90_s:
            found.append(
                Finding(
                    key="roster.leaves_latest",
                    severity=Severity.WARN,
                    where=team.id,
                    values={
                        "to_clock_s": team.duty_to_s,
                        "latest_clock_s": latest.clock_s,
                        "p90_s": p90_s,
                        "by_clock_s": order_s + left_s - p90_s,
                    },
                )
            )
    return tuple(found)
