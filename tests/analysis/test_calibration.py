# SPDX-License-Identifier: MIT
"""The measurement model on floats, arrays, uncertain numbers, and against the circuit."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.analytic_cell import PROFILE, Cell, Rig
from sagline.analysis.budget import uncertain
from sagline.analysis.calibration import expected_readings, model, tap_volts
from sagline.analysis.influences import (
    LEVEL_CHANNELS,
    Influence,
    influences_of,
    nominal,
    quantization_limit_codes,
)
from sagline.analysis.profile import RigProfile, transfer
from sagline_board import profile as board

LEVELS = expected_readings(PROFILE, 1, 0, False, 1.58, 0.16)


def inputs(converter: int = 1, load: int = 0, high: bool = False, open_v: float = 1.58,
           r_ohm: float = 0.16) -> list[Influence]:  # fmt: skip
    levels = expected_readings(PROFILE, converter, load, high, open_v, r_ohm)
    return influences_of(PROFILE, converter, load, high, levels, {0: 0.6, 1: 0.6, 2: 0.6})


def test_transfer_is_the_one_printed_for_the_circuit() -> None:
    """Gains 0.411 and 0.1155; return lift 0.273 V, gain 0.909 (the circuit's description)."""
    sense, back = PROFILE.channels[0], PROFILE.channels[2]
    assert transfer(sense, 3.0, False)[0] == pytest.approx(0.411, abs=5e-4)
    assert transfer(sense, 3.0, True)[0] == pytest.approx(0.1155, abs=5e-4)
    assert transfer(back, 3.0, False) == pytest.approx((0.909, 0.273), abs=5e-4)


@pytest.mark.parametrize("converter", [0, 1])
@pytest.mark.parametrize(
    ("load", "high", "open_v", "r_ohm"),
    [(0, False, 1.58, 0.16), (3, False, 3.0, 20.0), (2, True, 9.2, 1.7), (1, True, 12.8, 0.025)],
)
def test_model_undoes_the_expected_levels(
    converter: int, load: int, high: bool, open_v: float, r_ohm: float
) -> None:
    x = nominal(inputs(converter, load, high, open_v, r_ohm))
    found = model(x)
    # The expectation leaves out the dividers' current (20 microsiemens), the model does not.
    assert found.r_ohm == pytest.approx(r_ohm, rel=2e-5 * r_ohm + 1e-9)
    assert found.emf_v == pytest.approx(open_v, rel=2e-5 * r_ohm + 1e-9)
    assert found.current_a == pytest.approx(
        (open_v - 0.3) / (r_ohm + PROFILE.loads[load].load_ohm + 0.041), rel=1e-9
    )


def test_divider_current_falls_out_of_r_and_emf() -> None:
    """A cell of E, r that also feeds G at its terminals, solved by hand for both states."""
    emf_v, r_ohm, eff_ohm = 3.0, 20.0, 470.041
    siemens = 2 * 1e-5 * (1 - 1e-5 / (1e-5 + 1 / 75_000 + 1e-6))
    open_v = emf_v / (1 + r_ohm * siemens)
    loaded_v = emf_v / (1 + r_ohm * (siemens + 1 / eff_ohm))
    rig = Rig()
    levels = replace(
        LEVELS,
        sense_open=rig.code(1, 0, open_v, False),
        sense=rig.code(1, 0, loaded_v, False),
        force=rig.code(1, 1, loaded_v, False),
    )
    found = model(nominal(influences_of(PROFILE, 1, 3, False, levels, {})))
    assert found.r_ohm == pytest.approx(r_ohm, rel=1e-12)
    assert found.emf_v == pytest.approx(emf_v, rel=1e-12)


@given(seed=st.integers(0, 2**32 - 1), converter=st.sampled_from([0, 1]), high=st.booleans())
def test_model_recovers_the_cell_when_told_every_part(
    seed: int, converter: int, high: bool
) -> None:
    """A drawn rig makes the codes; the same parts put into the model give E and r back."""
    rng = np.random.default_rng(seed)
    rig, cell = Rig.drawn(rng, converter, 0), Cell(1.58, 0.16)
    v, i = cell.loaded(0.1, sum(rig.loop_ohm(0)))
    code = {
        "sense_open": rig.code(converter, 0, 1.58, high),
        "sense": rig.code(converter, 0, v, high),
        "force": rig.code(converter, 1, i * (rig.loop_ohm(0)[0] + 0.06), high),
        "return_open": rig.code(converter, 2, 0.0, high),
        "return_loaded": rig.code(converter, 2, i * 0.06, high),
    }
    x = nominal(influences_of(PROFILE, converter, 0, high, LEVELS, {}))
    x |= {f"{name}_code": value for name, value in code.items()}
    x |= {f"{name}_inl_code": 0.0 for name in LEVEL_CHANNELS}
    for index, name in enumerate(("sense", "force", "return")):
        for part in ("top", "foot", "lift", "range_foot"):
            key = f"{name}_{part}_ohm"
            if key in x:
                x[key] *= 1.0 + rig.parts[index, f"{part}_ohm"]
        x[f"{name}_follower_v"] = rig.follower_v[index]
    x["reference_v"] *= 1.0 + rig.reference
    x["converter_gain"], x["converter_offset_code"] = rig.gain, rig.offset_codes
    x["load_ohm"] *= 1.0 + rig.load
    x["load_offset_k"] = rig.load_k
    x["switch_ohm"] *= 1.0 + rig.switch
    x["switch_tcr_per_k"] = PROFILE.loads[0].switch_tcr_per_k
    found = model(x)
    # The circuit here has no divider current: r G is 3e-6.
    assert found.r_ohm == pytest.approx(0.16, rel=1e-5)
    assert found.emf_v == pytest.approx(1.58, rel=1e-5)
    assert found.current_a == pytest.approx(i, rel=1e-9)


def test_floats_arrays_and_uncertain_numbers_agree() -> None:
    listed = inputs()
    x = nominal(listed)
    plain = model(x)
    arrays = model({name: np.full(3, value) for name, value in x.items()})
    numbers = model(uncertain(listed))
    for one, many, number in zip(plain, arrays, numbers, strict=True):
        assert many == pytest.approx(np.full(3, one), rel=1e-14)
        assert number.x == pytest.approx(one, rel=1e-14)


@given(ppm=st.floats(-2000, 2000))
def test_the_reference_cancels_in_r_on_board_and_scales_emf(ppm: float) -> None:
    x = nominal(inputs(converter=0))
    moved = {**x, "reference_v": x["reference_v"] * (1.0 + ppm * 1e-6)}
    assert model(moved).r_ohm == pytest.approx(model(x).r_ohm, rel=1e-9)
    assert model(moved).emf_v == pytest.approx(model(x).emf_v * (1.0 + ppm * 1e-6), rel=1e-9)


@given(ppm=st.floats(-1500, 1500))
def test_a_common_gain_cancels_in_r_but_for_the_lift(ppm: float) -> None:
    """With a lift the force reading is V + V_lift; only V of it belongs to the current."""
    listed = inputs()
    x, g = nominal(listed), ppm * 1e-6
    found, moved = model(x), model({**x, "converter_gain": g})
    force_v = found.current_a * 3.341
    lift_v = 3.0 * 100_000 / 1_000_000
    expected = found.r_ohm / (1.0 - g * lift_v / force_v)
    assert moved.r_ohm == pytest.approx(expected, rel=5e-6)
    assert moved.emf_v == pytest.approx((found.emf_v + lift_v) / (1.0 + g) - lift_v, rel=1e-6)


def test_an_offset_common_to_all_channels_acts_by_the_force_reading_alone() -> None:
    x = nominal(inputs())
    found = model(x)
    offset_code = 3.0
    moved = model({**x, "converter_offset_code": offset_code})
    gain, _ = transfer(PROFILE.channels[1], 3.0, False)
    offset_v = offset_code * 62.5e-6 / gain
    force_v = found.current_a * 3.341
    assert moved.r_ohm == pytest.approx(found.r_ohm * force_v / (force_v - offset_v), rel=1e-6)
    assert moved.emf_v == pytest.approx(found.emf_v - offset_v, rel=1e-6)


@pytest.mark.parametrize(
    ("sigma", "bias"), [(0.0, 0.318), (0.2, 0.145), (0.3, 0.0539), (0.4, 0.0135), (0.5, 0.0023)]
)
def test_quantization_bias(sigma: float, bias: float) -> None:
    """Greatest bias of an averaged rounding, by summing it out for a grid of levels."""
    from scipy.stats import norm

    codes = np.arange(-6, 7)
    levels = np.linspace(0.0, 1.0, 101)
    if sigma:
        edges = (codes[:, None] + 0.5 - levels) / sigma
        below = norm.cdf(edges)
        mean = (codes[:, None] * np.diff(below, axis=0, prepend=0.0)).sum(axis=0)
        worst = np.abs(mean - levels).max()
        # The first Fourier term is the whole of it once there is noise.
        assert worst == pytest.approx(bias, rel=0.05)
    measured = (sigma**2 + 1.0 / 12.0) ** 0.5
    assert quantization_limit_codes(measured) == pytest.approx(bias, rel=0.03)


def test_a_profile_that_lacks_a_field_is_refused() -> None:
    whole = {
        "loads": board.LOADS,
        "channels": board.CHANNELS,
        "reference": board.REFERENCE,
        "converters": [board.CONVERTERS[0], None],
        "range_mv": board.RANGE_MV,
    }
    assert list(RigProfile.from_integers(whole).converters) == [0]
    with pytest.raises(ValueError, match="tolerance_ppm"):
        RigProfile.from_integers({**whole, "reference": {"reference_uv": 3_000_000}})
    with pytest.raises(ValueError, match="range_mv"):
        RigProfile.from_integers({k: v for k, v in whole.items() if k != "range_mv"})


@pytest.mark.parametrize("converter", [0, 1])
@pytest.mark.parametrize("high", [False, True])
@pytest.mark.parametrize("channel", [0, 1, 2])
def test_a_code_becomes_the_voltage_at_the_tap(converter: int, high: bool, channel: int) -> None:
    code = Rig().code(converter, channel, 1.234, high)
    assert tap_volts(PROFILE, converter, channel, code, high) == pytest.approx(1.234, rel=1e-9)
