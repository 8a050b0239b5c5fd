"""The plan: every result of the chain for one lift."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from evac.facts.change import Branches, Levers, Priority
from evac.facts.finding import Finding
from evac.facts.heights import Heights
from evac.facts.lift import Lift, Triple
from evac.facts.work import (
    Assignment,
    Clock,
    Informed,
    PickOff,
    Reach,
    Remedy,
    Route,
    Schedule,
    Simulation,
    SpecialPassenger,
    UnitGate,
    Work,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One lift, planned: the chain's results from top to bottom."""

    lift: Lift
    date: dt.date
    seed: int
    fingerprint: str
    """Short hash over all inputs, printed on every document."""
    heights: Heights
    reaches: tuple[Reach, ...]
    gates: tuple[UnitGate, ...]
    routes: tuple[Route, ...]
    work: Work
    assignment: Assignment
    schedule: Schedule
    muster: Mapping[int, Route]
    """Span index -> the way from that span to its muster point."""
    muster_point: Mapping[int, str]
    simulation: Simulation
    clock: Clock
    remedies: tuple[Remedy, ...]
    findings: tuple[Finding, ...]
    everyone_reached: bool
    limit_met: bool | None
    """At P90, and for everybody: False while people are not reached. None where the
    folder names no limit."""
    pickoffs: tuple[PickOff, ...] = ()
    """In order of the assignment's zones (rule 19)."""
    special: tuple[SpecialPassenger, ...] = ()
    """Categories of special passengers, with who can serve them."""
    levers: Levers | None = None
    """What would shorten it most, tried and imagined over the same days."""
    branches: Branches | None = None
    """What if one team does not come, prepared beforehand."""
    priorities: tuple[Priority, ...] = ()
    """In order of zones: what it costs to take those first who wait longest."""
    ground_to_safe_s: Triple | None = None
    """Last on the ground -> all at a safe place, as the simulation counted it."""
    informed: tuple[Informed, ...] = ()
    """In order of spans: who tells passengers, how soon, and where no voice reaches."""

    @property
    def due_day(self) -> dt.date:
        """Day to which due dates of kit count: what is planned for may lie ahead."""
        return due_day(self.lift, made=self.date)


def due_day(lift: Lift, *, made: dt.date) -> dt.date:
    """The later of the day a plan is made on and the day it is made for."""
    return max(made, lift.conditions.date)
