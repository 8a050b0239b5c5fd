"""What if: the plan again for another day, stop, load or with teams out.

Heights are kept as long as nothing changes the rope; everything after them is done
anew, so that an answer follows a slider. What is left out is said in `ask`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from evac import access, first_lowering, gear, roster
from evac.clearing import make_schedule, planned_people
from evac.clock import decide, is_dark, likely_clear_s
from evac.clock import doubts as clock_doubts
from evac.errors import EvacError
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights, StopHeights
from evac.facts.lift import Lift, LoadCase, Side, TensionState, Triple
from evac.facts.plan import Plan
from evac.facts.work import Route, Schedule
from evac.heights.envelope import find_heights
from evac.heights.follow import Followed, follow, reference_case
from evac.heights.stop import stop_heights
from evac.limits import limits_met
from evac.muster import safe_seconds
from evac.sharing import share_out
from evac.simulation import simulate
from evac.words import Words

RUNS = 2_000
"""Imagined days of an answer: sampling moves its P90 by some 2 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked of a plan; None leaves what the plan was made with.

    ``stop_index``: a row of the stop grid; None: wherever the lift stops.
    ``load_name``: one of the plan's load cases; None: the folder's own occupancy.
    ``snow_m``: depth of the snow all along the line.
    """

    stop_index: int | None = None
    load_name: str | None = None
    tension: TensionState | None = None
    missing_teams: tuple[str, ...] = ()
    snow_m: float | None = None
    air_temperature_c: float | None = None
    wind_m_per_s: float | None = None
    stop_clock_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The plan as it would be.

    ``plan`` is for looking at, not for papers: remedies are not sought, and it has the
    findings of ground, gear, work and hour only. ``stops`` holds both sides at the
    stop and load of the question. ``followed`` is the rope through the order of work
    at that very stop, None where there is no order to follow.
    """

    question: Question
    plan: Plan
    schedule: Schedule
    stops: Mapping[Side, StopHeights]
    followed: Followed | None
    people: int
    """On the line at this stop, as the zones count them."""
    dark: bool
    """Night times are used: the plan's own choice, or another hour is in the dark."""

    @property
    def order_checked(self) -> bool:
        """Whether heights stayed within the envelope in this order, at this stop."""
        return self.followed is not None and self.followed.raised is None


def heights_for(plan: Plan, state: TensionState) -> Heights:
    """Heights under another tension state: the one change that solves the rope anew.

    Parameters
    ----------
    plan : Plan
    state : TensionState
        The plan's own gives the plan's heights.

    Returns
    -------
    Heights

    Raises
    ------
    RopeError
        If no rope hangs so.
    """
    if state is plan.lift.tension.state:
        return plan.heights
    heights, _ = find_heights(_with_tension(plan.lift, state), plan.heights.line)
    return heights


def ask(
    plan: Plan,
    question: Question,
    *,
    heights: Heights | None = None,
    ways_in: access.WaysIn | None = None,
    runs: int = RUNS,
) -> Answer:
    """Answer a question about a plan.

    Parameters
    ----------
    plan : Plan
    question : Question
    heights : Heights, optional
        Of `heights_for`, for the question's tension state; found where not given.
    ways_in : WaysIn, optional
        Of the plan's lift with every team; made ready where other teams come than
        those of the plan and it is not given.
    runs : int
        Imagined days, at least 100.

    Returns
    -------
    Answer

    Raises
    ------
    EvacError
        If the plan has no such stop, load or team, or no honest plan can be made.

    Notes
    -----
    Compare an answer with that to ``Question(stop_index=...)`` and not with the plan's
    own figures: both imagine the same days, so the difference is the question's work
    and not chance.

    Zones hold for every stop, as on the sheets, also where a stop is asked for: they
    are found first, then imagined at that stop alone. A load case sets how many seats
    of a side are taken; times spread those people evenly over the side. A missing team
    takes its kit along, a spare that is given to it too. Snow changes the pace on the
    ground and what ladders may do; reach is counted from bare ground all the same, the
    safe side. At another hour, as in the plan, what falls into the dark takes longer in
    P50, P90 and limits; ``dark`` only tells that the order comes in it.
    """
    _require_known(plan, question)
    state = question.tension or plan.lift.tension.state
    if heights is None:
        heights = heights_for(plan, state)
    case = _case(plan, question)
    lift = _changed(plan.lift, question)
    dark = is_dark(lift)
    stops = _both_sides(lift, heights, question, case=case)
    if question.load_name is not None:
        lift = _loaded(lift, stops)
    settled = share_out(
        lift,
        heights,
        date=plan.due_day,
        seed=plan.seed,
        routes=_routes(plan, lift, ways_in=ways_in),
    )
    ready, assignment = settled.ready, settled.assignment
    row = question.stop_index
    schedule, followed = settled.schedule, None
    if row is not None:
        schedule = make_schedule(
            lift,
            settled.heights,
            ready.work,
            assignment,
            stop_index=row,
            gates=ready.gates,
        )
    if schedule.rescues:
        followed = follow(lift, settled.heights, schedule)
    simulation = simulate(
        lift,
        settled.heights if row is None else _at_stop(settled.heights, row),
        ready.work,
        assignment,
        runs=runs,
        seed=plan.seed,
        gates=ready.gates,
        safe_s=safe_seconds(
            lift, ready.work, plan.muster, plan.muster_point, settled.schedule
        ),
    )
    clock = decide(lift, simulation, schedule)
    findings = (
        # The ground stays what it is.
        *(item for item in plan.findings if item.key.startswith("line.")),
        *settled.findings,
        *ready.findings,
        *_spread_doubt(question, case),
        *gear.people_doubts(
            lift,
            gear.people_needed(
                lift,
                ready.options,
                ready.gates,
                points=set(plan.muster_point.values()),
            ),
        ),
        *gear.budget_doubts(lift, settled.heights, assignment),
        *clock_doubts(lift, clock),
        *first_lowering.doubts(lift, simulation),
        *roster.doubts(
            lift,
            p90_s=simulation.p90_s,
            clear_s=likely_clear_s(lift, assignment),
            latest=clock.binding,
        ),
    )
    return Answer(
        question=question,
        plan=replace(
            plan,
            lift=lift,
            heights=settled.heights,
            reaches=ready.reaches,
            gates=ready.gates,
            routes=ready.routes,
            work=ready.work,
            assignment=assignment,
            schedule=schedule,
            simulation=simulation,
            clock=clock,
            remedies=(),
            priorities=(),
            # Of the plan as it stands, and not of this question.
            pickoffs=(),
            special=(),
            levers=None,
            branches=None,
            ground_to_safe_s=None,
            informed=(),
            findings=findings,
            everyone_reached=not assignment.uncovered,
            limit_met=limits_met(lift, simulation),
        ),
        schedule=schedule,
        stops=stops,
        followed=followed,
        people=_people(lift, settled.heights, stop_index=row or 0),
        dark=dark,
    )


def new_findings(answer: Answer, base: Answer) -> tuple[Finding, ...]:
    """Findings that matter and that another answer has not, the gravest first."""
    known = {_name(finding) for finding in base.plan.findings}
    order = (Severity.STOP, Severity.WARN)
    fresh = [
        item
        for item in answer.plan.findings
        if item.severity in order and _name(item) not in known
    ]
    return tuple(sorted(fresh, key=lambda item: order.index(item.severity)))


def _require_known(plan: Plan, question: Question) -> None:
    words = Words()
    teams = {team.id for team in (*plan.lift.teams, *plan.lift.off_duty)}
    if unknown := sorted(set(question.missing_teams) - teams):
        message = words.say("whatif.no_team", teams=", ".join(unknown))
        raise EvacError(message)
    if set(question.missing_teams) >= teams:
        raise EvacError(words.say("whatif.nobody_left"))
    stops = plan.heights.stops.offset_m.size
    if question.stop_index is not None and not 0 <= question.stop_index < stops:
        message = words.say("whatif.no_stop", stop=question.stop_index, count=stops)
        raise EvacError(message)
    names = [case.name for case in plan.heights.load_cases]
    if question.load_name is not None and question.load_name not in names:
        message = words.say(
            "whatif.no_load", load=question.load_name, have=", ".join(names)
        )
        raise EvacError(message)


def _case(plan: Plan, question: Question) -> LoadCase:
    """The load that the heights are drawn with."""
    if question.load_name is None:
        return reference_case(plan.heights)
    return next(
        case for case in plan.heights.load_cases if case.name == question.load_name
    )


def _with_tension(lift: Lift, state: TensionState) -> Lift:
    return replace(lift, tension=replace(lift.tension, state=state))


def _changed(lift: Lift, question: Question) -> Lift:
    """The lift on the day of the question."""
    missing = set(question.missing_teams)
    now = lift.conditions
    snow_m, wind = question.snow_m, question.wind_m_per_s
    clock_s, air_c = question.stop_clock_s, question.air_temperature_c
    asked = replace(
        _with_tension(lift, question.tension or lift.tension.state),
        teams=tuple(team for team in lift.teams if team.id not in missing),
        off_duty=tuple(team for team in lift.off_duty if team.id not in missing),
        # A spare that is given to a missing team has gone with it, as in its branch.
        kits=tuple(
            kit
            for kit in lift.kits
            if (kit.team or lift.spares.get(kit.id)) not in missing
        ),
        conditions=replace(
            now,
            snow_least_m=now.snow_least_m if snow_m is None else snow_m,
            snow_most_m=now.snow_most_m if snow_m is None else snow_m,
            wind_m_per_s=now.wind_m_per_s if wind is None else wind,
            # A gust is never weaker than the wind.
            gust_m_per_s=max(now.gust_m_per_s, wind or 0.0),
            air_temperature_c=now.air_temperature_c if air_c is None else air_c,
            stop_clock_s=now.stop_clock_s if clock_s is None else clock_s,
        ),
    )
    # Another hour, other teams (rule 21).
    return roster.on_duty(asked)


def _both_sides(
    lift: Lift, heights: Heights, question: Question, *, case: LoadCase
) -> dict[Side, StopHeights]:
    offset_m = float(heights.stops.offset_m[question.stop_index or 0])
    return {
        side: stop_heights(
            lift, heights.line, side=side, stop_offset_m=offset_m, load_case=case
        )
        for side in Side
    }


def _loaded(lift: Lift, stops: Mapping[Side, StopHeights]) -> Lift:
    """The lift with as many seats taken as the load case takes at this stop."""

    def taken(side: Side) -> Triple:
        carriers = stops[side].carriers
        seats = carriers.people.size * lift.carriers.seats
        share = float(carriers.people.sum()) / seats if seats else 0.0
        return Triple(low=share, likely=share, high=share)

    return replace(
        lift,
        occupancy=taken(Side.ASCENDING),
        descending_occupancy=taken(Side.DESCENDING),
    )


def _spread_doubt(question: Question, case: LoadCase) -> tuple[Finding, ...]:
    """Times of a case that fills only a part are those of its people spread evenly."""
    whole = case.from_share <= 0.0 and case.to_share >= 1.0 and not case.batch_loaded
    if question.load_name is None or whole:
        return ()
    return (
        Finding(
            key="whatif.spread", severity=Severity.WARN, values={"load": case.name}
        ),
    )


def _routes(
    plan: Plan, lift: Lift, *, ways_in: access.WaysIn | None
) -> tuple[Route, ...]:
    """Ways in: those of the plan, or new ones where a shared vehicle may be missed."""
    if lift.teams == plan.lift.teams:
        return plan.routes
    return access.find_routes(lift, plan.heights.line, ways_in=ways_in)


def _at_stop(heights: Heights, row: int) -> Heights:
    """The same heights with one row of the stop grid only."""
    stops, here = heights.stops, slice(row, row + 1)
    return replace(
        heights,
        stops=replace(
            stops,
            offset_m=stops.offset_m[here],
            distance_m={side: rows[here] for side, rows in stops.distance_m.items()},
            span_index={side: rows[here] for side, rows in stops.span_index.items()},
            rope_height_m={
                side: rows[here] for side, rows in stops.rope_height_m.items()
            },
            seat_height_m={
                side: rows[here] for side, rows in stops.seat_height_m.items()
            },
        ),
    )


def _people(lift: Lift, heights: Heights, *, stop_index: int) -> int:
    on_line = planned_people(lift, heights, stop_index=stop_index)
    return int(sum(np.sum(people) for people in on_line.values()))


def _name(finding: Finding) -> tuple[str, str, str]:
    values = sorted((key, str(value)) for key, value in finding.values.items())
    return finding.key, finding.where, str(values)
