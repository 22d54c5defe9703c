# SPDX-License-Identifier: MIT
"""What limits such a measurement, by short derivations, against the code that has to know it.

No book prints these figures: each formula is derived in a line or two, and its numbers are
computed here anew.
"""

from math import exp, pi, sqrt

import numpy as np
import pytest

from analysis.analytic_cell import PROFILE, Rig
from sagline.analysis import jointfit
from sagline.analysis.budget import propagate
from sagline.analysis.calibration import model
from sagline.analysis.influences import (
    Influence,
    Readings,
    influences_of,
    nominal,
    quantization_limit_codes,
)
from sagline.analysis.montecarlo import draw
from sagline.analysis.rows import Rows
from sagline.analysis.spectrum import Curves
from sagline.analysis.values import ADS1115

# r = R (V0/V1 - 1) of the open and the loaded voltage.
R_OHM, OPEN_V, LOADED_V = 10.0, 1.5, 1.4


def two_voltages(open_u_v: float, loaded_u_v: float) -> list[Influence]:
    return [
        Influence("v0", "", OPEN_V, open_u_v, "normal"),
        Influence("v1", "", LOADED_V, loaded_u_v, "normal"),
    ]


def r_of(x):
    return R_OHM * (x["v0"] / x["v1"] - 1.0)


def test_the_best_share_of_readings_at_rest_and_under_load() -> None:
    """u² = (R/V1)² (σ²/N0 + (V0/V1)² σ²/N1) is least, for a given N0 + N1, at N1/N0 = V0/V1."""
    total = 2900
    u = {
        n0: propagate(r_of, two_voltages(1e-3 / sqrt(n0), 1e-3 / sqrt(total - n0))).u
        for n0 in range(1300, 1501, 10)
    }
    best = min(u, key=lambda n0: u[n0] or 0.0)
    assert (total - best) / best == pytest.approx(OPEN_V / LOADED_V, abs=1e-9)


def test_noise_of_the_loaded_voltage_makes_r_too_large_on_the_average() -> None:
    """Second order: + R V0 u²(V1)/V1³, which the law of propagation cannot see and the draws do."""
    u_v = 0.02
    x = draw(two_voltages(0.0, u_v), np.random.default_rng(3), 1_000_000)
    r_ohm = float(R_OHM * (OPEN_V / LOADED_V - 1.0))
    bias = float(np.mean(r_of(x))) - r_ohm
    # r has an s.d. of 0.153 ohm, so the mean of a million draws one of 0.00015 ohm.
    assert bias == pytest.approx(R_OHM * OPEN_V * u_v**2 / LOADED_V**3, abs=0.0005)
    assert bias > 0.0015
    assert propagate(r_of, two_voltages(0.0, u_v)).value == pytest.approx(r_ohm, rel=1e-12)


# An LR6 on the 3.3 ohm load, as read by the ADS1115.
E_V, CELL_OHM = 1.58, 0.16


def found(
    load: int = 0,
    *,
    cell_ohm: float = CELL_OHM,
    lead_ohm: float = 0.0,
    gain: float = 1.0,
    off_v: tuple[float, float, float] = (0.0, 0.0, 0.0),
    **changed: float,
) -> float:
    """r by the model, of a cell with a load and a lead between cell and load.

    What is read at the taps of sense, force and return is wrong by `gain` and `off_v`; `changed`
    are inputs of the model that have another value than they should.
    """
    rig, bank = Rig(), PROFILE.loads[load]
    loop_ohm = bank.load_ohm + bank.switch_ohm
    current_a = E_V / (cell_ohm + loop_ohm + lead_ohm)
    lead_v = lead_ohm * current_a

    def code(channel: int, tap_v: float) -> float:
        return rig.code(ADS1115, channel, gain * tap_v + off_v[channel], False)

    levels = Readings(
        sense_open=code(0, E_V),
        sense=code(0, E_V - cell_ohm * current_a),
        force=code(1, loop_ohm * current_a + lead_v),
        return_open=rig.code(ADS1115, 2, 0.0, False),
        return_loaded=code(2, lead_v),
    )
    x = nominal(influences_of(PROFILE, ADS1115, load, False, levels, {}))
    return float(model({**x, **changed}).r_ohm)


def test_a_common_gain_cancels_and_an_offset_of_the_current_does_not() -> None:
    """r is a ratio of voltages: a common gain falls out. With e added to the load's voltage V1,
    dr/de = -r/V1; with e at sense both open and loaded, nothing."""
    plain = found()
    assert plain == pytest.approx(CELL_OHM, rel=1e-4)
    assert found(gain=1.01) == pytest.approx(plain, rel=1e-9)
    # A converter's gain acts on what lifts the taps as well, which is not common to all.
    assert found(converter_gain=0.01) == pytest.approx(plain, rel=3e-3)
    assert found(off_v=(0.01, 0.0, 0.0)) == pytest.approx(plain, rel=1e-9)
    assert found(return_follower_v=1e-3) == pytest.approx(plain, rel=1e-9)
    bank, e_v = PROFILE.loads[0], 1e-4
    loop_ohm = bank.load_ohm + bank.switch_ohm
    load_v = E_V * loop_ohm / (CELL_OHM + loop_ohm)
    for channel, sign in ((1, -1.0), (2, 1.0)):
        off_v = [0.0, 0.0, 0.0]
        off_v[channel] = e_v
        one, other = (found(off_v=(0.0, s * off_v[1], s * off_v[2])) for s in (1.0, -1.0))
        assert (one - other) / (2.0 * e_v) == pytest.approx(sign * plain / load_v, rel=1e-3)


@pytest.mark.parametrize("load", range(len(PROFILE.loads)))
def test_a_resistance_beside_the_load_that_is_left_out(load: int) -> None:
    """-Rs/(R + Rs) of r: for the switch, which is between the taps of the load."""
    bank = PROFILE.loads[load]
    rs_ohm = bank.switch_ohm
    off = found(load=load, switch_ohm=0.0) / found(load=load) - 1.0
    # The model divides the drop by R alone, so that the current is too large by Rs/R.
    assert off == pytest.approx(-rs_ohm / (bank.load_ohm + rs_ohm), rel=1e-3, abs=0.0)


def test_a_resistance_inside_the_taps_adds_one_for_one_and_outside_them_nothing() -> None:
    """Between the cell and its sense taps it is part of what is measured; in the lead to the load
    it is not: the lesson of the Kelvin connection."""
    assert found(cell_ohm=CELL_OHM + 0.02) - found() == pytest.approx(0.02, rel=1e-4)
    assert found(lead_ohm=0.15) == pytest.approx(found(), rel=1e-9)


@pytest.mark.parametrize("cell_ohm", [0.16, 15.0, 200.0])
def test_what_the_rig_itself_draws_is_allowed_for(cell_ohm: float) -> None:
    """A voltmeter of R_m reads E R_m/(R_m + r), also of a rested cell. Ours are two dividers, each
    to ground through its foot and its lift; their currents count with the load's in r."""
    parts = [PROFILE.channels[channel].parts(False) for channel in (0, 1)]
    meters_ohm = [one["top"] + 1.0 / (1.0 / one["foot"] + 1.0 / one["lift"]) for one in parts]
    meter_ohm = 1.0 / sum(1.0 / ohm for ohm in meters_ohm)
    bank, rig = PROFILE.loads[3], Rig()
    loop_ohm = bank.load_ohm + bank.switch_ohm
    open_v = E_V * meter_ohm / (meter_ohm + cell_ohm)
    loaded_ohm = 1.0 / (1.0 / meter_ohm + 1.0 / loop_ohm)
    loaded_v = E_V * loaded_ohm / (loaded_ohm + cell_ohm)
    tap_v = {"sense_open": (0, open_v), "sense": (0, loaded_v), "force": (1, loaded_v),
             "return_open": (2, 0.0), "return_loaded": (2, 0.0)}  # fmt: skip
    levels = Readings(
        **{name: rig.code(ADS1115, channel, v, False) for name, (channel, v) in tap_v.items()}
    )
    outputs = model(nominal(influences_of(PROFILE, ADS1115, 3, False, levels, {})))
    assert outputs.r_ohm == pytest.approx(cell_ohm, rel=1e-9)
    assert outputs.emf_v == pytest.approx(E_V, rel=1e-12)


@pytest.mark.parametrize(
    ("noise", "bias"), [(0.0, 0.318), (0.2, 0.145), (0.3, 0.0539), (0.4, 0.0135), (0.5, 0.0023)]
)
def test_what_rounding_leaves_after_averaging(noise: float, bias: float) -> None:
    """(1/pi) exp(-2 pi² σ²) codes (Widrow and Kollar, Quantization Noise; the first term), where
    σ is the noise before rounding. Rounded numbers have 1/12 more variance (Sheppard)."""
    digit = 10.0 ** -(4 if noise >= 0.3 else 3)
    assert quantization_limit_codes(sqrt(noise**2 + 1.0 / 12.0)) == pytest.approx(bias, abs=digit)
    assert exp(-2.0 * pi**2 * noise**2) / pi == pytest.approx(bias, abs=digit)


@pytest.mark.parametrize("noise", [0.2, 0.3, 0.4])
def test_and_so_it_is_when_noise_is_rounded_and_averaged(noise: float) -> None:
    rng = np.random.default_rng(12)
    at = np.arange(20) / 20.0
    each = np.round(at + noise * rng.standard_normal((40_000, at.size)))
    bias = each.mean(axis=0) - at
    first_term = abs(2.0 * float(np.mean(bias * np.sin(2.0 * pi * at))))
    assert first_term == pytest.approx(exp(-2.0 * pi**2 * noise**2) / pi, abs=0.0025)
    # As we take it from the rounded numbers' own scatter, wherever they lie on the average.
    scatter = sqrt(float(np.mean(each.var(axis=0) + bias**2)))
    assert quantization_limit_codes(scatter) == pytest.approx(first_term, abs=0.005)


# Share of a pair's resistance that is inside a mean over 1-20 ms, 10-100 ms, 0.1-1 s.
WINDOWS_S = ((1e-3, 20e-3), (10e-3, 100e-3), (0.1, 1.0))
SHARES = {0.05: (0.185, 0.620, 0.993), 0.5: (0.021, 0.103, 0.620), 5.0: (0.002, 0.011, 0.103)}


@pytest.mark.parametrize("tau_s", SHARES)
def test_polarization_inside_a_mean_over_a_window(tau_s: float) -> None:
    """The mean of 1 - exp(-t/tau) over a window: why r has a time and not a window."""
    start_s, end_s = np.array(WINDOWS_S).T
    shares = Curves(np.array([tau_s])).over(start_s, end_s - start_s)[:, 1]
    assert shares == pytest.approx(SHARES[tau_s], abs=0.001)


def test_diffusion_inside_a_mean() -> None:
    """r = A sqrt(t) (Warburg): its mean over 0 to T is 2/3 of its end. The spectrum has no square
    root in it, but follows one."""
    t_s = np.linspace(1e-3, 0.3, 300)
    rest_s = np.array([-0.9, -0.6, -0.3])
    rows = Rows(
        start_s=np.concatenate([rest_s, t_s]),
        length_s=np.full(303, 1e-6),
        v=np.concatenate([np.zeros(3), -0.03 * np.sqrt(t_s)]),
        u_v=np.full(303, 1e-5),
        code=np.zeros(303),
        front=np.zeros(303, dtype=np.int64),
        current_a=np.repeat([0.0, 1.0], [3, 300]),
    )
    times_s = (0.05, 0.1, 0.2)
    joint = jointfit.fit([rows], times_s, 1e-3, 0.3, None)
    (one,) = joint.repeats
    start_s, end_s = np.full(3, 1e-3), np.array(times_s)
    mean = joint.curves.over(start_s, end_s - start_s) @ one.amplitudes
    # The millisecond before the first reading: its own two thirds of the root of 1/T.
    whole = (mean * (end_s - start_s) + 0.03 * 2.0 / 3.0 * 1e-3**1.5) / end_s
    assert one.r_ohm == pytest.approx(0.03 * np.sqrt(end_s), rel=2e-3)
    assert whole / one.r_ohm == pytest.approx(np.full(3, 2.0 / 3.0), abs=0.002)
