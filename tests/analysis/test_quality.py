# SPDX-License-Identifier: MIT
"""Only a diagnosed cause rejects a repeat; chance is flagged and kept."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Cell, make_step
from sagline.analysis.quality import MAD_TO_SD, SMALL_SAMPLE, cell_moved, drift_notice, outliers
from sagline.analysis.step import read_step
from sagline.analysis.values import RawStep

LR6 = Cell(1.58, 0.16)


def shifted(raw: RawStep, from_s: float, codes: int) -> RawStep:
    """The same step with sense moved by whole codes until the load comes on."""
    edge = raw.edges_us[0]
    late = (raw.source == 4) & (raw.start_us >= edge - from_s * 1e6) & (raw.start_us < edge)
    return replace(raw, total=raw.total + np.where(late, codes * raw.n, 0))


@pytest.mark.parametrize("from_s", [0.2, 0.8])
def test_a_jump_during_rest_is_found(from_s: float) -> None:
    raw = make_step(LR6, rng=np.random.default_rng(1))
    assert not cell_moved(read_step(raw, PROFILE, 1))
    assert cell_moved(read_step(shifted(raw, from_s, 15), PROFILE, 1))


@pytest.mark.parametrize("noise_codes", [0.0, 0.3, 0.5, 4.0])
def test_noise_is_no_jump(noise_codes: float) -> None:
    rng = np.random.default_rng(2)
    for _ in range(50):
        raw = make_step(LR6, rng=rng, noise_codes=noise_codes)
        assert not cell_moved(read_step(raw, PROFILE, 1))


def test_a_steady_drift_is_no_jump() -> None:
    raw = make_step(replace(LR6, drift_v_per_s=2e-3), rng=np.random.default_rng(3))
    assert not cell_moved(read_step(raw, PROFILE, 1))


def test_drift_is_noted_beyond_its_share_of_the_sag_only() -> None:
    """0.05 % of a sag of about 58 mV in 0.1 s is 0.29 mV/s."""
    rng = np.random.default_rng(4)

    def notice(drift_v_per_s: float) -> object:
        raw = make_step(replace(LR6, drift_v_per_s=drift_v_per_s), rng=rng)
        return drift_notice([read_step(raw, PROFILE, 1)])

    assert notice(0.0) is None
    assert notice(-0.24e-3) is None
    assert notice(-0.34e-3) is not None
    assert notice(0.34e-3) is not None


def test_outliers_are_told_from_their_neighbours() -> None:
    assert outliers([1.0, 1.01, 0.99, 1.005, 2.0]) == [False, False, False, False, True]
    assert outliers([1.0, 1.0, 1.0, 1.0, 1.0]) == [False] * 5
    assert outliers([1.0, 2.0, 9.0]) == [False] * 3
    assert outliers([-1.0, -1.01, -0.99, -1.005, -2.0])[4]


@pytest.mark.parametrize("n", SMALL_SAMPLE)
def test_small_sample_factor_makes_the_median_deviation_unbiased(n: int) -> None:
    values = np.random.default_rng(n).standard_normal((200_000, n))
    distance = np.abs(values - np.median(values, axis=1, keepdims=True))
    mean = np.median(distance, axis=1).mean()
    assert SMALL_SAMPLE[n] * MAD_TO_SD * mean == pytest.approx(1.0, abs=0.01)
