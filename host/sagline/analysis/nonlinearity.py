# SPDX-License-Identifier: MIT
"""A converter's integral non-linearity as a random process along its codes.

A data sheet bounds the error and says nothing of its shape. What is assumed here, and drawn by
the virtual rig in the same way: knots at even distances, their phase unknown, the error at
each independent and uniform within the limit. Between knots it either stays (blocks: a
sigma-delta converter's calibration steps) or follows half a cosine (a capacitor array's bow).
Two levels near each other then share their error, as they do in a real converter, so that a
small sag is not charged with two whole limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sagline.analysis.values import FloatArray

PHASES = 160
"""Phases of the knots tried in a set of draws, evenly spread; each takes its share of them."""

CODE_GRAIN = 0.25
"""Codes nearer than this are taken as one: no process here changes within it."""


@dataclass(frozen=True)
class Process:
    """Uniform within `limit_codes` at knots `span_codes` apart; `smooth` between or in blocks."""

    limit_codes: float
    span_codes: float
    smooth: bool

    def correlation(self, distance_codes: FloatArray) -> FloatArray:
        """Covariance at a distance over limit squared / 3, the variance of a uniform knot.

        The integral over the phase of the knots' weights at two codes: a triangle for
        blocks, the autocorrelation of a raised cosine (0.75 at distance 0) otherwise.
        """
        d = np.abs(distance_codes) / self.span_codes
        if not self.smooth:
            return np.maximum(0.0, 1.0 - d)
        d = np.minimum(d, 2.0)
        turn = np.pi * d
        return 0.25 * ((2.0 - d) * (1.0 + 0.5 * np.cos(turn)) + 1.5 / np.pi * np.sin(turn))

    def _knots(self, codes: FloatArray, phase: float) -> tuple[FloatArray, FloatArray]:
        """Knot below each code, and the share that the next one has there."""
        position = codes / self.span_codes + phase
        below = np.floor(position)
        share = 0.5 * (1.0 - np.cos(np.pi * (position - below))) if self.smooth else 0.0 * below
        return below, share

    def draws(
        self,
        codes: FloatArray,
        weights: FloatArray,
        generator: np.random.Generator,
        count: int,
    ) -> FloatArray:
        """(k, count) draws of k weighted sums of the error: weights (k, m) at codes (m,)."""
        drawn = np.empty((weights.shape[0], count))
        parts = np.array_split(np.arange(count), min(PHASES, count))
        for number, part in enumerate(parts):
            phase = (number + float(generator.random())) / len(parts)
            below, share = self._knots(codes, phase)
            knots = np.unique(np.concatenate([below, below + 1.0]))
            at = np.searchsorted(knots, below)
            reach = np.array(
                [
                    np.bincount(at, row * (1.0 - share), knots.size)
                    + np.bincount(at + 1, row * share, knots.size)
                    for row in weights
                ]
            )
            errors = generator.uniform(-self.limit_codes, self.limit_codes, (knots.size, part.size))
            drawn[:, part] = reach @ errors
        return drawn


@dataclass(frozen=True, eq=False)
class WeightedCodes:
    """k sums of a process's error: `weights` (k, m) at `codes` (m,), in codes of the result.

    Those of one `origin`, a converter in one of its ranges, are of the same errors.
    """

    process: Process
    codes: FloatArray
    weights: FloatArray
    origin: str = ""

    def __post_init__(self) -> None:
        grain, where = np.unique(np.round(self.codes / CODE_GRAIN), return_inverse=True)
        merged = np.zeros((self.weights.shape[0], grain.size))
        for row, given in zip(merged, self.weights, strict=True):
            row += np.bincount(where, weights=given, minlength=grain.size)
        object.__setattr__(self, "codes", grain * CODE_GRAIN)
        object.__setattr__(self, "weights", merged)

    def covariance(self) -> FloatArray:
        """(k, k) covariance of the sums."""
        distance = self.codes[:, None] - self.codes[None, :]
        kernel = self.process.correlation(distance) * self.process.limit_codes**2 / 3.0
        return self.weights @ kernel @ self.weights.T

    def draws(self, generator: np.random.Generator, count: int) -> FloatArray:
        """(k, count) draws of the sums."""
        return self.process.draws(self.codes, self.weights, generator, count)


@dataclass(frozen=True, eq=False)
class LevelErrors:
    """Errors of the levels named, each a sum over independent processes."""

    names: tuple[str, ...]
    parts: tuple[WeightedCodes, ...]

    def covariance(self) -> FloatArray:
        """(k, k) covariance of the levels' errors, in codes squared."""
        total = np.zeros((len(self.names), len(self.names)))
        for part in self.parts:
            total += part.covariance()
        return total

    def draws(self, generator: np.random.Generator, count: int) -> dict[str, FloatArray]:
        """Draws of each level's error, by name."""
        total = np.zeros((len(self.names), count))
        for part in self.parts:
            total += part.draws(generator, count)
        return dict(zip(self.names, total, strict=True))


def together(errors: Mapping[str, LevelErrors]) -> LevelErrors:
    """The errors of several series as one: each name gets its series' key behind it.

    What is of one origin and process is the same error, read with other weights.
    """
    total = sum(len(one.names) for one in errors.values())
    found: dict[tuple[str, Process], list[tuple[int, WeightedCodes]]] = {}
    names: list[str] = []
    for key, one in errors.items():
        for part in one.parts:
            found.setdefault((part.origin, part.process), []).append((len(names), part))
        names += [f"{name}@{key}" for name in one.names]
    parts = []
    for (origin, process), listed in found.items():
        blocks = []
        for first, part in listed:
            block = np.zeros((total, part.codes.size))
            block[first : first + part.weights.shape[0]] = part.weights
            blocks.append(block)
        codes = np.concatenate([part.codes for _, part in listed])
        parts.append(WeightedCodes(process, codes, np.hstack(blocks), origin))
    return LevelErrors(tuple(names), tuple(parts))
