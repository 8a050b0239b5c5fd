"""What the teams can do; heights and an order of work that agree with each other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace

from evac import access, gear, hazards, timing
from evac.assignment import assign
from evac.assignment.effort import Effort
from evac.assignment.keep import told_by
from evac.clearing import make_schedule
from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights
from evac.facts.lift import Lift
from evac.facts.work import Assignment, Option, Reach, Route, Schedule, UnitGate, Work
from evac.heights.cuts import cut
from evac.heights.follow import LASTING, follow
from evac.words import Words

OnStep = Callable[[str, float], None]

_MOST_ROUNDS = 6
"""Each round only raises the envelope and a plan is taken only where nothing exceeds
it, so that more rounds never make it less safe, only a refusal rarer."""

_SPARE_EFFORT = 40.0
"""Ways to give spares out that are tried (`evac.assignment.effort`): about 3 s."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """What the teams can do, before anybody is sent anywhere."""

    options: tuple[Option, ...]
    reaches: tuple[Reach, ...]
    gates: tuple[UnitGate, ...]
    routes: tuple[Route, ...]
    work: Work
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """Heights and assignment that agree with each other."""

    heights: Heights
    ready: Ready
    assignment: Assignment
    schedule: Schedule
    findings: tuple[Finding, ...]


def settle(
    lift: Lift,
    heights: Heights,
    *,
    date: dt.date,
    report: OnStep | None = None,
    ways_in: access.WaysIn | None = None,
    routes: tuple[Route, ...] | None = None,
    ready: Ready | None = None,
    at_mean: bool = False,
) -> Settled:
    """Assign, follow the rope through that order of work, and raise the envelope.

    Gear is chosen before the order of work is known, from an envelope that holds for
    any order by test, not by theorem. So the order that comes out is solved, and where
    it leaves the envelope everything is chosen again.

    Parameters
    ----------
    lift, heights : Lift, Heights
    date : datetime.date
        Day to which due dates of kit are counted.
    report : callable, optional
        Called with a step's name and the fraction done.
    ways_in, routes
        As for `make_ready`.
    ready : Ready, optional
        What `make_ready` gave for these very heights, where it is known already.
    at_mean : bool
        Share out by mean instead of likely step times; the zones are then told at
        likely ones.

    Raises
    ------
    NoPlanError
        If heights and order of work do not agree after six rounds.
    """
    raised: tuple[Finding, ...] = ()
    known = ready
    for _ in range(_MOST_ROUNDS):
        ready = known or make_ready(
            lift, heights, date=date, ways_in=ways_in, routes=routes
        )
        if report is not None:
            report("assign", 0.0)
        assignment = assign(ready.work)
        if at_mean:
            assignment = _shared_at_mean(lift, heights, ready, assignment)
        schedule = make_schedule(
            lift, heights, ready.work, assignment, gates=ready.gates
        )
        if not schedule.rescues:
            return Settled(
                heights=heights,
                ready=ready,
                assignment=assignment,
                schedule=schedule,
                findings=raised,
            )
        followed = follow(lift, heights, schedule)
        if followed.raised is None:
            return Settled(
                heights=heights,
                ready=ready,
                assignment=assignment,
                schedule=schedule,
                findings=(*raised, *followed.findings),
            )
        heights, known = followed.raised, None
        raised += tuple(item for item in followed.findings if item.key in LASTING)
    message = Words().say("plan.not_settled", rounds=_MOST_ROUNDS)
    raise NoPlanError(message)


def work_at_mean(lift: Lift, heights: Heights, ready: Ready) -> Work:
    """The work of what the teams can do, in mean instead of likely seconds."""
    at_mean = timing.build_work(
        lift,
        heights,
        ready.options,
        ready.reaches,
        ready.gates,
        ready.routes,
        at_mean=True,
    )
    # What is walked past is walked at likely times in any case.
    return replace(
        at_mean,
        pass_s=ready.work.pass_s,
        pass_open_s=ready.work.pass_open_s,
        pass_hazards=ready.work.pass_hazards,
        pass_crosses=ready.work.pass_crosses,
    )


def _shared_at_mean(
    lift: Lift, heights: Heights, ready: Ready, at_likely: Assignment
) -> Assignment:
    """Zones that are best at mean step times, told at likely ones."""
    work = work_at_mean(lift, heights, ready)
    return told_by(ready.work, assign(work).zones, best=at_likely)


def make_ready(
    lift: Lift,
    heights: Heights,
    *,
    date: dt.date,
    ways_in: access.WaysIn | None = None,
    routes: tuple[Route, ...] | None = None,
) -> Ready:
    """What every team can do: gear, gates, ways in, and seconds of all of it.

    Parameters
    ----------
    lift, heights : Lift, Heights
    date : datetime.date
        Day to which due dates of kit are counted.
    ways_in : WaysIn, optional
        Of the same lift, made ready before.
    routes : tuple of Route, optional
        Of the same teams; found where not given.
    """
    line = heights.line
    ways_to_work = gear.options(lift, date=date)
    gates = hazards.find_gates(lift, line)
    reaches = gear.find_reaches(lift, ways_to_work, heights.units, gates=gates)
    if routes is None:
        routes = access.find_routes(lift, line, ways_in=ways_in)
    work = timing.build_work(
        lift,
        heights,
        ways_to_work,
        reaches,
        gates,
        routes,
        passages=access.SupportWays(lift=lift, line=line, ways_in=ways_in),
    )
    return Ready(
        options=ways_to_work,
        reaches=reaches,
        gates=gates,
        routes=routes,
        work=work,
        findings=(
            *gear.doubts(lift, ways_to_work, heights.units, reaches, date=date),
            *hazards.doubts(lift, line, gates),
            *access.doubts(lift, line, routes),
            *timing.doubts(lift, heights, work),
        ),
    )


def worth_cutting(lift: Lift, heights: Heights, *, date: dt.date) -> tuple[float, ...]:
    """Which of the cuts that the user names make the sharing better.

    A cut span is set up twice where one team takes both halves, so a cut that no two
    teams use makes things slower. None, each alone and all together are tried.

    Parameters
    ----------
    lift, heights : Lift, Heights
        Before any cut; ``lift.cuts_m`` names them.
    date : datetime.date
        Day to which due dates of kit are counted.

    Returns
    -------
    tuple of float
        Those to be made, in order of distance; the fewest among equals.
    """
    tried = dict.fromkeys(((), *((at_m,) for at_m in lift.cuts_m), lift.cuts_m))

    def outcome(cuts_m: tuple[float, ...]) -> tuple[int, ...]:
        there, halves = cut(lift, heights, cuts_m=cuts_m)
        shared = assign(make_ready(there, halves, date=date).work)
        # Waiting is counted in finer steps over halves, so it cannot be compared.
        finish_s = shared.objectives[1]
        return *gravest(there, halves, shared), finish_s, len(cuts_m)

    return min(tried, key=outcome)


def give_spares(lift: Lift, heights: Heights, *, date: dt.date) -> Lift:
    """Give every spare kit to the team with which the sharing comes out best.

    Who takes a spare decides who can work where, so it is no matter of the table's
    order. From the plain rule of `evac.gear.options`, each spare in turn is tried with
    every team that may use it, until no single change helps.

    Parameters
    ----------
    lift, heights : Lift, Heights
    date : datetime.date
        Day to which due dates of kit are counted.

    Returns
    -------
    Lift
        With ``spares`` set; unchanged where no spare could go to two teams.
    """
    takers = gear.spare_takers(lift, date=date)
    if all(len(teams) < 2 for teams in takers.values()):
        return lift
    effort = Effort(left=_SPARE_EFFORT)
    # Teams go the same ways whatever kit they carry.
    ways_in = access.open_ways(lift, heights.line)
    routes = access.find_routes(lift, heights.line, ways_in=ways_in)

    def outcome(spares: dict[str, str]) -> tuple[tuple[int, ...], Assignment]:
        given = replace(lift, spares=spares)
        ready = make_ready(given, heights, date=date, ways_in=ways_in, routes=routes)
        shared = assign(ready.work)
        effort.charge(shared)
        return (*gravest(given, heights, shared), shared.objectives[1]), shared

    best = dict(gear.spare_kits(lift, date=date))
    least, shared = outcome(best)
    better = True
    while better:
        better = False
        for kit, teams in takers.items():
            for team in teams:
                if best.get(kit) == team or not effort.allows(shared.states):
                    continue
                tried = {**best, kit: team}
                found, shared = outcome(tried)
                if found < least:
                    best, least, better = tried, found, True
    return replace(lift, spares=best)


def gravest(lift: Lift, heights: Heights, assignment: Assignment) -> tuple[int, int]:
    """What no gain of time makes up for, where two sharings are compared.

    Returns
    -------
    tuple of int
        People nobody reaches; zones in which a descender would not last, each of
        which stops the plan.
    """
    worn_out = sum(
        item.severity is Severity.STOP
        for item in gear.budget_doubts(lift, heights, assignment)
    )
    return assignment.objectives[0], worn_out
