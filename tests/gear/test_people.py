"""A person is in one place: how many are needed, and who counts (rule 21)."""

from __future__ import annotations

from dataclasses import replace

from builders import make_lift

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift
from evac.gear import options, people_doubts, people_needed
from evac.words import Words


def told(lift: Lift, *, present: int | None, points: tuple[str, ...] = ()) -> Finding:
    organisation = replace(lift.organisation, people_present=present)
    needed = people_needed(lift, options(lift), (), points=points)
    found = people_doubts(replace(lift, organisation=organisation), needed)
    return found[0] if found else Finding(key="", severity=Severity.NOTE)


def test_more_people_needed_than_present_is_told() -> None:
    # Builders: teams 11, roles 3, informers 2: 16.
    lift = make_lift()
    assert told(lift, present=15).key == "gear.people_short"
    assert told(lift, present=16).key == ""
    assert told(lift, present=None).key == "gear.people_unknown"


def test_a_team_that_cannot_work_binds_nobody() -> None:
    # Rule 21: a person is in one place; whoever has no work in the plan is free.
    lift = make_lift()
    first, *others = lift.teams
    untrained = replace(lift, teams=(replace(first, techniques=()), *others))
    assert told(untrained, present=16 - first.crew).key == ""
    assert told(untrained, present=15 - first.crew).key == "gear.people_short"


def test_receivers_are_people_too_beyond_those_that_a_role_names() -> None:
    # Rule 21 names muster among those who are in one place. Two points that people
    # walk to with 2 receivers each, one that nobody walks to with 5: 4, of which the
    # role "muster" has 3; roles 3 + 3, so 11 + 6 + 2 + 1 = 20.
    lift = make_lift()
    (hut,) = lift.muster_points
    points = (hut, replace(hut, id="hall"), replace(hut, id="far", receivers=5))
    roles = {**lift.organisation.roles, "muster": 3}
    lift = replace(
        lift,
        muster_points=points,
        organisation=replace(lift.organisation, roles=roles),
    )
    used = ("hut", "hall")
    assert told(lift, present=20, points=used).key == ""
    short = told(lift, present=19, points=used)
    assert short.key == "gear.people_short"
    assert (short.values["needed"], short.values["receivers"]) == (20, 1)
    assert 'beyond the role "muster" 1)' in Words().finding(short)[0]
    # "Muster" as a title is the same role; counted twice they would be too many.
    titled = {**lift.organisation.roles, "Muster": 3}
    del titled["muster"]
    titled_lift = replace(lift, organisation=replace(lift.organisation, roles=titled))
    assert told(titled_lift, present=20, points=used).key == ""
    # No role at all: every receiver counts.
    bare = replace(lift, organisation=replace(lift.organisation, roles={}))
    needed = people_needed(bare, options(bare), (), points=used)
    assert (needed.receivers, needed.total) == (4, 17)
