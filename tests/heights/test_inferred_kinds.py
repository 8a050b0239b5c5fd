"""A support of no stated kind: heights that hold whatever it turns out to be."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from builders import make_lift

from evac.facts.finding import Finding, Severity
from evac.facts.heights import Heights
from evac.facts.lift import Side, SupportKind
from evac.heights.envelope import find_heights
from evac.line import lay_out
from evac.words import Words


@cache
def with_second(
    kind: SupportKind | None, rope_height_m: float
) -> tuple[Heights, tuple[Finding, ...]]:
    """The gully's line with support 2 so kind and so high; it stands 13 m as drawn."""
    lift = make_lift()
    supports = tuple(
        replace(support, kind=kind, rope_height_m=rope_height_m)
        if support.id == "2"
        else support
        for support in lift.supports
    )
    lift = replace(lift, supports=supports)
    return find_heights(lift, lay_out(lift))


def told(findings: tuple[Finding, ...], key: str) -> list[Finding]:
    return [finding for finding in findings if finding.key == key]


@pytest.mark.parametrize("rope_height_m", [6.0, 4.0])
def test_a_blank_kind_in_a_hollow_takes_the_greater_of_held_and_released(
    rope_height_m: float,
) -> None:
    blank, findings = with_second(None, rope_height_m)
    released, _ = with_second(SupportKind.SUPPORT, rope_height_m)
    held, _ = with_second(SupportKind.COMBINED, rope_height_m)
    higher_m = 0.0
    for side in Side:
        greatest_m, free_m, held_m = (
            each.envelopes[side].rope_greatest_m for each in (blank, released, held)
        )
        known = ~np.isnan(greatest_m + free_m + held_m)
        assert (greatest_m >= np.maximum(free_m, held_m) - 0.02)[known].all()
        higher_m = max(higher_m, float((greatest_m - held_m)[known].max()))
    # Held at 4 m instead of free: over a metre in the gully beside it.
    assert higher_m > 0.5

    (warned,) = told(findings, "heights.inferred_free")
    assert warned.severity is Severity.WARN
    assert warned.values["support"] == "2"
    # By the reports of the held one: what the empty rope and more pulls.
    pulls_n = [
        -report.least_load_n for report in held.supports if report.support_id == "2"
    ]
    assert warned.values["pull_n"] >= 0.9 * max(pulls_n)
    text, remedy = Words().finding(warned)
    assert "2" in text
    assert "nothing held the rope down" in text
    assert "rope height" in remedy


def test_a_tower_typed_far_too_low_is_no_quiet_hold_down() -> None:
    heights, findings = with_second(None, 0.5)
    kinds = {r.kind for r in heights.supports if r.support_id == "2"}
    assert kinds == {"hold-down"}
    (warned,) = told(findings, "heights.inferred_held")
    assert warned.severity is Severity.WARN
    assert warned.values["pull_n"] > 0
    assert "typed too low" in Words().finding(warned)[1]


def test_a_blank_kind_on_which_the_rope_always_rests_is_only_noted() -> None:
    heights, findings = with_second(None, 13.0)
    kinds = {r.kind for r in heights.supports if r.support_id == "2"}
    assert kinds == {"support"}
    assert not told(findings, "heights.inferred_free")
    assert not told(findings, "heights.inferred_held")
    assert len(told(findings, "heights.inferred")) == 1
