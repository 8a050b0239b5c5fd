"""The official wind chill chart (2001), as published by Environment Canada.

Source: `reference/windchill_c.csv`, an official chart; classes: the frostbite classes
printed with it, as read in `reference/FACTS.md` ("seen").
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from evac.exposure import cold_class, wind_chill_c


def test_every_number_of_the_chart_is_reproduced_rounding_half_up(
    shared: Path,
) -> None:
    path = shared / "reference" / "windchill_c.csv"
    rows = list(csv.reader(path.read_text("utf-8").splitlines()))
    temperature_c = np.array([float(cell) for cell in rows[0][1:]])
    checked = 0
    for row in rows[1:]:
        found = wind_chill_c(temperature_c, wind_m_per_s=float(row[0]) / 3.6)
        printed = np.array([float(cell) for cell in row[1:]])
        np.testing.assert_array_equal(np.floor(found + 0.5), printed)
        checked += printed.size
    assert checked == 96


@pytest.mark.parametrize(
    ("chill_c", "least_min", "most_min"),
    [
        (-28, 10, 30),
        (-39, 10, 30),
        (-40, 5, 10),
        (-47, 5, 10),
        (-48, 2, 5),
        (-54, 2, 5),
    ],
)
def test_frostbite_times_of_the_chart(
    chill_c: int, least_min: float, most_min: float
) -> None:
    found = cold_class(chill_c)
    assert (found.least_s, found.most_s) == (60 * least_min, 60 * most_min)


def test_below_minus_55_skin_freezes_in_under_two_minutes() -> None:
    assert cold_class(-55).most_s == 120


def test_from_minus_10_to_minus_27_the_risk_is_low() -> None:
    assert {cold_class(chill).key for chill in range(-27, -9)} == {"low"}
