"""Low, likely, high are P10, mode, P90, checked with scipy's lognormal."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from evac.errors import NoPlanError
from evac.triples import Fitted, fit

times = st.floats(min_value=0.0, max_value=5000.0)


def scipy_curve(found: Fitted) -> tuple[object, float]:
    """The same distribution in scipy's terms, and +1 or -1 where it is mirrored."""
    sign = float(np.sign(found.shape))
    curve = stats.lognorm(
        s=abs(float(found.shape)), scale=abs(float(found.scale)), loc=0.0
    )
    return curve, sign


@given(st.tuples(times, times, times).map(sorted))
def test_p10_mode_and_p90_of_the_fit_are_the_three_values(triple: list[float]) -> None:
    low, likely, high = triple
    width = high - low
    found = fit(low, likely, high)
    if width < 1e-6:
        assert found.at([-3.0, 0.0, 3.0]) == pytest.approx(likely, abs=1e-5)
        return
    curve, sign = scipy_curve(found)
    shares = (0.1, 0.9) if sign > 0 else (0.9, 0.1)
    p10, p90 = (float(found.shift) + sign * curve.ppf(share) for share in shares)
    # 1e-6 of the width: what is lost where the curve is all but a normal one.
    assert p10 == pytest.approx(low, abs=1e-6 * width + 1e-9)
    assert p90 == pytest.approx(high, abs=1e-6 * width + 1e-9)
    if abs(float(found.shape)) > 0.01:
        top = optimize.minimize_scalar(
            lambda logarithm: -curve.logpdf(np.exp(logarithm)),
            bracket=(
                np.log(curve.median()) - 2 * abs(float(found.shape)),
                np.log(curve.median()),
            ),
        )
        mode = float(found.shift) + sign * float(np.exp(top.x))
        assert mode == pytest.approx(likely, abs=1e-3 * width)


def test_drawn_times_have_the_quantiles_they_were_fitted_to() -> None:
    found = fit(45.0, 90.0, 240.0)
    drawn = found.at(np.random.default_rng(3).standard_normal(200_000))
    for value, share in ((45.0, 0.1), (240.0, 0.9)):
        below = float(np.mean(drawn <= value))
        # Four standard errors of a share of 200,000 draws.
        assert below == pytest.approx(share, abs=4 * np.sqrt(0.09 / 200_000))
    assert drawn.mean() == pytest.approx(float(found.mean()), rel=0.01)


def test_times_are_never_negative_and_that_touches_neither_p10_nor_p90() -> None:
    found = fit(0.0, 5.0, 20.0)
    drawn = found.at(np.linspace(-6, 6, 1001))
    assert drawn.min() == 0.0
    assert np.mean(drawn <= 0) < 0.5
    assert float(found.at(1.2815515655446004)) == pytest.approx(20.0)


@pytest.mark.parametrize(
    "triple", [(-1.0, 2.0, 3.0), (3.0, 2.0, 4.0), (1.0, 5.0, 4.0), (1.0, np.nan, 2.0)]
)
def test_values_out_of_order_are_refused(triple: tuple[float, float, float]) -> None:
    with pytest.raises(NoPlanError, match="0 <= low <= likely <= high"):
        fit(*triple)
