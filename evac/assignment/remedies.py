"""What would help when somebody is not reached or the limit is missed.

Every remedy is a change that was made and solved again: nothing is promised from a
rule of thumb.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable
from dataclasses import dataclass

from evac.assignment.changes import Change, Family, families, least_kit
from evac.assignment.costs import SIDES
from evac.assignment.effort import Effort
from evac.assignment.halves import halved_work
from evac.assignment.moves import hopeless
from evac.assignment.solve import assign
from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights, UnitHeights
from evac.facts.lift import Lift
from evac.facts.work import NEVER_S, Assignment, Remedy, Work
from evac.gear.rope_needed import whole_metres

EFFORT = 100.0
"""Trials in all (`evac.assignment.effort`): about 6 s beside a plan."""

MOST_REMEDIES = 8
"""More are no help on a sheet."""
_PAIRED = 6
_SOLVE_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Tried:
    """Changes made together, and what they bring."""

    changes: tuple[Change, ...]
    uncovered: int
    clear_s: int
    late_s: int

    @property
    def score(self) -> tuple[int, int]:
        """People uncovered, then seconds beyond the limit."""
        return self.uncovered, self.late_s


def find_remedies(
    lift: Lift,
    heights: Heights,
    work: Work,
    assignment: Assignment,
    *,
    rebuild: Callable[[Lift], Work],
    limit_s: int | None = None,
    effort: float = EFFORT,
    budget_s: float = 20.0,
) -> tuple[tuple[Remedy, ...], tuple[Finding, ...]]:
    """Changes, each solved again, that reach everybody and meet the limit.

    First the necessary bound of each unit that no kit reaches. Then single changes:
    the other end of a zone first, an added kit (the least length that does as well as
    the longest), a training, one more team, ready sooner (the least that does). If no
    single change suffices, pairs of those that help.

    Parameters
    ----------
    lift, heights, work, assignment
        The plan as it stands.
    rebuild : callable
        Makes the work of a changed lift over the same heights.
    limit_s : int, optional
        Seconds from the order by which the last passenger must be down at likely
        times; None where only reach matters.
    effort : float
        How many changes may be solved in all; large programmes count for more. A
        search cut short says so, and is cut at the same place on every machine.
    budget_s : float
        Seconds after which even a machine too slow for that effort stops.

    Returns
    -------
    tuple of Remedy, tuple of Finding
        Those that suffice, by cost, else by least amount; where none suffices those
        that help most. The findings say what was not tried and what does not suffice.
    """
    until = time.monotonic() + budget_s
    left = Effort(left=effort)
    gap = _unreached(heights, work)
    base = _tried((), assignment, limit_s)
    if base.score == (0, 0):
        return (), ()
    tested: list[_Tried] = []

    def _work_of(changed: Lift, changes: tuple[Change, ...]) -> Work:
        cuts = [change.cut_m for change in changes if change.cut_m is not None]
        if not cuts:
            return rebuild(changed)
        return halved_work(
            changed,
            heights,
            at_m=cuts[0],
            usable_kits=_usable(lift, changed, work),
        )

    def solve(*changes: Change) -> _Tried | None:
        more = sum(change.kind == "team" for change in changes)
        if not left.allows(assignment.states << more) or time.monotonic() > until:
            return None
        changed = lift
        for change in changes:
            changed = change.apply(changed)
        solved = assign(_work_of(changed, changes), budget_s=_SOLVE_S)
        left.charge(solved)
        return _tried(changes, solved, limit_s)

    complete = True
    for family in families(lift, heights, work, assignment, unreached=gap):
        best = _least_of(family, base, solve)
        if best is None:
            complete = False
            break
        if best.score < base.score:
            tested.append(best)
    enough = [item for item in tested if item.score == (0, 0)]
    if not enough and complete:
        helpful = sorted(tested, key=_rank)[:_PAIRED]
        for first, second in itertools.combinations(helpful, 2):
            if first.changes[0].cut_m and second.changes[0].cut_m:
                continue
            both = solve(first.changes[0], second.changes[0])
            if both is None:
                complete = False
                break
            if both.score < min(first.score, second.score):
                tested.append(both)
        enough = [item for item in tested if item.score == (0, 0)]
    chosen = sorted(enough or tested, key=_rank)[:MOST_REMEDIES]
    findings = [
        *_bounds(lift, gap),
        *_verdict(base, found=bool(enough), complete=complete),
    ]
    return tuple(_remedy(item) for item in chosen), tuple(findings)


def _unreached(heights: Heights, work: Work) -> list[UnitHeights]:
    """Units of known height, with a gate that opens, that no option can take."""
    lost = hopeless(work) & (work.gate_s < NEVER_S)
    return [
        unit
        for unit in heights.units
        if unit.known and lost[SIDES.index(unit.side), unit.span_index]
    ]


def _usable(lift: Lift, changed: Lift, work: Work) -> set[str]:
    """Kits the plan already works with, and those that a change brings."""
    planned = {option.kit for option in work.options}
    return planned | {kit.id for kit in changed.kits} - {kit.id for kit in lift.kits}


def _tried(
    changes: tuple[Change, ...], solved: Assignment, limit_s: int | None
) -> _Tried:
    uncovered, clear_s = solved.objectives[:2]
    late_s = 0 if limit_s is None else max(clear_s - limit_s, 0)
    return _Tried(changes=changes, uncovered=uncovered, clear_s=clear_s, late_s=late_s)


def _least_of(
    family: Family, base: _Tried, solve: Callable[..., _Tried | None]
) -> _Tried | None:
    """The least of a family that scores as well as its most; None: out of time.

    More of the same never does worse (a longer rope reaches whatever a shorter one
    does, a team that is ready sooner may still wait), so halving finds it.
    """
    best = solve(family[-1])
    if best is None or not best.score < base.score:
        return best
    low, high = 0, len(family) - 1
    while low < high:
        middle = (low + high) // 2
        tried = solve(family[middle])
        if tried is None:
            return None
        if tried.score <= best.score:
            best, high = tried, middle
        else:
            low = middle + 1
    return best


def _rank(item: _Tried) -> tuple[int, int, int, float, float, int]:
    """By what it achieves, then known cost, then least amount, then earliest end."""
    cost = _cost(item)
    return (
        *item.score,
        len(item.changes),
        float("inf") if cost is None else cost,
        sum(change.amount for change in item.changes),
        item.clear_s,
    )


def _cost(item: _Tried) -> float | None:
    costs = [change.cost for change in item.changes if change.cost is not None]
    return sum(costs) if len(costs) == len(item.changes) else None


def _remedy(item: _Tried) -> Remedy:
    values = dict(item.changes[0].values)
    key = item.changes[0].kind
    if len(item.changes) == 2:
        ordered = sorted(item.changes, key=lambda change: change.kind)
        key = "_and_".join(change.kind for change in ordered)
        values = {
            f"{place}_{name}": value
            for place, change in zip(("first", "second"), ordered, strict=True)
            for name, value in change.values.items()
        }
    return Remedy(
        key=key,
        values=values,
        uncovered_people=item.uncovered,
        clear_s=item.clear_s,
        cost=_cost(item),
    )


def _bounds(lift: Lift, gap: list[UnitHeights]) -> list[Finding]:
    """For each unit out of reach the least that any remedy must bring."""
    findings = []
    for unit in gap:
        least = least_kit(lift, unit)
        if least is None:
            continue
        technique, needed_m = least
        findings.append(
            Finding(
                key="assignment.least_kit",
                severity=Severity.NOTE,
                where=f"{unit.span_id} {unit.side.value}",
                values={
                    "technique": technique.id,
                    "needed_m": whole_metres(needed_m),
                    "height_m": unit.rope_greatest_m,
                    "margin_m": unit.margin_m,
                    "trained": ", ".join(
                        team.id
                        for team in lift.teams
                        if technique.id in team.techniques
                    )
                    or "-",
                },
            )
        )
    return findings


def _verdict(base: _Tried, *, found: bool, complete: bool) -> list[Finding]:
    if base.score == (0, 0) or (found and complete):
        return []
    if not complete:
        return [
            Finding(
                key="assignment.remedies_cut",
                severity=Severity.NOTE,
            )
        ]
    return [Finding(key="assignment.no_remedy", severity=Severity.WARN)]
