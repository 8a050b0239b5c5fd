"""The chain, once, from top to bottom: a lift goes in, its evacuation plan comes out.

Read this file to know the whole method. It reads no file and writes none; every step
is a function of its own module, and every doubt a step meets becomes a finding.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
from collections.abc import Callable
from dataclasses import replace

from evac import access, first_lowering, gear, informing, learning, roster, timing
from evac.assignment import assign, last_finish_s
from evac.assignment.priority import find_priorities
from evac.assignment.remedies import find_remedies
from evac.carriers import loop_length_m, spacing_doubt
from evac.clearing import passage_doubts
from evac.clock import decide, likely_clear_s
from evac.clock import doubts as clock_doubts
from evac.currency import drill_doubts
from evac.daylight import by_night
from evac.errors import NoPlanError
from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift, Limit
from evac.facts.plan import Plan, due_day
from evac.facts.work import (
    Assignment,
    Remedy,
    Simulation,
)
from evac.heights.cuts import cut, marks_m
from evac.heights.envelope import find_heights
from evac.levers import find_levers
from evac.limits import (
    PLANNED_SHARE,
    is_met,
    late_s,
    limit_verdict,
    limits_met,
    missed_by_order,
    took_s,
)
from evac.line import lay_out
from evac.muster import doubts as muster_doubts
from evac.muster import find_ways, safe_seconds
from evac.quantiles import quantile
from evac.ready import give_spares, make_ready, work_at_mean, worth_cutting
from evac.sharing import clear_p90_s, share_out
from evac.simulation import absence, simulate
from evac.simulation.missing import prepare_branches

OnStep = Callable[[str, float], None]

_FIRST_SAID = {Severity.STOP: 0, Severity.WARN: 1, Severity.NOTE: 2}
_RUNS = 10_000


def make_plan(
    lift: Lift,
    *,
    date: dt.date,
    seed: int = 1,
    on_step: OnStep | None = None,
) -> Plan:
    """Make the evacuation plan of one lift.

    Parameters
    ----------
    lift : Lift
        As read by :func:`evac.open_lift`.
    date : datetime.date
        The day printed on the papers; drills are counted to it, and due dates of kit to
        the later of it and the day of the conditions.
    seed : int
        Seed of the imagined days; the same seed gives the same plan.
    on_step : callable, optional
        Called with a step's name and the fraction done, for a progress bar.

    Returns
    -------
    Plan
        Every result of the chain. ``everyone_reached`` and ``limit_met`` say whether
        it is good enough; the findings say what to look at.

    Raises
    ------
    NoPlanError
        If no honest plan can be made, with the reason and what to do.
    RopeError
        If no rope can hang as the lift describes it.
    """
    report = on_step or _silent
    learned = learning.learn(
        lift.step_times, lift.drill_records, accepted=lift.accepted_steps
    )
    lift = by_night(roster.on_duty(replace(lift, step_times=learned.step_times)))
    report("heights", 0.0)
    line = lay_out(lift)
    heights, height_findings = find_heights(lift, line, on_step=report)
    report("gear", 0.0)
    due = due_day(lift, made=date)
    lift = give_spares(lift, heights, date=due)
    cuts_m = worth_cutting(lift, heights, date=due) if lift.cuts_m else ()
    lift, heights = cut(lift, heights, cuts_m=cuts_m)
    line = heights.line
    ways_in = access.open_ways(lift, line)
    settled = share_out(
        lift, heights, date=due, seed=seed, report=report, ways_in=ways_in
    )
    heights, ready = settled.heights, settled.ready
    assignment, schedule = settled.assignment, settled.schedule
    if not assignment.zones:
        raise NoPlanError(gear.why_nobody(heights, ready.reaches))
    muster, muster_point = find_ways(lift, line)
    pickoffs = access.find_pickoffs(
        lift, line, ready.work, assignment, ready.routes, ways_in=ways_in
    )
    needed = gear.people_needed(
        lift, ready.options, ready.gates, points=set(muster_point.values())
    )
    ground_to_safe_s = safe_seconds(lift, ready.work, muster, muster_point, schedule)
    report("simulate", 0.0)
    simulation = simulate(
        lift,
        heights,
        ready.work,
        assignment,
        runs=_RUNS,
        seed=seed,
        gates=ready.gates,
        safe_s=ground_to_safe_s,
    )
    clock = decide(lift, simulation, schedule)
    report("what_if", 0.0)
    # Branches are shared out as the plan was.
    by_likely = assignment.chosen_by == "likely"
    branches = prepare_branches(
        lift,
        heights,
        ready.work if by_likely else work_at_mean(lift, heights, ready),
        assignment,
        simulation,
        gates=ready.gates,
    )
    lifting = {item.id for item in lift.techniques if item.incapacitated}
    priorities = find_priorities(ready.work, assignment, lifting=lifting)
    informed = informing.inform(lift, heights)
    everyone_reached = not assignment.uncovered
    limit_met = limits_met(lift, simulation)
    remedies: tuple[Remedy, ...] = ()
    remedy_findings: tuple[Finding, ...] = ()
    if not everyone_reached or limit_met is False:
        report("remedies", 0.0)
        # Remedies are judged by likely times: against the best sharing by those.
        base, base_p90_s = assignment, simulation.p90_s
        if not by_likely:
            base = assign(ready.work)
            base_p90_s = clear_p90_s(
                lift, heights, ready.work, base, seed=seed, gates=ready.gates
            )
        remedies, remedy_findings = find_remedies(
            lift,
            heights,
            ready.work,
            base,
            rebuild=lambda changed: (
                make_ready(changed, heights, date=due, ways_in=ways_in).work
            ),
            limit_s=_likely_limit_s(lift, simulation, base, base_p90_s=base_p90_s),
        )
    findings = (
        *lift.findings,
        *learning.doubts(learned),
        *drill_doubts(lift, date=date),
        *height_findings,
        *settled.findings,
        *ready.findings,
        *gear.people_doubts(lift, needed),
        *gear.budget_doubts(lift, heights, assignment),
        *access.pickoff_doubts(lift, line, pickoffs, assignment),
        *access.vehicle_doubts(lift, line, assignment, ways_in=ways_in),
        *timing.special_doubts(lift, ready.options),
        *timing.pace_doubts(assignment),
        *passage_doubts(lift, line, ready.work, assignment),
        *muster_doubts(lift, line, muster, muster_point, work=ready.work),
        *clock_doubts(lift, clock),
        *first_lowering.doubts(lift, simulation),
        *roster.doubts(
            lift,
            p90_s=simulation.p90_s,
            clear_s=likely_clear_s(lift, assignment),
            latest=clock.binding,
        ),
        *absence.doubts(lift, simulation, assignment, branches),
        *informing.doubts(heights, informed),
        *spacing_doubt(lift, loop_m=loop_length_m(lift, heights)),
        *remedy_findings,
        *_own_findings(lift, assignment, simulation),
    )
    plan = Plan(
        lift=lift,
        date=date,
        seed=seed,
        fingerprint=_fingerprint(lift),
        heights=heights,
        reaches=ready.reaches,
        gates=ready.gates,
        routes=ready.routes,
        work=ready.work,
        assignment=assignment,
        schedule=schedule,
        muster=muster,
        muster_point=muster_point,
        simulation=simulation,
        clock=clock,
        remedies=remedies,
        pickoffs=pickoffs,
        special=timing.special_passengers(lift, ready.options),
        findings=tuple(sorted(findings, key=lambda item: _FIRST_SAID[item.severity])),
        everyone_reached=everyone_reached,
        limit_met=limit_met,
        branches=branches,
        priorities=priorities,
        informed=informed,
        ground_to_safe_s=ground_to_safe_s,
    )
    return replace(plan, levers=find_levers(plan, ways_in=ways_in))


def _likely_limit_s(
    lift: Lift, simulation: Simulation, base: Assignment, *, base_p90_s: float
) -> int | None:
    """How soon the last must be down at likely times, for P90 to meet the limits.

    Remedies are judged by likely times, against a sharing that is best by those; its
    P90 is taken to shrink with them. None where every limit is met, or what is missed
    has no end (safe time not known), for which nothing in the sharing is a remedy.
    """
    missed_s = [late_s(limit, simulation) for limit in lift.limits]
    missed_s = [item for item in missed_s if 0 < item < math.inf]
    if not missed_s:
        return None
    # The base is as late as the plan, and by what its P90 is beyond the plan's.
    base_late_s = max(missed_s) + max(base_p90_s - simulation.p90_s, 0.0)
    likely_s = last_finish_s(base)
    return int(likely_s * (1 - base_late_s / base_p90_s))


def _own_findings(
    lift: Lift, assignment: Assignment, simulation: Simulation
) -> list[Finding]:
    """What only the finished chain can say."""
    found = [
        _limit_finding(lift, limit, assignment, simulation)
        for limit in lift.limits
        if not is_met(limit, simulation)
    ]
    used = marks_m(lift)
    if used:
        found.append(
            Finding(
                key="plan.cuts_made",
                severity=Severity.NOTE,
                values={"cuts": ", ".join(f"{at_m:g} m" for at_m in used)},
            )
        )
    if lift.spares:
        found.append(
            Finding(
                key="plan.spares_given",
                severity=Severity.NOTE,
                values={
                    "given": "; ".join(
                        f"{kit}: {team}" for kit, team in lift.spares.items()
                    )
                },
            )
        )
    idle = sorted(set(lift.cuts_m) - set(used))
    if idle:
        found.append(
            Finding(
                key="plan.cuts_idle",
                severity=Severity.NOTE,
                values={"cuts": ", ".join(f"{at_m:g} m" for at_m in idle)},
            )
        )
    open_count = sum(not item.accepted for item in lift.assumptions)
    if open_count:
        found.append(
            Finding(
                key="plan.assumptions_open",
                severity=Severity.WARN,
                values={"count": open_count},
            )
        )
    if not assignment.proven:
        last_s = last_finish_s(assignment)
        found.append(
            Finding(
                key="plan.not_proven",
                severity=Severity.WARN,
                values={"gap_s": last_s - assignment.bound_s},
            )
        )
    return found


def _limit_finding(
    lift: Lift, limit: Limit, assignment: Assignment, simulation: Simulation
) -> Finding:
    """Why a limit is not met."""
    verdict = limit_verdict(limit, simulation)
    if missed_by_order(lift, limit, simulation):
        verdict = "missed_by_order"
    decision = lift.organisation.stop_to_order_s
    return Finding(
        key=f"plan.limit_{verdict}",
        severity=Severity.STOP,
        values={
            "p90_s": quantile(took_s(limit, simulation), PLANNED_SHARE),
            "limit_min": limit.minutes,
            "counts_from": limit.counts_from,
            "counts_to": limit.counts_to,
            "count": sum(item.people for item in assignment.uncovered),
            "likely_s": decision.likely,
            "high_s": decision.high,
        },
    )


def _fingerprint(lift: Lift) -> str:
    """Twelve hexadecimal digits over the contents of every input file."""
    content = json.dumps(dict(lift.fingerprint), sort_keys=True)
    digest = hashlib.sha256(content.encode("utf-8")).hexdigest()
    return "-".join(digest[start : start + 4] for start in (0, 4, 8))


def _silent(_name: str, _fraction: float) -> None:
    pass
