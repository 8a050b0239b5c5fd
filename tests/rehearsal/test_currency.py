"""Who last took part in a drill, when the next is due, and by whose rule."""

from __future__ import annotations

import datetime as dt
import typing
from dataclasses import replace

import pytest

from evac.currency import drill_doubts, longest_days, standings
from evac.facts.drill import DrillRecord
from evac.facts.finding import Severity
from evac.facts.lift import Lift
from evac.inputs.sections import OrganisationSection
from evac.reference import drill_rules
from evac.words import Words

DAY = dt.date(2026, 11, 25)


def drilled(lift: Lift, last: dt.date | None, *, rule: str | None = "France") -> Lift:
    """The lift with one team, that last took part on a day."""
    return replace(
        lift,
        teams=(replace(lift.teams[0], last_drill=last),),
        drill_records=(),
        organisation=replace(lift.organisation, drill_rule=rule),
    )


def warned(lift: Lift) -> list[str]:
    found = drill_doubts(lift, date=DAY)
    return [item.key for item in found if item.severity is Severity.WARN]


# The rules' own words (reference/drills.csv, each with its source): France "at least
# one exercise per season", Sweden "yearly", Norway "at the start of every season",
# Germany "at least half-yearly" (BOSeil s.23(4)). A season is read as 365 days, half a
# year as 183: ours, no source.
@pytest.mark.parametrize(
    ("rule", "days"),
    [("France", 365), ("Sweden", 365), ("Norway", 365), ("Germany", 183)],
)
def test_a_drill_is_due_by_the_rule_that_is_chosen(
    demo_lift: Lift, rule: str, days: int
) -> None:
    in_time = drilled(demo_lift, DAY - dt.timedelta(days=days), rule=rule)
    late = drilled(demo_lift, DAY - dt.timedelta(days=days + 1), rule=rule)
    assert warned(in_time) == []
    assert warned(late) == ["currency.due"]
    text, remedy = Words().finding(drill_doubts(late, date=DAY)[0])
    assert late.teams[0].id in text
    assert f"({rule}" in remedy


def test_a_team_without_a_drill_on_record_is_named(demo_lift: Lift) -> None:
    assert warned(drilled(demo_lift, None)) == ["currency.never"]
    # A drill after the day planned for is not a drill yet.
    assert warned(drilled(demo_lift, DAY + dt.timedelta(days=1))) == ["currency.never"]


def test_a_timed_drill_counts_as_having_taken_part(demo_lift: Lift) -> None:
    lift = drilled(demo_lift, dt.date(2020, 1, 1))
    record = DrillRecord(
        date=DAY - dt.timedelta(days=20),
        team=lift.teams[0].id,
        technique="any on the ground",
        step="make ready",
        per="carrier",
        seconds=60.0,
    )
    lift = replace(lift, drill_records=(record,))
    assert warned(lift) == []
    assert standings(lift, date=DAY)[0].last == record.date


def test_the_next_drill_is_the_first_one_due(demo_lift: Lift) -> None:
    first, second = demo_lift.teams[:2]
    lift = replace(
        drilled(demo_lift, None),
        teams=(
            replace(first, last_drill=dt.date(2026, 9, 1)),
            replace(second, last_drill=dt.date(2026, 3, 1)),
        ),
    )
    (found,) = drill_doubts(lift, date=DAY)
    assert (found.key, found.severity) == ("currency.next", Severity.NOTE)
    text, _ = Words().finding(found)
    # As every other day on the papers.
    assert "March 1, 2027" in text
    assert second.id in text


def test_a_folder_that_chooses_no_rule_is_told_so(demo_lift: Lift) -> None:
    lift = drilled(demo_lift, DAY, rule=None)
    assert warned(lift) == ["currency.no_rule"]
    text, remedy = Words().finding(drill_doubts(lift, date=DAY)[-1])
    assert "at least one exercise per season (France" in text
    for rule in drill_rules():
        assert rule.where in remedy


def test_the_folder_may_name_every_rule_of_the_table() -> None:
    allowed = typing.get_args(
        typing.get_args(OrganisationSection.model_fields["drill_rule"].annotation)[0]
    )
    assert list(allowed) == [rule.where for rule in drill_rules()]
    assert all(longest_days(rule) in (183, 365) for rule in drill_rules())
