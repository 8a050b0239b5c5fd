"""Passengers with time and kit of their own."""

from __future__ import annotations

from dataclasses import replace

from builders import LOOP, ON_ROPE, make_kits, make_lift

from evac.facts.lift import Lift
from evac.facts.work import SpecialPassenger
from evac.gear import options
from evac.timing import special_doubts, special_passengers
from evac.words import Words


def categories(lift: Lift) -> dict[str, SpecialPassenger]:
    return {item.key: item for item in special_passengers(lift, options(lift))}


def test_all_categories_of_the_trade_are_there_with_their_sentence() -> None:
    # Rule 19 names them (common practice, no source).
    found = categories(make_lift())
    assert set(found) == {
        "unconscious",
        "child_alone",
        "infant",
        "sit_ski",
        "very_heavy",
        "no_skis",
        "deaf",
        "blind",
    }
    assert all(
        Words().has(f"special.{part}.{key}")
        for part in ("kind", "what")
        for key in found
    )


def test_who_cannot_help_is_served_by_a_rescuer_at_the_carrier_only() -> None:
    lift = make_lift()
    found = categories(lift)["unconscious"]
    techniques = {options(lift)[index].technique for index in found.options}

    assert techniques == {ON_ROPE}
    # The table's "add for an incapacitated passenger", likely.
    assert found.extra_s == {ON_ROPE: 600.0}


def test_a_child_takes_the_tables_minute_more() -> None:
    assert categories(make_lift())["child_alone"].extra_s[LOOP] == 60.0


def test_the_days_factor_counts() -> None:
    lift = make_lift()
    night = replace(lift, conditions=replace(lift.conditions, night=True))
    assert categories(night)["unconscious"].extra_s[ON_ROPE] == 780.0


def test_a_very_heavy_passenger_needs_a_kit_rated_for_it() -> None:
    kits = tuple(
        replace(kit, rated_most_kg=120.0) if kit.technique == ON_ROPE else kit
        for kit in make_kits()
    )
    lift = make_lift(kits=kits)
    served = {
        options(lift)[k].technique for k in categories(lift)["very_heavy"].options
    }

    assert ON_ROPE not in served


def test_a_kit_without_a_rated_load_is_no_option_for_a_very_heavy_passenger() -> None:
    # What no maker has stated is not known to hold (common practice, no source). The
    # builders' loops and ladder state no load; their descender states 150 kg.
    lift = make_lift()
    kits = {options(lift)[k].kit for k in categories(lift)["very_heavy"].options}

    assert kits == {"Kit 4"}


def test_kits_without_a_rated_load_are_named() -> None:
    lift = make_lift()
    (finding,) = special_doubts(lift, options(lift))

    assert (finding.key, finding.severity) == ("timing.unrated", "note")
    assert "4 kits (Kit 1, Kit 2, Kit 3, Kit 5): they do" in Words().finding(finding)[0]


def test_one_kit_without_a_rated_load_is_one_kit() -> None:
    first, *others = make_kits()
    lift = make_lift(
        kits=(first, *(replace(kit, rated_most_kg=150.0) for kit in others))
    )
    (finding,) = special_doubts(lift, options(lift))

    assert "1 kit (Kit 1): it does" in Words().finding(finding)[0]


def test_kits_that_all_state_no_load_leave_nobody_for_the_very_heavy() -> None:
    lift = make_lift(kits=tuple(replace(k, rated_most_kg=None) for k in make_kits()))
    told = special_doubts(lift, options(lift))

    assert [item.key for item in told] == ["timing.nobody_heavy", "timing.unrated"]
    assert "130 kg" in Words().finding(told[0])[0]


def test_categories_that_nobody_serves_are_told() -> None:
    rated = tuple(replace(kit, rated_most_kg=150.0) for kit in make_kits())
    kits = tuple(kit for kit in rated if kit.technique != ON_ROPE)
    lift = make_lift(kits=kits)
    told = special_doubts(lift, options(lift))

    assert [item.key for item in told] == ["timing.nobody_lifts"]
    assert all(Words().finding(told[0]))
    whole = make_lift(kits=rated)
    assert special_doubts(whole, options(whole)) == ()


def test_only_weak_kits_are_told() -> None:
    lift = make_lift(kits=tuple(replace(k, rated_most_kg=120.0) for k in make_kits()))
    (finding,) = special_doubts(lift, options(lift))

    assert finding.key == "timing.nobody_heavy"
    assert "130 kg" in Words().finding(finding)[0]
