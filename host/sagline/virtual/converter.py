# SPDX-License-Identifier: MIT
"""From a tap's mean voltage to the sum of codes a converter would have delivered."""

import numpy as np
from numpy.typing import NDArray

from sagline.virtual.parts import Parts

# Below this noise the mean of many codes is pulled towards whole codes (0.0135 LSB at 0.4, 0.054
# at 0.3), which the sum below does not model.
_LEAST_NOISE_LSB = 0.4

# A follower's output does not come nearer to ground than this, nor to its 3.3 V supply, which
# is above both converters' full scale.
FOLLOWER_LOW_V = 0.02


class Converter:
    """One converter behind the three channels of a rig; `index` as in the profile.

    Raises ValueError for a noise below 0.4 LSB.
    """

    def __init__(self, parts: Parts, index: int, rng: np.random.Generator) -> None:
        part = parts.converters[index]
        if part.noise_lsb < _LEAST_NOISE_LSB:
            raise ValueError(f"noise of {part.noise_lsb} LSB: sums need {_LEAST_NOISE_LSB} LSB")
        self.sample_s = part.sample_s
        self._part = part
        self._rng = rng
        # Node, follower and converter are one straight line from tap volts to ideal code.
        scale = (1.0 + part.gain_error) / part.lsb_v
        # Rows: range (low, high); columns: channel.
        self._slope = np.empty((2, len(parts.channels)))
        self._at_zero = np.empty_like(self._slope)
        self._least = FOLLOWER_LOW_V * scale + part.offset_v / part.lsb_v
        for channel, resistors in enumerate(parts.channels):
            for range_high in (False, True):
                gain, lift_v = resistors.transfer(parts.reference_v, range_high)
                at_zero = (lift_v + resistors.follower_offset_v) * scale
                self._slope[int(range_high), channel] = gain * scale
                self._at_zero[int(range_high), channel] = at_zero + part.offset_v / part.lsb_v

    def pin_v(
        self, channel: int, tap_mean_v: NDArray[np.float64], range_high: bool
    ) -> NDArray[np.float64]:
        """Volts at the pin of a channel: its node's and the follower's, not below the latter's."""
        at = int(range_high)
        scale = (1.0 + self._part.gain_error) / self._part.lsb_v
        code = tap_mean_v * self._slope[at][channel] + self._at_zero[at][channel]
        return np.maximum(code - self._part.offset_v / self._part.lsb_v, 0.0) / scale

    def mean_code(
        self, channel: int | NDArray[np.int64], tap_mean_v: NDArray[np.float64], range_high: bool
    ) -> NDArray[np.float64]:
        """The code before noise and rounding, linearity included, clipped; same shape.

        `channel` is one for all, or an array of the shape of `tap_mean_v`.
        """
        at = int(range_high)
        ideal = tap_mean_v * self._slope[at][channel] + self._at_zero[at][channel]
        ideal = np.maximum(ideal, self._least)
        code = ideal + self._part.linearity.at(ideal)
        return np.minimum(np.maximum(code, self._part.low_code), self._part.full_code)

    def sum_codes(
        self,
        channel: int | NDArray[np.int64],
        tap_mean_v: NDArray[np.float64],
        n: NDArray[np.int64],
        range_high: bool,
    ) -> NDArray[np.int64]:
        """Total of n conversions per window; all arrays of shape (m,), `channel` as above.

        One conversion is code + noise, rounded. With a noise of at least 0.4 LSB rounding adds
        1/12 LSB² and no bias, so the sum of n has the mean n·code and the variance
        n·(noise² + 1/12). It is drawn at once as a rounded normal; its own rounding brings one
        1/12, which leaves n·noise² + (n − 1)/12 to draw. For n = 1 that is the conversion
        itself.
        Not modelled: the pull towards whole codes (below 0.014 LSB), the change of noise inside
        a wide code, the movement of the voltage within the window through the curve of the
        linearity, correlation between conversions, and the lopsided noise of a mean within a
        few LSB of either end, where the total is only clipped.
        """
        # No conversion at all is no noise either.
        variance = np.maximum(n * self._part.noise_lsb**2 + (n - 1) / 12.0, 0.0)
        noise = np.sqrt(variance) * self._rng.standard_normal(len(n))
        total = np.rint(n * self.mean_code(channel, tap_mean_v, range_high) + noise)
        low, full = n * self._part.low_code, n * self._part.full_code
        return np.minimum(np.maximum(total, low), full).astype(np.int64)
