"""Work drawn at random, and a compact model of columns in CP-SAT beside it.

The columns are enumerated here in plain Python, straight from the arrays of `Work`,
from the definition in the docstring of `evac.assignment.costs.make_columns`; nothing
of the program's own tables is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from evac.facts.work import NEVER_S, Option, Work

OF_A_TEAM = ("crew", "start_upper", "arrive_s", "pass_s", "pass_open_s")
OF_AN_OPTION = (
    "valid",
    "work_s",
    "cross_s",
    "spared_s",
    "side_change_s",
    "walk_back_s",
)
"""What teams that are alike, and their options, have the same."""


def draw_work(
    rng: np.random.Generator,
    *,
    columns: int,
    teams: int,
    alike: bool = False,
    stops: int = 3,
    valid_share: float = 0.9,
    options_each: int = 2,
) -> Work:
    """A line, its gates and its teams; every feature of the model turns up."""
    n, q = columns, teams * options_each
    team_of = np.arange(q) // options_each
    home = rng.integers(0, n + 1, (teams, 1))
    away = np.abs(np.arange(n + 1)[None] - home)
    arrive = rng.integers(300, 1800, (teams, 1)) + away * rng.integers(
        20, 200, (teams, 1)
    )
    arrive = np.where(rng.random((teams, n + 1)) < 0.1, NEVER_S, arrive)
    base = rng.integers(200, 1500, (1, 2, n, 1))
    pace = rng.uniform(0.6, 1.6, (q, 1, 1, 1))
    work_s = np.ceil(base * pace * rng.uniform(0.8, 1.2, (q, 2, n, stops)))
    cross = rng.integers(60, 400, (q, n + 1))
    cross = np.where(rng.random((q, n + 1)) < 0.05, NEVER_S, cross)
    gate = np.where(rng.random((2, n)) < 0.15, rng.integers(1500, 5000, (2, n)), 0)
    gate = np.where(rng.random((2, n)) < 0.03, NEVER_S, gate)
    parts = {
        "crew": rng.integers(3, 6, teams),
        "start_upper": rng.random(teams) < 0.7,
        "valid": rng.random((q, 2, n)) < valid_share,
        "work_s": work_s.astype(np.int64),
        "cross_s": cross,
        "side_change_s": rng.integers(60, 500, q),
        "arrive_s": arrive,
    }
    # Ways past spans, and what a crossing spares the set-up after it.
    more = rng.spawn(1)[0]
    pass_s = more.integers(30, 900, (teams, n + 1, n + 1))
    pass_s = np.where(more.random(pass_s.shape) < 0.15, NEVER_S, pass_s)
    opens = more.integers(1500, 6000, pass_s.shape)
    parts |= {
        "pass_s": pass_s,
        "pass_open_s": np.where(more.random(pass_s.shape) < 0.2, opens, 0),
        "spared_s": np.where(
            more.random((q, n + 1)) < 0.4, more.integers(1, 60, (q, n + 1)), 0
        ),
    }
    # At some stops no carrier stands in a unit.
    parts["work_s"][:, more.random((2, n, stops)) < 0.1] = 0
    parts["walk_back_s"] = more.integers(0, 900, (q, n))
    if alike and teams > 1:
        # The second team is the first again, with other names.
        for name in OF_A_TEAM:
            parts[name][1] = parts[name][0]
        for name in OF_AN_OPTION:
            parts[name][options_each : 2 * options_each] = parts[name][:options_each]
    return Work(
        team_ids=tuple(f"team {row}" for row in range(teams)),
        upper_is_last=bool(rng.random() < 0.7),
        options=tuple(
            Option(
                index=row,
                team=f"team {team}",
                team_index=int(team),
                kit=f"kit {row}",
                technique="loop",
            )
            for row, team in enumerate(team_of)
        ),
        option_team=team_of,
        gate_s=gate,
        secured_s=int(rng.integers(300, 1500)),
        people=(people := rng.integers(0, 20, (2, n))),
        people_at=people[..., None],
        planned=rng.random((2, n)) < 0.95,
        latest_arrival_s=NEVER_S if rng.random() < 0.5 else 2400,
        **parts,
    )


@dataclass(frozen=True)
class Column:
    """One zone of one option, walked by hand."""

    team: int
    run: frozenset[tuple[int, int]]
    left: int
    finish_s: int
    wait_s: int
    work_s: int
    begins: tuple[int, int]
    taken: frozenset[tuple[int, int]]


def weight(work: Work, side: int, span: int) -> int:
    """People of a unit; an empty one in which a carrier is to be checked counts 1."""
    people = int(work.people[side, span])
    times = work.work_s[:, side, span]
    return people or int(times[times < NEVER_S].sum() > 0)


def walk(
    work: Work, option: int, sides: tuple[int, ...], spans: list[int]
) -> Column | None:
    """What the zone costs by the definition, or None where it cannot be."""
    team = int(work.option_team[option])
    from_top = bool(work.start_upper[team]) == work.upper_is_last
    walked = sorted(spans, reverse=from_top)
    arrival = int(work.arrive_s[team, walked[0] + 1 if from_top else walked[0]])
    if arrival >= NEVER_S or arrival > work.latest_arrival_s:
        return None

    def taken(side: int, span: int) -> bool:
        return bool(
            work.valid[option, side, span]
            and work.planned[side, span]
            and work.gate_s[side, span] < NEVER_S
        )

    if any(
        not any(taken(side, span) for side in sides) for span in (walked[0], walked[-1])
    ) or any(not any(taken(side, span) for span in spans) for side in sides):
        return None
    started = max(arrival, work.secured_s)
    clocks = [0] * work.work_s.shape[3]
    stands: int | None = None
    on_foot_from: int | None = None
    clears: list[tuple[int, int]] = []
    worked: list[tuple[int, int]] = []
    left = 0
    for place, span in enumerate(walked):
        if place:
            crossing = int(work.cross_s[option, max(span, walked[place - 1])])
            if crossing >= NEVER_S:
                return None
            clocks = [clock + crossing for clock in clocks]
        works = any(taken(side, span) for side in sides)
        # The support at the end from which the team comes.
        near = span + 1 if from_top else span
        right_after = place > 0 and on_foot_from is None
        if works and on_foot_from is not None:
            assert work.pass_s is not None
            assert work.pass_open_s is not None
            on_foot = int(work.pass_s[team, on_foot_from, near])
            if on_foot >= NEVER_S:
                return None
            clocks = [clock + on_foot for clock in clocks]
            started = max(started, int(work.pass_open_s[team, on_foot_from, near]))
            on_foot_from = None
        elif not works and on_foot_from is None:
            on_foot_from = near
        order = sorted(sides, key=lambda side: side != (stands or 0))
        for side in order:
            if not taken(side, span):
                left += weight(work, side, span)
                continue
            spared = 0
            if stands is not None and stands != side:
                clocks = [c + int(work.side_change_s[option]) for c in clocks]
                if (stands, span) in worked:
                    # Back to where this span was begun, if there is anybody on both.
                    back = int(work.walk_back_s[option, span])
                    both = work.work_s[option, :, span].min(axis=0) > 0
                    clocks = [
                        c + back * bool(b) for c, b in zip(clocks, both, strict=True)
                    ]
            elif right_after and work.spared_s is not None:
                spared = int(work.spared_s[option, near])
            right_after = False
            stands = side
            clocks = [
                clock + int(more) - (spared if more else 0)
                for clock, more in zip(
                    clocks, work.work_s[option, side, span], strict=True
                )
            ]
            started = max(started, int(work.gate_s[side, span]))
            worked.append((side, span))
            clears.append((weight(work, side, span), max(clocks)))
    return Column(
        team=team,
        run=frozenset((side, span) for side in sides for span in spans),
        left=left,
        finish_s=started + max(clocks),
        wait_s=sum(people * (started + clear) for people, clear in clears),
        work_s=max(clocks) * int(work.crew[team]),
        begins=worked[0],
        taken=frozenset(worked),
    )


def all_columns(work: Work) -> list[Column]:
    """Every zone of every option."""
    n = work.people.shape[1]
    found = []
    for option in range(len(work.options)):
        for sides in ((0,), (1,), (0, 1)):
            for first in range(n):
                for last in range(first, n):
                    spans = list(range(first, last + 1))
                    column = walk(work, option, sides, spans)
                    if column is not None:
                        found.append(column)
    return found


class CompactModel:
    """Exact cover by columns in CP-SAT, one objective fixed after the other."""

    def __init__(self, work: Work, *, first: tuple[int, int] | None = None) -> None:
        self.columns = [
            column
            for column in all_columns(work)
            if first not in column.taken or column.begins == first
        ]
        self.model = cp_model.CpModel()
        self.x = [self.model.new_bool_var("") for _ in self.columns]
        units = [(side, k) for side in range(2) for k in range(work.people.shape[1])]
        outside = {unit: self.model.new_bool_var("") for unit in units}
        inside: dict[tuple[int, int], list[cp_model.IntVar]] = {u: [] for u in units}
        by_team: dict[int, list[cp_model.IntVar]] = {}
        for column, chosen in zip(self.columns, self.x, strict=True):
            by_team.setdefault(column.team, []).append(chosen)
            for unit in column.run:
                inside[unit].append(chosen)
        for unit in units:
            self.model.add_exactly_one([*inside[unit], outside[unit]])
        for chosen_of_team in by_team.values():
            self.model.add_at_most_one(chosen_of_team)
        self.finish = self.model.new_int_var(0, 10**7, "")
        for column, chosen in zip(self.columns, self.x, strict=True):
            self.model.add(self.finish >= column.finish_s * chosen)
        self.objectives = (
            sum(weight(work, *unit) * outside[unit] for unit in units)
            + self._sum([c.left for c in self.columns]),
            self.finish + 0,
            self._sum([c.wait_s for c in self.columns]),
            self._sum([c.work_s for c in self.columns]),
            self._sum([c.finish_s**2 for c in self.columns]),
        )

    def _sum(self, values: list[int]) -> cp_model.LinearExpr:
        return cp_model.LinearExpr.weighted_sum(self.x, values)

    def solve(self) -> tuple[int, ...]:
        """The proven optimum of all five objectives."""
        values = []
        for objective in self.objectives:
            self.model.minimize(objective)
            solver = cp_model.CpSolver()
            solver.parameters.num_workers = 1
            solver.parameters.max_time_in_seconds = 60
            assert solver.solve(self.model) == cp_model.OPTIMAL
            values.append(round(solver.objective_value))
            self.model.add(objective <= values[-1])
        return tuple(values)
