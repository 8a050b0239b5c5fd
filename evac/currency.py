"""Is the plan still true: who last took part in a drill, by which rule."""

from __future__ import annotations

import datetime as dt

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift
from evac.reference import drill_rules

_RULE_WHERE = "France"
"""The rule that is shown: at least one exercise a season; others ask for more."""

_LONGEST = dt.timedelta(days=365)


def drill_doubts(lift: Lift, *, date: dt.date) -> tuple[Finding, ...]:
    """Name every team whose last drill is over a year ago, or not on record.

    Parameters
    ----------
    lift : Lift
        Its teams' ``last_drill``, and the drill records that name the team.
    date : datetime.date
        The day planned for.
    """
    rule = next(item for item in drill_rules() if item.where == _RULE_WHERE)
    recorded: dict[str, dt.date] = {}
    for record in lift.drill_records:
        recorded[record.team] = max(record.date, recorded.get(record.team, dt.date.min))
    overdue: dict[str, list[str]] = {}
    for team in lift.teams:
        days = [day for day in (team.last_drill, recorded.get(team.id)) if day]
        last = max((day for day in days if day <= date), default=None)
        if last is None:
            overdue.setdefault("currency.never", []).append(team.id)
        elif date - last > _LONGEST:
            text = f"{team.id} ({last.isoformat()})"
            overdue.setdefault("currency.due", []).append(text)
    return tuple(
        Finding(
            key=key,
            severity=Severity.WARN,
            values={
                "teams": ", ".join(teams),
                "rule": rule.rule,
                "rule_source": f"{rule.where}, {rule.source}",
            },
        )
        for key, teams in overdue.items()
    )
