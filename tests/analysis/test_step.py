# SPDX-License-Identifier: MIT
"""Levels of one step against a cell whose voltage is known at every instant."""

from dataclasses import replace
from math import log

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Cell, Rig, make_step
from sagline.analysis.calibration import tap_per_code_v, waveform
from sagline.analysis.step import WINDOW_RATIO, fit_line, read_step
from sagline.analysis.values import AnalysisError, RawStep

OHMIC = Cell(1.58, 0.16)
RELAXING = Cell(1.58, 0.12, 0.05, 0.2)
LOOP_OHM = sum(Rig().loop_ohm(0))


@pytest.mark.parametrize("converter", [0, 1])
def test_an_ohmic_cell_gives_exact_levels(converter: int) -> None:
    found = read_step(make_step(OHMIC, converter=converter, rounded=False), PROFILE, converter)
    v, i = OHMIC.loaded(0.1, LOOP_OHM)
    rig, levels = Rig(), found.readings[0]
    assert levels.sense_open == pytest.approx(rig.code(converter, 0, 1.58, False), abs=1e-5)
    assert levels.sense == pytest.approx(rig.code(converter, 0, v, False), abs=1e-5)
    assert levels.return_open == pytest.approx(rig.code(converter, 2, 0.0, False), abs=1e-5)
    assert levels.return_loaded == pytest.approx(rig.code(converter, 2, 0.06 * i, False), abs=1e-5)
    assert levels.force == pytest.approx(rig.code(converter, 1, i * 3.401, False), abs=1e-5)
    assert found.rest_s == pytest.approx(5.0) and found.on_s == pytest.approx(0.3)
    assert found.drift_per_s == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("converter", [0, 1])
@pytest.mark.parametrize("t_s", [0.02, 0.05, 0.1, 0.2])
def test_a_level_is_within_the_curvature_of_its_window(converter: int, t_s: float) -> None:
    """A line in x = ln t leaves at most the largest |V''(x)| / 2 times the width squared."""
    found = read_step(make_step(RELAXING, converter=converter, rounded=False), PROFILE,
                      converter, (t_s,))  # fmt: skip
    x = np.linspace(-log(WINDOW_RATIO), log(WINDOW_RATIO), 401)
    v = RELAXING.loaded(t_s * np.exp(x), LOOP_OHM)[0]
    bound_v = np.abs(np.diff(v, 2)).max() / (x[1] - x[0]) ** 2 * log(WINDOW_RATIO) ** 2 / 2.0
    exact = Rig().code(converter, 0, RELAXING.loaded(t_s, LOOP_OHM)[0], False)
    error_v = (found.readings[0].sense - exact) * tap_per_code_v(PROFILE, converter, 0, False)
    assert abs(error_v) < bound_v
    # Far better than the plain mean of an even window would be for the slope alone.
    assert bound_v < 1e-3


def test_the_open_level_is_carried_to_the_edge_along_the_drift() -> None:
    cell = Cell(1.58, 0.16, drift_v_per_s=1e-3)
    found = read_step(make_step(cell, rounded=False), PROFILE, 1)
    volts = tap_per_code_v(PROFILE, 1, 0, False)
    assert found.drift_per_s * volts == pytest.approx(1e-3, rel=1e-6)
    at_edge = Rig().code(1, 0, 1.58, False)
    assert found.readings[0].sense_open == pytest.approx(at_edge, abs=1e-4)


@pytest.mark.parametrize("converter", [0, 1])
def test_a_rest_that_still_relaxes_does_not_shift_the_open_level(converter: int) -> None:
    """Diffusion relaxes like 1/sqrt(t): here by 1 mV/sqrt(s), 6 s after the last pulse, as
    an LR6 does in its second repeat. The level must be right to 0.02 % of a sag of 58 mV."""
    raw = make_step(OHMIC, converter=converter, rounded=False)
    mid_s = (raw.start_us + raw.length_us / 2 - raw.edges_us[0]) * 1e-6
    relaxing_v = 1e-3 / 6.0**0.5 - 1e-3 / np.sqrt(np.maximum(6.0 + mid_s, 0.5))
    volts = tap_per_code_v(PROFILE, converter, 0, False)
    moving = (raw.source == converter * 4) & (mid_s < 0.0)
    total = raw.total + np.where(moving, np.round(relaxing_v / volts * raw.n), 0).astype(np.int64)
    found = read_step(replace(raw, total=total), PROFILE, converter).readings[0]
    still = read_step(raw, PROFILE, converter).readings[0]
    assert abs(found.sense_open - still.sense_open) * volts < 2e-4 * 0.058


def test_noise_of_one_conversion_is_measured_and_the_sd_of_the_open_level_is_honest() -> None:
    rng = np.random.default_rng(3)
    found = [
        read_step(make_step(OHMIC, rng=rng, noise_codes=4.0, rest_s=1.0), PROFILE, 1)
        for _ in range(200)
    ]
    noise = np.mean([item.noise_codes[0] for item in found])
    # Rounding adds 1/12 to the variance.
    assert noise == pytest.approx((16.0 + 1.0 / 12.0) ** 0.5, rel=0.02)
    levels = [item.readings[0].sense_open for item in found]
    # The s.d. of an s.d. of 200 is 5 %.
    assert np.std(levels, ddof=1) == pytest.approx(
        np.mean([item.sense_open_u for item in found]), rel=0.15
    )


def test_fit_line_matches_a_library() -> None:
    from scipy.optimize import curve_fit

    rng = np.random.default_rng(5)
    x, n = rng.normal(size=40), rng.integers(1, 30, 40).astype(float)
    y = 3.0 - 0.5 * x + rng.normal(size=40) / np.sqrt(n)
    line = fit_line(x, y, n)
    values, covariance = curve_fit(lambda t, a, b: a + b * t, x, y, sigma=1.0 / np.sqrt(n))
    assert (line.level, line.slope) == pytest.approx(tuple(values), rel=1e-6)
    u = np.sqrt(np.diag(covariance))
    assert (line.level_u, line.slope_u) == pytest.approx(tuple(u), rel=1e-5)


def code_of(raw: RawStep, converter: int = 1, times_s: tuple[float, ...] = (0.1,)) -> str:
    with pytest.raises(AnalysisError) as caught:
        read_step(raw, PROFILE, converter, times_s)
    assert caught.value.message and caught.value.remedy
    return caught.value.code


def test_what_cannot_be_read_is_refused_with_its_reason() -> None:
    raw = make_step(OHMIC)
    assert code_of(raw, converter=0) == "no_converter"
    assert code_of(raw, converter=7) == "no_converter"
    assert code_of(replace(raw, edges_us=())) == "no_edge"
    assert code_of(raw, times_s=(0.4,)) == "time_outside_step"
    assert code_of(raw, times_s=(0.0,)) == "time_outside_step"
    assert code_of(raw, times_s=(0.001,)) == "few_points"
    assert code_of(make_step(OHMIC, rest_s=0.003)) == "few_points"


@pytest.mark.parametrize("code", [0, 32767])
@pytest.mark.parametrize("channel", [0, 1, 2])
def test_clipped_codes_are_refused(channel: int, code: int) -> None:
    raw = make_step(OHMIC)
    stuck = (raw.source == 4 + channel) & (raw.start_us >= raw.edges_us[0] + 90_000)
    total = np.where(stuck, raw.n * code, raw.total)
    assert code_of(replace(raw, total=total)) == "clipped"


def test_a_conversion_across_an_edge_is_not_used() -> None:
    raw = make_step(OHMIC)
    wild = np.array([4, raw.edges_us[0] - 500, 1163, 1, 20_000])
    columns = zip((raw.source, raw.start_us, raw.length_us, raw.n, raw.total), wild, strict=True)
    source, start, length, n, total = (np.append(column, item) for column, item in columns)
    spoiled = replace(raw, source=source, start_us=start, length_us=length, n=n, total=total)
    assert read_step(spoiled, PROFILE, 1).readings == read_step(raw, PROFILE, 1).readings


def test_arrays_of_unequal_length_are_no_step() -> None:
    raw = make_step(OHMIC)
    with pytest.raises(ValueError, match="one length"):
        replace(raw, n=raw.n[:-1])


@pytest.mark.parametrize("converter", [0, 1])
def test_waveform_follows_the_cell(converter: int) -> None:
    raw = make_step(RELAXING, converter=converter, rounded=False)
    wave = waveform(raw, PROFILE, converter)
    v, i = RELAXING.loaded(wave.t_s, LOOP_OHM)
    on = (wave.t_s > 0.003) & (wave.t_s < 0.295)
    assert on.sum() > 30
    assert wave.sense_v[on] == pytest.approx(v[on], abs=1e-6)
    assert wave.current_a[on] == pytest.approx(i[on], abs=2e-4)
    assert np.all(wave.current_a[wave.t_s < 0.0] == 0.0)
    assert np.all(wave.current_a[wave.t_s > 0.3] == 0.0)
    assert wave.sense_v[wave.t_s < 0.0] == pytest.approx(1.58, abs=1e-6)
