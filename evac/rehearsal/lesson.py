"""What a drill teaches: planned against actual, learned times, the plan after it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from evac import learning
from evac.facts.drill import DrillRecord
from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.facts.rehearsal import Evaluation, Observed
from evac.learning import Learned
from evac.plan import make_plan
from evac.rehearsal.compare import compare


@dataclass(frozen=True, slots=True, kw_only=True)
class Lesson:
    """A drill evaluated.

    ``records``: all that are known now, those of the folder first. ``already``: lines
    that the folder's records hold, and that are not counted twice. ``learned`` comes
    from all records. ``before`` and ``after`` are plans of the same day and seed.
    """

    observed: tuple[Observed, ...]
    already: tuple[Observed, ...]
    evaluation: Evaluation
    records: tuple[DrillRecord, ...]
    learned: Learned
    before: Plan
    after: Plan


def evaluate(
    lift: Lift,
    observed: Sequence[Observed],
    *,
    before: Plan,
    on_step: Callable[[str, float], None] | None = None,
) -> Lesson:
    """Evaluate a drill and plan again with what it taught.

    Parameters
    ----------
    lift : Lift
        As its folder was read; its step times are the table's, before any drill.
    observed : sequence of Observed
        Lines of the observers' sheets.
    before : Plan
        Made of `lift`, without the new lines; they are compared with its step times.
    on_step : callable, optional
        Called with a step's name and the fraction done.

    Returns
    -------
    Lesson

    Raises
    ------
    InputError
        If a line has no time or amount above 0.
    NoPlanError
        If no honest plan comes of the learned times.
    """
    known = {_name(record) for record in lift.drill_records}
    already = tuple(item for item in observed if _name(item.record) in known)
    fresh = tuple(item for item in observed if _name(item.record) not in known)
    records = (*lift.drill_records, *(item.record for item in fresh))
    return Lesson(
        observed=fresh,
        already=already,
        evaluation=compare(observed, before.lift.step_times),
        records=records,
        learned=learning.learn(lift.step_times, records, accepted=lift.accepted_steps),
        before=before,
        after=make_plan(
            replace(lift, drill_records=records),
            date=before.date,
            seed=before.seed,
            on_step=on_step,
        ),
    )


def _name(record: DrillRecord) -> tuple[object, ...]:
    """What tells one timed step from another, whichever file it was read from."""
    return (
        record.date,
        record.team,
        record.technique,
        record.step,
        record.per,
        record.condition,
        round(record.seconds),
        round(record.worked_s),
        round(record.amount, 1),
        record.stopped,
    )
