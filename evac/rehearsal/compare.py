"""Planned against actual: by step, by team, by span."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from evac.facts.lift import StepTime
from evac.facts.rehearsal import Comparison, Evaluation, Observed
from evac.learning import row_of


def compare(observed: Iterable[Observed], step_times: Sequence[StepTime]) -> Evaluation:
    """Set what was timed beside what the table of step times expects.

    Parameters
    ----------
    observed : iterable of Observed
        Lines of the observers' sheets.
    step_times : sequence of StepTime
        The table that the plan was made with.

    Returns
    -------
    Evaluation
        Sums of likely and of actual seconds over the finished lines, by step, team
        and span, in the order in which they first appear.
    """
    planned: list[tuple[Observed, float]] = []
    unplanned: list[Observed] = []
    for item in observed:
        row = row_of(step_times, item.record)
        if row is None:
            unplanned.append(item)
        else:
            planned.append((item, row.seconds.likely * item.record.amount))
    return Evaluation(
        by_step=_grouped(planned, lambda item: item.record.step),
        by_team=_grouped(planned, lambda item: item.record.team),
        by_span=_grouped(planned, lambda item: item.span_id),
        unplanned=tuple(unplanned),
    )


def _grouped(
    planned: Sequence[tuple[Observed, float]], name_of: Callable[[Observed], str]
) -> tuple[Comparison, ...]:
    names = dict.fromkeys(name_of(item) for item, _ in planned)
    return tuple(
        _compared(name, [pair for pair in planned if name_of(pair[0]) == name])
        for name in names
    )


def _compared(name: str, pairs: Sequence[tuple[Observed, float]]) -> Comparison:
    finished = [pair for pair in pairs if not pair[0].record.stopped]
    return Comparison(
        name=name,
        count=len(finished),
        stopped=len(pairs) - len(finished),
        planned_s=sum(planned_s for _, planned_s in finished),
        actual_s=sum(item.record.seconds for item, _ in finished),
    )
