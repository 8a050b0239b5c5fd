"""Step times learned from drills and real evacuations."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from evac.errors import InputError, Problem
from evac.factors import DAY_SD, DRILL_TO_REAL, FATIGUE_PER_HOUR, TEAM_SD
from evac.facts.drill import DrillRecord
from evac.facts.finding import Finding, Severity
from evac.facts.lift import StepTime, Triple
from evac.learning.model import Mixture, Posterior, Prior, Seen, update
from evac.triples import P90_SCORE, fit_one

__all__ = ["Learned", "LearnedStep", "doubts", "learn", "row_of", "step_key"]

_FILE = "drills.csv"

_LEAST_SD = 0.05
"""Log standard deviation of a step whose low, likely and high are the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedStep:
    """One step before and after its records.

    ``count`` records, of which ``stopped`` were not finished and ``real`` come from
    real evacuations. ``typical_s``: 90 % interval and middle (low, middle, high) of
    the typical time of an average team in real use, per carrier, passenger or metre.
    ``teams``: each team's factor against the average one, 90 % interval and middle.
    ``shorter``: the mean or the likely value of the learned time is below the table's:
    the one decides the hard days, the other the times on the sheets. ``in_use`` is
    ``after``; where that is shorter and was not accepted, of low, likely and high each
    the longer one.
    """

    before: StepTime
    after: StepTime
    in_use: StepTime
    count: int
    stopped: int
    real: int
    typical_s: tuple[float, float, float]
    teams: Mapping[str, tuple[float, float, float]]
    shorter: bool
    accepted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """All step times after the records.

    ``step_times`` are to be planned with: rows without records are unchanged.
    ``unmatched`` records belong to no row or to more than one.
    """

    step_times: tuple[StepTime, ...]
    steps: tuple[LearnedStep, ...]
    unmatched: tuple[DrillRecord, ...]
    drill_to_real: Triple


def step_key(step: StepTime) -> str:
    """Name of a row of the step times, by which a shorter time is accepted."""
    names = (step.technique, step.step, step.per, step.condition)
    return " / ".join(name for name in names if name)


def learn(
    step_times: Sequence[StepTime],
    records: Iterable[DrillRecord],
    *,
    drill_to_real: Triple = DRILL_TO_REAL,
    accepted: Iterable[str] = (),
) -> Learned:
    """Learn step times from what was timed.

    Parameters
    ----------
    step_times : sequence of StepTime
        What is planned with so far: the prior.
    records : iterable of DrillRecord
        From drills and real evacuations, whole seconds or not.
    drill_to_real : Triple
        Low, likely and high factor from a drill to a real evacuation (rule 25). Its
        own uncertainty stays in the result, however many drills there are: only real
        evacuations can lower it.
    accepted : iterable of str
        `step_key` of the steps whose shorter time somebody has accepted. Without
        that no part of a step that would get shorter goes below its row (rule 25).

    Returns
    -------
    Learned

    Raises
    ------
    InputError
        If a record has no time above 0, or no amount above 0.

    Notes
    -----
    The table's row gives the prior: its median is the middle, and its spread above it
    is shared half and half between not knowing the typical time and repetitions that
    differ. Teams differ by 0.15 and days by 0.25 (24). Fatigue is taken out of times
    of a team at work for more than an hour. See `evac.learning.model`.

    The new row is P10, mode and P90 of one repetition of an average team on an
    average day; the simulation adds day, team and fatigue again.
    """
    rows = {step_key(step): step for step in step_times}
    by_row: dict[str, list[DrillRecord]] = {}
    unmatched: list[DrillRecord] = []
    for record in records:
        _require_positive(record)
        row = row_of(step_times, record)
        if row is None:
            unmatched.append(record)
        else:
            by_row.setdefault(step_key(row), []).append(record)
    agreed = frozenset(accepted)
    steps = tuple(
        _learn_step(
            rows[key], found, drill_to_real=drill_to_real, accepted=key in agreed
        )
        for key, found in sorted(by_row.items())
    )
    new = {step_key(step.before): step.in_use for step in steps}
    return Learned(
        step_times=tuple(new.get(step_key(step), step) for step in step_times),
        steps=steps,
        unmatched=tuple(unmatched),
        drill_to_real=drill_to_real,
    )


def _require_positive(record: DrillRecord) -> None:
    for name, value in (("seconds", record.seconds), ("amount", record.amount)):
        if not 0 < value < np.inf:
            problem = Problem(
                where=f"{record.where or 'a record'}, column {name}",
                found=f"{value:g}",
                expected="a number above 0",
                remedy="Write what was timed, or leave the row out.",
            )
            raise InputError(_FILE, [problem])


def row_of(step_times: Iterable[StepTime], record: DrillRecord) -> StepTime | None:
    """The row of the step times that a record belongs to.

    None where no row has its technique, step and per, or where two have and the
    record does not say under which condition it was timed.
    """
    fits = [
        step
        for step in step_times
        if (step.technique, step.step, step.per)
        == (record.technique, record.step, record.per)
        and record.condition in ("", step.condition)
    ]
    return fits[0] if len(fits) == 1 else None


def _learn_step(
    before: StepTime,
    records: Sequence[DrillRecord],
    *,
    drill_to_real: Triple,
    accepted: bool,
) -> LearnedStep:
    # In a fixed order sums round alike, so the order of the rows changes nothing.
    records = sorted(
        records,
        key=lambda item: (item.date, item.team, item.seconds, item.worked_s, item.real),
    )
    names = sorted({record.team for record in records})
    posterior = update(
        prior_of(before.seconds, drill_to_real), _seen(records, names=names)
    )
    after = replace(before, seconds=_next_triple(posterior))
    shorter = _is_shorter(after.seconds, than=before.seconds)
    return LearnedStep(
        before=before,
        after=after,
        in_use=_no_shorter(before, after) if shorter and not accepted else after,
        count=len(records),
        stopped=sum(record.stopped for record in records),
        real=sum(record.real for record in records),
        typical_s=_interval(posterior.typical),
        teams={
            name: _interval(team)
            for name, team in zip(names, posterior.teams, strict=True)
        },
        shorter=shorter,
        accepted=accepted,
    )


def _is_shorter(after: Triple, *, than: Triple) -> bool:
    return bool(
        fit_one(after).mean() < fit_one(than).mean() or after.likely < than.likely
    )


def _no_shorter(before: StepTime, after: StepTime) -> StepTime:
    old, new = before.seconds, after.seconds
    return replace(
        before,
        seconds=Triple(
            low=max(old.low, new.low),
            likely=max(old.likely, new.likely),
            high=max(old.high, new.high),
        ),
    )


def prior_of(seconds: Triple, drill_to_real: Triple) -> Prior:
    """What a row of the step times says before any record."""
    middle, spread = _log_middle(seconds)
    drill, drill_sd = _log_middle(drill_to_real)
    half = spread / np.sqrt(2.0)
    return Prior(
        middle=middle,
        middle_sd=half,
        own_sd=half,
        team_sd=TEAM_SD,
        day_sd=DAY_SD,
        drill=drill,
        drill_sd=drill_sd,
    )


def _log_middle(triple: Triple) -> tuple[float, float]:
    # The lower half may reach 0, so the spread is read from the median upwards.
    median = float(np.maximum(fit_one(triple).at(0.0), 1e-3))
    spread = np.log(max(triple.high, median) / median) / P90_SCORE
    return float(np.log(median)), max(float(spread), _LEAST_SD)


def _seen(records: Sequence[DrillRecord], *, names: Sequence[str]) -> Seen:
    days = sorted({record.date for record in records})
    hours = np.array([record.worked_s for record in records]) / 3600.0
    tired = 1.0 + FATIGUE_PER_HOUR * np.maximum(hours - 1.0, 0.0)
    each = np.array([record.seconds / record.amount for record in records])
    return Seen(
        value=np.log(each / tired),
        stopped=np.array([record.stopped for record in records]),
        drill=np.array([not record.real for record in records]),
        team=np.array([names.index(record.team) for record in records]),
        day=np.array([days.index(record.date) for record in records]),
    )


def _next_triple(posterior: Posterior) -> Triple:
    mean, variance = posterior.next_time.moments()
    low = float(np.exp(posterior.next_time.quantile(0.1)))
    high = float(np.exp(posterior.next_time.quantile(0.9)))
    return Triple(
        low=low, likely=float(np.clip(np.exp(mean - variance), low, high)), high=high
    )


def _interval(mixture: Mixture) -> tuple[float, float, float]:
    low, middle, high = (
        float(np.exp(mixture.quantile(share))) for share in (0.05, 0.5, 0.95)
    )
    return low, middle, high


def doubts(learned: Learned) -> tuple[Finding, ...]:
    """What must be said about learned times.

    Returns
    -------
    tuple of Finding
        Steps that would get shorter and were not accepted, shorter ones that were,
        records that fit no row of the step times.
    """
    found = [
        Finding(
            key="learning.shorter_accepted" if step.accepted else "learning.shorter",
            severity=Severity.NOTE if step.accepted else Severity.WARN,
            where=step_key(step.before),
            values={"count": step.count, **_before_after(step)},
        )
        for step in learned.steps
        if step.shorter
    ]
    found += [
        Finding(
            key="learning.no_such_step",
            severity=Severity.WARN,
            where=record.where or _FILE,
            values={"technique": record.technique, "step": record.step},
        )
        for record in learned.unmatched
    ]
    return tuple(found)


def _before_after(step: LearnedStep) -> dict[str, float]:
    """All three times: a mean may shrink while the likely time grows."""
    return {
        f"{when}_{part}_step_s": getattr(row.seconds, part)
        for when, row in (("before", step.before), ("after", step.after))
        for part in ("low", "likely", "high")
    }
