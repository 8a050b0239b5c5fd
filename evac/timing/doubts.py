"""What the plan must say about its times."""

from __future__ import annotations

from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights
from evac.facts.lift import Lift
from evac.facts.work import NEVER_S, Assignment, Work
from evac.gear import technique_of
from evac.timing.first_table import step_doubts
from evac.timing.steps import day_factor, has_times, lower_rows

LEAST_PACE_S = 180.0
"""A line that comes out under 3 min a person and team is doubted (rule 27)."""

FASTEST_M_PER_S = 0.8
"""Nobody is lowered faster than this in ropeway use (an operator's figure, seen)."""


def doubts(lift: Lift, heights: Heights, work: Work) -> tuple[Finding, ...]:
    """Techniques without step times, teams that arrive nowhere, the day's factor.

    Parameters
    ----------
    lift : Lift
    heights : Heights
    work : Work
        As built from them.
    """
    findings: list[Finding] = []
    used = sorted({option.technique for option in work.options})
    for name in used:
        kind = technique_of(lift, name).kind
        if not has_times(lift, kind):
            findings.append(
                Finding(
                    key="timing.no_times",
                    severity=Severity.WARN,
                    where=name,
                    values={"kind": kind},
                )
            )
    for number, team in enumerate(work.team_ids):
        late = work.arrive_s[number] > min(work.latest_arrival_s, NEVER_S - 1)
        if late.all():
            findings.append(
                Finding(key="timing.no_arrival", severity=Severity.WARN, where=team)
            )
    factor = day_factor(lift.conditions)
    if factor > 1:
        findings.append(
            Finding(
                key="timing.day_factor",
                severity=Severity.NOTE,
                values={"factor": f"{factor:.2f}".rstrip("0")},
            )
        )
    findings += _fast_lowering(lift, used)
    kinds = [technique_of(lift, name).kind for name in used]
    findings += step_doubts(lift, [kind for kind in kinds if has_times(lift, kind)])
    if lift.occupancy.high == 0:
        findings.append(Finding(key="timing.nobody_up", severity=Severity.WARN))
    findings.append(
        Finding(
            key="timing.planned_people",
            severity=Severity.NOTE,
            values={
                "ascending_share": lift.occupancy.high,
                "descending_share": lift.descending_occupancy.high,
                "stops": int(heights.stops.offset_m.size),
            },
        )
    )
    return tuple(findings)


def _fast_lowering(lift: Lift, techniques: list[str]) -> list[Finding]:
    findings = []
    for name in techniques:
        likely = lower_rows(lift, technique_of(lift, name).kind).likely
        if 0 < likely < 1 / FASTEST_M_PER_S:
            findings.append(
                Finding(
                    key="timing.lowering_fast",
                    severity=Severity.WARN,
                    where=name,
                    values={
                        "speed_m_per_s": 1 / likely,
                        "most_m_per_s": FASTEST_M_PER_S,
                    },
                )
            )
    return findings


def pace_doubts(assignment: Assignment) -> tuple[Finding, ...]:
    """A line that is cleared faster than anyone has done it.

    Work in the zones over people in the zones, set-ups and crossings included.
    """
    people = sum(zone.people for zone in assignment.zones)
    if people == 0:
        return ()
    pace_s = sum(zone.work_s for zone in assignment.zones) / people
    if pace_s >= LEAST_PACE_S:
        return ()
    return (
        Finding(
            key="timing.pace",
            severity=Severity.WARN,
            values={
                "pace": f"{pace_s / 60:.1f}",
                "least": f"{LEAST_PACE_S / 60:.0f}",
            },
        ),
    )
