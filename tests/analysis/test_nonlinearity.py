# SPDX-License-Identifier: MIT
"""The random processes assumed for non-linearity, against their own simulation."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from analysis.analytic_cell import PROFILE
from sagline.analysis.calibration import tap_per_code_v
from sagline.analysis.nonlinearity import LevelErrors, Process, WeightedCodes
from sagline.analysis.rows import Front, Rows
from sagline.analysis.sagerrors import apart_v, processes_of
from sagline.analysis.values import ADS1115, SENSE
from sagline.virtual.linearity import block_curve, onboard_curve

BLOCKS = Process(1.0, 16.0, between="step")
BOW = Process(3.0, 128.0, between="cosine")
FINE = Process(0.25, 2.0, between="line")


def bounded(limit_codes: float) -> tuple[Process, ...]:
    """What is assumed of an ADS1115 of such a limit."""
    unit = replace(PROFILE.converters[ADS1115], inl_millilsb=round(1e3 * limit_codes))
    rig = replace(PROFILE, converters={**PROFILE.converters, ADS1115: unit})
    return processes_of(rig, Front.LEVEL, ADS1115)


@pytest.mark.parametrize("distance", [0.0, 0.2, 0.7, 1.0, 1.4, 1.99, 2.5])
def test_the_smooth_kernel_is_the_autocorrelation_of_a_raised_cosine(distance: float) -> None:
    """Weights of a knot at x: (1 + cos(pi x))/2 within one distance; integrated numerically."""

    def weight(x: float) -> float:
        return 0.5 * (1.0 + np.cos(np.pi * x)) if abs(x) < 1.0 else 0.0

    exact, _ = quad(lambda x: weight(x) * weight(x + distance), -1.0, 1.0, points=[0.0])
    found = BOW.correlation(np.array([distance * BOW.span_codes]))
    assert found[0] == pytest.approx(exact, abs=1e-7)


@pytest.mark.parametrize("distance", [0.0, 0.2, 0.7, 1.0, 1.4, 1.99, 2.5])
def test_the_kernel_of_lines_is_the_autocorrelation_of_a_triangle(distance: float) -> None:
    exact, _ = quad(
        lambda x: max(0.0, 1.0 - abs(x)) * max(0.0, 1.0 - abs(x + distance)),
        -1.0,
        1.0,
        points=sorted({0.0, max(-1.0, -distance)}),
    )
    found = FINE.correlation(np.array([distance * FINE.span_codes]))
    assert found[0] == pytest.approx(exact, abs=1e-6)


def test_blocks_share_their_error_in_proportion_to_the_overlap() -> None:
    found = BLOCKS.correlation(np.array([0.0, 4.0, -8.0, 16.0, 40.0]))
    assert found.tolist() == [1.0, 0.75, 0.5, 0.0, 0.0]


@pytest.mark.parametrize("process", [BLOCKS, BOW, FINE], ids=["blocks", "bow", "fine"])
def test_draws_have_the_covariance_that_is_claimed(process: Process) -> None:
    rng = np.random.default_rng(3)
    codes = np.array([1000.0, 1003.0, 1009.0, 1060.0, 1800.0])
    weights = np.array([[1.0, 0.0, 0.0, 0.0, 0.0], [0.3, 0.7, -0.5, -0.25, -0.25]])
    sums = WeightedCodes(process, codes, weights)
    drawn = sums.draws(rng, 200_000)
    # 200 000 draws fix a variance to 0.5 % and, with 80 phases, the mixture to about 1 %.
    claimed = sums.covariance()
    assert np.cov(drawn) == pytest.approx(claimed, rel=0.04, abs=0.01 * np.abs(claimed).max())
    assert np.abs(drawn[0]).max() <= process.limit_codes


def test_many_small_shares_are_drawn_together_with_their_covariance() -> None:
    """400 knots of 1/400 each, and one of half: a uniform number on a normal one."""
    codes = np.concatenate([[0.0], 100.0 + 16.0 * np.arange(400)])
    weights = np.array([[0.5, *[0.025] * 400], [0.0, *[0.05, -0.05] * 200]])
    sums = WeightedCodes(BLOCKS, codes, weights)
    drawn = sums.draws(np.random.default_rng(5), 100_000)
    claimed = sums.covariance()
    assert np.cov(drawn) == pytest.approx(claimed, rel=0.03, abs=0.01)
    kurtosis = ((drawn[0] / drawn[0].std()) ** 4).mean() - 3.0
    assert kurtosis == pytest.approx(-1.2 * 0.25, abs=0.06)


@pytest.mark.parametrize("limit", [0.1, 0.25, 1.0, 4.0])
def test_of_a_bound_alone_a_rectangle_is_taken(limit: float) -> None:
    """JCGM 100, 4.3.7: the variance of a quantity known to lie within ±a is a²/3."""
    total = sum(
        float(one.correlation(np.zeros(1))[0]) * one.limit_codes**2 / 3.0 for one in bounded(limit)
    )
    assert total == pytest.approx(limit**2 / 3.0)


@pytest.mark.parametrize("apart", [0.3, 0.7, 1.0, 1.7, 5.0, 30.0])
@pytest.mark.parametrize("which", ["ads1115", "onboard"])
def test_the_virtual_rig_draws_what_the_budget_assumes(which: str, apart: float) -> None:
    """Mean square of the difference of two codes' errors, in 200 drawn converters."""
    rng = np.random.default_rng(int(10 * apart))
    code = rng.uniform(100.0, 3900.0, 2000)
    squares = []
    for _ in range(200):
        curve = (
            block_curve(rng, 0, 4095, 2.0)
            if which == "ads1115"
            else onboard_curve(rng, 4095, 6.0, wide_codes=False)
        )
        squares.append(np.mean((curve.at(code + apart) - curve.at(code)) ** 2))
    bow = (Process(5.75, 128.0, "cosine"), FINE)
    claimed = 0.0
    for one in bounded(2.0) if which == "ads1115" else bow:
        near, far = one.correlation(np.array([0.0, apart]))
        claimed += 2.0 * (near - far) * one.limit_codes**2 / 3.0
    assert np.mean(squares) == pytest.approx(claimed, rel=0.05)


def test_a_sum_over_one_code_is_bounded_and_near_codes_are_merged() -> None:
    sums = WeightedCodes(BLOCKS, np.array([7.01, 7.02, 7.6]), np.array([[0.5, 0.5, 1.0]]))
    assert sums.codes.size == 2 and sums.weights.sum() == pytest.approx(2.0)


def test_independent_parts_add_in_variance() -> None:
    one = WeightedCodes(BLOCKS, np.array([100.0]), np.eye(1))
    two = WeightedCodes(BOW, np.array([100.0]), np.eye(1))
    both = LevelErrors(("level",), (one, two))
    # 1/3 of a uniform limit squared, and 0.75 of that for a bow.
    assert both.covariance()[0, 0] == pytest.approx(1.0 / 3.0 + 0.75 * 9.0 / 3.0)
    drawn = both.draws(np.random.default_rng(1), 50_000)["level"]
    assert drawn.var() == pytest.approx(both.covariance()[0, 0], rel=0.03)


@pytest.mark.parametrize("repeats", [1, 2, 5])
def test_repeats_at_other_codes_are_as_far_apart_as_drawn_converters_make_them(
    repeats: int,
) -> None:
    """Sags that begin at other codes each time, in 40 ways, read through 600 drawn converters."""
    rng = np.random.default_rng(9)
    code_v = tap_per_code_v(PROFILE, ADS1115, SENSE, False)
    limit = PROFILE.converters[ADS1115].inl_limit_codes
    weight_v, current_a = np.array([0.25, 0.25, 0.25, 0.25, -0.5, -0.5]), 0.5
    weights = [weight_v / current_a] * repeats
    curves = [block_curve(rng, 19_800, 20_200, limit) for _ in range(600)]
    claimed_v2, drawn_v2 = [], []
    rows: list[Rows] = []
    none = np.zeros(6)
    for _ in range(40):
        codes = [
            start + np.array([0.0, 0.4, 0.8, 1.2, -90.3, -91.0])
            for start in rng.uniform(20_000.0, 20_060.0, repeats)
        ]
        rows = [Rows(none, none, none, none, code, none.astype(int), none) for code in codes]
        claimed_v2.append(apart_v(PROFILE, ADS1115, False, rows, weights, current_a) ** 2)
        if repeats > 1:
            sags = np.array([[weight_v @ curve.at(code) for code in codes] for curve in curves])
            drawn_v2.append(float(sags.var(axis=1, ddof=1).mean()) * code_v**2)
    if repeats == 1:
        assert claimed_v2 == [0.0] * 40
    else:
        assert np.mean(claimed_v2) == pytest.approx(np.mean(drawn_v2), rel=0.08)
        still = apart_v(PROFILE, ADS1115, False, rows[:1] * repeats, weights, current_a)
        assert still == pytest.approx(0.0, abs=1e-9)
