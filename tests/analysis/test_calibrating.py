# SPDX-License-Identifier: MIT
"""Zeros, the scale of volts, a load by its own ohms, and the check standard's chart."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Cell, Rig, make_step
from sagline.analysis.calibrated import Calibration, Known, Standard
from sagline.analysis.calibrating import control, fourwire, movedtap, scales, voltscale, zeros
from sagline.analysis.calibrating.found import Found
from sagline.analysis.calibrating.tapstep import read_tap
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
    """0.05 % and two digits as one limit, the half digit of rounding beside it, rectangular both
    (JCGM 100, 4.3.7)."""
    limit, rounding = 0.0005 * 9.0 + 2 * 0.001, 0.0005
    read = voltscale.read_by(9.0, 0.001)
    assert read.u == pytest.approx(sqrt((limit**2 + rounding**2) / 3.0), rel=1e-12)
    assert read.standard is not None and read.standard.bounded
    assert read.standard.u == pytest.approx(limit / sqrt(3.0))
    assert voltscale.read_by(9.0, 0.001, 2e-4).standard == Standard("voltmeter", 2e-4, False)


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


STATED = 5e-4
"""Of a check: the linearity of its converter, the same in every one."""


def a_check(k_now: float, u_rel: float = 2e-4) -> Found:
    key = (0, False, "ads1115")
    lines = (
        ("linearity of the sag", STATED),
        ("scatter", u_rel),
        ("added resistor", 1e-4),
        ("load heating", 0.0),
    )
    return Found("scale", key, k_now, 6e-4, 5.0, Tolerance(0.015, 0.006), lines, "moved tap")


def states_at(deviations, scale_u: float, earlier, temperature_u_rel: float = 0.0) -> list[str]:
    resistor = Known(2.0, 2e-4)
    return [
        control.judge(
            a_check(1.0), Known(1.0 + off, scale_u), resistor, earlier, temperature_u_rel
        ).state
        for off in deviations
    ]


def test_e_n_is_the_difference_over_both_expanded_uncertainties() -> None:
    """ISO 13528 (from memory): |x - X| / sqrt(U_x² + U_X²), each with k = 2. A K that is 0.2 %
    more than the steps say finds the resistor 0.2 % larger than it is."""
    judged = control.judge(a_check(1.0), Known(1.002, 3e-4), Known(2.0, 2e-4), [], 4e-4)
    assert judged.r.value == pytest.approx(2.004)
    u_r = 2.004 * sqrt(STATED**2 + (2e-4) ** 2 + (3e-4 / 1.002) ** 2 + (4e-4) ** 2)
    assert judged.r.u == pytest.approx(u_r)
    by_hand = 0.004 / sqrt((2 * u_r) ** 2 + (2 * 2e-4) ** 2)
    assert judged.e_n == pytest.approx(by_hand)
    assert judged.e_n > 1.0 and judged.state == "warning"


def test_the_first_checks_are_held_against_what_is_stated() -> None:
    """Two and three standard deviations (common practice) of the check, K and the resistor
    together, about the resistor's value, however many came before up to the fifth."""
    u = sqrt(STATED**2 + (2e-4) ** 2 + (3e-4) ** 2 + (1e-4) ** 2 + (4e-4) ** 2)
    for earlier in ([], [1e-4], [1e-4, 3e-4, 2e-4, -1e-4]):
        offs = [sigmas * u for sigmas in (0.0, 1.9, 2.1, 2.9, -2.9, 3.1, -3.1)]
        assert states_at(offs, 3e-4, earlier, 4e-4) == [
            "in order", "in order", "warning", "warning", "warning", "out", "out"
        ]  # fmt: skip
    judged = control.judge(a_check(1.0), Known(1.0, 3e-4), Known(2.0, 2e-4), [], 4e-4)
    assert (judged.of, judged.centre, judged.u) == (0, 0.0, pytest.approx(u))
    assert judged.limits(3.0) == pytest.approx((-3.0 * u, 3.0 * u))


def test_later_ones_are_held_against_those_before() -> None:
    """Student's t, 5 degrees of freedom: 2.649 for 95.45 %, 5.507 for 99.73 % (GUM, table G.2
    prints 2.65 and 5.51)."""
    earlier = [6e-4, 2e-4, 6e-4, 2e-4, 6e-4, 2e-4]
    by_hand = np.std(earlier, ddof=1) * sqrt(1.0 + 1.0 / 6)
    judged = control.judge(a_check(1.0), Known(1.0, 2e-3), Known(2.0, 2e-4), earlier)
    assert (judged.of, judged.centre, judged.u) == (
        6,
        pytest.approx(4e-4),
        pytest.approx(by_hand),
    )
    assert judged.limits(3.0)[1] == pytest.approx(4e-4 + 5.51 * by_hand, rel=1e-3)
    # A wide U of K: the resistor's value has nothing to say here.
    offs = [4e-4 + factor * by_hand for factor in (0.0, 2.6, 2.7, -2.7, 5.4, 5.6)]
    assert states_at(offs, 2e-3, earlier) == [
        "in order", "in order", "warning", "warning", "warning", "out"
    ]  # fmt: skip


def test_limits_narrow_to_what_varies_and_keep_their_word() -> None:
    """Charts of rigs whose linearity is off by as much as is stated, always alike. Normal errors
    are beyond two standard deviations in 4.55 %, beyond three in 0.27 % (any table of the normal
    distribution); 6000 checks fix the first to 0.27 %. A change of 0.15 %, within what is stated of
    the first check, is found in a chart of 24."""
    rng = np.random.default_rng(9)
    counts = {"in order": 0, "warning": 0, "out": 0}
    noise, found = 2e-4, 0
    for _ in range(300):
        steady = float(np.clip(STATED * rng.standard_normal(), -STATED, STATED))
        deviations = steady + noise * rng.standard_normal(25)
        deviations[24] = steady + 1.5e-3
        for n in range(5, 24):
            # The check's own scatter is no help where it is stated too small.
            check = a_check(1.0, 0.5 * noise)
            scale = Known(1.0 + float(deviations[n]), 1e-3)
            counts[control.judge(check, scale, Known(2.0, 2e-4), list(deviations[:n])).state] += 1
        found += states_at([deviations[24]], 1e-3, list(deviations[:24])) == ["out"]
    share = {state: count / sum(counts.values()) for state, count in counts.items()}
    assert 0.03 < share["warning"] < 0.06
    assert share["out"] < 0.006
    assert found >= 297
    assert states_at([1.5e-3], 1e-3, []) == ["in order"]


def test_what_is_said_to_be_steady_is_a_line_of_the_budget_of_k() -> None:
    """A name that no budget has would count as varying."""
    rng = np.random.default_rng(3)
    outside = replace(Rig(), curve=None)
    steps = [
        scales.TapStep(
            side,
            4.0 * i,
            make_step(Cell(1.58, 0.16 + (2.0 if side == "load" else 0.0)), rig=outside, rng=rng),
        )
        for i, side in enumerate(("cell", "load", "load", "cell"))
    ]
    tapped = [
        movedtap.Tapped(one.side, one.at_s, read_tap(one.raw, ONLY_ADS, ADS1115, False))
        for one in steps
    ]
    # The current is not the same here, as it was not the same loop: only the names are asked for.
    tapped = [replace(t, reading=replace(t.reading, current_a=0.3)) for t in tapped]
    lines = movedtap.find(tapped, Known(2.0, 1e-4), movedtap.Spread((), (), 0.1)).lines
    assert set(control.STEADY) - {source for source, _ in lines} == {"converter inputs"}
