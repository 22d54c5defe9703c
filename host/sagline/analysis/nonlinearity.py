# SPDX-License-Identifier: MIT
"""A converter's integral non-linearity as a random process along its codes.

A data sheet bounds the error and says nothing of its shape. What is assumed here, and drawn by
the virtual rig in the same way: knots at even distances, their phase unknown, the error at
each independent and uniform within the limit. Between knots it stays (steps: the blocks of a
sigma-delta converter's calibration), or follows a line, or half a cosine (a capacitor array's bow).
Two levels near each other then share their error, as they do in a real converter, so that a
small sag is not charged with two whole limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sagline.analysis.values import FloatArray

PHASES = 80
"""Phases of the knots tried in a set of draws, evenly spread; each takes its share of them."""

SMALL_SHARE = 0.03
"""Of a sum's variance: where there are more than FEW_KNOTS, those with less are drawn together, as
one normal. Their kurtosis, -1.2 of a uniform one's times the share, is lost."""

FEW_KNOTS = 12

CODE_GRAIN = 0.25
"""Codes nearer than this are taken as one: no process here changes within it."""


@dataclass(frozen=True)
class Process:
    """Uniform within `limit_codes` at knots `span_codes` apart, and what is `between` them."""

    limit_codes: float
    span_codes: float
    between: Literal["step", "line", "cosine"]

    def correlation(self, distance_codes: FloatArray) -> FloatArray:
        """Covariance at a distance over limit squared / 3, the variance of a uniform knot.

        The integral over the phase of the knots' weights at two codes: a triangle for steps,
        the autocorrelation of a triangle (2/3 at distance 0) for lines, of a raised cosine
        (0.75 at distance 0) for half cosines.
        """
        d = np.abs(distance_codes) / self.span_codes
        if self.between == "step":
            return np.maximum(0.0, 1.0 - d)
        d = np.minimum(d, 2.0)
        if self.between == "line":
            return np.where(d < 1.0, 2.0 / 3.0 - d * d + 0.5 * d**3, (2.0 - d) ** 3 / 6.0)
        turn = np.pi * d
        return 0.25 * ((2.0 - d) * (1.0 + 0.5 * np.cos(turn)) + 1.5 / np.pi * np.sin(turn))

    def _knots(self, codes: FloatArray, phase: float) -> tuple[FloatArray, FloatArray]:
        """Knot below each code, and the share that the next one has there."""
        position = codes / self.span_codes + phase
        below = np.floor(position)
        share = position - below
        if self.between == "step":
            share = 0.0 * below
        elif self.between == "cosine":
            share = 0.5 * (1.0 - np.cos(np.pi * share))
        return below, share

    def draws(
        self,
        codes: FloatArray,
        weights: FloatArray,
        generator: np.random.Generator,
        count: int,
    ) -> FloatArray:
        """(k, count) draws of k weighted sums of the error: weights (k, m) at rising codes (m,)."""
        drawn = np.empty((weights.shape[0], count))
        parts = np.array_split(np.arange(count), min(PHASES, count))
        for number, part in enumerate(parts):
            phase = (number + float(generator.random())) / len(parts)
            below, share = self._knots(codes, phase)
            # A place for each knot that has a code on either side: two new ones after a gap.
            at = np.cumsum(np.minimum(np.diff(below, prepend=below[0]), 2.0)).astype(np.int64)
            reach = np.array(
                [
                    np.bincount(at, row * (1.0 - share), at[-1] + 2)
                    + np.bincount(at + 1, row * share, at[-1] + 2)
                    for row in weights
                ],
                dtype=np.float64,
            )
            drawn[:, part] = self._sums(reach, generator, part.size)
        return drawn

    def _sums(self, reach: FloatArray, generator: np.random.Generator, count: int) -> FloatArray:
        """(k, count) draws of sums of knots, each weighing `reach` (k, knots) in them."""
        total = (reach**2).sum(axis=1, keepdims=True)
        large = (reach**2 > SMALL_SHARE * total).any(axis=0) | (reach.shape[1] <= FEW_KNOTS)
        some = int(large.sum())
        sums = reach[:, large] @ generator.uniform(-1.0, 1.0, (some, count))
        if some < large.size:
            rest = reach[:, ~large]
            size, along = np.linalg.eigh(rest @ rest.T / 3.0)
            root = along * np.sqrt(np.maximum(size, 0.0))
            sums += root @ generator.standard_normal((root.shape[1], count))
        return self.limit_codes * sums


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
