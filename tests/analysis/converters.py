# SPDX-License-Identifier: MIT
"""A converter with known errors and a capacitor that is discharged, written apart from both the
analysis and the virtual rig.

The converter is its transition levels: code k is given between T_k and T_(k+1), and with normal
noise the mean code at x is the sum over k of Φ((x − T_k)/σ). A code that is wide (RP2040 data
sheet, erratum E11) is a gap in the levels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from sagline.analysis.calibrating.ramp import Piece
from sagline.analysis.values import RawStep

NOISE = 0.97
WIDE = (512, 1536, 2560, 3584)
WINDOW_S, PIECE_S, GAP_S = 0.05, 6.0, 0.4
ADS_PER_CODE = 11.7
REACH = 6


@dataclass(frozen=True)
class Bow:
    """A smooth error: sines (LSB, period in codes, phase)."""

    sines: tuple[tuple[float, float, float], ...] = ()

    @classmethod
    def drawn(cls, rng: np.random.Generator, lsb: float) -> Bow:
        periods = (170.0, 260.0, 390.0, 600.0, 1100.0)
        return cls(tuple((lsb * rng.normal(), period, rng.uniform(0, 7)) for period in periods))

    def at(self, code: np.ndarray) -> np.ndarray:
        total = np.zeros_like(code)
        for lsb, period, phase in self.sines:
            total += lsb * np.sin(2.0 * np.pi * code / period + phase)
        return total


class Quantizer:
    """4096 codes with a bow and, of an RP2040, four wide ones; `fine` an error of each 4 codes."""

    def __init__(self, bow: Bow, wide_lsb: float = 0.0, fine: np.ndarray | None = None) -> None:
        k = np.arange(1.0, 4097.0)
        width = np.ones(4096)
        width[list(WIDE)] += wide_lsb
        levels = 0.5 + np.cumsum(width) - width[0]
        # All the others are narrower by what the wide ones have too much.
        levels = 0.5 + (levels - 0.5) * 4095.0 / (levels[-1] - 0.5)
        self._level = levels - bow.at(k)
        if fine is not None:
            self._level -= np.repeat(fine, 4)

    def mean(self, x: np.ndarray) -> np.ndarray:
        """Mean code at an input of x LSB."""
        first = np.clip(np.searchsorted(self._level, x) - REACH, 0, 4096 - 2 * REACH)
        near = self._level[first[:, None] + np.arange(2 * REACH)]
        return first + ndtr((x[:, None] - near) / NOISE).sum(axis=1)

    def input_at(self, code: np.ndarray) -> np.ndarray:
        """The input whose mean code is `code`."""
        x = np.arange(20.0, 4075.0, 0.02)
        return np.interp(code, self.mean(x), x)


@dataclass(frozen=True)
class Discharge:
    """From `top` LSB towards `end` with `tau_s`; `late` LSB of it with `late_s`."""

    top: float = 2690.0
    end: float = 285.0
    tau_s: float = 80.0
    late: float = 0.0
    late_s: float = 8.0
    down_to: float = 345.0

    def at(self, t_s: np.ndarray) -> np.ndarray:
        main = (self.top - self.end - self.late) * np.exp(-t_s / self.tau_s)
        return self.end + main + self.late * np.exp(-t_s / self.late_s)


def ramp(
    quantizer: Quantizer, course: Discharge, rng: np.random.Generator, ads: bool, high: bool = False
) -> list[Piece]:
    """What a board records of it: rests of 6 s with gaps between, windows of 50 ms."""
    pieces, begun_s = [], 100.0
    count, sub = round(PIECE_S / WINDOW_S), 5
    t_s = 0.0
    while course.at(np.array([t_s]))[0] > course.down_to:
        start_s = t_s + WINDOW_S * np.arange(count)
        within = start_s[:, None] + WINDOW_S * (np.arange(sub) + 0.5) / sub
        x = course.at(within)
        mean = quantizer.mean(x.ravel()).reshape(x.shape).mean(axis=1)
        n = np.full(count, 8333)
        rows = [(0, n, np.rint(n * mean + NOISE * np.sqrt(n) * rng.standard_normal(count)))]
        if ads:
            few = np.full(count, 20)
            fine = 35.0 + x.mean(axis=1) * ADS_PER_CODE * 1.0012
            fine += 0.5 * np.sin(fine / 40.0) + 0.5 / np.sqrt(20) * rng.standard_normal(count)
            rows.append((4, few, np.rint(20.0 * fine)))
        start_us = np.rint((start_s - t_s) * 1e6).astype(np.int64)
        raw = RawStep(
            source=np.repeat([source for source, _, _ in rows], count),
            start_us=np.tile(start_us, len(rows)),
            length_us=np.full(count * len(rows), round(WINDOW_S * 1e6)),
            n=np.concatenate([n for _, n, _ in rows]),
            total=np.concatenate([total for _, _, total in rows]).astype(np.int64),
            edges_us=(), load=0, range_high=high, segments=((0, round(PIECE_S * 1e3)),),
        )  # fmt: skip
        pieces.append(Piece(begun_s + t_s, raw))
        t_s += PIECE_S + GAP_S
    return pieces
