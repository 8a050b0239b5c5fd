"""Is the plan still true: who last took part in a drill, when the next is due."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift
from evac.reference import DrillRule, drill_rules
from evac.words import Words

FALLBACK = "France"
"""Counted by where the folder chooses no rule: once a season, the least of them."""

_DAYS = {"Germany": 183}
_A_YEAR_DAYS = 365
"""A season is read as a year, half-yearly as 183 days: the rules name no days."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """When a team last took part in a drill, and by when it must again.

    ``last`` None: no drill is on record. ``overdue`` on the day that was asked for.
    """

    team: str
    last: dt.date | None
    due: dt.date | None
    overdue: bool


def rule_of(lift: Lift) -> DrillRule:
    """The drill rule that the folder chooses, or the fallback."""
    wanted = lift.organisation.drill_rule or FALLBACK
    return next(rule for rule in drill_rules() if rule.where == wanted)


def longest_days(rule: DrillRule) -> int:
    """Most days between two drills by a rule.

    Examples
    --------
    >>> [(rule.where, longest_days(rule)) for rule in drill_rules()][1:3]
    [('France', 365), ('Germany', 183)]
    """
    return _DAYS.get(rule.where, _A_YEAR_DAYS)


def standings(lift: Lift, *, date: dt.date) -> tuple[Standing, ...]:
    """Who last took part when, in the order of the teams.

    Parameters
    ----------
    lift : Lift
        Its teams' ``last_drill``, and the drill records that name the team; what lies
        after `date` is not counted.
    date : datetime.date
        The day planned for.
    """
    recorded: dict[str, list[dt.date]] = {}
    for record in lift.drill_records:
        recorded.setdefault(record.team, []).append(record.date)
    longest = dt.timedelta(days=longest_days(rule_of(lift)))
    found = []
    for team in lift.teams:
        days = [day for day in (team.last_drill, *recorded.get(team.id, ())) if day]
        last = max((day for day in days if day <= date), default=None)
        due = None if last is None else last + longest
        found.append(
            Standing(
                team=team.id,
                last=last,
                due=due,
                overdue=due is None or due < date,
            )
        )
    return tuple(found)


def drill_doubts(lift: Lift, *, date: dt.date) -> tuple[Finding, ...]:
    """Teams whose drill is overdue or not on record, by the rule that is chosen.

    Parameters
    ----------
    lift : Lift
    date : datetime.date
        The day planned for.

    Returns
    -------
    tuple of Finding
        With the rule and its source. That no rule is chosen is said too, and by when
        the next drill is due.
    """
    rule = rule_of(lift)
    shown: dict[str, str | int] = {
        "rule": rule.rule,
        "rule_source": f"{rule.where}, {rule.source}",
        "days": longest_days(rule),
    }
    teams = standings(lift, date=date)
    never = [item.team for item in teams if item.last is None]
    due = [
        f"{item.team} ({Words().show('day', item.last)})"
        for item in teams
        if item.last is not None and item.overdue
    ]
    found = [
        Finding(
            key=key,
            severity=Severity.WARN,
            values={"teams": ", ".join(names), **shown},
        )
        for key, names in (("currency.never", never), ("currency.due", due))
        if names
    ]
    coming = [(item.due, item.team) for item in teams if item.due and not item.overdue]
    if coming:
        next_due, team = min(coming)
        found.append(
            Finding(
                key="currency.next",
                severity=Severity.NOTE,
                values={"day": next_due.isoformat(), "team": team, **shown},
            )
        )
    if teams and lift.organisation.drill_rule is None:
        found.append(
            Finding(
                key="currency.no_rule",
                severity=Severity.WARN,
                values={
                    "choices": ", ".join(item.where for item in drill_rules()),
                    **shown,
                },
            )
        )
    return tuple(found)
