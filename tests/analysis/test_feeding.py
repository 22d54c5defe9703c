# SPDX-License-Identifier: MIT
"""What feeds a cell beside itself is found; hum, noise, relaxing and a moved contact are not it."""

from dataclasses import replace
from math import e, pi, sqrt

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Cell, make_step
from sagline.analysis.estimate import estimate
from sagline.analysis.feeding import HUM_V, most_rise_v_per_s, ripple_v, slow_sag_v
from sagline.analysis.step import read_step
from sagline.analysis.values import AnalysisError, RawStep

LR6 = Cell(1.58, 0.16)


def steps(cell: Cell, count: int = 3, **how: object) -> list[RawStep]:
    rng = np.random.default_rng(11)
    return [make_step(cell, rng=rng, **how) for _ in range(count)]  # type: ignore[arg-type]


def refusal(made: list[RawStep]) -> str | None:
    try:
        estimate(made, PROFILE, 1)
    except AnalysisError as error:
        assert error.code == "something_else_connected" and "chargers" in error.remedy
        return error.message
    return None


@pytest.mark.parametrize("ripple_hz", [17.0, 50.0, 100.0, 120.0, 180.0, 300.0])
def test_ripple_is_measured(ripple_hz: float) -> None:
    """A sine of amplitude a has a/√2; a conversion of 1.163 ms takes sinc(f T) of it."""
    (raw,) = steps(replace(LR6, ripple_v=0.02, ripple_hz=ripple_hz), 1)
    found = ripple_v(read_step(raw, PROFILE, 1), PROFILE, 1)
    x = pi * ripple_hz * 1.163e-3
    assert found == pytest.approx(0.02 / sqrt(2.0) * np.sin(x) / x, rel=0.15)


@pytest.mark.parametrize(
    ("ripple_hz", "most_v", "converter_v"),
    # The mains' own frequency is fitted and taken out, its harmonics and a converter's are not.
    [(50.0, 0.025, 0.05), (60.0, 0.025, 0.05), (40.0, 3.1e-3, 0.01), (100.0, 2e-3, 0.01)],
)
def test_mains_hum_is_borne_and_a_converter_is_not(
    ripple_hz: float, most_v: float, converter_v: float
) -> None:
    assert pytest.approx(2.0 * pi * 50.0 * 0.1 * 1e-4 / sqrt(2.0), rel=0.02) == HUM_V
    assert refusal(steps(replace(LR6, ripple_v=most_v, ripple_hz=ripple_hz))) is None
    said = refusal(steps(replace(LR6, ripple_v=converter_v, ripple_hz=ripple_hz)))
    assert said is not None and "rippled by" in said


def test_hum_on_a_cell_of_high_resistance_is_borne() -> None:
    """3.5 mA through 20 ohm are 70 mV."""
    coin = Cell(3.2, 20.0, ripple_v=0.05, ripple_hz=50.0)
    assert refusal(steps(coin, load=3)) is None
    assert refusal(steps(replace(coin, ripple_v=0.2), load=3)) is not None


@pytest.mark.parametrize("noise_codes", [0.0, 0.5, 0.7])
@pytest.mark.parametrize("high", [False, True])
def test_noise_is_no_ripple(noise_codes: float, high: bool) -> None:
    made = steps(LR6, 20, noise_codes=noise_codes, range_high=high)
    found = [ripple_v(read_step(raw, PROFILE, 1), PROFILE, 1) for raw in made]
    assert max(found) < HUM_V / 3.0


def test_a_contact_that_moved_is_no_ripple() -> None:
    """50 codes, 8 mV, for the last 0.2 s of the rest: the repeat goes, not the series."""
    made = steps(LR6)
    edge = made[1].edges_us[0]
    late = (made[1].source == 4) & (made[1].start_us >= edge - 2e5) & (made[1].start_us < edge)
    made[1] = replace(made[1], total=made[1].total + np.where(late, 50 * made[1].n, 0))
    assert ripple_v(read_step(made[1], PROFILE, 1), PROFILE, 1) < HUM_V
    assert [row.kept for row in estimate(made, PROFILE, 1).repeats] == [True, False, True]


def test_no_relaxing_cell_rises_faster_than_the_bound() -> None:
    """The slope of what modes of any time constant leave behind, by differences of their sum."""
    rng = np.random.default_rng(3)
    t_s = 4.5
    for _ in range(200):
        tau_s = 10.0 ** rng.uniform(-3.0, 4.0, 6)
        share = rng.dirichlet(np.full(6, 0.3))
        left = [float((share * np.exp(-t / tau_s)).sum()) for t in (t_s, t_s + 1e-4)]
        assert (left[0] - left[1]) / 1e-4 <= most_rise_v_per_s(1.0, 0.0, 5.0, 2)
    # The worst of all: one mode whose τ is the time itself.
    assert most_rise_v_per_s(1.0, 0.0, 5.0, 2) == pytest.approx(1.0 / (e * t_s))


def test_what_a_slow_process_does_within_the_pulse_is_seen() -> None:
    """At least: the whole of its sag at the end of the pulse, for any time constant beyond it."""
    for tau_s in (0.3, 0.5, 2.0, 30.0):
        cell = Cell(1.58, 0.1, pair_ohm=0.5, tau_s=tau_s)
        at_end_v, end_a = cell.loaded(0.3, 3.5)
        sag_v = 1.58 - 0.1 * end_a - at_end_v
        (raw,) = steps(cell, 1)
        found = slow_sag_v(read_step(raw, PROFILE, 1), PROFILE, 1)
        assert sag_v <= found < 1.4 * sag_v + 0.002


def test_a_cell_that_is_charged_is_refused_and_one_that_recovers_is_not() -> None:
    assert refusal(steps(replace(LR6, drift_v_per_s=0.03))) is not None
    # What is borne at first is too much half a minute later.
    charged = steps(replace(LR6, drift_v_per_s=0.01), 8)
    assert refusal(charged[:1]) is None
    assert "rose by" in (refusal(charged) or "")
    assert refusal(steps(replace(LR6, drift_v_per_s=0.001), 8)) is None
    assert refusal(steps(replace(LR6, drift_v_per_s=-0.03))) is None, "falls: not charged"
