# SPDX-License-Identifier: MIT
"""Rise of a mode and its mean against 60-digit arithmetic."""

from decimal import Decimal, localcontext

import numpy as np
import pytest

from sagline.virtual.modes import LEAST_RATE, mean_rise, rise


def exact(rate: float, start_s: float, length_s: float) -> tuple[float, float]:
    """g(start) and the mean of g = (1 − e^(−λt))/λ over the window."""
    with localcontext() as context:
        context.prec = 60
        lam, s, length = Decimal(rate), Decimal(start_s), Decimal(length_s)
        g = (1 - (-lam * s).exp()) / lam
        area = length - ((-lam * s).exp() - (-lam * (s + length)).exp()) / lam
        return float(g), float(area / lam / length)


RATES = [LEAST_RATE, 1e-9, 1e-5, 3e-3, 0.049, 0.051, 1.0, 400.0, 5e5]


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("start_s, length_s", [(1e-5, 5e-5), (0.1, 1.0), (5.0, 0.05), (60.0, 30.0)])
def test_against_many_digits(rate: float, start_s: float, length_s: float) -> None:
    one = np.array([rate])
    at_start, mean = exact(rate, start_s, length_s)
    assert rise(one, start_s) == pytest.approx(at_start, rel=1e-12)
    assert mean_rise(one, np.array([start_s]), np.array([length_s])) == pytest.approx(
        mean, rel=1e-12
    )


def test_a_window_without_length_is_an_instant() -> None:
    rate = np.array(RATES)
    start = np.full_like(rate, 0.3)
    assert mean_rise(rate, start, np.zeros_like(rate)) == pytest.approx(rise(rate, 0.3), rel=1e-15)
