# SPDX-License-Identifier: MIT
"""A straight line y = a + b x through points whose x and y are both uncertain.

Two points give it without a check. Three and more are fitted with weights from their
uncertainties; how far they lie off the line is then known too. Where nobody stated how good the
readings are, that is what tells; where somebody did, points that lie farther off than they may
(beyond the 99 % quantile of chi squared) widen U as well.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np

from sagline.analysis.budget import Figures, figures, line_through, uncertain
from sagline.analysis.influences import Influence
from sagline.analysis.repeats import Scatter
from sagline.analysis.values import AnalysisError, FloatArray

OFF_LINE = "points off the line"
TELLING = 0.99
"""Beyond this quantile of chi squared points lie off the line for more than chance."""

Coordinates = Callable[[Mapping[str, Any]], tuple[list[Any], list[Any]]]
"""Takes x and y of every point from the inputs."""
Outputs = Callable[[Any, Any, Mapping[str, Any]], dict[str, Any]]
"""Makes figures of a, b and the inputs; on numbers of any sort. The first two belong to the
line alone."""

_NO_LINE = AnalysisError(
    "no_line",
    "no line is found through the points: they lie too far from any",
    "check the numbers typed",
)


@dataclass(frozen=True)
class Fit:
    """The line at the nominal values, and what follows from it.

    `chi2` is the weighted sum of squares about the line with `dof` degrees of freedom, `limit`
    the quantile that it should keep below; of two points they mean nothing. `x`, `y`, `u_y`
    are the points, `u_y` with the part of x in it.
    """

    figures: Figures
    a: float
    b: float
    x: tuple[float, ...]
    y: tuple[float, ...]
    u_y: tuple[float, ...]
    chi2: float
    dof: int
    limit: float

    @property
    def off(self) -> bool:
        """Whether the points lie off the line by more than is known of them."""
        return self.dof > 0 and self.chi2 > self.limit


def fit(
    coordinates: Coordinates, outputs: Outputs, influences: Sequence[Influence], known: bool
) -> Fit:
    """Fit and propagate. `known` is whether the readings' uncertainties were stated.

    Raises ValueError for fewer than two different x, AnalysisError where no line is found.
    """
    zero = {item.name: 0.0 for item in influences}
    x, y = (np.array(values, dtype=float) for values in coordinates(zero))
    if len(x) < 2 or np.ptp(x) == 0.0:
        raise ValueError("a line takes two different x")
    dof = len(x) - 2
    numbers = uncertain(influences)
    # About 1 for the search.
    scale_x, scale_y = float(np.max(np.abs(x))), float(np.max(np.abs(y)))
    guess_b, guess_a = np.polyfit(x / scale_x, y / scale_y, 1)

    def through(inputs: Mapping[str, Any]) -> tuple[Any, Any, float]:
        xs, ys = coordinates(inputs)
        if not dof:
            b = (ys[1] - ys[0]) / (xs[1] - xs[0])
            return ys[0] - b * xs[0], b, 0.0
        near = [one / scale_x for one in xs], [one / scale_y for one in ys]
        try:
            a, b, chi2 = line_through(*near, (guess_a, guess_b))
        except ValueError:
            raise _NO_LINE from None
        return a * scale_y, b * (scale_y / scale_x), chi2

    fitted = through(numbers)

    def model(inputs: Mapping[str, Any]) -> dict[str, Any]:
        a, b, _ = fitted if inputs is numbers else through(inputs)
        return outputs(a, b, inputs)

    a, b, chi2 = _value(fitted[0]), _value(fitted[1]), fitted[2]
    u_y = _about_line(coordinates(numbers), b)
    limit = _quantile(dof) if dof else 0.0
    excess = chi2 / dof - 1.0 if dof else 0.0
    scatter = None
    if excess > 0.0 and (not known or chi2 > limit):
        scatter = _scatter(a, b, x, u_y, excess, dof, outputs, zero)
    found = figures(model, influences, scatter, OFF_LINE, drawable=not dof, known=numbers)
    return Fit(found, a, b, tuple(x), tuple(y), tuple(u_y), chi2, dof, limit)


def extremes(found: Fit, times: float) -> tuple[float, float] | None:
    """The least and the greatest b of all lines through every bar y +- times u_y.

    None where no line passes through all of them.
    """
    from scipy.optimize import linprog

    x, y = np.array(found.x), np.array(found.y)
    half = times * np.array(found.u_y)
    # About 1, as the search wants it; variables a and b.
    scale_x, scale_y = float(np.max(np.abs(x))), float(np.max(np.abs(y)))
    columns = np.column_stack([np.ones_like(x), x / scale_x])
    bounds = np.concatenate([(y + half) / scale_y, -(y - half) / scale_y])
    sides = []
    for sign in (1.0, -1.0):
        one = linprog([0.0, sign], np.vstack([columns, -columns]), bounds, bounds=(None, None))
        if not one.success:
            return None
        sides.append(float(one.x[1]) * scale_y / scale_x)
    return sides[0], sides[1]


def _value(number: Any) -> float:
    return float(getattr(number, "x", number))


def _about_line(points: tuple[list[Any], list[Any]], b: float) -> FloatArray:
    """u of y - b x of every point, with what x and y have in common."""
    residuals = [y - b * x for x, y in zip(*points, strict=True)]
    return np.array([float(getattr(one, "u", 0.0)) for one in residuals])


def _quantile(dof: int) -> float:
    from scipy.stats import chi2

    return float(chi2.ppf(TELLING, dof))


def _scatter(
    a: float, b: float, x: FloatArray, u_y: FloatArray, excess: float, dof: int,
    outputs: Outputs, zero: Mapping[str, Any],
) -> Scatter:  # fmt: skip
    """The Type A of the first two outputs from the points' distances from the line.

    It is what the covariance of a and b would be for errors of the weights' size (GUM H.3),
    times how far the mean square exceeds 1, carried to the outputs by their derivatives.
    """
    columns = np.column_stack([np.ones_like(x), x]) / u_y[:, None]
    covariance = np.linalg.inv(columns.T @ columns)
    steps = 1e-4 * np.sqrt(np.diag(covariance))
    derivatives = []
    for da, db in ((steps[0], 0.0), (0.0, steps[1])):
        up, down = outputs(a + da, b + db, zero), outputs(a - da, b - db, zero)
        names = list(up)[:2]
        derivatives.append([(up[name] - down[name]) / (2.0 * (da + db)) for name in names])
    slope = np.array(derivatives).T
    of_outputs = slope @ covariance @ slope.T * excess
    # Rows of a sample that has this covariance and these degrees of freedom.
    values, vectors = np.linalg.eigh(of_outputs)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return Scatter(sqrt(dof) * np.eye(dof + 1, 2) @ root.T, 1)
