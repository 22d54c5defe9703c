# SPDX-License-Identifier: MIT
"""Zeros, the scale of volts, a load by its own ohms, and the check standard's chart."""

from dataclasses import replace
from math import hypot, sqrt

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Cell, Rig, make_step
from sagline.analysis.calibrated import Calibration, Known
from sagline.analysis.calibrating import control, fourwire, voltscale, zeros
from sagline.analysis.calibrating.found import Found
from sagline.analysis.calibrating.tolerances import Tolerance
from sagline.analysis.values import ADS1115, FORCE, RETURN, SENSE, AnalysisError

ONLY_ADS = replace(PROFILE, converters={ADS1115: PROFILE.converters[ADS1115]})


def zero_step(rig: Rig, rng, *, sense_v: float = 0.0):
    """Every tap at zero volts: no cell drives anything, before and under the load."""
    raw = make_step(
        Cell(emf_v=0.3, ohmic_ohm=0.1), rig=rig, rng=rng, rest_s=0.4, on_s=0.3, recovery_s=0.1
    )
    total = raw.total.astype(float)
    for channel in (SENSE, FORCE, RETURN):
        tap_v = sense_v if channel == SENSE else 0.0
        exact = float(rig.code(ADS1115, channel, tap_v, False))
        exact += 0.0 if rig.curve is None else float(rig.curve(np.array([exact]))[0])
        chosen = raw.source % 4 == channel
        noise = 0.5 * rng.standard_normal(int(chosen.sum())) * np.sqrt(raw.n[chosen])
        total[chosen] = np.round(exact * raw.n[chosen] + noise)
    return replace(raw, total=total.astype(np.int64))


def test_zeros_are_found_within_what_is_said_of_them() -> None:
    """Followers, lifts, offset and linearity drawn within all limits, from the parts' equation."""
    z = []
    for number in range(40):
        rng = np.random.default_rng([number, 5])
        rig = Rig.drawn(rng, ADS1115, 0)
        for found in zeros.find(zero_step(rig, rng), ONLY_ADS).found:
            _, channel, _ = found.key
            true = float(
                rig.code(ADS1115, channel, 0.0, False) - Rig().code(ADS1115, channel, 0.0, False)
            )
            z.append((found.value - true) / found.u)
            assert found.u < 0.7
            assert found.serves
    # Mostly one uniform error of ±1 code, blocks and fine structure together: no tails.
    assert 0.75 < float(np.sqrt(np.mean(np.square(z)))) < 1.25
    assert max(map(abs, z)) < 2.5


def test_a_clip_that_is_not_on_the_negative_terminal_is_noticed() -> None:
    rng = np.random.default_rng(1)
    with pytest.raises(AnalysisError, match="sense tap is at 1"):
        zeros.find(zero_step(Rig(), rng, sense_v=1.5), ONLY_ADS)


def resting(rig: Rig, emf_v: float, rng):
    raw = make_step(Cell(emf_v=emf_v, ohmic_ohm=0.1), rig=rig, rng=rng, rest_s=0.4, recovery_s=0.0)
    on_us = raw.edges_us[0]
    kept = raw.start_us + raw.length_us <= on_us
    fields = {k: getattr(raw, k)[kept] for k in ("source", "start_us", "length_us", "n", "total")}
    return replace(raw, **fields, edges_us=(), segments=((0, 400),))


def test_the_scale_of_volts_brings_the_reading_to_the_meter() -> None:
    """True volts per nominal ones, from the parts' equation; a meter that is right."""
    z = []
    for number in range(40):
        rng = np.random.default_rng([number, 6])
        rig = Rig.drawn(rng, ADS1115, 0)

        def code(v: float, of: Rig) -> float:
            return float(of.code(ADS1115, SENSE, v, False))

        true = (code(1.0, Rig()) - code(0.0, Rig())) / (code(1.0, rig) - code(0.0, rig))
        zero = Known(code(0.0, rig) - code(0.0, Rig()), 1e-6)
        known = Calibration("zeros", offsets={(ADS1115, SENSE, False): zero})
        raw = resting(rig, 1.58, rng)
        (found,) = voltscale.find(raw, ONLY_ADS, Known(1.58, 1e-6), known).found
        z.append((found.value - true) / found.u)
        assert found.u < 1e-4
    assert 0.75 < float(np.sqrt(np.mean(np.square(z)))) < 1.25


def test_a_meter_on_something_else_is_noticed() -> None:
    rng = np.random.default_rng(1)
    raw = resting(Rig(), 1.58, rng)
    with pytest.raises(AnalysisError, match=r"meter shows 1.45 V and the rig 1.58"):
        voltscale.find(raw, ONLY_ADS, Known(1.45, 1e-3))
    (notice,) = voltscale.find(raw, ONLY_ADS, Known(1.55, 1e-4)).notices
    assert notice.code == "volts_beyond_tolerance"


def test_a_hand_held_meter_of_which_nothing_is_said() -> None:
    """0.05 %, two digits and the half digit of rounding, rectangular (JCGM 100, 4.3.7)."""
    limits = (0.0005 * 9.0, 2 * 0.001, 0.0005)
    by_hand = sqrt(sum(limit**2 for limit in limits) / 3.0)
    assert voltscale.meter_u_v(9.0, 0.001) == pytest.approx(by_hand, rel=1e-12)


def test_a_load_by_its_own_ohms() -> None:
    """3.333 Ω instead of 3.3 Ω in series with a switch of 41 mΩ ± 25 %, which stays unknown."""
    found = fourwire.find(PROFILE, 0, Known(3.333, 0.0005)).found
    ends = {one.key: one for one in found}
    assert len(ends) == 4  # two converters, two ranges, no null channel here
    one = ends[(0, False, "ads1115")]
    assert one.value == pytest.approx((3.333 + 0.041) / (3.3 + 0.041), rel=1e-12)
    switch_rel = 0.041 * 0.25 / 3.341 / sqrt(3.0)
    assert one.u > sqrt(switch_rel**2 + (0.0005 / 3.341) ** 2)
    assert one.u < 0.5 * one.before.u
    with pytest.raises(AnalysisError, match="is not the load"):
        fourwire.find(PROFILE, 0, Known(4.7, 0.001))


def a_check(k_now: float, u_rel: float = 2e-4) -> Found:
    key = (0, False, "ads1115")
    lines = (("added resistor", 1e-4), ("scatter", u_rel))
    return Found("scale", key, k_now, 3e-4, 5.0, Tolerance(0.015, 0.006), lines, "moved tap")


def test_e_n_is_the_difference_over_both_expanded_uncertainties() -> None:
    """ISO 13528 (from memory): |x - X| / sqrt(U_x² + U_X²), each with k = 2. A K that is 0.1 %
    more than the steps say finds the resistor 0.1 % larger than it is."""
    judged = control.judge(a_check(1.0), Known(1.001, 3e-4), Known(2.0, 2e-4), [])
    assert judged.r.value == pytest.approx(2.002)
    u_r = 2.002 * sqrt((2e-4) ** 2 + (3e-4 / 1.001) ** 2)
    assert judged.r.u == pytest.approx(u_r)
    by_hand = 0.002 / sqrt((2 * u_r) ** 2 + (2 * 2e-4) ** 2)
    assert judged.e_n == pytest.approx(by_hand)
    assert judged.e_n == pytest.approx(1.33, abs=0.01)


def test_the_first_check_warns_at_two_and_is_out_at_three() -> None:
    """With nothing before it, both limits are about the stated value: E_n of 1 and of 1.5."""
    states = {}
    for off in (4e-4, 9e-4, 1.4e-3):
        judged = control.judge(a_check(1.0), Known(1.0 + off, 3e-4), Known(2.0, 2e-4), [])
        assert judged.of == 0
        states[off] = judged.state
        assert abs(judged.rel) / judged.u == pytest.approx(2.0 * judged.e_n)
    assert states == {4e-4: "in order", 9e-4: "warning", 1.4e-3: "out"}


def test_limits_are_two_and_three_standard_deviations_about_those_before() -> None:
    earlier = [1e-4, 3e-4]
    states = {}
    for off in (0.0, 4e-4, 6e-4, 9e-4, 1.2e-3):
        # A wide U of K: E_n has nothing to say here.
        judged = control.judge(a_check(1.0), Known(1.0 + off, 2e-3), Known(2.0, 2e-4), earlier)
        assert judged.centre == pytest.approx(2e-4)
        assert judged.u == pytest.approx(2e-4 * sqrt(1.5))
        states[off] = judged.state
    assert states == {
        0.0: "in order",
        4e-4: "in order",
        6e-4: "in order",
        9e-4: "warning",
        1.2e-3: "out",
    }
    assert judged.limits(3.0)[1] == pytest.approx(2e-4 + 3.0 * judged.u)


def test_limits_narrow_where_what_one_check_may_be_off_by_stays_the_same() -> None:
    """Six checks agree within 1e-4: their linearity, 5e-4 each, is one and the same."""
    lines = (("linearity of the sag", 5e-4), ("load heating", 4e-4), ("scatter", 5e-5))
    found = replace(a_check(1.0), lines=lines)
    earlier = [2e-4, 3e-4, 4e-4, 3e-4]
    few = control.judge(found, Known(1.001, 2e-3), Known(2.0, 2e-4), earlier)
    assert few.u == pytest.approx(hypot(5e-4, 5e-5) * sqrt(1.0 + 1.0 / 4.0))
    assert few.state == "in order"
    many = control.judge(found, Known(1.001, 2e-3), Known(2.0, 2e-4), [*earlier, 2e-4, 4e-4])
    assert many.u == pytest.approx(np.std([*earlier, 2e-4, 4e-4], ddof=1) * sqrt(1.0 + 1.0 / 6.0))
    assert many.state == "out"
    alike = control.judge(found, Known(1.0003, 2e-3), Known(2.0, 2e-4), [3e-4] * 6)
    assert alike.u == pytest.approx(5e-5 * sqrt(1.0 + 1.0 / 6.0))


def test_checks_that_scatter_more_than_one_is_good_for_widen_the_limits() -> None:
    rng = np.random.default_rng(8)
    earlier = list(1e-3 * rng.standard_normal(12))
    judged = control.judge(a_check(1.0), Known(1.0015, 2e-3), Known(2.0, 2e-4), earlier)
    by_hand = np.std(earlier, ddof=1) * sqrt(1.0 + 1.0 / 12)
    assert judged.u == pytest.approx(by_hand)
    assert judged.state == "in order"
