# SPDX-License-Identifier: MIT
"""Integral non-linearity of the converters, one curve per rig."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# RP2040 erratum E11: these codes are wide, by about 8.9 LSB (an independent characterisation:
# DNL 8.9 LSB, INL 7.85 LSB).
_WIDE_CODE_LSB = 8.9
_FIRST_WIDE_CODE = 512
_WIDE_CODE_EVERY = 1024
_SMOOTH_KNOT_CODES = 128
_BLOCK_CODES = 16
_STEP_CODES = 1e-6
_FINE_CODES = 2
_FINE_LSB = 0.25


@dataclass(frozen=True, eq=False)
class Linearity:
    """Error in LSB tabulated over ideal codes, straight between, constant beyond the ends."""

    code: Floats
    error_lsb: Floats

    def at(self, code: Floats) -> Floats:
        """Error in LSB at ideal codes of any shape."""
        return np.interp(code, self.code, self.error_lsb)


def straight(low_code: int, full_code: int) -> Linearity:
    """A converter without error."""
    return Linearity(np.array([low_code, full_code], dtype=np.float64), np.zeros(2))


def block_curve(
    rng: np.random.Generator, low_code: int, full_code: int, limit_lsb: float
) -> Linearity:
    """Blocks of 16 codes of one error each and a drawn phase, and something finer on top.

    The data sheet bounds the error and says nothing of its shape: a block is anywhere within the
    limit, and so is the sum. Blocks make two voltages more than 16 codes apart independent, and
    what is fine leaves no two levels without some error between them, which is what the
    uncertainty budget claims.
    """
    edge = low_code + int(rng.integers(_BLOCK_CODES)) + 0.5
    edges = np.arange(edge, full_code, _BLOCK_CODES)
    # Both sides of an edge, so that the error steps there.
    code = np.sort(np.concatenate([np.arange(low_code, full_code + 1), edges, edges + _STEP_CODES]))
    blocks = rng.uniform(-limit_lsb, limit_lsb, edges.size + 1)
    error_lsb = blocks[np.searchsorted(edges, code)] + _fine(rng, code)
    return Linearity(code, np.clip(error_lsb, -limit_lsb, limit_lsb))


def _fine(rng: np.random.Generator, code: Floats) -> Floats:
    """Uniform within the fine limit at every second code, a line between."""
    position = (code - code[0] + int(rng.integers(_FINE_CODES))) / _FINE_CODES
    knots = rng.uniform(-_FINE_LSB, _FINE_LSB, int(position[-1]) + 2)
    return np.interp(position, np.arange(knots.size), knots)


def onboard_curve(
    rng: np.random.Generator, full_code: int, limit_lsb: float, wide_codes: bool
) -> Linearity:
    """The microcontroller's converter: a smooth random bow and, on the RP2040, four wide codes.

    A wide code holds the output still while the input passes 8.9 LSB more than it should, so
    the error falls by 8.9 LSB with slope −1 around it and climbs back in the 1015 codes
    between: a sawtooth of ±4.45 LSB. The bow has knots every 128 codes, uniform within what
    the limit leaves, and half a cosine between neighbours, which never overshoots them. Something
    finer lies on top. Raises ValueError if the limit leaves no room for the sawtooth.
    """
    half_lsb = _WIDE_CODE_LSB / 2.0 if wide_codes else 0.0
    if limit_lsb <= half_lsb + _FINE_LSB:
        raise ValueError(f"a linearity limit of {limit_lsb} LSB is less than the wide codes need")
    bow_limit = limit_lsb - half_lsb - _FINE_LSB
    code = np.arange(full_code + 1, dtype=np.float64)
    position = code / _SMOOTH_KNOT_CODES + rng.uniform()
    knot = position.astype(np.int64)
    knots = rng.uniform(-bow_limit, bow_limit, int(knot[-1]) + 2)
    blend = (1.0 - np.cos(np.pi * (position - knot))) / 2.0
    bow = knots[knot] * (1.0 - blend) + knots[knot + 1] * blend
    bow += _fine(rng, code)
    if not wide_codes:
        return Linearity(code, bow)
    # The wide codes are codes of the output, so the sawtooth is met after the bow.
    after = code + bow
    offset = (after - _FIRST_WIDE_CODE + _WIDE_CODE_EVERY / 2) % _WIDE_CODE_EVERY
    from_wide = offset - _WIDE_CODE_EVERY / 2
    climb = (
        half_lsb * (_WIDE_CODE_EVERY / 2 - np.abs(from_wide)) / (_WIDE_CODE_EVERY / 2 - half_lsb)
    )
    saw = np.where(np.abs(from_wide) < half_lsb, -from_wide, -np.sign(from_wide) * climb)
    return Linearity(code, bow + saw)
