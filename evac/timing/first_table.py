"""The step times of a folder beside the first table: missing, far too short, not used.

A row that is missing counts as no time at all, as does one that no part of the plan
looks for, and minutes that were written where seconds belong make a plan sixty times
too short. Nobody sees any of that in the plan, so all are told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from evac.facts.finding import Finding, Severity
from evac.facts.lift import Lift, StepTime, Triple
from evac.reference import step_times
from evac.timing.steps import (
    ON_THE_GROUND,
    carrier_rows,
    gear_back_rows,
    is_always,
    is_taken,
    is_way,
    lower_rows,
    occupied_carrier_rows,
    part_of,
    passenger_rows,
    span_rows,
)
from evac.words import Words

LEAST_SHARE = 1 / 3
"""Below this share of the first table's time a step is doubted (common practice)."""
_MOST_SHOWN = 4

_PARTS: dict[str, Callable[[Lift, str], Triple]] = {
    "span": span_rows,
    "carrier": carrier_rows,
    "passenger": passenger_rows,
    "lower": lower_rows,
    "gear": gear_back_rows,
}


def step_doubts(lift: Lift, kinds: Iterable[str]) -> list[Finding]:
    """Steps that the folder's table lacks, states far too short, or states in vain.

    Parameters
    ----------
    lift : Lift
        With the step times that are planned with.
    kinds : iterable of str
        The kinds of technique that are planned with.
    """
    first = replace(lift, step_times=step_times())
    findings = []
    for kind in (*dict.fromkeys(kinds), ON_THE_GROUND):
        for key, steps in (
            ("timing.steps_left_out", _left_out(lift, first, kind)),
            ("timing.steps_short", _short(lift, first, kind)),
            ("timing.steps_not_counted", _not_counted(lift, kind)),
        ):
            if steps:
                shown = "; ".join(steps[:_MOST_SHOWN])
                findings.append(
                    Finding(
                        key=key,
                        severity=Severity.WARN,
                        where=kind,
                        values={
                            "steps": shown + ("; …" if len(steps) > _MOST_SHOWN else "")
                        },
                    )
                )
    return findings


def _left_out(lift: Lift, first: Lift, kind: str) -> list[str]:
    """Steps of the first table that the other lacks where its sum is smaller too."""
    stated = {row.step for row in lift.step_times if row.technique == kind}
    anywhere = {row.step for row in lift.step_times}
    return [
        _told(row.step, None, row.seconds.likely)
        for row in _counted(first, kind)
        if row.step not in stated
        and (is_always(row) or row.step not in anywhere)
        and (
            not is_always(row)
            or _is_less(lift, first, kind, part_of(row.step, per=row.per))
        )
    ]


def _not_counted(lift: Lift, kind: str) -> list[str]:
    """Steps of the folder that nothing looks for, so that they count as no time."""
    return [
        row.step
        for row in lift.step_times
        if row.technique == kind and not is_taken(row)
    ]


def _is_less(lift: Lift, first: Lift, kind: str, part: str | None) -> bool:
    if part is None:
        return False
    total = _PARTS[part]
    return total(lift, kind).likely < total(first, kind).likely


def _short(lift: Lift, first: Lift, kind: str) -> list[str]:
    told = []
    named: set[str | None] = set()
    for row in lift.step_times:
        alike_s = [
            other.seconds.likely
            for other in first.step_times
            if (other.technique, other.step) == (kind, row.step)
        ]
        if row.technique != kind or not alike_s:
            continue
        named.add(part_of(row.step, per=row.per))
        if row.seconds.likely < LEAST_SHARE * min(alike_s):
            told.append(_told(row.step, row.seconds.likely, min(alike_s)))
    for part, total in _PARTS.items():
        # Rows of other names than the first table's can only be compared as a sum.
        likely_s, first_s = total(lift, kind).likely, total(first, kind).likely
        if part not in named and 0 < likely_s < LEAST_SHARE * first_s:
            told.append(_told(Words().say(f"timing.part.{part}"), likely_s, first_s))
    return told


def _counted(lift: Lift, kind: str) -> list[StepTime]:
    """Rows that make the time of a rescue, in the table's order; no way and support."""
    carrier = {id(row) for row in occupied_carrier_rows(lift, kind)}
    return [
        row
        for row in lift.step_times
        if row.technique == kind
        and row.per in ("span", "passenger", "metre", "carrier")
        and not is_way(row)
        and (row.per != "carrier" or id(row) in carrier)
    ]


def _told(step: str, likely_s: float | None, first_s: float) -> str:
    say = Words().say
    if likely_s is None:
        return say("timing.step_of_first", step=step, first=f"{first_s:g}")
    return say(
        "timing.step_beside_first",
        step=step,
        likely=f"{likely_s:.3g}",
        first=f"{first_s:g}",
    )
