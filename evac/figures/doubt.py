"""Whether the heights are in doubt, so that no paper sounds sure of reach."""

from __future__ import annotations

from evac.facts.plan import Plan

_DOUBTS = frozenset({"line.terrain_coarse"})


def reach_in_doubt(plan: Plan) -> bool:
    """Whether a finding says that no height or reach of the plan can be trusted."""
    return any(finding.key in _DOUBTS for finding in plan.findings)


def of_reached(plan: Plan, key: str) -> str:
    """The words key of a sentence about times, for those who are reached only.

    While people have no team that reaches them no time covers them, and the sentence
    below ``key`` must not sound as if it did.
    """
    return key if plan.everyone_reached else f"{key}_reached"
