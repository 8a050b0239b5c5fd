"""Who takes a spare kit: the team with which the sharing comes out best.

Expected outcomes follow from the definition alone: a team more can be left at home, so
it never makes a best sharing end later; and every way to give the spares out is tried
here by hand.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from places import ROOT

from evac.assignment import assign
from evac.facts.heights import Heights
from evac.facts.lift import Lift
from evac.facts.work import Assignment
from evac.gear import spare_takers
from evac.heights.envelope import find_heights
from evac.inputs.folder import open_lift
from evac.line import lay_out
from evac.plan import make_plan
from evac.ready import give_spares, gravest, make_ready

DAY = dt.date(2027, 2, 3)


def small_lift_with_a_spare() -> tuple[Lift, Heights]:
    lift = open_lift(ROOT / "tests" / "small_lift", today=DAY)
    loop = next(kit for kit in lift.kits if kit.technique == "loop")
    spare = replace(
        loop, id="Spare", team=None, rope_length_m=155.0, throw_height_m=60.0
    )
    lift = replace(lift, kits=(*lift.kits, spare))
    return lift, find_heights(lift, lay_out(lift))[0]


def shared(lift: Lift, heights: Heights) -> Assignment:
    return assign(make_ready(lift, heights, date=DAY).work)


def test_a_spare_goes_where_the_sharing_ends_soonest() -> None:
    lift, heights = small_lift_with_a_spare()
    (takers,) = spare_takers(lift, date=DAY).values()
    assert len(takers) >= 3

    def outcome(tried: Lift) -> tuple[int, ...]:
        found = shared(tried, heights)
        return *gravest(tried, heights, found), found.objectives[1]

    by_hand = {team: outcome(replace(lift, spares={"Spare": team})) for team in takers}
    given = give_spares(lift, heights, date=DAY)
    assert outcome(given) == min(by_hand.values())
    assert by_hand[given.spares["Spare"]] == min(by_hand.values())
    # It does matter: other takers make the line end later or leave people hanging.
    assert len(set(by_hand.values())) > 1


def test_a_team_more_never_makes_the_sharing_end_later() -> None:
    # By the table's order the spare goes to whoever has no kit, here to a team that is
    # ready hours after the others.
    lift, heights = small_lift_with_a_spare()
    late = replace(lift.teams[1], id="Late crew", ready_s=400 * 60.0)
    more = replace(lift, teams=(*lift.teams, late))
    before = shared(give_spares(lift, heights, date=DAY), heights)
    after = shared(give_spares(more, heights, date=DAY), heights)
    assert after.objectives[:2] <= before.objectives[:2]


def test_without_a_spare_nothing_changes() -> None:
    lift = open_lift(ROOT / "tests" / "small_lift", today=DAY)
    heights = find_heights(lift, lay_out(lift))[0]
    assert give_spares(lift, heights, date=DAY) is lift


def test_a_kit_that_is_due_before_the_day_planned_for_is_not_planned_with() -> None:
    lift = open_lift(ROOT / "tests" / "small_lift", today=DAY)
    made, due = dt.date(2026, 11, 28), dt.date(2026, 12, 31)
    assert made < due < lift.conditions.date
    used = make_plan(lift, date=made).assignment.zones[0].option.kit
    kits = tuple(
        replace(kit, inspection_due=due) if kit.id == used else kit for kit in lift.kits
    )
    plan = make_plan(replace(lift, kits=kits), date=made)
    assert used not in {option.kit for option in plan.work.options}
    assert ("gear.overdue", used) in {
        (finding.key, str(finding.values.get("kit", finding.where)))
        for finding in plan.findings
    }
