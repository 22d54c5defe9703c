# SPDX-License-Identifier: MIT
"""Budgets: shares, covariance, and intervals, against hand derivations and Monte Carlo."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.analytic_cell import PROFILE
from sagline.analysis.budget import OUTPUTS, Evaluation, evaluate, propagate
from sagline.analysis.calibration import expected_readings, model
from sagline.analysis.influences import Influence, influences_of
from sagline.analysis.montecarlo import draw, interval
from sagline.analysis.profile import RigProfile
from sagline.analysis.repeats import Scatter

SCATTER = Scatter.of(
    np.array([[0.1602, 1.5801, 0.3656], [0.1599, 1.58, 0.3657], [0.1600, 1.5799, 0.3655]])
)


def listed(profile: RigProfile = PROFILE, converter: int = 1, open_v: float = 1.58,
           r_ohm: float = 0.16, load: int = 0) -> list[Influence]:  # fmt: skip
    high = open_v > 4.5
    levels = expected_readings(profile, converter, load, high, open_v, r_ohm)
    return influences_of(profile, converter, load, high, levels, {0: 0.5, 1: 0.5, 2: 0.5})


def line(found: Evaluation, source: str) -> float:
    return next(item.u for item in found.budget if item.source == source)


@settings(max_examples=20)
@given(
    open_v=st.floats(0.9, 16.0),
    r_ohm=st.floats(0.005, 20.0),
    load=st.integers(0, 3),
    converter=st.sampled_from([0, 1]),
)
def test_shares_sum_to_one_and_lines_to_u(
    open_v: float, r_ohm: float, load: int, converter: int
) -> None:
    found = evaluate(listed(PROFILE, converter, open_v, r_ohm, load), SCATTER)
    for lines, figure in ((found.budget, found.r_ohm), (found.emf_budget, found.emf_v)):
        assert figure.u is not None
        assert sum(item.share for item in lines) == pytest.approx(1.0, abs=1e-12)
        assert sqrt(sum(item.u**2 for item in lines)) == pytest.approx(figure.u, rel=1e-9)
        assert [item.type for item in lines].count("A") == 1
        assert [item.u for item in lines] == sorted((item.u for item in lines), reverse=True)


def test_contributions_agree_with_hand_derivations() -> None:
    found = evaluate(listed(), SCATTER)
    r, eff = 0.16, 3.341
    load_u = sqrt(0.033**2 + (3.3 * 100e-6 * 5.0) ** 2 + (0.041 * 0.25) ** 2) / sqrt(3.0)
    assert line(found, "load resistance") == pytest.approx(r / eff * load_u, rel=1e-4)
    # Three levels of +-1 code: two of the sag, one of force, and the two of return.
    current_a = 1.28 / (0.16 + eff)
    sense_v = 62.5e-6 / (1e-5 / (1e-5 + 1 / 75_000 + 1e-6))
    return_v = 62.5e-6 / (220 / 242)
    drop_v = current_a * eff
    inl_u = sqrt(
        2 * (sense_v / current_a) ** 2 + (r / drop_v) ** 2 * (sense_v**2 + 2 * return_v**2)
    ) / sqrt(3.0)
    assert line(found, "linearity") == pytest.approx(inl_u, rel=1e-3)
    assert line(found, "between repeats") == pytest.approx(
        np.std([0.1602, 0.1599, 0.1600], ddof=1) / sqrt(3.0), rel=1e-9
    )


def test_scatter_has_the_covariance_of_a_mean() -> None:
    values = np.random.default_rng(0).normal(size=(6, 3))
    assert Scatter.of(values).covariance == pytest.approx(np.cov(values.T) / 6.0, rel=1e-12)
    assert Scatter.of(values).dof == 5
    with pytest.raises(ValueError, match="one repeat"):
        Scatter.of(values[:1])


@pytest.mark.parametrize("n", [2, 3, 6])
def test_scatter_is_drawn_as_a_joint_t(n: int) -> None:
    values = np.random.default_rng(n).normal(size=(n, 2))
    scatter = Scatter.of(values)
    draws = scatter.draws(np.random.default_rng(1), 400_000)
    from scipy.stats import t

    for index in range(2):
        low, high = interval(draws[:, index])
        half = t.ppf(0.975, n - 1) * sqrt(scatter.covariance[index, index])
        assert (low, high) == pytest.approx((-half, half), rel=0.03)
    if n == 2:  # both deviations are opposite, so the two outputs move together exactly
        assert abs(np.corrcoef(np.sign(draws.T))[0, 1]) == pytest.approx(1.0)


def test_covariance_of_emf_and_r_agrees_with_monte_carlo() -> None:
    x = draw(listed(converter=0), np.random.default_rng(6), 400_000)
    drawn = model(x)
    found = evaluate(listed(converter=0), Scatter.none(3))
    expected = np.cov(drawn.emf_v, drawn.r_ohm)[0, 1]
    assert found.covariance_v_ohm == pytest.approx(expected, rel=0.02)


def test_the_scatter_brings_its_own_covariance() -> None:
    with_scatter, without = evaluate(listed(), SCATTER), evaluate(listed(), Scatter.none(3))
    assert SCATTER.covariance[0, 1] != 0.0
    assert with_scatter.covariance_v_ohm - without.covariance_v_ohm == pytest.approx(
        SCATTER.covariance[0, 1], rel=1e-6
    )


@pytest.mark.parametrize(
    ("shape", "u", "quartile"),
    # Of half-width 1 (normal: of s.d. 1): s.d., and the value that a quarter lies above.
    [
        ("rectangular", 1 / sqrt(3), 0.5),
        ("triangular", 1 / sqrt(6), 1 - sqrt(0.5)),
        ("arcsine", 1 / sqrt(2), sqrt(0.5)),
        ("normal", 1.0, 0.6745),
    ],
)
def test_the_law_and_the_draws_mean_the_same_distribution(
    shape: str, u: float, quartile: float
) -> None:
    """Standard uncertainties of GUM 4.3 and JCGM 101, 6.4; quartiles from the densities."""
    item = Influence("a", "a", 5.0, 1.0, shape)
    drawn = np.asarray(draw([item], np.random.default_rng(11), 400_000)["a"])
    assert item.u == pytest.approx(u, rel=1e-12)
    assert drawn.mean() == pytest.approx(5.0, abs=0.01)
    assert drawn.std() == pytest.approx(u, rel=0.01)
    assert interval(drawn, 0.5) == pytest.approx((5.0 - quartile, 5.0 + quartile), abs=0.01)


def test_short_circuit_current_and_power_use_the_covariance() -> None:
    x = draw(listed(), np.random.default_rng(7), 400_000)
    drawn = model(x)
    found = evaluate(listed(), Scatter.none(3))
    current, power = found.short_circuit_a, found.max_power_w
    assert current is not None and power is not None
    assert current.value == pytest.approx(1.58 / 0.16, rel=1e-4)
    assert power.value == pytest.approx(1.58**2 / 0.64, rel=1e-4)
    assert current.u == pytest.approx(np.std(drawn.emf_v / drawn.r_ohm), rel=0.01)
    assert power.u == pytest.approx(np.std(drawn.emf_v**2 / (4 * drawn.r_ohm)), rel=0.01)


def test_a_dominant_bounded_input_takes_the_interval_by_monte_carlo() -> None:
    """One rectangle: U = 0.95 a, so k = 0.95 sqrt 3 = 1.645, where the law says 1.96."""
    found = evaluate(listed(), SCATTER)
    assert found.load_ohm.k == pytest.approx(0.95 * sqrt(3.0), rel=0.01)
    assert found.r_ohm.k is not None and 1.7 < found.r_ohm.k < 1.95
    bank = tuple(replace(load, tolerance_ppm=100, switch_tolerance_ppm=100)
                 for load in PROFILE.loads)  # fmt: skip
    straight = {key: replace(unit, inl_millilsb=200) for key, unit in PROFILE.converters.items()}
    calm = evaluate(listed(replace(PROFILE, loads=bank, converters=straight)), SCATTER)
    assert calm.r_ohm.k is not None and calm.r_ohm.dof is not None and calm.r_ohm.u is not None
    assert calm.r_ohm.high95 == pytest.approx(calm.r_ohm.value + calm.r_ohm.k * calm.r_ohm.u)
    assert calm.r_ohm.k > 1.96


def test_the_interval_by_monte_carlo_is_that_of_the_model() -> None:
    found = evaluate(listed(), Scatter.none(3)).r_ohm
    low, high = interval(model(draw(listed(), np.random.default_rng(8), 1_000_000)).r_ohm)
    assert found.low95 == pytest.approx(low, abs=2e-5)
    assert found.high95 == pytest.approx(high, abs=2e-5)


def test_the_same_record_gives_the_same_figures() -> None:
    assert evaluate(listed(), SCATTER) == evaluate(listed(), SCATTER)


def test_without_scatter_u_is_unknown_and_the_known_part_is_listed() -> None:
    found = evaluate(listed(), None)
    for name in OUTPUTS:
        figure = getattr(found, name)
        assert (figure.u, figure.k, figure.low95, figure.high95) == (None,) * 4
    assert found.load_ohm.u is not None
    assert {item.type for item in found.budget} == {"B"}
    assert sum(item.share for item in found.budget) == pytest.approx(1.0)


def test_where_r_may_be_zero_the_short_circuit_current_has_no_upper_end() -> None:
    found = evaluate(listed(converter=0, open_v=12.8, r_ohm=0.025, load=1), Scatter.none(3))
    current = found.short_circuit_a
    assert found.r_ohm.low95 is not None and found.r_ohm.low95 < 0.0
    assert current is not None and current.high95 is None and current.u is None
    assert found.r_ohm.high95 is not None and current.low95 is not None
    assert 0.0 < current.low95 < 12.8 / found.r_ohm.high95
    negative = evaluate(listed(r_ohm=-0.01), Scatter.none(3))
    assert negative.short_circuit_a is None and negative.max_power_w is None


def test_propagate_keeps_degrees_of_freedom() -> None:
    figure = propagate(lambda x: 2.0 * x["a"], [Influence("a", "a", 1.0, 0.5, "t", 4)])
    assert (figure.value, figure.u) == (2.0, 1.0)
    assert figure.dof == pytest.approx(4.0) and figure.k == pytest.approx(2.776, abs=1e-3)
