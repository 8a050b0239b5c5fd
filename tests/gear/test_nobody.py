"""Where nobody can take anything, the sentence says what to begin mending with."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from builders import make_lift

from evac.errors import NoPlanError
from evac.facts.lift import Lift
from evac.plan import make_plan

DAY = dt.date(2026, 1, 20)


def refused(lift: Lift) -> str:
    with pytest.raises(NoPlanError) as told:
        make_plan(lift, date=DAY)
    return str(told.value)


def test_ropes_that_are_all_too_short_are_told_by_span() -> None:
    lift = make_lift()
    kits = tuple(replace(kit, rope_length_m=9.0) for kit in lift.kits)
    told = refused(replace(lift, kits=kits))
    assert told.startswith("no team can take any span, so there is no plan: 0-1 asc")
    assert "the rope that comes nearest has 9.0 m, and " in told
    assert "6 more" in told


def test_kit_that_is_all_out_of_date_is_told() -> None:
    lift = make_lift()
    kits = tuple(replace(kit, retire_on=dt.date(2020, 1, 1)) for kit in lift.kits)
    assert "holds a kit in date" in refused(replace(lift, kits=kits))


def test_teams_that_all_come_too_late_are_told() -> None:
    lift = make_lift()
    organisation = replace(lift.organisation, latest_arrival_s=1.0)
    told = refused(replace(lift, organisation=organisation))
    assert "no team has a way in that ends in time" in told
