# SPDX-License-Identifier: MIT
"""From raw steps to figures: a known cell, what is said beside it, and what is refused."""

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.analytic_cell import PROFILE, Cell, Rig, make_step
from sagline.analysis.estimate import estimate
from sagline.analysis.repeats import combine
from sagline.analysis.values import AnalysisError, Estimate, RawStep

LR6 = Cell(1.58, 0.12, 0.05, 0.2)
LOOP_OHM = sum(Rig().loop_ohm(0))


def repeats(cell: Cell = LR6, count: int = 5, seed: int = 1, converter: int = 1) -> list[RawStep]:
    rng = np.random.default_rng(seed)
    return [make_step(cell, converter=converter, rng=rng, rest_s=1.0) for _ in range(count)]


STEPS = repeats()
FOUND = estimate(STEPS, PROFILE, 1)


def codes(found: Estimate) -> set[str]:
    return {notice.code for notice in found.notices}


def test_r_emf_and_what_follows_from_them() -> None:
    t_s, r = FOUND.r_at[0]
    assert t_s == 0.1
    # Window curvature: the pair's second derivative in ln t, 0.05 x e^-x (1 - x) at x = 0.5,
    # a line's bias is at most half of that times ln(1.4) squared.
    bound = 0.05 * 0.5 * np.exp(-0.5) * 0.5 * 0.5 * np.log(1.4) ** 2
    assert r.value == pytest.approx(LR6.r_at(0.1, LOOP_OHM), abs=bound + 1e-4)
    assert FOUND.emf.value == pytest.approx(1.58, abs=3e-5)
    assert FOUND.load.value == 3.3
    assert FOUND.current.value == pytest.approx(LR6.loaded(0.1, LOOP_OHM)[1], rel=1e-3)
    assert FOUND.short_circuit is not None and FOUND.max_power is not None
    assert FOUND.short_circuit.value == pytest.approx(FOUND.emf.value / r.value)
    assert FOUND.max_power.value == pytest.approx(FOUND.emf.value**2 / (4 * r.value))
    assert (FOUND.rest_s, FOUND.on_s) == pytest.approx((1.0, 0.3))
    assert FOUND.dvdt_v_per_s == pytest.approx(0.0, abs=2e-5)
    assert [row.n for row in FOUND.repeats] == [1, 2, 3, 4, 5] and FOUND.rejected == 0


def test_r_grows_with_time_and_every_time_is_its_own_figure() -> None:
    found = estimate(STEPS, PROFILE, 1, (0.1, 0.02, 0.2))
    assert [t_s for t_s, _ in found.r_at] == [0.1, 0.02, 0.2, 0.004]
    by_time = {t_s: figure.value for t_s, figure in found.r_at}
    assert by_time[0.02] < by_time[0.1] < by_time[0.2]
    for t_s, value in by_time.items():
        assert value == pytest.approx(LR6.r_at(t_s, LOOP_OHM), rel=5e-3)
    assert found.r_at[0][1].value == pytest.approx(FOUND.r_at[0][1].value, rel=1e-9)
    assert [line.source for line in found.budget] == [line.source for line in FOUND.budget]


@settings(max_examples=10)
@given(seed=st.integers(0, 1000))
def test_the_order_of_the_repeats_does_not_matter_for_r(seed: int) -> None:
    shuffled = list(STEPS)
    random.Random(seed).shuffle(shuffled)
    found = estimate(shuffled, PROFILE, 1)
    one, other = found.r_at[0][1], FOUND.r_at[0][1]
    # The draws of the scatter meet the repeats in another order: 40 000 of them.
    assert (one.value, one.u) == pytest.approx((other.value, other.u), rel=1e-9)
    assert one.high95 == pytest.approx(other.high95, rel=1e-4)
    # The row corrects for the dividers with its own r, the figure with the mean: G dr V is 2 nV.
    assert found.emf.value == pytest.approx(found.repeats[0].emf_v, abs=1e-8)
    assert {(row.r_ohm, row.emf_v) for row in found.repeats} == {
        (row.r_ohm, row.emf_v) for row in FOUND.repeats
    }


def test_what_is_always_said() -> None:
    assert codes(FOUND) == {"uncalibrated"}
    assert "onboard_linearity" not in codes(FOUND)
    assert all(notice.text and notice.remedy for notice in FOUND.notices)


def test_the_onboard_converter_says_that_its_linearity_limits() -> None:
    found = estimate(repeats(converter=0), PROFILE, 0)
    assert "onboard_linearity" in codes(found)
    assert found.budget[0].source == "linearity"
    r = found.r_at[0][1]
    assert r.u is not None and r.u / r.value > 0.05


def test_one_repeat_has_no_interval() -> None:
    found = estimate(STEPS[:1], PROFILE, 1)
    assert "single_repeat" in codes(found)
    assert found.r_at[0][1].u is None and found.emf.high95 is None
    assert found.r_at[0][1].value == found.repeats[0].r_ohm


def test_a_moved_cell_and_a_clipped_step_are_listed_and_left_out() -> None:
    raw = STEPS[0]
    late = (raw.source == 4) & (raw.start_us > raw.edges_us[0] - 3e5) & (raw.start_us < 1e6)
    moved = replace(raw, total=raw.total + np.where(late, 20 * raw.n, 0))
    force = (raw.source == 5) & (raw.start_us > raw.edges_us[0])
    clipped = replace(raw, total=np.where(force, 32767 * raw.n, raw.total))
    found = estimate([moved, *STEPS[1:], clipped], PROFILE, 1)
    assert [row.kept for row in found.repeats] == [False, True, True, True, True, False]
    assert found.rejected == 2 and "repeat_rejected" in codes(found)
    assert found.repeats[0].r_ohm is not None and found.repeats[5].r_ohm is None
    assert found.repeats[0].reason and found.repeats[5].reason
    alone = estimate(STEPS[1:], PROFILE, 1)
    assert found.r_at == alone.r_at and found.emf == alone.emf


def test_a_lost_force_lead_is_no_current() -> None:
    raw = STEPS[0]
    on_us, off_us = raw.edges_us
    lost = (raw.source == 5) & (raw.start_us > on_us) & (raw.start_us < off_us)
    zero_v = round(float(Rig().code(1, 1, 0.002, False)))
    dead = replace(raw, total=np.where(lost, zero_v * raw.n, raw.total))
    found = estimate([*STEPS, dead], PROFILE, 1)
    assert found.repeats[5].reason == "No current flowed." and found.rejected == 1
    with pytest.raises(AnalysisError, match="No current") as caught:
        estimate([dead], PROFILE, 1)
    assert caught.value.code == "no_current"


def test_an_outlier_is_flagged_and_kept() -> None:
    odd = make_step(replace(LR6, ohmic_ohm=0.15), rng=np.random.default_rng(9), rest_s=1.0)
    found = estimate([*STEPS, odd], PROFILE, 1)
    assert "repeat_outlier" in codes(found)
    assert found.rejected == 0 and all(row.kept for row in found.repeats)


def test_an_outlier_far_within_the_uncertainty_is_not_worth_a_word() -> None:
    """Calm repeats and one that is 0.12 mohm apart, beside U = 1.9 mohm."""
    cell, rng = replace(LR6, ohmic_ohm=0.12012), np.random.default_rng(9)
    odd = make_step(cell, rng=rng, noise_codes=0.3, rest_s=1.0)
    calm = [make_step(LR6, rng=rng, noise_codes=0.3, rest_s=1.0) for _ in range(5)]
    assert combine([*calm, odd], PROFILE, 1, (0.1,)).outlying == (6,)
    assert "repeat_outlier" not in codes(estimate([*calm, odd], PROFILE, 1))


def test_only_a_resistance_below_zero_beyond_doubt_is_refused() -> None:
    # 0.04 mohm is a tenth of a code on this load.
    below = estimate(repeats(Cell(1.58, 4e-5)), PROFILE, 1)
    assert "below_resolution" in codes(below)
    slightly = estimate(repeats(Cell(1.58, -4e-5)), PROFILE, 1)
    assert slightly.r_at[0][1].value < 0.0 and slightly.short_circuit is None
    with pytest.raises(AnalysisError) as caught:
        estimate(repeats(Cell(1.58, -0.02)), PROFILE, 1)
    assert caught.value.code == "negative_resistance" and caught.value.exit_status == 4


def test_drift_during_rest_is_said() -> None:
    found = estimate(repeats(replace(LR6, drift_v_per_s=-2e-3)), PROFILE, 1)
    assert "rest_drift" in codes(found)
    assert found.dvdt_v_per_s == pytest.approx(-2e-3, rel=0.02)


def test_steps_of_two_loads_are_not_repeats() -> None:
    other = make_step(LR6, load=1, rest_s=1.0)
    for steps, times_s, code in (
        ([STEPS[0], other], (0.1,), "mixed_steps"),
        ([], (0.1,), "no_steps"),
        (STEPS, (), "no_times"),
    ):
        with pytest.raises(AnalysisError) as caught:
            estimate(steps, PROFILE, 1, times_s)
        assert caught.value.code == code
