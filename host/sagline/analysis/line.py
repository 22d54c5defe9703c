# SPDX-License-Identifier: MIT
"""The V-I line V = E − r·I through points whose currents and voltages all err together.

Generalised least squares: the misfit of a point is V + r·I − E, its covariance with those of
the others follows from that of all currents and voltages, and r, which stands in it too, is
found by repeating. That is the least sum of squares over the true points as well, to the first
order in the errors (W. E. Deming, Statistical Adjustment of Data, 1943, ch. 8; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sagline.analysis.values import FloatArray

ROUNDS = 50
SETTLED = 1e-12
"""Relative change of r at which the repetition has come to rest."""


@dataclass(frozen=True, eq=False)
class Points:
    """k points: `current_a` and `v`, (k,) each, and the `covariance`, (2k, 2k), of all currents
    followed by all voltages."""

    current_a: FloatArray
    v: FloatArray
    covariance: FloatArray

    def __post_init__(self) -> None:
        k = self.current_a.size
        if k < 2 or self.v.shape != (k,) or self.covariance.shape != (2 * k, 2 * k):
            raise ValueError("a line needs two points or more, and the covariance of all of them")

    def misfit_covariance(self, r_ohm: float) -> FloatArray:
        """(k, k) covariance of V + r·I."""
        k = self.v.size
        mix = np.hstack([r_ohm * np.eye(k), np.eye(k)])
        return mix @ self.covariance @ mix.T


@dataclass(frozen=True, eq=False)
class LineFit:
    """E (V) and r (ohm) with their `covariance` (2, 2).

    To the first order E = `weights`[0] @ (V + r·I) at this r, and what r is off by
    `weights`[1] @ (V + r·I). `precision` is the inverse covariance of the misfits, `residual_v`
    V + r·I − E; `chi2` would be chi squared of `dof` for a cell whose line is straight.
    `curvature`, (value, s.d.) in V/A², is what a term c·I² beside the line would be; None for
    two points.
    """

    emf_v: float
    r_ohm: float
    covariance: FloatArray
    weights: FloatArray
    precision: FloatArray
    residual_v: FloatArray
    chi2: float
    dof: int
    curvature: tuple[float, float] | None


def fit(points: Points) -> LineFit:
    """The line of least squares. Raises ValueError for currents that are all the same."""
    if np.ptp(points.current_a) <= 1e-9 * np.abs(points.current_a).max():
        raise ValueError("the currents do not differ: there is no line")
    r_ohm = float(-np.polyfit(points.current_a, points.v, 1)[0])
    for _ in range(ROUNDS):
        precision = _inverse(points.misfit_covariance(r_ohm))
        before, r_ohm = r_ohm, float(through(points.current_a, points.v, precision)[0][1])
        if abs(r_ohm - before) <= SETTLED * abs(r_ohm):
            break
    precision = _inverse(points.misfit_covariance(r_ohm))
    (emf_v, r_ohm), weights, covariance = through(points.current_a, points.v, precision)
    residual_v = points.v + r_ohm * points.current_a - emf_v
    return LineFit(
        emf_v=float(emf_v),
        r_ohm=float(r_ohm),
        covariance=covariance,
        weights=weights,
        precision=precision,
        residual_v=residual_v,
        chi2=float(residual_v @ precision @ residual_v),
        dof=points.v.size - 2,
        curvature=_curvature(points, precision),
    )


def through(
    current_a: FloatArray, v: FloatArray, precision: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(E, r), the weights (2, k) and the covariance (2, 2) with given weights of the misfits."""
    return _least_squares(np.column_stack([np.ones_like(current_a), -current_a]), v, precision)


def _least_squares(
    design: FloatArray, v: FloatArray, precision: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    covariance = _inverse(design.T @ precision @ design)
    weights = covariance @ design.T @ precision
    return weights @ v, weights, covariance


def _inverse(matrix: FloatArray) -> FloatArray:
    return np.asarray(np.linalg.inv(matrix), dtype=np.float64)


def _curvature(points: Points, precision: FloatArray) -> tuple[float, float] | None:
    if points.v.size < 3:
        return None
    i = points.current_a
    design = np.column_stack([np.ones_like(i), -i, i * i])
    found, _, covariance = _least_squares(design, points.v, precision)
    return float(found[2]), float(np.sqrt(covariance[2, 2]))
