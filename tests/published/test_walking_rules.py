"""Worked examples of walking rules.

Naismith: 20 km and 1000 m up, exact from the rule (5 km/h, an hour for 600 m).
DIN 33466: three worked examples, read on public pages (`reference/FACTS.md`, seen).
Tobler: values of the hiking function (formula from memory, as FACTS.md says).
"""

from __future__ import annotations

import pytest

from evac.access import walking_seconds


def test_naismith_20_km_and_1000_m_up() -> None:
    hours = walking_seconds("naismith", length_m=20_000, up_m=1000, down_m=0) / 3600
    # 20 / 5 + 1000 / 600 = 5.666...; the source prints 5.67.
    assert hours == pytest.approx(5 + 2 / 3, abs=1e-9)


@pytest.mark.parametrize(
    ("length_m", "up_m", "down_m", "hours"),
    [(8000, 900, 0, 4.0), (10_000, 600, 500, 4.25), (8000, 1200, 0, 5.0)],
)
def test_din_33466_worked_examples(
    length_m: float, up_m: float, down_m: float, hours: float
) -> None:
    found = walking_seconds("din33466", length_m=length_m, up_m=up_m, down_m=down_m)
    assert found / 3600 == pytest.approx(hours, abs=1e-9)


@pytest.mark.parametrize(
    ("slope", "kmh"), [(0.0, 5.037), (0.1, 3.549), (0.2, 2.501), (-0.1, 5.037)]
)
def test_tobler_speeds(slope: float, kmh: float) -> None:
    seconds = walking_seconds(
        "tobler",
        length_m=1000,
        up_m=max(1000 * slope, 0),
        down_m=max(-1000 * slope, 0),
    )
    # 0.0005: the source prints three decimals.
    assert 3600 / seconds == pytest.approx(kmh, abs=0.0005)
