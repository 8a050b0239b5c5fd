"""A rope whose certificate is only half written down is doubted all the same.

Source: EN 12385 factors W, C and K (mass, area, strength by the diameter). The rope of
these tests weighs 5.2 kg/m, is 58 MN stiff and pulled by 220 kN on the carriage.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from builders import make_lift

from evac.facts.lift import Lift, Rope
from evac.inputs.plausibility import checked
from evac.words import Words


def half_written(
    *, mass: float = 5.2, stiffness_mn: float = 58.0, force_kn: float = 220.0
) -> Lift:
    """A lift without diameter and breaking force, judged."""
    lift = make_lift()
    force_n = force_kn * 1000
    rope = Rope(
        mass_kg_per_m=mass,
        axial_stiffness_n=stiffness_mn * 1e6,
        diameter_m=None,
        breaking_force_n=None,
    )
    tension = replace(
        lift.tension,
        force_n=force_n,
        low_force_n=0.95 * force_n,
        high_force_n=1.05 * force_n,
    )
    return checked(
        replace(lift, rope=rope, tension=tension), supports_file="supports.csv"
    )


def test_a_rope_without_diameter_and_breaking_force_is_said_to_be_unchecked() -> None:
    found = half_written().findings
    about = ("inputs.rope_", "inputs.safety")
    (finding,) = (f for f in found if f.key.startswith(about) and not f.where)

    assert finding.key == "inputs.rope_unchecked"
    assert Words().finding(finding)[0] == (
        "The rope's mass, stiffness and force are checked only roughly, because [rope] "
        "lacks diameter_mm, breaking_force_kn."
    )


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        # Tonnes for kilograms.
        ({"mass": 0.0052}, "The rope's mass of 0.01 kg/m is unusual"),
        # 3.5 lb/ft are 5.2 kg/m.
        ({"mass": 3.5}, "stiffness of 58.0 MN does not go with its mass of 3.50 kg/m"),
        # The metallic area in mm2 where the stiffness belongs; a slipped decimal.
        ({"stiffness_mn": 580.0}, "stiffness of 580.0 MN does not go with its mass"),
        ({"stiffness_mn": 5.8}, "stiffness of 5.8 MN does not go with its mass"),
        # One side of the rope only, and doubled once too often.
        ({"force_kn": 110.0}, "The force on the carriage is small for a rope of this"),
        ({"force_kn": 440.0}, "The force on the carriage is large for a rope of this"),
    ],
)
def test_a_wrong_figure_of_a_half_written_rope_is_told(
    wrong: dict[str, Any], told: str
) -> None:
    texts = [Words().finding(finding)[0] for finding in half_written(**wrong).findings]

    assert any(told in text for text in texts), texts


def test_the_estimated_safety_is_that_of_en_12385() -> None:
    # By hand: K / W = 0.330 / 0.359 for 6x19, so 5.2 kg/m of grade 1770 to 1960 break
    # at 100 x 0.919 x 5.2 x 1770 to 1960 N = 846 to 937 kN; 1.05 x 110 kN / 2 is the
    # pull, which makes 14.6 to 16.2.
    (finding,) = (
        item
        for item in half_written(force_kn=110.0).findings
        if item.key == "inputs.safety_high_by_mass"
    )
    assert 14.6 < float(finding.values["safety"]) < 16.2


def test_a_rope_is_judged_by_the_pull_at_the_top_of_the_line() -> None:
    # By hand: the line of the builders is full with 5.2 + (350 + 4 x 90) / 30 =
    # 28.9 kg/m. Over 500 m it adds 28.9 x 9.81 x 500 = 142 kN to 0.525 x 110 = 58 kN
    # at the carriage, so the 846 kN of the weakest wires are 4.2 times the pull at the
    # top, not 14.6 times. Held at the top, the carriage has the whole pull.
    lift = half_written(force_kn=110.0)
    first, *others, last = lift.supports
    steep = replace(
        lift,
        supports=(
            first,
            *others,
            replace(last, ground_m=first.ground_m + 500.0),
        ),
        findings=(),
    )
    below = replace(steep, drive_at_last=True)
    above = replace(steep, drive_at_last=False)
    doubted = [
        "inputs.safety_high_by_mass"
        in {item.key for item in checked(each, supports_file="supports.csv").findings}
        for each in (below, above)
    ]
    assert doubted == [False, True]
