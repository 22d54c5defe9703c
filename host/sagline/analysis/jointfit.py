# SPDX-License-Identifier: MIT
"""All repeats together: E, drift and r(t) of each, and the weight that every reading had.

The repeats share the time constants that `spectrum` finds in all of them; with those fixed
each repeat is a linear least-squares fit without constraint, so that its r(t) is unbiased,
its scatter honest, and r(t) of all is their mean. Constrained fits of single repeats would
share a bias which their scatter cannot show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from sagline.analysis.mains import Hum
from sagline.analysis.rows import Front, Rows
from sagline.analysis.shape import LocalQuadratic, around
from sagline.analysis.spectrum import Block, Curves, grid, present
from sagline.analysis.values import FloatArray


class Basis(Protocol):
    """Functions of time that r(t) is a sum of."""

    def at(self, t_s: FloatArray) -> FloatArray: ...

    def over(self, start_s: FloatArray, length_s: FloatArray) -> FloatArray: ...


@dataclass(frozen=True, eq=False)
class RepeatFit:
    """One repeat: r (times,), `weights` (times, rows) in ohm per volt of each row's reading.

    `open_v` at the edge with its s.d. from the noise, `drift_v_per_s`; `sag_v` (rows,) the
    fitted fall of sense, negative, and `residual` (rows,) what is left over the rows' noise;
    `hum_v` the amplitude of the mains; `amplitudes` (ohm) of the basis.
    """

    rows: Rows
    r_ohm: FloatArray
    weights: FloatArray
    open_v: float
    open_u_v: float
    drift_v_per_s: float
    sag_v: FloatArray
    residual: FloatArray
    hum_v: float
    amplitudes: FloatArray

    @property
    def start_ohm(self) -> float:
        """r at 0+, a model's word."""
        return float(self.amplitudes[0])


@dataclass(frozen=True, eq=False)
class JointFit:
    """Every repeat's fit at `times_s`; `curves` are those of the spectrum they share, chosen
    from those that were `tried`."""

    times_s: tuple[float, ...]
    tried: Curves
    curves: Curves
    repeats: tuple[RepeatFit, ...]


def fit(
    repeats: Sequence[Rows], times_s: Sequence[float], first_s: float, on_s: float, hum: Hum | None
) -> JointFit:
    """Fit the rows of all repeats; `first_s` is t_f, `on_s` the pulse."""
    # From the first reading on: what goes on before t_f is settled by then and must not count
    # as something slower.
    seen_s = min(float(rows.middle_s[rows.loaded].min()) for rows in repeats)
    tried = grid(min(first_s, seen_s), on_s)
    expected: list[FloatArray | None] = [None] * len(repeats)
    # The on-board converter's scale is linear only about a curve that is known: twice.
    found, fits = tried, []
    for _ in range(2 if any(rows.is_from(Front.BESIDE).any() for rows in repeats) else 1):
        pairs = list(zip(repeats, expected, strict=True))
        found = present([_block(rows, tried, hum, seen) for rows, seen in pairs], tried)
        fits = [linear(rows, found, times_s, hum, seen) for rows, seen in pairs]
        expected = [one.sag_v for one in fits]
    return JointFit(tuple(times_s), tried, found, tuple(fits))


def free(joint: JointFit, curves: Basis, times_s: Sequence[float], hum: Hum | None) -> JointFit:
    """The same repeats in another basis, without constraint."""
    fits = [linear(one.rows, curves, times_s, hum, one.sag_v) for one in joint.repeats]
    return replace(joint, times_s=tuple(times_s), repeats=tuple(fits))


def local(
    joint: JointFit, times_s: Sequence[float], first_s: float, hum: Hum | None, span: float
) -> JointFit:
    """r at each time t from the readings of t/span to span t, quadratic in ln t.

    Rows that a time does not use have the weight 0 there.
    """
    fits = []
    for one in joint.repeats:
        r_ohm, weights = [], []
        for t_s in times_s:
            used = around(one.rows, t_s, first_s, span)
            kept = linear(one.rows.of(used), LocalQuadratic(t_s), [t_s], hum, one.sag_v[used])
            row = np.zeros(used.size)
            row[used] = kept.weights[0]
            r_ohm.append(float(kept.r_ohm[0]))
            weights.append(row)
        fits.append(replace(one, r_ohm=np.array(r_ohm), weights=np.array(weights)))
    return replace(joint, times_s=tuple(times_s), repeats=tuple(fits))


def linear(
    rows: Rows,
    basis: Basis,
    times_s: Sequence[float],
    hum: Hum | None,
    expected_v: FloatArray | None,
) -> RepeatFit:
    """One repeat by weighted least squares in a given basis, without constraint."""
    nuisance = nuisances(rows, hum, expected_v)
    curves = _loaded_curves(rows, basis)
    design = np.column_stack([nuisance, curves]) / rows.u_v[:, None]
    scale = np.sqrt((design**2).sum(axis=0))
    scale[scale == 0.0] = 1.0
    inverse = np.linalg.pinv(design / scale, rcond=1e-9) / scale[:, None] / rows.u_v
    found = inverse @ rows.v
    at = basis.at(np.asarray(times_s, dtype=float))
    m = nuisance.shape[1]
    model_v = np.column_stack([nuisance, curves]) @ found
    weights = at @ inverse[m:]
    hum_v = float(np.hypot(*found[2:4])) if hum is not None else 0.0
    return RepeatFit(
        rows=rows,
        r_ohm=weights @ rows.v,
        weights=weights,
        open_v=float(found[0]),
        open_u_v=float(np.sqrt(((inverse[0] * rows.u_v) ** 2).sum())),
        drift_v_per_s=float(found[1]),
        sag_v=curves @ found[m:],
        residual=(rows.v - model_v) / rows.u_v,
        hum_v=hum_v,
        amplitudes=found[m:],
    )


def nuisances(rows: Rows, hum: Hum | None, expected_v: FloatArray | None) -> FloatArray:
    """What is not the cell's answer: (rows, m). The open level and its drift come first.

    The null difference has an offset and a drift of its own, the on-board converter beside
    the ADS1115 an offset and, about the curve `expected_v`, a scale.
    """
    level, null, beside = (rows.is_from(front) for front in Front)
    t_s = rows.middle_s
    columns = [level.astype(float), np.where(null, 0.0, t_s)]
    if hum is not None:
        columns += hum.columns(rows.start_s, rows.length_s)
    if null.any():
        columns += [null.astype(float), np.where(null, t_s, 0.0)]
    if beside.any():
        columns.append(beside.astype(float))
        if expected_v is not None:
            columns.append(np.where(beside, expected_v, 0.0))
    return np.column_stack(columns)


def _loaded_curves(rows: Rows, basis: Basis) -> FloatArray:
    curves = basis.over(np.maximum(rows.start_s, 0.0), rows.length_s)
    return -rows.current_a[:, None] * curves


def _block(rows: Rows, basis: Basis, hum: Hum | None, expected_v: FloatArray | None) -> Block:
    weight = 1.0 / rows.u_v
    return Block(
        rows.v * weight,
        nuisances(rows, hum, expected_v) * weight[:, None],
        _loaded_curves(rows, basis) * weight[:, None],
    )
