"""One least safety of the rope, wherever it is asked for."""

from __future__ import annotations

from dataclasses import replace

import pytest
from builders import make_lift

from evac.factors import LEAST_ROPE_SAFETY
from evac.heights.envelope import find_heights
from evac.heights.reports import report_findings
from evac.inputs.plausibility import checked
from evac.line import lay_out


@pytest.mark.parametrize(("safety", "is_told"), [(4.2, True), (4.8, False)])
def test_inputs_and_heights_ask_for_the_same_safety(
    safety: float, is_told: bool
) -> None:
    # French limits of monocable ropeways: 4.5 (seen).
    assert LEAST_ROPE_SAFETY == 4.5
    lift = make_lift()
    force_n = lift.tension.high_force_n / 2
    lift = replace(lift, rope=replace(lift.rope, breaking_force_n=safety * force_n))
    asked = checked(lift, supports_file="supports.csv")
    keys = {finding.key for finding in asked.findings}
    assert ("inputs.safety" in keys) == is_told
    heights, _ = find_heights(lift, lay_out(lift))
    spans = tuple(replace(span, safety_factor=safety) for span in heights.spans)
    told = {finding.key for finding in report_findings((), spans)}
    assert ("heights.low_safety" in told) == is_told
