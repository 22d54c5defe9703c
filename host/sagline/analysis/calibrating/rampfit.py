# SPDX-License-Identifier: MIT
"""The converter's error along its codes from the windows of a ramp, with its covariance.

What the ramp's true course is, is known but for a few numbers (`rampcourse`). What these leave
of the codes is the converter's, at knots with straight lines between. Both are found together,
the knots as a Gaussian process of the size and smoothness that the data sheet's limit allows
(O'Hagan, "Curve fitting and optimal design for prediction", 1978; from memory): where
parameters and converter cannot be told apart, the covariance says so. A straight line in the
codes is never found: offset and gain belong to other calibrations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import least_squares
from scipy.sparse import csr_array

from sagline.analysis.calibrating.ramp import Windows
from sagline.analysis.calibrating.rampcourse import (
    Course,
    discharge,
    line,
    slopes,
    time_constant_s,
)
from sagline.analysis.nonlinearity import Process
from sagline.analysis.onboard_table import WIDE_CODES, WIDE_MARGIN_CODES, OnboardTable
from sagline.analysis.sagerrors import BOW_CODES, FINE
from sagline.analysis.values import BoolArray, FloatArray

KNOT_CODES = 16
KNOT_LSB = 0.3
"""S.d. of a knot beside the smooth bow: what of the converter is as fine as the knots."""
WIDE_LSB = 2.0
"""S.d. of how far the step at a wide code may be from its nominal size."""


@dataclass(frozen=True, eq=False)
class Fit:
    """`error_lsb` to add at the knots `code`, free of a straight line, with its covariance.

    `left_lsb` is what it leaves of each window in `used`; `exact` whether the ramp was held
    against an ADS1115, `slope` its codes' worth of on-board ones then.
    """

    code: FloatArray
    error_lsb: FloatArray
    covariance: FloatArray
    left_lsb: FloatArray
    used: Windows
    exact: bool
    slope: float


class _Converter:
    """The knots beneath given windows: hats, prior, and what they leave of any course."""

    def __init__(self, windows: Windows, wide: bool, limit_codes: float) -> None:
        self.knots = knots_between(float(windows.code.min()), float(windows.code.max()), wide)
        self.size = self.knots.size
        self._hats = self.hats(windows.code)
        # As much is known of a code as a ramp moves there: what is fine is the same within two
        # codes, and in every ramp.
        variance = FINE.limit_codes**2 / 3.0 * FINE.span_codes
        self._weight = np.maximum(windows.moved, 1e-3) / (variance * _ramps_at(windows))
        prior = _prior(self.knots, wide, limit_codes)
        self._root = np.linalg.cholesky(prior)
        known = self._hats.T @ (self._hats * self._weight[:, None])
        self._factor = cho_factor(known.toarray() + np.linalg.inv(prior))

    def hats(self, code: FloatArray) -> csr_array:
        """The share of each knot (columns) at each code (rows)."""
        below = np.searchsorted(self.knots, code, side="right") - 1
        below = np.clip(below, 0, self.size - 2)
        share = (code - self.knots[below]) / np.diff(self.knots)[below]
        rows = np.tile(np.arange(code.size), 2)
        shares = np.concatenate([1.0 - share, share])
        shape = (code.size, self.size)
        return csr_array((shares, (rows, np.concatenate([below, below + 1]))), shape=shape)

    def knots_of(self, left: FloatArray) -> FloatArray:
        """The most likely knots for what a course leaves of the windows; columns likewise."""
        return cho_solve(self._factor, self._hats.T @ (self._weight * left.T).T)

    def misfit(self, left: FloatArray) -> FloatArray:
        """Residuals whose squares sum to minus twice the log likelihood; columns likewise."""
        knots = self.knots_of(left)
        apart = (np.sqrt(self._weight) * (left - self._hats @ knots).T).T
        return np.concatenate([apart, solve_triangular(self._root, knots, lower=True)])

    def covariance(self, unknown: FloatArray, course: Course) -> FloatArray:
        """Of the knots, where the course is known but for the `unknown` columns (windows, p)."""
        own = cho_solve(self._factor, np.eye(self.size))
        taken = self.knots_of(unknown)
        root = course.rows(self.misfit(unknown))
        return own + taken @ np.linalg.pinv(root.T @ root) @ taken.T


def knots_between(low: float, high: float, wide: bool) -> FloatArray:
    """Knots every 16 codes that hold `low` to `high`, and one on either side of a wide code."""
    first, last = np.floor(low / KNOT_CODES), np.ceil(high / KNOT_CODES)
    knots = set((np.arange(first, max(last, first + 1.0) + 1.0) * KNOT_CODES).tolist())
    if wide:
        inside = [code for code in WIDE_CODES if low < code < high]
        knots |= {code + side for code in inside for side in (-1.0, 1.0)}
        knots -= set(map(float, inside))
    return np.array(sorted(knots))


def fit(windows: Windows, nominal: OnboardTable | None, limit_codes: float) -> Fit:
    """Find the converter's error; `nominal` is what is known of its wide codes, None for none.

    `limit_codes` bounds the rest of its error. Windows at a wide code tell nothing of it and
    are left out.
    """
    wide = nominal is not None
    used = windows.of(_clear_of_wide(windows.code)) if wide else windows
    few = used.merged()
    converter = _Converter(few, wide, limit_codes)
    exact = bool(np.isfinite(used.fine).all())
    made = line if exact else discharge
    course = made(few)
    base = _straight(few, nominal)
    shape = np.zeros(0) if exact else _search(converter, course, base, few)
    columns = course.columns(shape)
    beta = _least(course.rows(converter.misfit(columns)), course.rows(converter.misfit(base)))
    knots = converter.knots_of(columns @ beta - base)
    unknown = np.column_stack([columns, *slopes(course, shape, beta)])
    free = _free_of_line(converter.knots)
    left = made(used).columns(shape) @ beta - _straight(used, nominal)
    return Fit(
        code=converter.knots,
        error_lsb=free @ knots,
        covariance=free @ converter.covariance(unknown, course) @ free.T,
        left_lsb=left - converter.hats(used.code) @ knots,
        used=used,
        exact=exact,
        slope=float(beta[1]) if exact else 0.0,
    )


def _straight(windows: Windows, nominal: OnboardTable | None) -> FloatArray:
    return windows.code if nominal is None else nominal.corrected(windows.code)


def _least(design: FloatArray, held: FloatArray) -> FloatArray:
    """Least squares by the normal equations: few columns, far from alike."""
    return np.linalg.solve(design.T @ design, design.T @ held).astype(np.float64)


def _search(
    converter: _Converter, course: Course, base: FloatArray, windows: Windows
) -> FloatArray:
    """The logarithms of the time constants that fit best."""
    owns = [windows.high == high for high in (False, True)]
    start = np.log([time_constant_s(windows.of(own)) for own in owns if own.any()])
    held = course.rows(converter.misfit(base))

    def misfit(shape: FloatArray) -> FloatArray:
        design = course.rows(converter.misfit(course.columns(shape)))
        return design @ _least(design, held) - held

    return least_squares(misfit, start, x_scale=0.1, xtol=1e-5, ftol=1e-6).x


def _prior(knots: FloatArray, wide: bool, limit_codes: float) -> FloatArray:
    """Covariance of the knots before anything was read."""
    bow = Process(max(limit_codes - FINE.limit_codes, 1.0), BOW_CODES, between="cosine")
    apart = knots[:, None] - knots[None, :]
    cov = bow.correlation(apart) * bow.limit_codes**2 / 3.0 + KNOT_LSB**2 * np.eye(knots.size)
    for code in WIDE_CODES if wide else ():
        side = 0.5 * np.sign(knots - code)
        cov += WIDE_LSB**2 * np.outer(side, side)
    return cov


def _ramps_at(windows: Windows) -> FloatArray:
    """How many ramps there are at the codes of each window."""
    at = np.floor(windows.code / KNOT_CODES).astype(np.int64)
    there = np.zeros((int(windows.ramp.max()) + 1, int(at.max()) + 1))
    there[windows.ramp, at] = 1.0
    return there.sum(axis=0)[at]


def _clear_of_wide(code: FloatArray) -> BoolArray:
    return np.abs(code[:, None] - np.array(WIDE_CODES)).min(axis=1) > WIDE_MARGIN_CODES


def _free_of_line(knots: FloatArray) -> FloatArray:
    """Takes the straight line that fits best, knot for knot, off."""
    line = np.column_stack([np.ones_like(knots), knots - knots.mean()])
    return np.eye(knots.size) - line @ np.linalg.pinv(line)
