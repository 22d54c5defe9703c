# SPDX-License-Identifier: MIT
"""The on-board converter's linearity: a table that corrects it, and its wide codes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sagline.analysis.values import ONBOARD, FloatArray, RawStep

WIDE_CODES = (512, 1536, 2560, 3584)
"""Codes of the RP2040's converter that stand still while the input passes about 9 LSB (RP2040
data sheet, erratum E11)."""

WIDE_MARGIN_CODES = 3.0
"""Three standard deviations of one conversion's noise (0.97 LSB): a level nearer to a wide code
than that has conversions in it."""


@dataclass(frozen=True)
class OnboardTable:
    """What to add to the converter's codes, in LSB: `correction_lsb` at the knots `code`
    (rising), straight between, constant beyond.

    `residual_lsb` is the half-width of what is left after it, rectangular, and `span_codes` how
    far apart two codes must be for what is left there to be independent; None is unknown.
    """

    code: tuple[float, ...]
    correction_lsb: tuple[float, ...]
    residual_lsb: float | None = None
    span_codes: float | None = None

    def corrected(self, codes: FloatArray) -> FloatArray:
        """Mean codes of any shape, corrected."""
        return codes + np.interp(codes, self.code, self.correction_lsb)


def corrected(raw: RawStep, table: OnboardTable, full_code: int) -> RawStep:
    """The step with the on-board converter's sums corrected; its `total` are floats then.

    A point at either end of the converter's codes is left as it is, so that it still shows as
    clipped. The record itself keeps what the board summed.
    """
    total = raw.total.astype(np.float64)
    n = np.maximum(raw.n, 1)
    codes = total / n
    chosen = (raw.source // 4 == ONBOARD) & (raw.n > 0) & (codes > 0.0) & (codes < full_code)
    total[chosen] = table.corrected(codes[chosen]) * n[chosen]
    return replace(raw, total=total)


def straddled(open_code: float, loaded_code: float) -> int | None:
    """The wide code between the open and the loaded level of a step, or within reach of either.

    Levels in mean codes as the converter gave them, uncorrected. None where there is none.
    """
    low, high = sorted((open_code, loaded_code))
    for code in WIDE_CODES:
        if low - WIDE_MARGIN_CODES < code < high + WIDE_MARGIN_CODES:
            return code
    return None
