"""The moves of the programme: what each group of identical teams may take next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evac.assignment.costs import Columns, people_counted, takes
from evac.facts.heights import BoolArray, IntArray
from evac.facts.work import NEVER_S, Work


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices:
    """The best option of every team for every zone; arrays of shape (t, 3, n, n).

    ``excess`` counts the people in the zone whom the option walks past although
    somebody could take them; NEVER_S where the team cannot take the zone at all.
    """

    option: IntArray
    excess: IntArray
    finish_s: IntArray
    wait_s: IntArray
    work_s: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """Zones by group, kind and first span, as one flat list.

    Moves ``begin[g, kind, first] .. begin[g, kind, first + 1 position]`` of the flat
    arrays are the zones of group g that begin at ``first``; ``last`` ascends.
    """

    begin: IntArray
    end: IntArray
    last: IntArray
    excess: IntArray
    finish_s: IntArray
    wait_s: IntArray
    work_s: IntArray


def hopeless(work: Work) -> BoolArray:
    """Units (2, n) that no option can take."""
    return np.asarray(~takes(work).any(axis=0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Chosen zones as (team, option, kind, first, last), and what is proven of them."""

    zones: tuple[tuple[int, int, int, int, int], ...]
    bound_s: int
    proven: bool
    method: str


def fastest(work: Work, columns: Columns) -> Choices:
    """Of each team the option that leaves fewest behind, then finishes first."""
    cost = columns.finish_s
    return _pick(work, columns, cost < NEVER_S, (cost,))


def gentlest(work: Work, columns: Columns, *, finish_s: int) -> Choices:
    """The same among options that finish by ``finish_s``: least waiting, then work."""
    crew = work.crew[work.option_team][:, None, None, None]
    least = fastest(work, columns).excess[work.option_team]
    excess = columns.skipped - hopeless_inside(work)
    allowed = (columns.finish_s <= finish_s) & (excess == least)
    keys = (columns.wait_s, columns.work_s * crew, columns.finish_s)
    return _pick(work, columns, allowed, keys)


def hopeless_inside(work: Work) -> IntArray:
    """People (3, n, n) in each zone whom no option can take, whoever has the zone."""
    n = work.people.shape[1]
    lost = np.where(hopeless(work), people_counted(work), 0)
    total = np.zeros((2, n + 1), dtype=np.int64)
    total[:, 1:] = np.cumsum(lost, axis=1)
    inside = total[:, None, 1:] - total[:, :-1, None]
    return np.stack([inside[0], inside[1], inside[0] + inside[1]])


def _pick(
    work: Work, columns: Columns, allowed: BoolArray, keys: tuple[IntArray, ...]
) -> Choices:
    teams, n = len(work.team_ids), work.people.shape[1]
    inside = hopeless_inside(work)
    found = {
        name: np.full((teams, 3, n, n), NEVER_S, dtype=np.int64)
        for name in ("option", "excess", "finish_s", "wait_s", "work_s")
    }
    for team in range(teams):
        rows = np.flatnonzero(work.option_team == team)
        if rows.size == 0:
            continue
        open_ = allowed[rows]
        skipped = np.where(open_, columns.skipped[rows], NEVER_S)
        ranked = [np.where(open_, key[rows], 1 << 60) for key in keys]
        # The last key sorts first; rows themselves break ties, lowest first.
        order = np.lexsort((*reversed(ranked), skipped), axis=0)[0]
        chosen = rows[order]
        possible = np.take_along_axis(open_, order[None], axis=0)[0]

        def of(table: IntArray, chosen: IntArray = chosen) -> IntArray:
            return np.asarray(np.take_along_axis(table, chosen[None], axis=0)[0])

        found["option"][team] = np.where(possible, chosen, NEVER_S)
        excess = of(columns.skipped) - inside
        found["excess"][team] = np.where(possible, excess, NEVER_S)
        for name in ("finish_s", "wait_s", "work_s"):
            found[name][team] = np.where(possible, of(getattr(columns, name)), NEVER_S)
    found["work_s"] = np.where(
        found["work_s"] < NEVER_S,
        found["work_s"] * work.crew[:, None, None, None],
        NEVER_S,
    )
    return Choices(**found)


def group_teams(work: Work, columns: Columns) -> tuple[tuple[int, ...], ...]:
    """Teams that are alike in every zone, as groups of rows, lowest row first.

    Two teams are alike when their crews are equal and their options, in order, cost
    the same in every zone; kits and names may differ.
    """
    groups: dict[bytes, list[int]] = {}
    for team in range(len(work.team_ids)):
        rows = np.flatnonzero(work.option_team == team)
        parts = [np.asarray(work.crew[team], dtype=np.int64).tobytes()]
        parts += [
            np.ascontiguousarray(table[rows]).tobytes()
            for table in (
                columns.skipped,
                columns.finish_s,
                columns.work_s,
                columns.wait_s,
            )
        ]
        groups.setdefault(b"|".join(parts), []).append(team)
    return tuple(tuple(rows) for rows in groups.values())


def list_moves(
    choices: Choices, teams: tuple[int, ...], *, excess: int, finish_s: int
) -> Moves:
    """Zones of the given teams with at most this excess and finish, as a flat list."""
    rows = np.asarray(teams, dtype=np.int64)
    open_: NDArray[np.bool_] = (choices.excess[rows] <= excess) & (
        choices.finish_s[rows] <= finish_s
    )
    counts = open_.sum(axis=3)
    end = np.cumsum(counts).reshape(counts.shape)
    where = np.nonzero(open_)
    picked = (rows[where[0]], *where[1:])
    return Moves(
        begin=(end - counts).astype(np.int64),
        end=end.astype(np.int64),
        last=where[3].astype(np.int64),
        excess=choices.excess[picked],
        finish_s=choices.finish_s[picked],
        wait_s=choices.wait_s[picked],
        work_s=choices.work_s[picked],
    )


def name_teams(
    rows: IntArray, groups: tuple[tuple[int, ...], ...], choices: Choices
) -> tuple[tuple[int, int, int, int, int], ...]:
    """Give the zones of each group to its teams: lowest row to the lowest zone."""
    waiting = [list(teams) for teams in groups]
    named = []
    for group, kind, first, last in sorted(
        rows.tolist(), key=lambda row: (row[2], row[1])
    ):
        team = waiting[group].pop(0)
        option = int(choices.option[team, kind, first, last])
        named.append((team, option, kind, first, last))
    return tuple(sorted(named))
