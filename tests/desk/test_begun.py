"""It has begun: the rest from where it stands; one sighting numbers every carrier."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from test_what_if import find

from evac import desk
from evac.carriers import Sighting, nearest_stop, number_carriers
from evac.desk import workbench
from evac.desk.workbench import Workbench
from evac.facts.change import Situation
from evac.facts.lift import Side
from evac.facts.plan import Plan
from evac.replan import replan
from evac.words import Words


@pytest.fixture
def bench(demo: Path, demo_plan: Plan, monkeypatch: pytest.MonkeyPatch) -> Workbench:
    monkeypatch.setattr(workbench, "make_plan", lambda _lift, **_: demo_plan)
    return Workbench((demo,), words=Words())


def test_the_widgets_ask_the_very_situation(bench: Workbench, demo_plan: Plan) -> None:
    gone, working = (zone.team for zone in demo_plan.assignment.zones[:2])
    view = desk.it_has_begun(bench)
    text, table, place = view.children[-3:]
    assert text.value == ""
    find(view, "Minutes since the order").value = 70
    find(view, gone).value = False
    row = next(
        box
        for box in view.children[5].children
        if box.children[0].description == working
    )
    row.children[1].value = 2
    row.children[2].value = 5
    find(view, "Go on from here").click()

    expected = replan(
        demo_plan,
        Situation(
            now_s=4200.0,
            cleared={working: 2},
            in_hand_s={working: 300.0},
            missing_teams=(gone,),
        ),
    )
    words = Words()
    assert f"{expected.people_left} people still hang" in text.value
    assert words.duration(expected.schedule.clear_s) in text.value
    for zone in expected.assignment.zones:
        assert zone.team in table.value
    assert gone not in table.value
    assert bytes(place.value).startswith(b"\x89PNG")


def test_an_answer_is_taken_away_when_anything_is_changed(bench: Workbench) -> None:
    view = desk.it_has_begun(bench)
    text, table, place = view.children[-3:]
    for name, value in (
        ("Minutes since the order", 90),
        ("It is dark from now on", True),
        ("Stop position", 3),
    ):
        find(view, "Go on from here").click()
        assert "people still hang" in text.value
        find(view, name).value = value
        assert (text.value, table.value, bytes(place.value)) == ("", "", b"")


def test_no_team_can_have_cleared_more_than_its_zone_holds(
    bench: Workbench, demo_plan: Plan
) -> None:
    view = desk.it_has_begun(bench)
    for box in view.children[5].children:
        came, cleared, _ = box.children
        hang = sum(
            rescue.team == came.description for rescue in demo_plan.schedule.rescues
        )
        assert cleared.max == hang


def test_every_team_missing_is_said_in_a_sentence(
    bench: Workbench, demo_plan: Plan
) -> None:
    view = desk.it_has_begun(bench)
    for team in demo_plan.lift.teams:
        find(view, team.id).value = False
    find(view, "Go on from here").click()
    assert "every team is missing" in view.children[-3].value


def test_one_sighting_numbers_every_carrier(bench: Workbench, demo_plan: Plan) -> None:
    numbers = demo_plan.lift.carriers.numbers or tuple(
        str(number) for number in range(1, 201)
    )
    carriers = replace(demo_plan.lift.carriers, numbers=numbers)
    plan = replace(demo_plan, lift=replace(demo_plan.lift, carriers=carriers))
    bench.plan = plan
    view = desk.one_sighting(bench)
    number, side, at, text, table = view.children
    assert "Enter the number" in text.value
    number.value = numbers[4]
    side.value = Side.ASCENDING
    at.value = 400.0

    sighting = Sighting(number=numbers[4], side=Side.ASCENDING, distance_m=400.0)
    stops = plan.heights.stops
    row = nearest_stop(stops, sighting)
    expected = number_carriers(plan.lift, stops, stop_index=row, sighting=sighting)
    for places in expected.by_place.values():
        for found in filter(None, places):
            assert f"<td>{found}</td>" in table.value

    number.value = "no such number"
    assert "not among the" in text.value
    assert table.value == ""


def test_a_lift_without_numbers_is_asked_for_them(
    bench: Workbench, demo_plan: Plan
) -> None:
    carriers = replace(demo_plan.lift.carriers, numbers=())
    bench.plan = replace(demo_plan, lift=replace(demo_plan.lift, carriers=carriers))
    assert "[carriers] numbers" in desk.one_sighting(bench).children[3].value
