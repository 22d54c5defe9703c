# SPDX-License-Identifier: MIT
"""The actual values of one virtual rig: nominal, or drawn within the profile's limits.

Every limit is the half-width of a rectangular distribution, as the uncertainty budget claims.
What the profile gives no limit for (the force path, the diode) stays nominal: it falls out of
the result. The negative leads, which the ground's lift depends on, are drawn.
"""

from dataclasses import dataclass

import numpy as np

from sagline.virtual.linearity import Linearity, block_curve, onboard_curve, straight
from sagline.virtual.schottky import BLOCKING, Schottky
from sagline_board import profile

# How far the board's temperature may be from that of its calibration; one draw per rig, common
# to all loads and their switches.
BOARD_TEMPERATURE_LIMIT_K = 5.0

# The null channel's follower and ground, at a setting of 0: it falls out of a difference of
# differences.
NULL_ZERO_LIMIT_V = 1e-3


@dataclass(frozen=True)
class ChannelParts:
    """A channel's node: `top_ohm` from the tap, `lift_ohm` from the reference, foot to ground.

    A foot of 0 ohm is not fitted.
    """

    top_ohm: float
    foot_ohm: float
    lift_ohm: float
    range_foot_ohm: float
    follower_offset_v: float

    def node_siemens(self, range_high: bool) -> float:
        """All conductance that meets at the node."""
        total = 1.0 / self.top_ohm + 1.0 / self.lift_ohm
        if self.foot_ohm:
            total += 1.0 / self.foot_ohm
        if self.range_foot_ohm and range_high:
            total += 1.0 / self.range_foot_ohm
        return total

    def transfer(self, reference_v: float, range_high: bool) -> tuple[float, float]:
        """(gain, volts): node = gain·tap + volts, without the follower's offset."""
        total = self.node_siemens(range_high)
        return 1.0 / (self.top_ohm * total), reference_v / (self.lift_ohm * total)

    def loading(self, reference_v: float, range_high: bool) -> tuple[float, float]:
        """(siemens, amperes): the tap gives siemens·V_tap − amperes to the channel."""
        gain, lift_v = self.transfer(reference_v, range_high)
        return (1.0 - gain) / self.top_ohm, lift_v / self.top_ohm


@dataclass(frozen=True)
class ConverterParts:
    """code = (pin·(1 + gain_error) + offset_v)/lsb_v + linearity + noise, rounded and clipped."""

    lsb_v: float
    low_code: int
    full_code: int
    gain_error: float
    offset_v: float
    noise_lsb: float
    sample_s: float
    linearity: Linearity


@dataclass(frozen=True)
class NullParts:
    """The null channel: volts a step of the setting and at 0, how far a load moves it (V), and
    gain, noise and linearity of the range in which the difference is read."""

    step_v: float
    zero_v: float
    load_shift_v: float
    lsb_v: float
    full_code: int
    gain_error: float
    noise_lsb: float
    linearity: Linearity


@dataclass(frozen=True)
class Parts:
    """One rig. Tuples follow the order of the profile: loads, channels, converters.

    `heating_per_a2s` is how far a load rises, relative, by the heat of each A²s through it.
    """

    load_ohm: tuple[float, ...]
    switch_ohm: tuple[float, ...]
    channels: tuple[ChannelParts, ...]
    reference_v: float
    converters: tuple[ConverterParts, ...]
    force_path_ohm: float
    return_path_ohm: float
    sense_path_ohm: float
    heating_per_a2s: tuple[float, ...]
    schottky: Schottky
    temperature_offset_k: float
    null: NullParts

    @property
    def sample_period_s(self) -> tuple[float, ...]:
        """Time of one conversion of one channel, per converter."""
        return tuple(converter.sample_s for converter in self.converters)


class _Draw:
    """Rectangular draws, or the middle of each when there is no generator."""

    def __init__(self, rng: np.random.Generator | None) -> None:
        self._rng = rng

    def within(self, limit: float) -> float:
        return 0.0 if self._rng is None else float(self._rng.uniform(-limit, limit))

    def about(self, nominal: float, limit_ppm: float) -> float:
        return nominal * (1.0 + self.within(limit_ppm * 1e-6))


def nominal_parts() -> Parts:
    """Every part at its marked value, both converters straight and without offset."""
    return _build(None, wide_codes=False)


def draw_parts(
    rng: np.random.Generator, wide_codes: bool = True, build: int = profile.FULL
) -> Parts:
    """One rig drawn from the profile's limits; `wide_codes` is the RP2040's erratum E11."""
    return _build(rng, wide_codes, build)


def _build(rng: np.random.Generator | None, wide_codes: bool, build: int = profile.FULL) -> Parts:
    draw = _Draw(rng)
    loads = profile.loads_of(build)
    temperature_offset_k = draw.within(BOARD_TEMPERATURE_LIMIT_K)
    load_ohm = tuple(
        draw.about(entry["load_milliohm"] * 1e-3, entry["tolerance_ppm"])
        * (1.0 + entry["tcr_ppm_per_k"] * 1e-6 * temperature_offset_k)
        for entry in loads
    )
    switch_ohm = tuple(
        draw.about(entry["switch_milliohm"] * 1e-3, entry["switch_tolerance_ppm"])
        * (1.0 + entry["switch_tcr_ppm_per_k"] * 1e-6 * temperature_offset_k)
        for entry in loads
    )
    channels = tuple(_channel(draw, entry) for entry in profile.CHANNELS)
    reference_v = draw.about(
        profile.REFERENCE["reference_uv"] * 1e-6, profile.REFERENCE["tolerance_ppm"]
    )
    converters = tuple(
        _converter(rng, index, reference_v, wide_codes) for index in range(len(profile.CONVERTERS))
    )
    sense_path_ohm = profile.LEADS["sense_path_milliohm"] * 1e-3 * (1.0 + draw.within(1.0))
    heating_per_a2s = tuple(_heating(draw, entry) for entry in loads)
    null = _null(rng, converters[profile.ADS1115].gain_error)
    # From clips as good as none to tarnished ones: what it does is read, and falls out.
    return_path_ohm = profile.LEADS["return_path_milliohm"] * 1e-3 * (1.0 + draw.within(0.8))
    return Parts(
        load_ohm=load_ohm,
        switch_ohm=switch_ohm,
        channels=channels,
        reference_v=reference_v,
        converters=converters,
        force_path_ohm=profile.FORCE_PATH_MILLIOHM * 1e-3,
        return_path_ohm=return_path_ohm,
        sense_path_ohm=sense_path_ohm,
        heating_per_a2s=heating_per_a2s,
        schottky=BLOCKING,
        temperature_offset_k=temperature_offset_k,
        null=null,
    )


def _heating(draw: _Draw, entry: dict[str, int]) -> float:
    """Of a resistor whose temperature coefficient is anywhere within its limit, and of a switch
    that warms by anything up to what its chips alone would."""
    load_ohm, switch_ohm = entry["load_milliohm"] * 1e-3, entry["switch_milliohm"] * 1e-3
    resistor = draw.within(entry["tcr_ppm_per_k"] * 1e-6)
    resistor *= load_ohm / (entry["heat_mj_per_k"] * 1e-3)
    chips = 0.5 * (1.0 + draw.within(1.0)) * entry["switch_tcr_ppm_per_k"] * 1e-6
    chips *= switch_ohm / (entry["switch_heat_mj_per_k"] * 1e-3)
    return resistor + chips * switch_ohm / load_ohm


def _channel(draw: _Draw, entry: dict[str, int]) -> ChannelParts:
    ppm = entry["tolerance_ppm"]
    return ChannelParts(
        top_ohm=draw.about(entry["top_ohm"], ppm),
        foot_ohm=draw.about(entry["foot_ohm"], ppm),
        lift_ohm=draw.about(entry["lift_ohm"], ppm),
        range_foot_ohm=draw.about(entry["range_foot_ohm"], ppm),
        follower_offset_v=draw.within(entry["follower_offset_uv"] * 1e-6),
    )


def _null(rng: np.random.Generator | None, converter_gain_error: float) -> NullParts:
    entry = profile.NULL
    draw = _Draw(rng)
    full_code, limit_lsb = entry["full_code"], entry["inl_millilsb"] * 1e-3
    reference_v = draw.about(entry["reference_uv"] * 1e-6, entry["tolerance_ppm"])
    zero_v = draw.within(NULL_ZERO_LIMIT_V)
    shift_v = draw.within(entry["load_shift_nv"] * 1e-9)
    # The ADS1115 has one gain error, and each of its ranges a little one beside it.
    match = draw.within(entry["range_match_ppm"] * 1e-6)
    low_code = -full_code - 1
    linearity = (
        straight(low_code, full_code)
        if rng is None
        else block_curve(rng, low_code, full_code, limit_lsb)
    )
    return NullParts(
        step_v=reference_v / entry["settings"],
        zero_v=zero_v,
        load_shift_v=shift_v,
        lsb_v=entry["lsb_pv"] * 1e-12,
        full_code=full_code,
        gain_error=(1.0 + converter_gain_error) * (1.0 + match) - 1.0,
        noise_lsb=entry["noise_millilsb"] * 1e-3,
        linearity=linearity,
    )


def _converter(
    rng: np.random.Generator | None, index: int, reference_v: float, wide_codes: bool
) -> ConverterParts:
    entry = profile.CONVERTERS[index]
    draw = _Draw(rng)
    full_code = entry["full_code"]
    limit_lsb = entry["inl_millilsb"] * 1e-3
    onboard = index == profile.ONBOARD
    low_code = 0 if onboard else -full_code - 1
    if rng is None:
        linearity = straight(low_code, full_code)
    elif onboard:
        linearity = onboard_curve(rng, full_code, limit_lsb, wide_codes)
    else:
        linearity = block_curve(rng, low_code, full_code, limit_lsb)
    return ConverterParts(
        # The reference is the on-board converter's full scale, so its error is the gain error.
        lsb_v=reference_v / (full_code + 1) if onboard else entry["lsb_nv"] * 1e-9,
        low_code=low_code,
        full_code=full_code,
        gain_error=draw.within(entry["gain_ppm"] * 1e-6),
        offset_v=draw.within(entry["offset_millilsb"] * 1e-3 * entry["lsb_nv"] * 1e-9),
        noise_lsb=entry["noise_millilsb"] * 1e-3,
        # The limit is on the rate, not on the period.
        sample_s=1.0 / draw.about(1e9 / entry["sample_ns"], entry["rate_tolerance_ppm"]),
        linearity=linearity,
    )
