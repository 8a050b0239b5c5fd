"""The tables in the package are the published ones, value by value.

Source: the collected tables with what was seen where; each row's own source stands
in it. Step times: common practice, no source.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from evac import reference


def rows(shared: Path, name: str) -> list[dict[str, str]]:
    with (shared / "reference" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_step_times_are_those_collected(shared: Path) -> None:
    collected = [
        (
            row["technique"],
            row["step"],
            row["per"],
            float(row["low_s"]),
            float(row["likely_s"]),
            float(row["high_s"]),
            row["condition"],
        )
        for row in rows(shared, "step_times.csv")
    ]

    assert [
        (
            time.technique,
            time.step,
            time.per,
            time.seconds.low,
            time.seconds.likely,
            time.seconds.high,
            time.condition,
        )
        for time in reference.step_times()
    ] == collected


def test_time_limits_are_those_collected(shared: Path) -> None:
    collected = rows(shared, "time_limits.csv")
    limits = reference.time_limits()

    assert [limit.where for limit in limits] == [row["where"] for row in collected]
    assert [limit.limit_min for limit in limits] == [
        float(row["limit_min"]) if row["limit_min"] else None for row in collected
    ]
    assert all(limit.source for limit in limits)


def test_plan_contents_and_drill_rules_are_those_collected(shared: Path) -> None:
    items = rows(shared, "plan_contents.csv")
    assert [(item.item, item.asked_by) for item in reference.plan_contents()] == [
        (row["item"], row["asked_by"]) for row in items
    ]
    assert len({item.key for item in reference.plan_contents()}) == len(items)
    assert [(rule.where, rule.rule) for rule in reference.drill_rules()] == [
        (row["where"], row["rule"]) for row in rows(shared, "drills.csv")
    ]


@pytest.mark.parametrize(
    ("construction", "mass_kg_per_m", "grade", "force_kn"),
    [("6x19", 5.74, 1960, 1035), ("6x7", 5.52, 1770, 940)],
)
def test_a_40_mm_rope_weighs_and_breaks_as_the_api_table_says(
    construction: str, mass_kg_per_m: float, grade: float, force_kn: float
) -> None:
    # Source: table of API 9A for 40 mm (seen); tolerance: the table's rounding.
    factors = {item.construction: item for item in reference.rope_factors()}
    rope = factors[construction]

    assert rope.mass_factor * 40**2 / 100 == pytest.approx(mass_kg_per_m, abs=0.005)
    assert rope.strength_factor * 40**2 * grade / 1000 == pytest.approx(
        force_kn, abs=0.5
    )
