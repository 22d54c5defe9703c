# SPDX-License-Identifier: MIT
"""The parts of one board: as marked, or anywhere within the limits of the profile.

Written apart from the virtual rig and from the analysis; the numbers are the profile's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sagline_board import profile
from sagline_board.profile import ADS1115, ONBOARD

Floats = NDArray[np.float64]

LOAD_TEMPERATURE_K = 5.0
"""How far a load may be from the temperature of its value; common to all of a board."""

E11_HALF_LSB = 4.45
"""RP2040 erratum RP2040-E11: four codes about 8.9 LSB wide (data sheet, errata; from memory)."""
NULL_LSB_V = 7.8125e-6
"""ADS1115 at ±0.256 V, 16 bits (Texas Instruments, data sheet SBAS444, table of FSR)."""
BLOCK_CODES = 64.0
"""Codes that share one error of the ADS1115; its data sheet bounds the error and says nothing of
its shape. The analysis assumes 16 (`sagerrors.py`): what another length does to its intervals is
what the plant is asked."""
RESISTORS = ("top_ohm", "foot_ohm", "lift_ohm", "range_foot_ohm")


@dataclass(frozen=True, eq=False)
class Curve:
    """Integral non-linearity: error (LSB) by code, in blocks or along half-cosines."""

    phase: float = 0.0
    every: float = 64.0
    values: Floats = field(default_factory=lambda: np.zeros(2))
    smooth: bool = False
    e11: bool = False

    def at(self, code: Floats) -> Floats:
        place = np.clip((code + self.phase) / self.every, 0.0, self.values.size - 1.001)
        if not self.smooth:
            return self.values[place.astype(np.int64)]
        knot = np.floor(place).astype(np.int64)
        rise = 0.5 - 0.5 * np.cos(np.pi * (place - knot))
        bow = self.values[knot] + rise * (self.values[knot + 1] - self.values[knot])
        if not self.e11:
            return bow
        # The wide codes are 512, 1536, 2560 and 3584 of the output.
        from_wide = np.mod(code + bow, 1024.0) - 512.0
        corners = [-512.0, -E11_HALF_LSB, E11_HALF_LSB, 512.0]
        return bow + np.interp(from_wide, corners, [0.0, E11_HALF_LSB, -E11_HALF_LSB, 0.0])


@dataclass(frozen=True, eq=False)
class Parts:
    """Relative errors unless a unit says otherwise; pairs are (on-board, ADS1115)."""

    load: float = 0.0
    switch: float = 0.0
    resistors: Mapping[tuple[int, str], float] = field(default_factory=dict)
    follower_v: tuple[float, float, float] = (0.0, 0.0, 0.0)
    reference: float = 0.0
    gain: tuple[float, float] = (0.0, 0.0)
    offset_lsb: tuple[float, float] = (0.0, 0.0)
    rate: tuple[float, float] = (0.0, 0.0)
    curves: tuple[Curve, Curve] = (Curve(), Curve())
    null_curve: Curve = Curve()

    @classmethod
    def drawn(
        cls,
        rng: np.random.Generator,
        load: int,
        e11: bool = False,
        block_codes: float = BLOCK_CODES,
    ) -> Parts:
        """A board with every part uniform within its limit, whose load `load` is used."""

        def within(limit: float) -> float:
            return float(rng.uniform(-limit, limit))

        def pair(key: str, scale: float) -> tuple[float, float]:
            values = [within(unit[key] * scale) for unit in profile.CONVERTERS]
            return values[ONBOARD], values[ADS1115]

        bank = profile.LOADS[load]
        load_error = within(bank["tolerance_ppm"] * 1e-6)
        warm = within(LOAD_TEMPERATURE_K) * bank["tcr_ppm_per_k"] * 1e-6
        volts = [within(channel["follower_offset_uv"] * 1e-6) for channel in profile.CHANNELS]
        limit = [unit["inl_millilsb"] * 1e-3 for unit in profile.CONVERTERS]
        bow = limit[ONBOARD] - (E11_HALF_LSB if e11 else 0.0)
        return cls(
            load=(1.0 + load_error) * (1.0 + warm) - 1.0,
            switch=within(bank["switch_tolerance_ppm"] * 1e-6),
            resistors={
                (index, name): within(channel["tolerance_ppm"] * 1e-6)
                for index, channel in enumerate(profile.CHANNELS)
                for name in RESISTORS
            },
            follower_v=(volts[0], volts[1], volts[2]),
            reference=within(profile.REFERENCE["tolerance_ppm"] * 1e-6),
            gain=pair("gain_ppm", 1e-6),
            offset_lsb=pair("offset_millilsb", 1e-3),
            rate=pair("rate_tolerance_ppm", 1e-6),
            curves=(
                Curve(rng.uniform(0, 128.0), 128.0, rng.uniform(-bow, bow, 40), True, e11),
                _blocks(rng, 0.0, limit[ADS1115], block_codes),
            ),
            null_curve=_blocks(rng, 32768.0, limit[ADS1115], block_codes),
        )

    @property
    def reference_v(self) -> float:
        return profile.REFERENCE["reference_uv"] * 1e-6 * (1.0 + self.reference)

    def pin_v(self, channel: int, tap_v: Floats, range_high: bool) -> Floats:
        """What both converters see of a tap: its node behind the follower."""
        ohm = {
            name: profile.CHANNELS[channel][name] * (1.0 + self.resistors.get((channel, name), 0.0))
            for name in RESISTORS
            if profile.CHANNELS[channel][name] and (range_high or name != "range_foot_ohm")
        }
        meeting = sum(1.0 / value for value in ohm.values())
        fed_a = tap_v / ohm["top_ohm"] + self.reference_v / ohm["lift_ohm"]
        return fed_a / meeting + self.follower_v[channel]

    def code(self, converter: int, pin_v: Floats) -> Floats:
        """Mean code of a converter, before noise and rounding."""
        unit = profile.CONVERTERS[converter]
        lsb_v = unit["lsb_nv"] * 1e-9
        if converter == ONBOARD:
            lsb_v = self.reference_v / (unit["full_code"] + 1)
        straight = pin_v * (1.0 + self.gain[converter]) / lsb_v + self.offset_lsb[converter]
        return straight + self.curves[converter].at(straight)

    def null_code(self, pin_v: Floats, balance_v: float) -> Floats:
        """The ADS1115's code of sense − null in its finest range."""
        straight = (pin_v - balance_v) * (1.0 + self.gain[ADS1115]) / NULL_LSB_V
        straight = straight + self.offset_lsb[ADS1115]
        return straight + self.null_curve.at(straight)

    def period_us(self, converter: int) -> float:
        """Time of one conversion of one channel."""
        return profile.CONVERTERS[converter]["sample_ns"] * 1e-3 / (1.0 + self.rate[converter])


def _blocks(rng: np.random.Generator, below: float, limit: float, block_codes: float) -> Curve:
    """Blocks of so many codes, each uniform within the limit, from code -`below` up."""
    count = round(1026 * BLOCK_CODES / block_codes)
    return Curve(
        below + rng.uniform(0.0, block_codes), block_codes, rng.uniform(-limit, limit, count)
    )
