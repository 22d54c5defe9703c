# SPDX-License-Identifier: MIT
"""The random processes assumed for non-linearity, against their own simulation."""

import numpy as np
import pytest
from scipy.integrate import quad

from sagline.analysis.nonlinearity import LevelErrors, Process, WeightedCodes

BLOCKS = Process(1.0, 16.0, smooth=False)
BOW = Process(3.0, 128.0, smooth=True)


@pytest.mark.parametrize("distance", [0.0, 0.2, 0.7, 1.0, 1.4, 1.99, 2.5])
def test_the_smooth_kernel_is_the_autocorrelation_of_a_raised_cosine(distance: float) -> None:
    """Weights of a knot at x: (1 + cos(pi x))/2 within one distance; integrated numerically."""

    def weight(x: float) -> float:
        return 0.5 * (1.0 + np.cos(np.pi * x)) if abs(x) < 1.0 else 0.0

    exact, _ = quad(lambda x: weight(x) * weight(x + distance), -1.0, 1.0, points=[0.0])
    found = BOW.correlation(np.array([distance * BOW.span_codes]))
    assert found[0] == pytest.approx(exact, abs=1e-7)


def test_blocks_share_their_error_in_proportion_to_the_overlap() -> None:
    found = BLOCKS.correlation(np.array([0.0, 4.0, -8.0, 16.0, 40.0]))
    assert found.tolist() == [1.0, 0.75, 0.5, 0.0, 0.0]


@pytest.mark.parametrize("process", [BLOCKS, BOW], ids=["blocks", "bow"])
def test_draws_have_the_covariance_that_is_claimed(process: Process) -> None:
    rng = np.random.default_rng(3)
    codes = np.array([1000.0, 1003.0, 1009.0, 1060.0, 1800.0])
    weights = np.array([[1.0, 0.0, 0.0, 0.0, 0.0], [0.3, 0.7, -0.5, -0.25, -0.25]])
    sums = WeightedCodes(process, codes, weights)
    drawn = sums.draws(rng, 200_000)
    # 200 000 draws fix a variance to 0.5 % and, with 160 phases, the mixture to about 1 %.
    assert np.cov(drawn) == pytest.approx(sums.covariance(), rel=0.04, abs=0.004)
    assert np.abs(drawn[0]).max() <= process.limit_codes


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
