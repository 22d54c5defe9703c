# SPDX-License-Identifier: MIT
"""Sums of codes: mean, spread, exactness and ends, against conversions made one by one."""

from dataclasses import replace

import numpy as np
import pytest

from sagline.virtual.converter import Converter
from sagline.virtual.linearity import Linearity
from sagline.virtual.parts import Parts, nominal_parts
from sagline_board import profile

TRIALS = 20_000


def seeded(parts: Parts, index: int) -> Converter:
    return Converter(parts, index, np.random.default_rng(8))


def with_converter(index: int, **changes: object) -> Parts:
    parts = nominal_parts()
    converters = list(parts.converters)
    converters[index] = replace(converters[index], **changes)  # pyright: ignore[reportArgumentType]
    return replace(parts, converters=tuple(converters))


@pytest.mark.parametrize("index", [profile.ONBOARD, profile.ADS1115])
@pytest.mark.parametrize("n", [1, 2, 7, 60])
def test_mean_and_variance_are_those_of_single_conversions(index: int, n: int) -> None:
    parts = nominal_parts()
    converter = seeded(parts, index)
    tap_v = 1.5804
    total = converter.sum_codes(0, np.full(TRIALS, tap_v), np.full(TRIALS, n), False)
    part = parts.converters[index]
    rng = np.random.default_rng(9)
    # Sense channel by its node: (V/100k + 3/1M) / (1/100k + 1/75k + 1/1M).
    pin_v = (tap_v / 100e3 + 3.0 / 1e6) / (1 / 100e3 + 1 / 75e3 + 1 / 1e6)
    single = pin_v / part.lsb_v + part.noise_lsb * rng.standard_normal((TRIALS, n))
    expected = np.rint(single).sum(axis=1)
    spread = expected.std()
    assert abs(total.mean() - expected.mean()) < 5 * spread * np.sqrt(2 / TRIALS)
    assert total.std() == pytest.approx(spread, rel=0.04)


def test_the_profiles_noise_is_used() -> None:
    part = profile.CONVERTERS[profile.ADS1115]
    converter = seeded(nominal_parts(), profile.ADS1115)
    n = 400
    total = converter.sum_codes(2, np.full(TRIALS, 0.01), np.full(TRIALS, n), False)
    one_sq = (part["noise_millilsb"] / 1000) ** 2 + 1 / 12
    assert total.var() == pytest.approx(n * one_sq, rel=0.04)


def test_gain_offsets_and_reference_enter_as_the_circuit_says() -> None:
    index = profile.ADS1115
    parts = with_converter(index, gain_error=1e-3, offset_v=2.5 * 62.5e-6)
    channel = replace(parts.channels[1], follower_offset_v=4e-4)
    parts = replace(
        parts, channels=(parts.channels[0], channel, parts.channels[2]), reference_v=3.006
    )
    siemens = 1 / 100e3 + 1 / 75e3 + 1 / 1e6 + 1 / 16e3
    pin_v = (12.6 / 100e3 + 3.006 / 1e6) / siemens + 4e-4
    expected = pin_v * 1.001 / 62.5e-6 + 2.5
    assert seeded(parts, index).mean_code(1, np.array([12.6]), True) == pytest.approx(
        expected, abs=1e-6
    )


def test_the_reference_is_the_onboard_gain() -> None:
    nominal = seeded(nominal_parts(), profile.ONBOARD).mean_code(0, np.array([3.0]), False)
    pin_v = float(nominal[0]) * 3.0 / 4096
    part = nominal_parts().converters[profile.ONBOARD]
    high = with_converter(profile.ONBOARD, lsb_v=part.lsb_v * 1.002)
    code = seeded(high, profile.ONBOARD).mean_code(0, np.array([3.0]), False)
    assert code == pytest.approx(pin_v / (3.006 / 4096), rel=1e-9)


def test_linearity_is_taken_at_the_code() -> None:
    curve = Linearity(np.array([0.0, 1000.0, 1001.0, 4095.0]), np.array([0.0, 0.0, 5.0, 5.0]))
    plain = seeded(nominal_parts(), profile.ONBOARD)
    bent = seeded(with_converter(profile.ONBOARD, linearity=curve), profile.ONBOARD)
    tap_v = np.array([0.5, 4.0])
    added = bent.mean_code(0, tap_v, False) - plain.mean_code(0, tap_v, False)
    assert added == pytest.approx([0.0, 5.0], abs=1e-9)


@pytest.mark.parametrize("index", [profile.ONBOARD, profile.ADS1115])
def test_ends_clip_each_conversion_and_sums_stay_exact_integers(index: int) -> None:
    """As NIST StRD NumAcc4 asks of sums, the largest total is exact to the last unit.

    At the low end the follower stops first, 20 mV above ground.
    """
    full = profile.CONVERTERS[index]["full_code"]
    converter = seeded(nominal_parts(), index)
    n = np.array([0, 1, 3, 262_144, 10_000_000])
    above = converter.sum_codes(0, np.full(5, 100.0), n, False)
    below = converter.sum_codes(0, np.full(5, -100.0), n, False)
    assert above.dtype == np.int64
    assert (above <= n * full).all()
    # Half of a normal's draws clip; the rest lie within a few √n of the end.
    assert (n * full - above <= 6 * np.sqrt(n)).all()
    low = 0.02 / (profile.CONVERTERS[index]["lsb_nv"] * 1e-9)
    assert below[1:] / n[1:] == pytest.approx(low, abs=4.0)
    assert below[-1] / n[-1] == pytest.approx(low, abs=1e-2)
    many = converter.sum_codes(0, np.full(400, 100.0), np.full(400, 262_144), False)
    assert (many == 262_144 * full).mean() > 0.4


def test_too_little_noise_is_refused() -> None:
    with pytest.raises(ValueError, match="noise of"):
        seeded(with_converter(profile.ADS1115, noise_lsb=0.3), profile.ADS1115)
