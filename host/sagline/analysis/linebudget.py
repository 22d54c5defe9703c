# SPDX-License-Identifier: MIT
"""The uncertainty of a V-I line: of its points together, and so of E, r and what follows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt
from typing import Any

import numpy as np

from sagline.analysis import budget
from sagline.analysis.influences import Influence
from sagline.analysis.line import LineFit, Points, fit
from sagline.analysis.linemodel import LineModel
from sagline.analysis.montecarlo import DRAWS, SEED, draw
from sagline.analysis.nonlinearity import together
from sagline.analysis.standards import two_current_ohm
from sagline.analysis.values import FloatArray, Quantity


@dataclass(frozen=True)
class Pooled:
    """Scatter of the voltage at one current (V), one estimate from all points with `dof`;
    `counts` are the repeats of each point, `linearity_v` the part of it that non-linearity is
    expected to make."""

    s_v: float
    dof: int
    counts: tuple[int, ...]
    linearity_v: float = 0.0

    @property
    def u_v(self) -> list[float]:
        """Of each point's mean, beside non-linearity, whose own u has its part in it."""
        return self._of_means(max(0.0, self.s_v**2 - self.linearity_v**2))

    @property
    def explained_u_v(self) -> list[float]:
        """What non-linearity has in the scatter of each point's mean."""
        return self._of_means(min(self.s_v, self.linearity_v) ** 2)

    def _of_means(self, v2: float) -> list[float]:
        return [sqrt(v2 / count) for count in self.counts]


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A Monte Carlo run of the same model: currents and voltages (k, n), and open voltage (n,)."""

    current_a: FloatArray
    v: FloatArray
    open_v: FloatArray


class LineBudget:
    """The points of a line as uncertain numbers, the line through them, and figures of both.

    The line is fitted to voltages counted from the open one, `open_v`: what that is off by moves
    all points, and so E, alike, and must have no say in the weights, or they would let E wander
    from the points for the sake of it. `below` are these points with their covariance. Raises
    ValueError where the currents are all the same.
    """

    def __init__(self, model: LineModel, pooled: Pooled) -> None:
        self._model = model
        self._pooled = pooled
        self._errors = together(model.errors)
        # By key: several points have inputs of one name.
        own = {key: budget.uncertain([item])[item.name] for key, item in model.inputs.items()}
        joint = budget.joint(self._errors)
        self._x: Mapping[str, Any] = {**own, **joint}
        noise = (
            budget.ensemble(pooled.u_v, pooled.dof) if any(pooled.u_v) else [0.0] * len(pooled.u_v)
        )
        pairs = zip(model.terminals(self._x), noise, strict=True)
        self.points = [(current, v + extra) for (current, v), extra in pairs]
        self.open_v = model.outputs(self._x)[-1].emf_v
        linearity = {name: number for name, number in joint.items() if hasattr(number, "u")}
        self._listed: list[tuple[Influence, Any]] = [
            *((model.inputs[key], number) for key, number in own.items()),
            *((Influence(name, budget.LINEARITY, 0.0), x) for name, x in linearity.items()),
        ]
        alone = [*own.values(), *(number for number in noise if hasattr(number, "u"))]
        self.below = self._below(alone, linearity)
        self.fit: LineFit = fit(self.below)
        self.gap_v = self._weighted(self.fit.weights[0])
        self.emf_v = self.open_v + self.gap_v
        self.r_ohm = self.fit.r_ohm + self._weighted(self.fit.weights[1])
        self._made: _Drawn | None = None

    def _below(self, alone: Sequence[Any], linearity: Mapping[str, Any]) -> Points:
        """The points with the covariance that comes of independent inputs and of linearity."""
        z = [current for current, _ in self.points] + [v - self.open_v for _, v in self.points]
        parts = budget.components(z, alone)
        covariance = parts @ parts.T
        if linearity:
            u = np.array([float(number.u) for number in linearity.values()])
            per_code = budget.components(z, list(linearity.values())) / u
            at = [self._errors.names.index(name) for name in linearity]
            covariance += per_code @ self._errors.covariance()[np.ix_(at, at)] @ per_code.T
        value = np.array([float(number.x) for number in z])
        k = len(self.points)
        # Weights go by the whole scatter. Without it they would rest on how alike non-linearity
        # is at two points, which is an assumption.
        covariance[k:, k:] += np.diag(np.square(self._pooled.explained_u_v))
        return Points(value[:k], value[k:], covariance)

    def _weighted(self, weights: FloatArray) -> Any:
        r_ohm = self.fit.r_ohm
        return sum(
            float(w) * (v - self.open_v + r_ohm * current)
            for w, (current, v) in zip(weights, self.points, strict=True)
        )

    @property
    def covariance_v_ohm(self) -> float:
        """Of the line's E and r."""
        return budget.covariance(self.emf_v, self.r_ohm)

    @property
    def noise_dof(self) -> float:
        """Degrees of freedom of the misfits' variance: those of the scatter over its share of it
        squared (Welch-Satterthwaite, GUM G.4.1)."""
        whole = float(np.trace(self.below.misfit_covariance(self.fit.r_ohm)))
        share = sum(self._pooled.s_v**2 / count for count in self._pooled.counts) / whole
        return self._pooled.dof / share**2 if share else float("inf")

    def _quantity(self, number: Any, drawn: Callable[[_Drawn], FloatArray]) -> Quantity:
        """A figure; `drawn` makes it of the draws. Without any scatter it has no interval."""
        if self._pooled.dof < 1:
            return Quantity(float(number.x), None, None, None, None, None)
        return budget.figure(number, self._listed, lambda: drawn(self._draws()))

    def _weigh(self, drawn: _Drawn, which: int) -> FloatArray:
        below_v = drawn.v - drawn.open_v
        return self.fit.weights[which] @ (below_v + self.fit.r_ohm * drawn.current_a)

    def emf(self) -> Quantity:
        """E of the line (V)."""
        return self._quantity(self.emf_v, lambda drawn: drawn.open_v + self._weigh(drawn, 0))

    def r(self) -> Quantity:
        """r of the line (ohm)."""
        return self._quantity(self.r_ohm, lambda drawn: self.fit.r_ohm + self._weigh(drawn, 1))

    def gap(self) -> Quantity:
        """The line's E less the open-circuit one (V)."""
        return self._quantity(self.gap_v, lambda drawn: self._weigh(drawn, 0))

    def two_current(self, light: int, heavy: int) -> Quantity:
        """(V1 - V2)/(I2 - I1) of two points, by their places (ohm)."""
        (i1, v1), (i2, v2) = self.points[light], self.points[heavy]

        def of(drawn: _Drawn) -> FloatArray:
            i, v = drawn.current_a, drawn.v
            return two_current_ohm(i[light], v[light], i[heavy], v[heavy])

        return self._quantity(two_current_ohm(i1, v1, i2, v2), of)

    def _draws(self) -> _Drawn:
        if self._made is None:
            generator = np.random.default_rng(SEED)
            # By key, as above.
            x = draw(
                [replace(item, name=key) for key, item in self._model.inputs.items()], generator
            )
            x.update(self._errors.draws(generator, DRAWS))
            pairs = self._model.terminals(x)
            scale = np.sqrt(self._pooled.dof / generator.chisquare(self._pooled.dof, DRAWS))
            noise = generator.standard_normal((len(pairs), DRAWS)) * scale
            self._made = _Drawn(
                np.stack([np.broadcast_to(current, DRAWS) for current, _ in pairs]),
                np.stack([np.broadcast_to(v, DRAWS) for _, v in pairs])
                + noise * np.array(self._pooled.u_v)[:, None],
                np.broadcast_to(self._model.outputs(x)[-1].emf_v, DRAWS),
            )
        return self._made


def pooled(
    current_a: Sequence[float],
    deviations_ohm: Sequence[FloatArray],
    counts: Sequence[int],
    linearity_v: Sequence[float],
) -> Pooled:
    """The scatter of all points as one: `deviations_ohm` of each point's r from their mean.

    A converter's noise and hum are the same volts at every current, so I·δr of all points are
    of one distribution. Of each point `linearity_v` is the s.d. that non-linearity makes among
    its repeats, each of which begins at another open level: that is in the error of the mean
    already, so that only what is scattered beyond it is noise.
    """
    squares = sum(
        float(((i * one) ** 2).sum()) for i, one in zip(current_a, deviations_ohm, strict=True)
    )
    expected = sum(
        max(0, count - 1) * one**2 for count, one in zip(counts, linearity_v, strict=True)
    )
    dof = sum(max(0, count - 1) for count in counts)
    if not dof:
        return Pooled(0.0, 0, tuple(counts))
    return Pooled(sqrt(squares / dof), dof, tuple(counts), sqrt(expected / dof))
