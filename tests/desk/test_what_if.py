"""What if: the answer of the sliders is the plan that would have been made."""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import replace
from pathlib import Path

import ipywidgets as widgets
import matplotlib.image as plt_image
import numpy as np
import pytest

from evac import desk
from evac.desk import workbench
from evac.desk.plan_views import verdict_lines
from evac.desk.workbench import Workbench
from evac.errors import EvacError
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Side, TensionState
from evac.facts.plan import Plan
from evac.plan import make_plan
from evac.whatif import Answer, Question, ask, heights_for, new_findings
from evac.words import Words


@pytest.fixture
def bench(demo: Path, demo_plan: Plan, monkeypatch: pytest.MonkeyPatch) -> Workbench:
    monkeypatch.setattr(workbench, "make_plan", lambda _lift, **_: demo_plan)
    return Workbench((demo,), words=Words())


def find(view: widgets.Widget, description: str) -> widgets.Widget:
    """The widget of a view with this description."""
    if getattr(view, "description", None) == description:
        return view
    for child in getattr(view, "children", ()):
        found = find(child, description)
        if found is not None:
            return found
    return None


def parts(view: widgets.Widget) -> tuple[widgets.Widget, ...]:
    """Status, text, heights, map and zones."""
    status, head, picture, below, _ = view.children[-5:]
    return status, head.children[1], picture, *below.children


def same_result(answer: Answer, plan: Plan) -> None:
    """Everything that a slider shows, against a plan made from scratch."""
    assert answer.plan.assignment.zones == plan.assignment.zones
    assert answer.plan.assignment.uncovered == plan.assignment.uncovered
    np.testing.assert_array_equal(
        answer.plan.simulation.order_to_clear_s, plan.simulation.order_to_clear_s
    )
    np.testing.assert_array_equal(
        answer.plan.simulation.order_to_safe_s, plan.simulation.order_to_safe_s
    )
    assert answer.plan.clock == plan.clock
    assert answer.plan.limit_met == plan.limit_met


def test_terrain_too_coarse_is_not_forgotten_by_an_answer(demo_plan: Plan) -> None:
    coarse = Finding(
        key="line.terrain_coarse",
        severity=Severity.WARN,
        values={"cell_m": 90.0, "shortest_m": 20.0},
    )
    plan = replace(demo_plan, findings=(*demo_plan.findings, coarse))
    for asked in (plan, ask(plan, Question(stop_index=3), runs=200).plan):
        assert "too coarsely to trust" in verdict_lines(asked, Words())[0]


@pytest.mark.slow
def test_no_question_gives_the_plan_itself_of_the_gondola_too(
    gondola_plan: Plan,
) -> None:
    runs = gondola_plan.simulation.runs
    same_result(ask(gondola_plan, Question(), runs=runs), gondola_plan)


def test_no_question_gives_the_plan_itself(demo_plan: Plan) -> None:
    answer = ask(demo_plan, Question(), runs=demo_plan.simulation.runs)
    same_result(answer, demo_plan)
    assert answer.schedule == demo_plan.schedule
    assert answer.order_checked
    assert new_findings(answer, answer) == ()
    strong = ask(demo_plan, Question(stop_clock_s=16 * 3600.0), runs=500)
    told = new_findings(strong, answer)
    assert "clock.dusk_too_late" in {finding.key for finding in told}


# Each question beside the change of the folder that it stands for: the plan made anew
# from the changed lift must say the very same as the slider.
@pytest.mark.parametrize(
    ("question", "conditions"),
    [
        (
            Question(air_temperature_c=-24.0, wind_m_per_s=8.0, snow_m=0.0),
            {
                "air_temperature_c": -24.0,
                "wind_m_per_s": 8.0,
                "snow_least_m": 0.0,
                "snow_most_m": 0.0,
            },
        ),
        (
            Question(stop_clock_s=18 * 3600.0),
            # Dusk on 20 January is long past at six: both count the dark alike.
            {"stop_clock_s": 18 * 3600.0},
        ),
    ],
    ids=("weather", "hour"),
)
def test_an_answer_is_the_plan_of_the_changed_folder(
    demo_plan: Plan, question: Question, conditions: dict[str, float]
) -> None:
    lift = demo_plan.lift
    changed = replace(lift, conditions=replace(lift.conditions, **conditions))
    answer = ask(demo_plan, question, runs=demo_plan.simulation.runs)
    same_result(answer, make_plan(changed, date=demo_plan.date))


def test_a_plan_in_the_dark_is_asked_as_it_was_made(
    demo_plan: Plan,
) -> None:
    lift = demo_plan.lift
    late = replace(lift, conditions=replace(lift.conditions, stop_clock_s=19 * 3600.0))
    plan = make_plan(late, date=demo_plan.date)
    assert "clock.order_in_dark" in {finding.key for finding in plan.findings}
    answer = ask(plan, Question(), runs=plan.simulation.runs)
    assert answer.dark
    same_result(answer, plan)
    # Asked for that very hour nothing is another.
    same = Question(stop_clock_s=19 * 3600.0)
    same_result(ask(plan, same, runs=plan.simulation.runs), plan)


def test_each_limit_is_told_for_itself(demo_plan: Plan) -> None:
    (limit,) = demo_plan.lift.limits[:1]
    tight = replace(limit, minutes=250.0, counts_to="on the ground")
    wide = replace(limit, minutes=200.0, counts_from="order", counts_to="on the ground")
    always = replace(
        demo_plan.simulation,
        order_to_clear_s=np.full(500, 190 * 60.0),
        stop_to_order_s=np.full(500, 70 * 60.0),
    )
    lift = replace(demo_plan.lift, limits=(tight, wide))
    plan = replace(demo_plan, lift=lift, simulation=always, limit_met=False)
    # By hand: 190 + 70 min from the stop exceed 250; 190 from the order are in 200.
    told = verdict_lines(plan, Words())[1]
    assert "4 h 10 min from stop to on the ground is NOT met" in told
    assert "3 h 20 min from order to on the ground is met" in told


def test_a_team_that_stays_away_takes_its_kit_along(demo_plan: Plan) -> None:
    gone = demo_plan.lift.teams[0].id
    lift = demo_plan.lift
    changed = replace(
        lift,
        teams=tuple(team for team in lift.teams if team.id != gone),
        kits=tuple(kit for kit in lift.kits if kit.team != gone),
    )
    answer = ask(
        demo_plan, Question(missing_teams=(gone,)), runs=demo_plan.simulation.runs
    )
    same_result(answer, make_plan(changed, date=demo_plan.date))
    assert gone not in {zone.team for zone in answer.plan.assignment.zones}
    assert answer.plan.simulation.p50_s > demo_plan.simulation.p50_s
    # Who picks off, what helps and who informs was found for the plan with every team.
    assert demo_plan.pickoffs
    assert demo_plan.informed
    assert answer.plan.pickoffs == answer.plan.special == answer.plan.informed == ()
    assert answer.plan.levers is answer.plan.branches is None


def test_another_hour_brings_the_teams_of_that_hour(demo_plan: Plan) -> None:
    lift = demo_plan.lift
    watch = replace(lift.teams[0], duty_from_s=8 * 3600.0, duty_to_s=14 * 3600.0)
    rostered = replace(lift, teams=(watch, *lift.teams[1:]))
    plan = make_plan(rostered, date=demo_plan.date)
    assert watch in plan.lift.teams
    late = ask(plan, Question(stop_clock_s=15 * 3600.0), runs=200)
    assert [team.id for team in late.plan.lift.off_duty] == [watch.id]
    assert watch.id not in {zone.team for zone in late.plan.assignment.zones}
    assert "roster.absent" in {finding.key for finding in late.plan.findings}
    early = ask(late.plan, Question(stop_clock_s=9 * 3600.0), runs=200)
    assert watch.id in {team.id for team in early.plan.lift.teams}


def test_a_stop_asks_for_the_carriers_that_hang_there(demo_plan: Plan) -> None:
    stops = demo_plan.heights.stops
    for row in (1, 7):
        answer = ask(demo_plan, Question(stop_index=row), runs=200)
        assert answer.schedule.stop_offset_m == stops.offset_m[row]
        hang = sum(int((stops.span_index[side][row] >= 0).sum()) for side in Side)
        assert len(answer.schedule.rescues) == hang
        # Zones are those of the sheets, whatever the stop.
        assert answer.plan.assignment.zones == demo_plan.assignment.zones
        assert answer.order_checked


def test_a_load_case_sets_how_many_people_are_to_be_lowered(demo_plan: Plan) -> None:
    carriers = demo_plan.lift.carriers
    for case in demo_plan.heights.load_cases:
        answer = ask(demo_plan, Question(stop_index=2, load_name=case.name), runs=200)
        drawn = sum(float(answer.stops[side].carriers.people.sum()) for side in Side)
        # Spread evenly, so within one person a side.
        assert abs(answer.people - drawn) <= 2
        assert drawn <= carriers.seats * len(answer.schedule.rescues)
    full = ask(demo_plan, Question(load_name="ascending side full"), runs=500)
    half = ask(demo_plan, Question(load_name="lower half full"), runs=500)
    # Its people are not where the times count them: that is told.
    told = [{f.key for f in answer.plan.findings} for answer in (full, half)]
    assert ["whatif.spread" in keys for keys in told] == [False, True]
    assert half.people < full.people
    assert half.plan.simulation.p90_s < full.plan.simulation.p90_s


def test_another_tension_state_solves_the_rope_again(demo_plan: Plan) -> None:
    assert heights_for(demo_plan, demo_plan.lift.tension.state) is demo_plan.heights
    locked = heights_for(demo_plan, TensionState.LOCKED)
    answer = ask(
        demo_plan, Question(tension=TensionState.LOCKED), heights=locked, runs=200
    )
    assert answer.plan.lift.tension.state is TensionState.LOCKED
    assert not np.array_equal(
        locked.envelopes[Side.ASCENDING].rope_greatest_m,
        demo_plan.heights.envelopes[Side.ASCENDING].rope_greatest_m,
    )


@pytest.mark.parametrize(
    ("question", "told"),
    [
        (Question(missing_teams=("Nobody",)), "The plan has no team Nobody."),
        (Question(stop_index=99), "no stop number 99; it was worked out for 16"),
        (Question(load_name="all standing"), "no load case all standing"),
        (Question(wind_m_per_s=30.0), "no team can take any span"),
    ],
)
def test_a_question_without_an_answer_is_refused(
    demo_plan: Plan, question: Question, told: str
) -> None:
    with pytest.raises(EvacError, match=told):
        ask(demo_plan, question, runs=200)


def test_every_team_missing_is_refused(demo_plan: Plan) -> None:
    everyone = tuple(team.id for team in demo_plan.lift.teams)
    with pytest.raises(EvacError, match="Every team is out"):
        ask(demo_plan, Question(missing_teams=everyone))


def test_every_carrier_is_marked_on_the_map_in_its_teams_colour(
    bench: Workbench, demo_plan: Plan
) -> None:
    place = parts(desk.what_if(bench))[3]
    pixels = plt_image.imread(io.BytesIO(bytes(place.value)))[..., :3]
    # Left of the legend: the map of 112 of 170 mm.
    drawn = pixels[:, : int(pixels.shape[1] * 110 / 170)]
    first = demo_plan.schedule.rescues[0].team
    carriers = sum(item.team == first for item in demo_plan.schedule.rescues)
    blue = np.abs(drawn - np.array([0x00, 0x72, 0xB2]) / 255).max(axis=-1) < 0.02
    # A disc of 5 points at 90 dots an inch is some 30 pixels.
    assert blue.sum() > 10 * carriers


def test_figure_and_map_follow_the_stop_and_the_teams(
    bench: Workbench, demo_plan: Plan
) -> None:
    view = desk.what_if(bench)
    status, _, picture, place, table = parts(view)
    before = bytes(picture.value), bytes(place.value), table.value
    assert "Answered in" in status.value

    find(view, "Stop position").index = 9
    moved = bytes(picture.value), bytes(place.value), table.value
    assert moved[0] != before[0]
    assert moved[1] != before[1]

    find(view, demo_plan.assignment.zones[0].team).value = False
    assert bytes(place.value) != moved[1]
    assert table.value != moved[2]

    find(view, "As planned").click()
    assert (bytes(picture.value), bytes(place.value), table.value) == before


def test_a_refused_question_leaves_nothing_on_screen(bench: Workbench) -> None:
    view = desk.what_if(bench)
    status, text, picture, place, table = parts(view)
    findings = view.children[-1]
    find(view, "Wind [m/s]").value = 35.0
    assert "no team can take any span" in status.value
    assert text.value == table.value == findings.value == ""
    assert bytes(picture.value) == bytes(place.value) == b""
    find(view, "Wind [m/s]").value = 6.0
    assert "Answered in" in status.value


def test_working_is_shown_while_the_rope_is_solved_and_only_once(
    bench: Workbench, monkeypatch: pytest.MonkeyPatch
) -> None:
    from evac.desk import whatif_views

    view = desk.what_if(bench)
    status, text, picture, _, _ = parts(view)
    seen: list[tuple[str, str, bytes]] = []

    def solve(plan: Plan, _state: TensionState) -> object:
        seen.append((status.value, text.value, bytes(picture.value)))
        return plan.heights

    monkeypatch.setattr(whatif_views, "heights_for", solve)
    tension = find(view, "Tension system")
    tension.value = TensionState.LOCKED
    assert "Working" in seen[0][0]
    assert seen[0][1:] == ("", b"")
    assert "solving the rope anew" in status.value
    tension.value = TensionState.CONSTANT
    tension.value = TensionState.LOCKED
    assert len(seen) == 1


def test_a_negative_latest_order_is_called_too_late(demo_plan: Plan) -> None:
    from evac.desk.plan_views import latest_text

    binding = demo_plan.clock.binding
    assert binding is not None
    late = replace(binding, after_stop_s=-90.0)
    assert latest_text(late, Words()).startswith(
        "TOO LATE: it would have to come 2 min before the stop"
    )
    assert latest_text(None, Words()) == "not known"


def test_the_day_of_the_demo_is_dark_at_six(demo_plan: Plan) -> None:
    # Civil dusk on 20 January at 46 to 47 degrees north is about 17:40 by any almanac.
    assert demo_plan.lift.conditions.date == dt.date(2027, 1, 20)
    assert ask(demo_plan, Question(stop_clock_s=64_800.0), runs=200).dark
    assert not ask(demo_plan, Question(stop_clock_s=43_200.0), runs=200).dark
    assert ask(demo_plan, Question(stop_clock_s=3 * 3600.0), runs=200).dark
