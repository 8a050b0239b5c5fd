"""Who may work with what."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from builders import ON_ROPE, make_kits, make_lift
from flat_heights import make_units, one_technique

from evac.facts.finding import Severity
from evac.facts.lift import CarrierType, Lift
from evac.gear import doubts, find_reaches, options
from evac.words import Words

DAY = date(2026, 1, 20)


def pairs(lift: Lift) -> list[tuple[str, str]]:
    return [(option.team, option.kit) for option in options(lift, date=DAY)]


def keys(lift: Lift, **heights: float) -> dict[str, str]:
    units = make_units(lift, **heights)
    found = options(lift, date=DAY)
    reaches = find_reaches(lift, found, units)
    return {
        finding.key: finding.where
        for finding in doubts(lift, found, units, reaches, date=DAY)
    }


def test_every_trained_team_works_with_its_own_kits() -> None:
    assert pairs(make_lift()) == [
        ("Team 1", "Kit 1"),
        ("Team 2", "Kit 2"),
        ("Team 2", "Kit 4"),
        ("Team 3", "Kit 3"),
        ("Team 3", "Kit 5"),
    ]


def test_options_are_numbered_in_order() -> None:
    assert [option.index for option in options(make_lift())] == [0, 1, 2, 3, 4]


def test_below_minimum_crew_the_technique_is_lost_and_told() -> None:
    lift = make_lift()
    lift = replace(lift, teams=(replace(lift.teams[0], crew=2), *lift.teams[1:]))

    assert "Team 1" not in {team for team, _ in pairs(lift)}
    assert keys(lift)["gear.lost_crew"] == "Team 1"
    assert keys(lift)["gear.idle_team"] == "Team 1"


def test_a_technique_that_is_not_approved_is_refused() -> None:
    lift = one_technique(make_lift(), ON_ROPE, approval="Not approved")

    assert ("Team 2", "Kit 4") not in pairs(lift)
    assert keys(lift)["gear.lost_not_approved"] == "Team 2"


def test_outside_help_is_never_in_the_plan() -> None:
    lift = one_technique(make_lift(), ON_ROPE, kind="outside help")

    assert ("Team 2", "Kit 4") not in pairs(lift)


def test_a_technique_for_chairs_does_not_serve_cabins() -> None:
    lift = make_lift()
    lift = replace(lift, carriers=replace(lift.carriers, type=CarrierType.CABIN))

    assert pairs(lift) == [("Team 2", "Kit 4")]


def test_a_retired_kit_is_left_out_from_its_day_on() -> None:
    kits = (replace(make_kits()[0], retire_on=DAY), *make_kits()[1:])
    lift = make_lift(kits=kits)

    assert ("Team 1", "Kit 1") not in pairs(lift)
    assert keys(lift)["gear.retired"] == "Kit 1"
    earlier = options(lift, date=date(2026, 1, 19))
    assert "Kit 1" in {option.kit for option in earlier}


def test_a_kit_overdue_for_inspection_is_told_and_nobody_is_lowered_with_it() -> None:
    kits = (replace(make_kits()[0], inspection_due=date(2026, 1, 19)), *make_kits()[1:])
    lift = make_lift(kits=kits)

    assert keys(lift)["gear.overdue"] == "Kit 1"
    assert ("Team 1", "Kit 1") not in pairs(lift)
    # On the day itself the inspection is still good.
    on_the_day = options(lift, date=date(2026, 1, 19))
    assert "Kit 1" in {option.kit for option in on_the_day}


def test_an_overdue_spare_is_given_to_nobody() -> None:
    spare = replace(
        make_kits()[1],
        id="Spare",
        team=None,
        rope_length_m=90.0,
        inspection_due=date(2026, 1, 19),
    )

    lift = make_lift(kits=(*make_kits(), spare))
    assert "Spare" not in {kit for _, kit in pairs(lift)}


def test_a_spare_kit_goes_to_one_team_only() -> None:
    spare = replace(make_kits()[1], id="Spare", team=None, rope_length_m=90.0)
    lift = make_lift(kits=(*make_kits(), spare))

    takers = [team for team, kit in pairs(lift) if kit == "Spare"]
    # Team 1 and Team 3 have 60 m, Team 2 has 80 m: the first of the shortest.
    assert takers == ["Team 1"]
    assert keys(lift)["gear.spare"] == "Team 1"


def test_a_spare_kit_that_adds_nothing_stays_on_the_shelf() -> None:
    spare = replace(make_kits()[0], id="Spare", team=None, rope_length_m=55.0)

    assert "Spare" not in {
        kit for _, kit in pairs(make_lift(kits=(*make_kits(), spare)))
    }


def test_a_spare_kit_serves_a_trained_team_without_one() -> None:
    without = tuple(kit for kit in make_kits() if kit.id != "Kit 3")
    spare = replace(make_kits()[0], id="Spare", team=None, rope_length_m=30.0)

    assert ("Team 3", "Spare") in pairs(make_lift(kits=(*without, spare)))


def test_gusts_above_a_techniques_limit_are_told() -> None:
    lift = make_lift()
    windy = replace(lift, conditions=replace(lift.conditions, gust_m_per_s=16.0))

    assert "gear.wind" not in keys(lift)
    assert "gear.wind" in keys(windy)


def test_every_finding_about_gear_has_its_sentences() -> None:
    lift = make_lift()
    units = make_units(lift, rope_m=60.0)
    found = options(lift)
    reaches = find_reaches(lift, found, units)
    told = doubts(lift, found, units, reaches)

    assert any(finding.severity is Severity.STOP for finding in told)
    for finding in told:
        assert all(Words().finding(finding))


def test_a_lower_start_loses_a_downhill_technique() -> None:
    # Common practice, no source (rules 12 and 17).
    lift = make_lift()
    lower = replace(
        lift, teams=(replace(lift.teams[0], start_upper=False), *lift.teams[1:])
    )
    assert "gear.lost_direction" not in keys(lift)
    assert keys(lower)["gear.lost_direction"] == "Team 1"
    none = (), (), ()
    lost = next(f for f in doubts(lower, *none) if f.key == "gear.lost_direction")
    assert "pick-offs with it are not counted either" in Words().finding(lost)[0]
    assert "Team 1" in {option.team for option in options(lift)}
    assert "Team 1" not in {option.team for option in options(lower)}
    either_way = replace(
        lower,
        techniques=tuple(replace(t, downhill_only=False) for t in lower.techniques),
    )
    assert options(either_way) == options(lift)
