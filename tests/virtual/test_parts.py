# SPDX-License-Identifier: MIT
"""Draws lie within the profile's limits, fill them, and are rectangular."""

from dataclasses import replace

import numpy as np
import pytest

from sagline.virtual.linearity import Linearity, block_curve, onboard_curve
from sagline.virtual.parts import BOARD_TEMPERATURE_LIMIT_K, Parts, draw_parts, nominal_parts
from sagline_board import profile

DRAWS = 400
CHANNEL_OHMS = ("top_ohm", "foot_ohm", "lift_ohm", "range_foot_ohm")


@pytest.fixture(scope="module")
def rigs() -> list[Parts]:
    rng = np.random.default_rng(11)
    return [draw_parts(rng) for _ in range(DRAWS)]


def assert_fills(values: list[float], nominal: float, limit: float) -> None:
    """Within ±limit of nominal, near both ends, and with the spread of a rectangle, a/√3."""
    deviation = (np.array(values) - nominal) / limit
    assert deviation.min() >= -1.0 - 1e-9
    assert deviation.max() <= 1.0 + 1e-9
    assert deviation.min() < -0.9
    assert deviation.max() > 0.9
    assert deviation.std() == pytest.approx(1 / np.sqrt(3), rel=0.12)
    assert abs(deviation.mean()) < 0.12


def test_loads_and_switches(rigs: list[Parts]) -> None:
    assert_fills([rig.temperature_offset_k for rig in rigs], 0.0, BOARD_TEMPERATURE_LIMIT_K)
    for k, entry in enumerate(profile.LOADS):
        load_ohm, tcr = entry["load_milliohm"] / 1e3, entry["tcr_ppm_per_k"] / 1e6
        cold = [rig.load_ohm[k] / (1 + tcr * rig.temperature_offset_k) for rig in rigs]
        assert_fills(cold, load_ohm, load_ohm * entry["tolerance_ppm"] / 1e6)
        switch_ohm = entry["switch_milliohm"] / 1e3
        tcr = entry["switch_tcr_ppm_per_k"] / 1e6
        cold = [rig.switch_ohm[k] / (1 + tcr * rig.temperature_offset_k) for rig in rigs]
        assert_fills(cold, switch_ohm, switch_ohm * entry["switch_tolerance_ppm"] / 1e6)


def test_channels(rigs: list[Parts]) -> None:
    for k, entry in enumerate(profile.CHANNELS):
        for name in CHANNEL_OHMS:
            drawn = [getattr(rig.channels[k], name) for rig in rigs]
            if entry[name]:
                assert_fills(drawn, entry[name], entry[name] * entry["tolerance_ppm"] / 1e6)
            else:
                assert set(drawn) == {0.0}
        assert_fills(
            [rig.channels[k].follower_offset_v for rig in rigs],
            0.0,
            entry["follower_offset_uv"] / 1e6,
        )


def test_reference_and_converters(rigs: list[Parts]) -> None:
    reference_v = profile.REFERENCE["reference_uv"] / 1e6
    assert_fills(
        [rig.reference_v for rig in rigs],
        reference_v,
        reference_v * profile.REFERENCE["tolerance_ppm"] / 1e6,
    )
    for k, entry in enumerate(profile.CONVERTERS):
        offset_v = entry["offset_millilsb"] * 1e-3 * entry["lsb_nv"] * 1e-9
        assert_fills([rig.converters[k].offset_v for rig in rigs], 0.0, offset_v)
        rate = 1e9 / entry["sample_ns"]
        assert_fills(
            [1 / rig.converters[k].sample_s for rig in rigs],
            rate,
            rate * entry["rate_tolerance_ppm"] / 1e6,
        )
    ads = profile.ADS1115
    assert_fills(
        [rig.converters[ads].gain_error for rig in rigs],
        0.0,
        profile.CONVERTERS[ads]["gain_ppm"] / 1e6,
    )
    for rig in rigs:
        onboard = rig.converters[profile.ONBOARD]
        assert onboard.gain_error == 0.0
        assert onboard.lsb_v == pytest.approx(rig.reference_v / 4096, rel=1e-12)


def test_draws_are_independent_and_repeatable(rigs: list[Parts]) -> None:
    tops = np.array([[c.top_ohm for c in rig.channels] + list(rig.load_ohm[:1]) for rig in rigs])
    off_diagonal = np.corrcoef(tops.T) - np.eye(4)
    assert np.abs(off_diagonal).max() < 0.2
    again = [draw_parts(np.random.default_rng(3)) for _ in range(2)]
    assert again[0].load_ohm == again[1].load_ohm
    assert again[0].channels == again[1].channels
    curves = [rig.converters[profile.ONBOARD].linearity.error_lsb for rig in again]
    assert np.array_equal(curves[0], curves[1])


def test_nominal_parts_are_the_profile() -> None:
    parts = nominal_parts()
    assert parts.load_ohm == pytest.approx((3.3, 15.0, 68.0, 470.0))
    assert parts.switch_ohm == pytest.approx((0.041,) * 4)
    assert parts.converters[profile.ONBOARD].lsb_v == pytest.approx(
        profile.CONVERTERS[profile.ONBOARD]["lsb_nv"] * 1e-9, rel=1e-6
    )
    # Gains of the circuit notes: 0.411 and 0.1155 for sense and force, 0.909 for return.
    sense, _, back = parts.channels
    assert sense.transfer(3.0, False)[0] == pytest.approx(0.411, abs=5e-4)
    assert sense.transfer(3.0, True)[0] == pytest.approx(0.1155, abs=5e-4)
    assert back.transfer(3.0, False) == pytest.approx((0.909, 0.273), abs=5e-4)
    loads = [replace(parts.channels[k]).loading(3.0, True)[0] for k in (0, 1)]
    assert sum(loads) < 20e-6


def widths(curve: Linearity, first: int, last: int) -> np.ndarray:
    """Input width in LSB of each output code first..last, from a fine ramp."""
    ramp = np.arange(first - 40, last + 40, 0.01)
    code = np.rint(ramp + curve.at(ramp)).astype(int)
    return np.bincount(code, minlength=last + 1)[first : last + 1] * 0.01


def test_onboard_curve_has_the_wide_codes_of_erratum_e11() -> None:
    for seed in range(4):
        curve = onboard_curve(np.random.default_rng(seed), 4095, 8.0, wide_codes=True)
        width = widths(curve, 100, 4000)
        wide = {int(k) + 100 for k in np.flatnonzero(width > 3.0)}
        assert wide == {512, 1536, 2560, 3584}
        # The bow's slope, a tenth at most, stretches or narrows them a little.
        assert width[512 - 100] - 1.0 == pytest.approx(8.9, rel=0.1)
        others = np.delete(width, [code - 100 for code in wide])
        assert others.max() < 1.7
        assert others.min() > 0.4


def test_onboard_curve_stays_inside_its_limit_and_reaches_for_it() -> None:
    rng = np.random.default_rng(2)
    for wide_codes, reach in ((True, 0.85), (False, 0.98)):
        curves = [onboard_curve(rng, 4095, 8.0, wide_codes).error_lsb for _ in range(40)]
        assert np.abs(curves).max() <= 8.0
        assert np.max(curves) > reach * 8.0
        assert np.min(curves) < -reach * 8.0
    with pytest.raises(ValueError, match="wide codes"):
        onboard_curve(rng, 4095, 4.0, wide_codes=True)


def test_without_wide_codes_no_code_is_wide() -> None:
    curve = onboard_curve(np.random.default_rng(0), 4095, 8.0, wide_codes=False)
    assert widths(curve, 100, 4000).max() < 1.8


def test_block_curve_makes_distant_codes_independent() -> None:
    rng = np.random.default_rng(4)
    curves = [block_curve(rng, -32768, 32767, 1.0) for _ in range(40)]
    code = np.arange(-32768.0, 32768.0)
    edges = [np.flatnonzero(np.abs(np.diff(curve.at(code))) > 0.5) for curve in curves]
    # What is fine moves it by a quarter of a code from one to the next; blocks by more, at once.
    assert len({int(one[0]) % 16 for one in edges}) > 8
    for curve, one in zip(curves, edges, strict=True):
        assert len({int(at) % 16 for at in one}) == 1
        middle = code[one] + 0.5
        apart = np.abs(curve.at(middle + 2e-6) - curve.at(middle - 2e-6))
        assert apart.min() > 0.2 and np.count_nonzero(np.diff(curve.error_lsb)) > 60_000
    samples = np.concatenate([c.at(np.arange(0.0, 32000.0, 130.0)) for c in curves])
    assert np.abs(samples).max() <= 1.0
    # A rectangle within the limit and nothing else known (JCGM 100, 4.3.7).
    assert samples.std() == pytest.approx(1.0 / np.sqrt(3.0), rel=0.03)
    pairs = samples.reshape(len(curves), -1)
    assert abs(np.corrcoef(pairs[:, :-1].ravel(), pairs[:, 1:].ravel())[0, 1]) < 0.05
