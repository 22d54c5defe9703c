# SPDX-License-Identifier: MIT
"""The ladder against w·√t, the response of semi-infinite linear diffusion (Cottrell's law)."""

import numpy as np
import pytest
from scipy.integrate import trapezoid

from sagline.virtual.diffusion import ladder


def step_response(pairs: tuple[tuple[float, float], ...], t_s: np.ndarray) -> np.ndarray:
    ohm, tau_s = np.array(pairs).T
    return (ohm * -np.expm1(-t_s[:, None] / tau_s)).sum(axis=1)


def test_follows_the_square_root_of_time() -> None:
    t_s = np.geomspace(1e-4, 30.0, 500)
    ratio = step_response(ladder(0.03), t_s) / (0.03 * np.sqrt(t_s))
    assert np.abs(ratio - 1.0).max() < 0.002


def test_stays_close_at_the_ends_of_its_range() -> None:
    t_s = np.array([20e-6, 40e-6, 60.0, 100.0])
    ratio = step_response(ladder(1.0), t_s) / np.sqrt(t_s)
    assert np.abs(ratio - 1.0).max() < 0.005


def test_its_slope_follows_too() -> None:
    """d(w√t)/dt = w/(2√t); the trapezoid's bound for ln 4 is 0.23 %."""
    ohm, tau_s = np.array(ladder(1.0)).T
    t_s = np.geomspace(1e-4, 30.0, 500)
    slope = (ohm / tau_s * np.exp(-t_s[:, None] / tau_s)).sum(axis=1)
    assert np.abs(slope * 2.0 * np.sqrt(t_s) - 1.0).max() < 0.004


def test_mean_of_the_response_is_two_thirds_of_its_end() -> None:
    """∫√t dt over 0..T divided by T is (2/3)·√T."""
    t_s = np.linspace(0.0, 1.0, 200_001)
    response = step_response(ladder(1.0), t_s)
    assert trapezoid(response, t_s) / response[-1] == pytest.approx(2 / 3, rel=2e-3)


def test_scales_with_w_and_vanishes_without() -> None:
    assert ladder(0.0) == ()
    for (one, tau), (two, same_tau) in zip(ladder(1.0), ladder(2.0), strict=True):
        assert two == pytest.approx(2.0 * one, rel=1e-12)
        assert tau == same_tau
