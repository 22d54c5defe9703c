# SPDX-License-Identifier: MIT
"""The null channel: a voltage set by a PWM, and sense less it in the ADS1115's finest range."""

import math

import numpy as np
from numpy.typing import NDArray

from sagline.virtual.converter import FOLLOWER_LOW_V
from sagline.virtual.parts import NullParts

Floats = NDArray[np.float64]

# The filter is two equal time constants (10 kohm with 1 uF, 47 kohm with 220 nF).
_FILTER_S = 0.0105
# Dielectric absorption of its film capacitors: what follows late, and how late; an assumption,
# for PET or PPS (some 1e-5 after a second; from memory).
_ABSORBED = 1e-5
_ABSORPTION_S = 1.0


class NullVoltage:
    """The voltage at the null pin on the rig's clock, without the load's part.

    The filter is linear, so what is still to come is the sum of what every change left behind:
    (early + late·t/τ)·exp(−t/τ) of the filter and absorbed·exp(−t/T) of its capacitors.
    """

    def __init__(self, parts: NullParts) -> None:
        self._parts = parts
        self._to_v = parts.zero_v
        self._early_v = self._late_v = self._absorbed_v = 0.0
        self._since_us = 0

    def set(self, setting: int, at_us: int) -> None:
        """Head for another setting from where the voltage and its filter are now."""
        t_s = (at_us - self._since_us) * 1e-6
        left = math.exp(-t_s / _FILTER_S)
        to_v = self._parts.zero_v + setting * self._parts.step_v
        step_v = to_v - self._to_v
        self._early_v = (self._early_v + self._late_v * t_s / _FILTER_S) * left
        self._early_v -= step_v * (1.0 - _ABSORBED)
        self._late_v = self._late_v * left - step_v * (1.0 - _ABSORBED)
        self._absorbed_v = self._absorbed_v * math.exp(-t_s / _ABSORPTION_S) - step_v * _ABSORBED
        self._to_v = to_v
        self._since_us = at_us

    def at(self, at_us: Floats) -> Floats:
        """Volts at each instant, none before the last change.

        A conversion takes its middle: within one the voltage moves by less than a code, but in
        the first tenth of a second after a change.
        """
        t_s = (at_us - self._since_us) * 1e-6
        left_v = (self._early_v + self._late_v * t_s / _FILTER_S) * np.exp(-t_s / _FILTER_S)
        left_v = left_v + self._absorbed_v * np.exp(-t_s / _ABSORPTION_S)
        return np.maximum(self._to_v + left_v, FOLLOWER_LOW_V)


class Difference:
    """Codes of sense less null."""

    def __init__(self, parts: NullParts, noise: np.random.Generator) -> None:
        self._parts = parts
        self._noise = noise

    def codes(self, sense_pin_v: Floats, null_pin_v: Floats, loaded: bool) -> NDArray[np.int64]:
        """One conversion per pair of mean voltages at the pins."""
        parts = self._parts
        null_pin_v = null_pin_v + (parts.load_shift_v if loaded else 0.0)
        ideal = (sense_pin_v - null_pin_v) * (1.0 + parts.gain_error) / parts.lsb_v
        code = ideal + parts.linearity.at(ideal)
        code = np.rint(code + parts.noise_lsb * self._noise.standard_normal(len(code)))
        return np.clip(code, -parts.full_code - 1, parts.full_code).astype(np.int64)
