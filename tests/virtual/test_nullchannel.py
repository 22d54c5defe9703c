# SPDX-License-Identifier: MIT
"""The null channel of the virtual rig: its voltage, its order, its codes."""

import numpy as np
import pytest

from sagline.virtual.cells import CELLS
from sagline.virtual.circuit import Circuit
from sagline.virtual.linearity import straight
from sagline.virtual.nullchannel import Difference, NullVoltage
from sagline.virtual.parts import NullParts, draw_parts, nominal_parts
from sagline.virtual.sampling import Sampling
from sagline_board.hardware import ADS_NULL_ORDER, ADS_ORDER
from sagline_board.profile import ADS1115, NULL

PARTS = NullParts(2.5 / 4096, 0.0, 5e-6, 7.8125e-6, 32767, 0.0, 0.0, straight(-32768, 32767))
# 10 kohm with 1 uF and 47 kohm with 220 nF.
FIRST_S, SECOND_S = 10e3 * 1e-6, 47e3 * 220e-9


def test_the_voltage_settles_as_two_filters_in_a_row() -> None:
    """Against the step response of two different poles; one mean time constant is as good to 1 %.
    20 mV are within 8 uV after 0.13 s, 3 V after 0.22 s (simulated circuit)."""
    null = NullVoltage(PARTS)
    null.set(4095, 1_000_000)
    t_s = np.linspace(0.0, 0.06, 200)
    exact = 1.0 - (FIRST_S * np.exp(-t_s / FIRST_S) - SECOND_S * np.exp(-t_s / SECOND_S)) / (
        FIRST_S - SECOND_S
    )
    full_v = 4095 * PARTS.step_v
    found = null.at(1e6 + 1e6 * t_s) / full_v
    assert found == pytest.approx(exact, abs=0.02)
    null.set(4095 - 33, 10_000_000)
    target_v = (4095 - 33) * PARTS.step_v
    assert abs(null.at(np.array([10.13e6]))[0] - target_v) < 10e-6
    assert abs(null.at(np.array([10.05e6]))[0] - target_v) > 100e-6


def test_absorption_is_late_and_small() -> None:
    null = NullVoltage(PARTS)
    null.set(4095, 0)
    later = null.at(np.array([1e6, 2e6, 8e6])) - 4095 * PARTS.step_v
    assert -12e-6 < later[0] < -6e-6 and later[1] == pytest.approx(later[0] / np.e, rel=1e-3)
    assert abs(later[2]) < 0.02e-6


def test_a_change_on_the_way_adds_to_what_is_still_to_come() -> None:
    """The filter is linear: two changes give the sum of what each gives alone, at any instant."""
    first, second, both = NullVoltage(PARTS), NullVoltage(PARTS), NullVoltage(PARTS)
    first.set(2000, 0)
    second.set(1000, 8_000)
    both.set(2000, 0)
    both.set(3000, 8_000)
    later = np.array([8_000.0, 12_000.0, 30_000.0, 2e6])
    floor_v = 0.02
    assert second.at(later)[0] == floor_v
    alone = first.at(later) + second.at(later)
    assert both.at(later)[1:] == pytest.approx(alone[1:], abs=1e-12)
    # The voltage and its slope go on where they were.
    eps = 1.0
    before = first.at(np.array([8_000.0 - eps, 8_000.0]))
    after = both.at(np.array([8_000.0, 8_000.0 + eps]))
    assert after[0] == pytest.approx(before[1], abs=1e-9)
    assert after[1] - after[0] == pytest.approx(before[1] - before[0], rel=0.01)


def test_the_follower_does_not_reach_ground() -> None:
    null = NullVoltage(PARTS)
    null.set(0, 0)
    assert null.at(np.array([0.0, 1e6])).tolist() == [0.02, 0.02]


def test_a_load_moves_it_and_full_scale_is_the_end() -> None:
    codes = Difference(PARTS, np.random.default_rng(1)).codes
    sense, null = np.array([1.0]), np.array([0.99])
    assert codes(sense, null, False)[0] == round(0.01 / 7.8125e-6)
    assert codes(sense, null, True)[0] == round((0.01 - 5e-6) / 7.8125e-6)
    assert codes(sense, np.zeros(1), False)[0] == 32767
    assert codes(np.zeros(1), sense, False)[0] == -32768


def test_order_and_signed_sums() -> None:
    parts = nominal_parts()
    for null, order in ((True, ADS_NULL_ORDER), (False, ADS_ORDER)):
        sampling = Sampling(
            Circuit(CELLS["lr6"], parts), parts, np.random.default_rng(2),
            onboard=False, ads1115=True, null=null,
        )  # fmt: skip
        sampling.null.set(4095, 0)
        rows = sampling.rows(0, 40_000, 40_000)
        assert [row[0] - 4 * ADS1115 for row in rows[:8]] == list(order)
    sampling.null.set(0, 0)


def means(sampling: Sampling, start_us: int) -> tuple[float, float]:
    """Mean codes of sense and of the difference over 0.4 s."""
    rows = []
    for at_us in range(start_us, start_us + 400_000, 10_000):
        rows += sampling.rows(at_us, 10_000, 10_000)
    sense, fine = (np.mean([row[4] for row in rows if row[0] == source]) for source in (4, 7))
    return float(sense), float(fine)


def test_the_sag_by_the_difference_is_the_plain_one() -> None:
    """A drawn rig: (open - loaded) in fine codes over the plain ones, by the drawn gains; the two
    linearities leave 1 LSB each, of 62.5 and of 7.8 uV."""
    for seed in range(5):
        parts = draw_parts(np.random.default_rng(seed))
        circuit = Circuit(CELLS["lr6"], parts)
        sampling = Sampling(circuit, parts, np.random.default_rng(seed), onboard=False,
                            ads1115=True, null=True)  # fmt: skip
        sense_v = sampling._ads.pin_v(0, np.array([circuit.voltage()]), False)[0]
        setting = round((sense_v - parts.null.zero_v) / parts.null.step_v)
        sampling.null.set(setting, 0)

        circuit.advance(1.0)
        sampling.restart(1_000_000)
        plain_open, fine_open = means(sampling, 1_000_000)
        circuit.advance(0.4)
        circuit.switch(1, False)
        sampling.restart(1_400_000)
        plain, fine = means(sampling, 1_400_000)
        plain_v = (plain_open - plain) * 62.5e-6 / (1.0 + parts.converters[1].gain_error)
        fine_v = (fine_open - fine) * 7.8125e-6 / (1.0 + parts.null.gain_error)
        assert abs(fine_open) < 120
        assert fine_v - parts.null.load_shift_v == pytest.approx(plain_v, abs=140e-6)
        match = (1.0 + parts.null.gain_error) / (1.0 + parts.converters[1].gain_error) - 1.0
        assert abs(match) <= NULL["range_match_ppm"] * 1e-6
        assert abs(parts.null.load_shift_v) <= NULL["load_shift_nv"] * 1e-9
