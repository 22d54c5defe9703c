# SPDX-License-Identifier: MIT
"""Uncertainty: the model run on uncertain numbers, and the budgets read off it.

The only module that uses GTC. It is imported when first needed: it brings scipy along,
which the first screen must not wait for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np

from sagline.analysis.calibration import Outputs, load_resistance, model
from sagline.analysis.influences import FIT, REST_NOISE, SOURCES, Influence
from sagline.analysis.montecarlo import DRAWS, SEED, draw, interval
from sagline.analysis.nonlinearity import LevelErrors
from sagline.analysis.repeats import Scatter
from sagline.analysis.values import BudgetLine, FloatArray, Quantity

BETWEEN_REPEATS = "between repeats"
LINEARITY = "linearity"
TYPE_A = (REST_NOISE, BETWEEN_REPEATS, FIT)
DOMINANT_SHARE = 0.5
"""A bounded input above this share of u squared makes t and Welch-Satterthwaite wrong."""

CURVED_U_REL = 0.1
"""Relative u(r) above which E/r and E^2/(4r) are too curved for the law of propagation."""

MANY_DOF = 1e6
"""Degrees of freedom given as infinite: t and the normal agree to six digits there."""

EXPECTED_DRAWS = 10_000
"""For what is to be expected: they fix half an interval to about 1 %."""

OUTPUTS = ("r_ohm", "emf_v", "current_a")
"""What the model gives, and the order of a Scatter's columns."""


@dataclass(frozen=True)
class Equation:
    """A measurement equation on named inputs of any number type: `model` gives r, E, I, `load`
    the load's resistance (None: there is none to speak of). `sources` always have a line."""

    model: Callable[[Mapping[str, Any]], Outputs]
    load: Callable[[Mapping[str, Any]], Any] | None
    sources: tuple[str, ...]


RIG = Equation(model, load_resistance, SOURCES)


@dataclass(frozen=True)
class Evaluation:
    """Every figure of one time, with the budgets of r (ohm) and E (V) and their covariance."""

    r_ohm: Quantity
    emf_v: Quantity
    current_a: Quantity
    load_ohm: Quantity | None
    short_circuit_a: Quantity | None
    max_power_w: Quantity | None
    budget: tuple[BudgetLine, ...]
    emf_budget: tuple[BudgetLine, ...]
    covariance_v_ohm: float


def _gtc() -> Any:
    import GTC

    return GTC


def coverage_factor(dof: float | None, percent: float = 95.0) -> float:
    """Two-sided factor of the t distribution; `dof` None or infinity for a normal one."""
    return float(_gtc().reporting.k_factor(float("inf") if dof is None else dof, percent))


def uncertain(influences: Sequence[Influence]) -> dict[str, Any]:
    """One independent uncertain number per input, by name; a plain number without spread."""
    return {
        item.name: _gtc().ureal(item.value, item.u, item.dof, label=item.name)
        if item.spread
        else item.value
        for item in influences
    }


def propagate(
    function: Callable[[Mapping[str, Any]], Any], influences: Sequence[Influence]
) -> Quantity:
    """A figure by the law of propagation (GUM 5.1.2) with Welch-Satterthwaite (G.4.1)."""
    return _by_law(function(uncertain(influences)))


def evaluate(
    influences: Sequence[Influence],
    scatter: Scatter | None,
    errors: LevelErrors | None = None,
    equation: Equation = RIG,
) -> Evaluation:
    """Figures and budgets from the inputs of the `equation`; a rig's are `influences_of`.

    `scatter` is the Type A of r, E, I. Without it (a single repeat) u is unknown: the
    figures stand without an interval and the budgets hold the known part only. `errors` takes
    the place of the influences it names: non-linearity as it hits these levels together.
    """
    known = uncertain(influences)
    if errors is not None:
        known.update(joint(errors))
    r, emf, current = equation.model(known)
    extra = _scatter_numbers(scatter)
    r, emf, current = r + extra[0], emf + extra[1], current + extra[2]
    load = None if equation.load is None else equation.load(known)
    drawn = _Draws(influences, scatter, errors, equation)
    inputs = [(item, known[item.name]) for item in influences if hasattr(known[item.name], "u")]

    def quantity(number: Any, name: str, curved: bool = False) -> Quantity:
        if scatter is None and name != "load_ohm":
            return Quantity(float(number.x), None, None, None, None, None)
        if curved or _dominated(number, inputs):
            return _by_draws(number, drawn.of(name))
        return _by_law(number)

    r_figure, emf_figure = quantity(r, "r_ohm"), quantity(emf, "emf_v")
    short_circuit, max_power = None, None
    if r_figure.value > 0.0:
        pair = {"short_circuit_a": emf / r, "max_power_w": emf * emf / (4.0 * r)}
        if r_figure.low95 is not None and r_figure.low95 <= 0.0:
            short_circuit, max_power = _unbounded(r_figure, emf_figure)
        else:
            short_circuit, max_power = (
                quantity(pair[name], name, r.u > CURVED_U_REL * r_figure.value) for name in pair
            )
    return Evaluation(
        r_ohm=r_figure,
        emf_v=emf_figure,
        current_a=quantity(current, "current_a"),
        load_ohm=None
        if load is None
        else quantity(load if hasattr(load, "u") else _gtc().ureal(load, 0.0), "load_ohm"),
        short_circuit_a=short_circuit,
        max_power_w=max_power,
        budget=_lines(r, inputs, extra[0], scatter, equation.sources),
        emf_budget=_lines(emf, inputs, extra[1], scatter, equation.sources),
        covariance_v_ohm=float(_gtc().get_covariance(emf, r)),
    )


class _Draws:
    """The Monte Carlo draws of every figure, made once and only when asked for."""

    def __init__(
        self,
        influences: Sequence[Influence],
        scatter: Scatter | None,
        errors: LevelErrors | None,
        equation: Equation,
        count: int = DRAWS,
    ) -> None:
        self._influences = influences
        self._count = count
        self._equation = equation
        self._scatter = scatter
        self._errors = errors
        self._made: dict[str, FloatArray] = {}

    def of(self, name: str) -> FloatArray:
        if not self._made:
            generator = np.random.default_rng(SEED)
            x = draw(self._influences, generator, self._count)
            if self._errors is not None:
                x.update(self._errors.draws(generator, self._count))
            columns = list(self._equation.model(x))
            if self._scatter is not None and np.any(self._scatter.deviation):
                extra = self._scatter.draws(generator, len(columns[0]))
                columns = [column + extra[:, index] for index, column in enumerate(columns)]
            self._made = dict(zip(OUTPUTS, columns, strict=True))
            r_ohm, emf_v = self._made["r_ohm"], self._made["emf_v"]
            self._made["short_circuit_a"] = emf_v / r_ohm
            self._made["max_power_w"] = emf_v * emf_v / (4.0 * r_ohm)
            if self._equation.load is not None:
                self._made["load_ohm"] = self._equation.load(x)
        return self._made[name]


def _by_law(number: Any) -> Quantity:
    value, u, dof = float(number.x), float(number.u), float(number.df)
    k = coverage_factor(dof)
    finite = dof if dof < MANY_DOF else None
    return Quantity(value, u, finite, k, value - k * u, value + k * u)


def _dominated(number: Any, inputs: Sequence[tuple[Influence, Any]]) -> bool:
    """Whether one bounded input, or non-linearity as a whole, makes more than half of u squared."""
    limit = DOMINANT_SHARE * number.u**2
    if _source_variances(number, inputs).get(LINEARITY, 0.0) > limit:
        return True
    return any(
        item.bounded and _gtc().component(number, part) ** 2 > limit for item, part in inputs
    )


def _source_variances(number: Any, inputs: Sequence[tuple[Influence, Any]]) -> dict[str, float]:
    """u squared by source. Inputs of one source may be correlated, those of two are not."""
    by_source: dict[str, list[Any]] = {}
    for item, part in inputs:
        by_source.setdefault(item.source, []).append(part)
    return {source: _variance(number, parts) for source, parts in by_source.items()}


def _variance(number: Any, parts: Sequence[Any]) -> float:
    signed = [_gtc().rp.u_component(number, part) for part in parts]
    total = sum(u * u for u in signed)
    for i, u_i in enumerate(signed):
        for j in range(i):
            if u_i and signed[j]:
                total += 2.0 * u_i * signed[j] * _gtc().get_correlation(parts[i], parts[j])
    return max(0.0, float(total))


def joint(errors: LevelErrors) -> dict[str, Any]:
    """Correlated uncertain numbers of mean 0, by name; a plain 0 where nothing is uncertain."""
    covariance = errors.covariance()
    u = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    numbers: dict[str, Any] = {
        name: _gtc().ureal(0.0, float(one), label=name, independent=False) if one else 0.0
        for name, one in zip(errors.names, u, strict=True)
    }
    for i, name in enumerate(errors.names):
        for j in range(i):
            if u[i] and u[j]:
                r = float(np.clip(covariance[i, j] / (u[i] * u[j]), -1.0, 1.0))
                _gtc().set_correlation(r, numbers[name], numbers[errors.names[j]])
    return numbers


def ensemble(u: Sequence[float], dof: int) -> list[Any]:
    """Independent numbers of mean 0 whose u come of one estimate with `dof`."""
    return list(_gtc().multiple_ureal([0.0] * len(u), list(u), dof))


def components(numbers: Sequence[Any], inputs: Sequence[Any]) -> FloatArray:
    """(numbers, inputs): what one u of each input moves each number by, with its sign."""
    return np.array([[float(_gtc().rp.u_component(y, x)) for x in inputs] for y in numbers])


def covariance(one: Any, other: Any) -> float:
    """Of two numbers."""
    return float(_gtc().get_covariance(one, other))


def figure(
    number: Any,
    inputs: Sequence[tuple[Influence, Any]],
    draws: Callable[[], FloatArray],
) -> Quantity:
    """A figure of the `inputs`, pairs of an influence and its number: by the law of propagation,
    or the interval by `draws` where a bounded one, or non-linearity, makes most of u squared."""
    return _by_draws(number, draws()) if _dominated(number, inputs) else _by_law(number)


def _by_draws(number: Any, draws: FloatArray) -> Quantity:
    """Value, u and dof by the law; the interval by Monte Carlo, and k = U/u."""
    law = _by_law(number)
    low, high = interval(draws)
    return Quantity(law.value, law.u, law.dof, 0.5 * (high - low) / float(number.u), low, high)


def _scatter_numbers(scatter: Scatter | None) -> list[Any]:
    """Type A as zeros with an uncertainty, correlated as the repeats were."""
    if scatter is None or not np.any(scatter.deviation):
        return [0.0] * len(OUTPUTS)
    covariance = scatter.covariance
    u = np.sqrt(np.diag(covariance))
    numbers = _gtc().multiple_ureal([0.0] * len(u), list(map(float, u)), scatter.dof)
    for i in range(len(u)):
        for j in range(i):
            if u[i] and u[j]:
                r = float(np.clip(covariance[i, j] / (u[i] * u[j]), -1.0, 1.0))
                _gtc().set_correlation(r, numbers[i], numbers[j])
    return list(numbers)


def _lines(
    number: Any,
    inputs: Sequence[tuple[Influence, Any]],
    extra: Any,
    scatter: Scatter | None,
    sources: Sequence[str],
) -> tuple[BudgetLine, ...]:
    """One line per source, largest first. No two sources are correlated, so that a source's
    share is its own part of u squared and the shares sum to 1."""
    by_source = {**dict.fromkeys(sources, 0.0), **_source_variances(number, inputs)}
    # What does not touch this figure has no line, but for the sources that are always asked for.
    by_source = {source: u2 for source, u2 in by_source.items() if u2 or source in sources}
    if scatter is not None:
        known = hasattr(extra, "u") and extra.u
        by_source[BETWEEN_REPEATS] = float(_gtc().component(number, extra)) ** 2 if known else 0.0
    variance = sum(by_source.values())
    lines = sorted(by_source.items(), key=lambda line: -line[1])
    return tuple(
        BudgetLine(
            source,
            "A" if source in TYPE_A else "B",
            sqrt(u2),
            u2 / variance if variance else 0.0,
        )
        for source, u2 in lines
    )


def _unbounded(r_ohm: Quantity, emf_v: Quantity) -> tuple[Quantity, Quantity]:
    """Short-circuit current and greatest power where r may be zero: a lower bound only."""
    e, r = emf_v.value, r_ohm.value
    e_low, r_high = emf_v.low95 or 0.0, r_ohm.high95 or float("inf")
    # A corner of two 95 % intervals: at least 95 % for the bound, whatever the covariance.
    e_low = max(0.0, e_low)
    return (
        Quantity(e / r, None, None, None, e_low / r_high, None),
        Quantity(e * e / (4.0 * r), None, None, None, e_low**2 / (4.0 * r_high), None),
    )


def relative_u95(influences: Sequence[Influence], errors: LevelErrors | None = None) -> float:
    """Half-width of the 95 % interval of r over r for what is expected, without scatter.

    Raises ValueError where r is zero.
    """
    known = uncertain(influences)
    if errors is not None:
        known.update(joint(errors))
    inputs = [(item, known[item.name]) for item in influences if hasattr(known[item.name], "u")]
    draws = _Draws(influences, None, errors, RIG, EXPECTED_DRAWS)
    r_ohm = figure(RIG.model(known).r_ohm, inputs, lambda: draws.of("r_ohm"))
    if r_ohm.value == 0.0 or r_ohm.low95 is None or r_ohm.high95 is None:
        raise ValueError("r is zero: its relative uncertainty has no meaning")
    return 0.5 * (r_ohm.high95 - r_ohm.low95) / abs(r_ohm.value)


@dataclass(frozen=True)
class Figures:
    """What an explicit model gives, by name: figures, budgets, and covariances of two."""

    quantities: Mapping[str, Quantity]
    budgets: Mapping[str, tuple[BudgetLine, ...]]
    covariances: Mapping[tuple[str, str], float]


def figures(
    explicit: Callable[[Mapping[str, Any]], Mapping[str, Any]],
    influences: Sequence[Influence],
    scatter: Scatter | None = None,
    scatter_source: str = BETWEEN_REPEATS,
    drawable: bool = True,
    known: Mapping[str, Any] | None = None,
) -> Figures:
    """Figures of any model of independent inputs, with what makes up each.

    `scatter` adds to the first of the model's outputs, in their order, as a Type A source of
    its own. A figure of which one bounded input makes more than half of u squared gets its
    interval by drawing, unless the model cannot be run on arrays (`drawable`). `known` are the
    influences as `uncertain` makes them, where they were needed before.
    """
    known = uncertain(influences) if known is None else known
    numbers = {name: _number(value) for name, value in explicit(known).items()}
    extra: dict[str, Any] = {}
    if scatter is not None and np.any(scatter.deviation):
        extra = dict(zip(numbers, _scatter_numbers(scatter), strict=False))
        numbers |= {name: numbers[name] + more for name, more in extra.items()}
    inputs = [(item, known[item.name]) for item in influences if hasattr(known[item.name], "u")]
    sampled: dict[str, FloatArray] = {}

    def drawn(name: str) -> FloatArray:
        if not sampled:
            generator = np.random.default_rng(SEED)
            columns = explicit(draw(influences, generator))
            shift = scatter.draws(generator, DRAWS) if scatter is not None and extra else None
            for place, (key, column) in enumerate(columns.items()):
                moved = 0.0 if shift is None or key not in extra else shift[:, place]
                sampled[key] = np.broadcast_to(column + moved, (DRAWS,))
        return sampled[name]

    def quantity(name: str) -> Quantity:
        if drawable and _dominated(numbers[name], inputs):
            return _by_draws(numbers[name], drawn(name))
        return _by_law(numbers[name])

    kinds = {item.source: "A" if item.shape == "t" else "B" for item in influences}
    return Figures(
        quantities={name: quantity(name) for name in numbers},
        budgets={
            name: _explicit_lines(number, inputs, kinds, extra.get(name), scatter_source)
            for name, number in numbers.items()
        },
        covariances={
            (one, other): float(_gtc().get_covariance(numbers[one], numbers[other]))
            for one in numbers
            for other in numbers
        },
    )


def _number(value: Any) -> Any:
    return value if hasattr(value, "u") else _gtc().constant(float(value))


def _explicit_lines(
    number: Any,
    inputs: Sequence[tuple[Influence, Any]],
    kinds: Mapping[str, str],
    extra: Any,
    extra_source: str,
) -> tuple[BudgetLine, ...]:
    """One line for each source that touches the figure, largest first."""
    rows = [(source, kinds[source], u2) for source, u2 in _source_variances(number, inputs).items()]
    if hasattr(extra, "u"):
        rows.append((extra_source, "A", float(_gtc().component(number, extra)) ** 2))
    variance = sum(u2 for _, _, u2 in rows)
    lines = [BudgetLine(source, kind, sqrt(u2), u2 / variance) for source, kind, u2 in rows if u2]
    return tuple(sorted(lines, key=lambda line: -line.u))


def line_through(
    x: Sequence[Any],
    y: Sequence[Any],
    guess: tuple[float, float],
) -> tuple[Any, Any, float]:
    """The straight line through three or more points with errors in both: a, b, chi squared.

    `x` and `y` are uncertain numbers, x and y of one point correlated or not; the weights are
    their uncertainties. Scales matter to the search: give numbers about 1. `guess` is near a
    and b. Raises ValueError where none is found.

    Weighted total least squares (M. Krystek, M. Anton, Meas. Sci. Technol. 22 (2011) 035101) by
    GTC, which follows every input through the fit.
    """
    points = list(map(_number, x)), list(map(_number, y))
    u_x, u_y = ([_u(one) for one in column] for column in (x, y))
    r_xy = [
        float(_gtc().get_correlation(one, other)) if _u(one) and _u(other) else 0.0
        for one, other in zip(*points, strict=True)
    ]
    for nudge in (0.0, 1e-3, -1e-2, 0.1):
        start = (guess[0] + nudge, guess[1] - nudge)
        try:
            fit = _gtc().type_b.line_fit_wtls(*points, u_x, u_y, start, r_xy)
        except (AssertionError, ArithmeticError, RuntimeError):
            # Its search may end in rounding; from elsewhere it does not.
            continue
        return *fit.a_b, float(fit.ssr)
    raise ValueError("no line is found through these points")


def _u(number: Any) -> float:
    return float(getattr(number, "u", 0.0))
