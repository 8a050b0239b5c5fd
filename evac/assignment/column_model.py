"""The assignment as a model of columns, solved by HiGHS.

One binary variable for every group of identical teams and every zone: each unit in
exactly one zone or left. It is used where there are too many differing teams for the
exact programme, and as a certificate that a finish is the earliest possible.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import highspy
import numpy as np

from evac.assignment.costs import Columns, make_columns, people_counted
from evac.assignment.moves import (
    Choices,
    Chosen,
    fastest,
    gentlest,
    group_teams,
    hopeless,
    name_teams,
)
from evac.facts.heights import IntArray
from evac.facts.lift import FloatArray
from evac.facts.work import NEVER_S, Work

Groups = tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Model:
    """The columns that may be chosen, and the rows that hold them; m columns.

    ``row``, ``column`` place the ones of the matrix: first a row for every unit,
    then a row for every group of teams.
    """

    group: IntArray
    kind: IntArray
    first: IntArray
    last: IntArray
    excess: IntArray
    finish_s: IntArray
    wait_s: IntArray
    work_s: IntArray
    loss: IntArray
    count: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    """Chosen columns (None: none found), the proven bound, and how it ended."""

    chosen: IntArray | None
    bound: float
    proven: bool
    impossible: bool


def share_by_columns(
    work: Work,
    columns: Columns,
    groups: Groups,
    *,
    bound: tuple[int, int],
    budget_s: float,
) -> Chosen:
    """Share the line with HiGHS; honest about what it could not prove.

    Parameters
    ----------
    work, columns : Work, Columns
        The data and every zone's cost.
    groups : tuple of tuple of int
        Rows of identical teams.
    bound : (int, int)
        People uncovered beyond the hopeless, and last finish, of a known solution.
    budget_s : float
        Seconds allowed for all objectives together.

    Returns
    -------
    Chosen
        ``proven`` only if every objective was solved to its end within the budget;
        ``bound_s`` is the proven lower bound of the last finish in any case (0 where
        even the people uncovered are not proven).
    """
    until = time.monotonic() + budget_s
    quick = fastest(work, columns)
    loss = np.where(hopeless(work), 0, people_counted(work)).astype(np.int64)
    excess, certain = _least_excess(quick, groups, loss, bound, until)
    if certain and excess < bound[0]:
        bound = (excess, NEVER_S - 1)
    finish_s, lower_s = _earliest(quick, groups, loss, bound, until)
    gentle = gentlest(work, columns, finish_s=finish_s)
    model = _model(gentle, groups, loss, excess=bound[0], finish_s=finish_s)
    chosen, ended = _gentlest(model, bound[0], until)
    return Chosen(
        zones=name_teams(_rows(model, chosen), groups, gentle),
        bound_s=lower_s if certain else 0,
        proven=certain and ended and lower_s == finish_s,
        method="columns",
    )


def can_finish(work: Work, *, uncovered: int, finish_s: int, budget_s: float) -> bool:
    """Whether any sharing leaves at most so many people and ends by ``finish_s``.

    The certificate of an assignment: true for its own objectives, false for one
    second less.

    Raises
    ------
    TimeoutError
        If HiGHS cannot tell within the budget.
    """
    columns = make_columns(work)
    groups = group_teams(work, columns)
    lost = hopeless(work)
    people = people_counted(work)
    loss = np.where(lost, 0, people).astype(np.int64)
    excess = uncovered - int(people[lost].sum())
    if excess < 0:
        return False
    model = _model(
        fastest(work, columns), groups, loss, excess=excess, finish_s=finish_s
    )
    cost = np.zeros(model.group.size)
    answer = _solve(model, cost, excess, [], time.monotonic() + budget_s)
    if answer.chosen is None and not answer.impossible:
        message = f"no answer within {budget_s:.0f} s for a finish of {finish_s} s"
        raise TimeoutError(message)
    return answer.chosen is not None


def _least_excess(
    quick: Choices,
    groups: Groups,
    loss: IntArray,
    bound: tuple[int, int],
    until: float,
) -> tuple[int, bool]:
    """Fewest people left although somebody could take them, and whether proven."""
    if bound[0] == 0:
        return 0, True
    model = _model(quick, groups, loss, excess=bound[0], finish_s=NEVER_S - 1)
    answer = _solve(model, None, bound[0], [], until)
    if answer.chosen is None:
        return bound[0], answer.impossible
    return _excess_of(model, answer.chosen), answer.proven


def _earliest(
    quick: Choices,
    groups: Groups,
    loss: IntArray,
    bound: tuple[int, int],
    until: float,
) -> tuple[int, int]:
    """Bisect the last finish: (earliest known possible, proven lower bound)."""
    excess, high = bound
    # Any finish is that of some zone; so a value below the next one is as good.
    finishes = np.unique(quick.finish_s[quick.finish_s < NEVER_S])
    if high == NEVER_S - 1:
        high = int(finishes[-1])
    steps = finishes[finishes < high].tolist()
    low, top = 0, len(steps)
    while low < top:
        middle = (low + top) // 2
        model = _model(quick, groups, loss, excess=excess, finish_s=steps[middle])
        cost = np.zeros(model.group.size)
        answer = _solve(model, cost, excess, [], until)
        if answer.chosen is not None:
            high = int(model.finish_s[answer.chosen].max(initial=0))
            top = min(middle, int(np.searchsorted(steps, high)))
        elif answer.impossible:
            low = middle + 1
        else:
            break
    return high, steps[low] if low < len(steps) and steps[low] < high else high


def _gentlest(model: _Model, excess: int, until: float) -> tuple[IntArray, bool]:
    """The remaining objectives one after the other, and whether all were proven."""
    fixed: list[tuple[IntArray, int]] = []
    chosen: IntArray | None = None
    ended = True
    for cost in (model.wait_s, model.work_s, model.finish_s**2):
        answer = _solve(model, cost.astype(float), excess, fixed, until)
        if answer.chosen is None:
            ended = False
            break
        chosen = answer.chosen
        ended = ended and answer.proven
        fixed.append((cost, int(cost[chosen].sum())))
    if chosen is None:
        # A sharing with this finish is known to exist: find it, whatever it takes.
        nothing = np.zeros(model.group.size)
        chosen = _solve(model, nothing, excess, [], np.inf).chosen
    if chosen is None:
        message = "the column model lost a sharing that was known to exist"
        raise AssertionError(message)
    return chosen, ended


def _model(
    choices: Choices, groups: Groups, loss: IntArray, *, excess: int, finish_s: int
) -> _Model:
    rows = np.array([teams[0] for teams in groups], dtype=np.int64)
    allowed = (choices.excess[rows] <= excess) & (choices.finish_s[rows] <= finish_s)
    group, kind, first, last = np.nonzero(allowed)
    picked = (rows[group], kind, first, last)
    return _Model(
        group=group,
        kind=kind,
        first=first,
        last=last,
        excess=choices.excess[picked],
        finish_s=choices.finish_s[picked],
        wait_s=choices.wait_s[picked],
        work_s=choices.work_s[picked],
        loss=loss,
        count=np.array([len(teams) for teams in groups], dtype=np.int64),
    )


def _excess_of(model: _Model, chosen: IntArray) -> int:
    left = np.ones(model.loss.shape, dtype=bool)
    for column in chosen:
        inside = slice(model.first[column], model.last[column] + 1)
        if model.kind[column] != 1:
            left[0, inside] = False
        if model.kind[column] != 0:
            left[1, inside] = False
    return int(model.loss[left].sum() + model.excess[chosen].sum())


def _rows(model: _Model, chosen: IntArray) -> IntArray:
    parts = (model.group, model.kind, model.first, model.last)
    return np.stack([part[chosen] for part in parts], axis=1)


def _matrix(model: _Model) -> tuple[IntArray, IntArray]:
    """Row and column of every one: a row for each unit, then for each group."""
    n = model.loss.shape[1]
    rows, columns = [model.group + 2 * n], [np.arange(model.group.size)]
    for side in range(2):
        inside = model.kind != 1 - side
        length = np.where(inside, model.last - model.first + 1, 0)
        column = np.repeat(np.arange(model.group.size), length)
        begun = np.repeat(np.cumsum(length) - length, length)
        offset = np.arange(column.size) - begun
        rows.append(side * n + model.first[column] + offset)
        columns.append(column)
    # A unit that is left: its own column, after the zones.
    rows.append(np.arange(2 * n))
    columns.append(model.group.size + np.arange(2 * n))
    return np.concatenate(rows), np.concatenate(columns)


def _solve(
    model: _Model,
    cost: FloatArray | None,
    excess: int,
    fixed: list[tuple[IntArray, int]],
    until: float,
) -> _Answer:
    """Minimise ``cost`` of the zones, or the people left where ``cost`` is None."""
    left_s = until - time.monotonic()
    if left_s <= 0:
        return _Answer(chosen=None, bound=0.0, proven=False, impossible=False)
    m, units = model.group.size, 2 * model.loss.shape[1]
    row, column = _matrix(model)
    value = np.ones(row.size)
    people = np.concatenate([model.excess, model.loss.ravel()]).astype(float)
    kept = [(people, float(excess))]
    kept += [
        (np.concatenate([part, np.zeros(units)]), float(most)) for part, most in fixed
    ]
    rows = units + model.count.size
    for number, (part, _) in enumerate(kept):
        here = np.flatnonzero(part)
        row = np.concatenate([row, np.full(here.size, rows + number)])
        column = np.concatenate([column, here])
        value = np.concatenate([value, part[here]])
    order = np.lexsort((row, column))
    program = highspy.HighsLp()
    program.num_col_ = m + units
    program.num_row_ = rows + len(kept)
    if cost is None:
        program.col_cost_ = people
    else:
        program.col_cost_ = np.concatenate([cost, np.zeros(units)])
    program.col_lower_ = np.zeros(m + units)
    program.col_upper_ = np.ones(m + units)
    program.row_lower_ = np.concatenate(
        [np.ones(units), np.full(model.count.size + len(kept), -highspy.kHighsInf)]
    )
    # Half a person, half a second: whole numbers stay apart, rounding does not bite.
    program.row_upper_ = np.concatenate(
        [np.ones(units), model.count, [most + 0.5 for _, most in kept]]
    ).astype(float)
    program.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    program.a_matrix_.start_ = np.searchsorted(column[order], np.arange(m + units + 1))
    program.a_matrix_.index_ = row[order]
    program.a_matrix_.value_ = value[order]
    program.integrality_ = [highspy.HighsVarType.kInteger] * (m + units)
    return _run(program, m, left_s)


class _Quiet(highspy.Highs):
    """HiGHS without its banner, which it prints when call-backs are switched on."""

    def enableCallbacks(self) -> None:  # noqa: N802  # the name is HiGHS's own
        """Leave the call-backs off: nothing here listens to them."""


def _run(program: highspy.HighsLp, m: int, left_s: float) -> _Answer:
    highs = _Quiet()  # type: ignore[no-untyped-call]  # highspy has no types
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("time_limit", float(min(left_s, 1e6)))
    highs.setOptionValue("mip_rel_gap", 0.0)
    highs.setOptionValue("mip_abs_gap", 0.5)
    highs.setOptionValue("threads", 1)
    highs.passModel(program)
    highs.run()
    status = highs.getModelStatus()
    info = highs.getInfo()
    found = (
        info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    )
    solution = np.asarray(highs.getSolution().col_value)[:m] if found else None
    return _Answer(
        chosen=None if solution is None else np.flatnonzero(solution > 0.5),
        bound=float(info.mip_dual_bound),
        proven=status == highspy.HighsModelStatus.kOptimal,
        impossible=status == highspy.HighsModelStatus.kInfeasible,
    )
