"""What nobody who looks at a drawing may overlook, so that none sounds sure."""

from __future__ import annotations

from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.limits import limit_verdict
from evac.words import Words

_DOUBTS = frozenset({"line.terrain_coarse", "line.table_sparse"})


BOUNDS_VERDICT = ("branch.", "first_lowering.")
"""How keys of findings begin that bound what the verdict promises: told beside it."""


def reach_in_doubt(plan: Plan) -> bool:
    """Whether a finding says that no height or reach of the plan can be trusted."""
    return any(finding.key in _DOUBTS for finding in plan.findings)


def heights_assumed(lift: Lift) -> bool:
    """Whether support heights are only assumed and nobody has accepted that."""
    return any(
        not item.accepted and f"{item.key}.".startswith("supports.rope_height_m.")
        for item in lift.assumptions
    )


def of_reached(plan: Plan, key: str) -> str:
    """The words key of a sentence about times, for those who are reached only.

    While people have no team that reaches them no time covers them, and the sentence
    below ``key`` must not sound as if it did.
    """
    return key if plan.everyone_reached else f"{key}_reached"


def limit_alarm(plan: Plan) -> str:
    """The last part of the words key that says why a limit is not met; "" if all are.

    Days are only spoken of where those who are reached come too late too.
    """
    if plan.limit_met is not False:
        return ""
    late = any(
        limit_verdict(limit, plan.simulation) == "missed" for limit in plan.lift.limits
    )
    return "limit_missed" if late else "limit_unreached"


def alarms(plan: Plan, words: Words, *, not_reached: str) -> tuple[str, ...]:
    """Sentences for the top of a drawing, none where all is well.

    ``not_reached`` is the key of the sentence that says how the drawing shows spans
    that nobody reaches.
    """
    found = []
    if not plan.everyone_reached:
        found.append(words.say(not_reached))
    if reach_in_doubt(plan):
        found.append(words.say("figures.doubtful"))
    if heights_assumed(plan.lift):
        found.append(words.say("sheet.assumed_heights"))
    if verdict := limit_alarm(plan):
        found.append(words.say(f"figures.{verdict}"))
    return tuple(found)
