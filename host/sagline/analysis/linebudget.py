# SPDX-License-Identifier: MIT
"""The uncertainty of a V-I line: of its points together, and so of E, r and what follows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np

from sagline.analysis import budget
from sagline.analysis.influences import Influence
from sagline.analysis.line import LineFit, Points, fit
from sagline.analysis.linemodel import LineModel
from sagline.analysis.montecarlo import DRAWS, SEED, draw
from sagline.analysis.nonlinearity import LevelErrors, together
from sagline.analysis.values import FloatArray, Quantity


@dataclass(frozen=True)
class Pooled:
    """Scatter of the voltage at one current (V), one estimate from all points with `dof`;
    `counts` are the repeats of each point."""

    s_v: float
    dof: int
    counts: tuple[int, ...]

    @property
    def u_v(self) -> list[float]:
        """Of each point's mean."""
        return [self.s_v / sqrt(count) for count in self.counts]


class LineBudget:
    """The points of a line as uncertain numbers, the line through them, and figures of both.

    Raises ValueError where the currents are all the same.
    """

    def __init__(self, model: LineModel, pooled: Pooled) -> None:
        self._model = model
        self._pooled = pooled
        self._errors: LevelErrors = together(model.errors)
        self._numbers = budget.uncertain(list(model.inputs.values()))
        # By key: several points have inputs of one name.
        self._numbers = {
            key: budget.uncertain([item])[item.name] for key, item in model.inputs.items()
        }
        joint = budget.joint(self._errors)
        noise = budget.ensemble(pooled.u_v, pooled.dof) if pooled.s_v else [0.0] * len(pooled.u_v)
        self.points = [
            (current, v + extra)
            for (current, v), extra in zip(
                model.terminals({**self._numbers, **joint}), noise, strict=True
            )
        ]
        self._listed: list[tuple[Influence, Any]] = [
            (model.inputs[key], number) for key, number in self._numbers.items()
        ]
        independent = [number for _, number in self._listed]
        independent += [number for number in noise if hasattr(number, "u")]
        self._linearity = [
            (Influence(name, budget.LINEARITY, 0.0), number)
            for name, number in joint.items()
            if hasattr(number, "u")
        ]
        z = [current for current, _ in self.points] + [v for _, v in self.points]
        own = budget.components(z, independent)
        covariance = own @ own.T
        if self._linearity:
            shared = budget.components(z, [number for _, number in self._linearity])
            u = np.array([float(number.u) for _, number in self._linearity])
            names = [item.name for item, _ in self._linearity]
            at = [self._errors.names.index(name) for name in names]
            kernel = self._errors.covariance()[np.ix_(at, at)]
            covariance += (shared / u) @ kernel @ (shared / u).T
        value = np.array([float(number.x) for number in z])
        k = len(self.points)
        self.observed = Points(value[:k], value[k:], covariance)
        self.fit: LineFit = fit(self.observed)
        self.emf_v = self._weighted(self.fit.weights[0])
        self.r_ohm = self.fit.r_ohm + self._weighted(self.fit.weights[1])
        self._drawn: FloatArray | None = None

    def _weighted(self, weights: FloatArray) -> Any:
        r_ohm = self.fit.r_ohm
        return sum(
            float(w) * (v + r_ohm * current)
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
        whole = float(np.trace(self.observed.misfit_covariance(self.fit.r_ohm)))
        share = sum(u * u for u in self._pooled.u_v) / whole
        return self._pooled.dof / share**2 if share else float("inf")

    def quantity(self, number: Any, drawn: Callable[[FloatArray, FloatArray], Any]) -> Quantity:
        """A figure of the points: `drawn` makes it of draws of currents and voltages, (k, n) each.

        Without any scatter between repeats it has no interval.
        """
        if self._pooled.dof < 1:
            return Quantity(float(number.x), None, None, None, None, None)
        listed = [*self._listed, *self._linearity]
        return budget.figure(number, listed, lambda: drawn(*self.draws()))

    def emf(self) -> Quantity:
        """E of the line (V)."""
        weights, r_ohm = self.fit.weights[0], self.fit.r_ohm
        return self.quantity(self.emf_v, lambda i, v: weights @ (v + r_ohm * i))

    def r(self) -> Quantity:
        """r of the line (ohm)."""
        weights, r_ohm = self.fit.weights[1], self.fit.r_ohm
        return self.quantity(self.r_ohm, lambda i, v: r_ohm + weights @ (v + r_ohm * i))

    def two_current(self, light: int, heavy: int) -> Quantity:
        """(V₁ − V₂)/(I₂ − I₁) of two points, by their places (ohm)."""
        (i1, v1), (i2, v2) = self.points[light], self.points[heavy]
        return self.quantity(
            two_current_ohm(i1, v1, i2, v2),
            lambda i, v: two_current_ohm(i[light], v[light], i[heavy], v[heavy]),
        )

    def gap(self) -> Quantity:
        """The line's E less the open-circuit one, which every point was counted from (V)."""
        open_v = self._model.outputs(self._all())[-1].emf_v
        return self.quantity(self.emf_v - open_v, self._gap_of_draws)

    def _all(self) -> Mapping[str, Any]:
        return {**self._numbers, **{item.name: number for item, number in self._linearity}, **{
            name: 0.0 for name in self._errors.names
            if name not in {item.name for item, _ in self._linearity}
        }}  # fmt: skip

    def _gap_of_draws(self, i: FloatArray, v: FloatArray) -> FloatArray:
        weights, r_ohm = self.fit.weights[0], self.fit.r_ohm
        return weights @ (v + r_ohm * i) - self._open_drawn

    def draws(self) -> tuple[FloatArray, FloatArray]:
        """Currents and voltages (k, n) of a Monte Carlo run of the same model, made once."""
        if self._drawn is None:
            generator = np.random.default_rng(SEED)
            named = [
                Influence(key, item.source, item.value, item.spread, item.shape, item.dof)
                for key, item in self._model.inputs.items()
            ]
            x = draw(named, generator)
            x.update(self._errors.draws(generator, DRAWS))
            self._open_drawn = np.asarray(self._model.outputs(x)[-1].emf_v)
            pairs = self._model.terminals(x)
            scale = np.sqrt(self._pooled.dof / generator.chisquare(self._pooled.dof, DRAWS))
            u_v = np.array(self._pooled.u_v)[:, None]
            noise = generator.standard_normal((len(pairs), DRAWS)) * u_v * scale
            current_a = np.stack([np.broadcast_to(i, DRAWS) for i, _ in pairs])
            v = np.stack([np.broadcast_to(v, DRAWS) for _, v in pairs]) + noise
            self._drawn = np.stack([current_a, v])
        return self._drawn[0], self._drawn[1]


def two_current_ohm(i1: Any, v1: Any, i2: Any, v2: Any) -> Any:
    """(V₁ − V₂)/(I₂ − I₁): r by the difference of two currents, of whatever number type."""
    return (v1 - v2) / (i2 - i1)


def pooled(
    current_a: Sequence[float], deviations_ohm: Sequence[FloatArray], counts: Sequence[int]
) -> Pooled:
    """The scatter of all points as one: `deviations_ohm` of each point's r from their mean.

    A converter's noise and hum are the same volts at every current, so I·δr of all points are
    of one distribution.
    """
    squares = sum(
        float(((i * one) ** 2).sum()) for i, one in zip(current_a, deviations_ohm, strict=True)
    )
    dof = sum(max(0, count - 1) for count in counts)
    return Pooled(sqrt(squares / dof) if dof else 0.0, dof, tuple(counts))
