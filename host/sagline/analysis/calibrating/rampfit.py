# SPDX-License-Identifier: MIT
"""The converter's error along its codes from the windows of a ramp, with its covariance.

What the ramp's true course is, is known but for a few parameters: with an ADS1115 a straight
line of its codes; without one B + A·exp(−t/τ) + D·exp(−t/τ₂), a capacitor that a resistor
discharges and that gives a part of its charge late (dielectric absorption). What these leave
of the codes is the converter's, at knots with straight lines between. Both are found together,
the knots as a Gaussian process of the size and smoothness that the data sheet's limit allows
(O'Hagan, "Curve fitting and optimal design for prediction", 1978): where parameters and
converter cannot be told apart, the covariance says so. A straight line in the codes is
never found: offset and gain belong to other calibrations.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import least_squares
from scipy.sparse import csr_array

from sagline.analysis.calibrating.ramp import Windows
from sagline.analysis.nonlinearity import Process
from sagline.analysis.onboard_table import WIDE_CODES, WIDE_MARGIN_CODES, OnboardTable
from sagline.analysis.sagerrors import BOW_CODES, FINE
from sagline.analysis.values import BoolArray, FloatArray

KNOT_CODES = 16
KNOT_LSB = 0.3
"""S.d. of a knot beside the smooth bow: what of the converter is as fine as the knots."""
WIDE_LSB = 2.0
"""S.d. of how far the step at a wide code may be from its nominal size."""

_LATE_RATIO = 5.0
"""Where the search for τ₂ begins: τ over this."""


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
        # As much is known of a code as the ramp moves there: what is fine repeats within 2 codes.
        variance = FINE.limit_codes**2 / 3.0 * FINE.span_codes
        self._weight = np.maximum(windows.moved, 1e-3) / variance
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

    def covariance(self, unknown: FloatArray) -> FloatArray:
        """Of the knots, where a course is known but for the `unknown` columns (windows, p)."""
        own = cho_solve(self._factor, np.eye(self.size))
        taken = self.knots_of(unknown)
        root = self.misfit(unknown)
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
    made = _line if exact else _discharge
    columns = made(few)
    shape = np.zeros(0) if exact else _search(converter, columns, _straight(few, nominal), few)
    base = _straight(few, nominal)
    course = columns(shape)
    beta = _least(converter.misfit(course), converter.misfit(base))
    knots = converter.knots_of(course @ beta - base)
    unknown = np.column_stack([course, *_slopes(columns, shape, beta)])
    free = _free_of_line(converter.knots)
    left = made(used)(shape) @ beta - _straight(used, nominal)
    return Fit(
        code=converter.knots,
        error_lsb=free @ knots,
        covariance=free @ converter.covariance(unknown) @ free.T,
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


Columns = Callable[[FloatArray], FloatArray]


def _line(windows: Windows) -> Columns:
    fixed = np.column_stack([np.ones_like(windows.fine), windows.fine])
    return lambda shape: fixed


def _discharge(windows: Windows) -> Columns:
    """Columns by the logarithms of τ of each range, and of τ₂: B of a range, A and D of a ramp."""
    ranges = [high for high in (False, True) if (windows.high == high).any()]
    ramps = np.unique(windows.ramp)

    def columns(shape: FloatArray) -> FloatArray:
        tau_s, late_s = np.exp(shape[:-1]), np.exp(shape[-1])
        made = []
        for high, tau in zip(ranges, tau_s, strict=True):
            within = windows.high == high
            made.append(within.astype(np.float64))
            for ramp in ramps:
                own = within & (windows.ramp == ramp)
                if own.any():
                    made += [
                        own * np.exp(-windows.t_s / tau),
                        own * np.exp(-windows.t_s / late_s),
                    ]
        return np.column_stack(made)

    return columns


def _search(
    converter: _Converter, columns: Columns, base: FloatArray, windows: Windows
) -> FloatArray:
    """The logarithms of the time constants that fit best."""
    begin = []
    for high in (False, True):
        own = windows.high == high
        if own.any():
            begin.append(np.log(_time_constant_s(windows.of(own))))
    begin.append(begin[0] - np.log(_LATE_RATIO))
    held = converter.misfit(base)

    def misfit(shape: FloatArray) -> FloatArray:
        design = converter.misfit(columns(shape))
        return design @ _least(design, held) - held

    start = np.array(begin)
    reach = np.full(start.size, np.log(3.0))
    reach[-1] = np.log(_LATE_RATIO) - 0.2
    bounds = (start - reach, start + reach)
    return least_squares(misfit, start, bounds=bounds, x_scale=0.1, xtol=1e-5, ftol=1e-6).x


def _time_constant_s(windows: Windows) -> float:
    """A first guess: −1 over the slope of dV/dt against V."""
    first = windows.of(windows.ramp == windows.ramp[0])
    step = max(1, first.code.size // 50)
    code, t_s = first.code[::step], first.t_s[::step]
    slope = np.diff(code) / np.diff(t_s)
    return float(-1.0 / np.polyfit(0.5 * (code[1:] + code[:-1]), slope, 1)[0])


def _slopes(columns: Columns, shape: FloatArray, beta: FloatArray) -> list[FloatArray]:
    made = []
    for at in range(shape.size):
        step = np.zeros(shape.size)
        step[at] = 1e-3
        made.append((columns(shape + step) - columns(shape - step)) @ beta / 2e-3)
    return made


def _prior(knots: FloatArray, wide: bool, limit_codes: float) -> FloatArray:
    """Covariance of the knots before anything was read."""
    bow = Process(max(limit_codes - FINE.limit_codes, 1.0), BOW_CODES, smooth=True)
    apart = knots[:, None] - knots[None, :]
    cov = bow.correlation(apart) * bow.limit_codes**2 / 3.0 + KNOT_LSB**2 * np.eye(knots.size)
    for code in WIDE_CODES if wide else ():
        side = 0.5 * np.sign(knots - code)
        cov += WIDE_LSB**2 * np.outer(side, side)
    return cov


def _clear_of_wide(code: FloatArray) -> BoolArray:
    return np.abs(code[:, None] - np.array(WIDE_CODES)).min(axis=1) > WIDE_MARGIN_CODES


def _free_of_line(knots: FloatArray) -> FloatArray:
    """Takes the straight line that fits best, knot for knot, off."""
    line = np.column_stack([np.ones_like(knots), knots - knots.mean()])
    return np.eye(knots.size) - line @ np.linalg.pinv(line)
