"""Wind chill beyond the chart."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evac.exposure import cold_class, wind_chill_c
from evac.words import Words


@given(
    temperature_c=st.floats(-50, 5),
    wind=st.floats(0, 30),
    more=st.floats(0.1, 20),
)
def test_more_wind_is_never_warmer(
    temperature_c: float, wind: float, more: float
) -> None:
    calm, windy = wind_chill_c(temperature_c, wind_m_per_s=[wind, wind + more])
    assert windy <= calm + 1e-9


def test_less_than_5_km_h_counts_as_5() -> None:
    assert wind_chill_c(-10, wind_m_per_s=0) == wind_chill_c(-10, wind_m_per_s=5 / 3.6)


def test_above_5_degrees_no_wind_chill_is_stated() -> None:
    assert np.isnan(wind_chill_c(5.1, wind_m_per_s=10))
    assert cold_class(math.nan).key == "none"


def test_a_negative_wind_is_refused() -> None:
    with pytest.raises(ValueError, match="a wind speed is 0 or more"):
        wind_chill_c(-10, wind_m_per_s=-1)


def test_every_day_has_a_class_with_a_sentence_that_is_true_of_it() -> None:
    words = Words()
    for temperature_c in (-60, -50, -35, -25, -20, -8, 3, 12):
        chill_c = float(wind_chill_c(temperature_c, wind_m_per_s=10))
        assert math.isnan(chill_c) == (temperature_c > 5)
        assert words.has(f"exposure.{cold_class(chill_c).key}")
    # 4 C and hardly any wind: a wind chill of 3 is stated, and nothing freezes.
    mild_c = float(wind_chill_c(4, wind_m_per_s=1))
    assert 0 < mild_c < 4
    assert words.say(f"exposure.{cold_class(mild_c).key}") == (
        "above 0 °C bare skin does not freeze"
    )
