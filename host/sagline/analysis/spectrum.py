# SPDX-License-Identifier: MIT
"""Which time constants a cell shows: a non-negative spectrum common to all its repeats.

r(t) = r_0 + sum of a_k (1 - exp(-t/tau_k)) with a_k >= 0 on a dense grid of tau: any passive
network of resistors and capacitors relaxes so, diffusion included. Every repeat keeps an r_0,
an open voltage and a drift of its own, which are projected out first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sagline.analysis.values import FloatArray

TAUS_PER_DECADE = 6
BEYOND_STEP = 3.0
"""The slowest time constant over the step: slower ones are a straight line in it."""


@dataclass(frozen=True, eq=False)
class Curves:
    """Functions of time that make up r(t): values at instants, and means over windows."""

    tau_s: FloatArray

    def at(self, t_s: FloatArray) -> FloatArray:
        """(times, 1 + taus): the first is the constant."""
        return self._with_constant(np.exp(-t_s[:, None] / self.tau_s))

    def over(self, start_s: FloatArray, length_s: FloatArray) -> FloatArray:
        """(windows, 1 + taus): means over [start, start + length]."""
        begin = np.exp(-start_s[:, None] / self.tau_s)
        end = np.exp(-(start_s + length_s)[:, None] / self.tau_s)
        return self._with_constant((begin - end) * self.tau_s / length_s[:, None])

    @staticmethod
    def _with_constant(decay: FloatArray) -> FloatArray:
        return np.column_stack([np.ones(decay.shape[0]), 1.0 - decay])


def grid(first_s: float, on_s: float) -> Curves:
    """Time constants from the first reading to several times the step."""
    last_s = BEYOND_STEP * on_s
    count = int(np.ceil(TAUS_PER_DECADE * np.log10(last_s / first_s))) + 1
    return Curves(np.geomspace(first_s, last_s, count))


@dataclass(frozen=True, eq=False)
class Block:
    """One repeat, weighted: `y` (rows,), `nuisance` (rows, m), `curves` (rows, 1 + taus)."""

    y: FloatArray
    nuisance: FloatArray
    curves: FloatArray


def present(blocks: Sequence[Block], curves: Curves) -> Curves:
    """The curves that a non-negative least-squares fit of all repeats together takes in.

    The fastest is taken in anyway. The fits that follow leave its amplitude free in sign, so
    that noise in the first readings makes r(t_f) uncertain; chosen only where it comes out
    positive it made r(t_f) too small on the average, by up to 0.8 u.
    """
    from scipy.optimize import nnls

    triangles = []
    for block in blocks:
        # r_0 is each repeat's own as well: a contact may differ from one to the next.
        own = np.column_stack([block.nuisance, block.curves[:, :1]])
        basis, _ = np.linalg.qr(own)
        rest = _without(basis, np.column_stack([block.curves[:, 1:], block.y]))
        # The triangle has the same normal equations in few rows.
        triangles.append(np.linalg.qr(rest, mode="r"))
    triangle = np.asarray(np.linalg.qr(np.concatenate(triangles), mode="r"))
    scale = np.sqrt((triangle[:, :-1] ** 2).sum(axis=0))
    used = scale > 1e-9 * scale.max(initial=0.0)
    if not used.any():
        return Curves(curves.tau_s[:1])
    amplitude, _ = nnls(triangle[:, :-1][:, used] / scale[used], triangle[:, -1])
    taken = np.zeros(curves.tau_s.size, dtype=bool)
    taken[np.flatnonzero(used)[amplitude > 0.0]] = True
    taken[0] = True
    return Curves(curves.tau_s[taken])


def _without(basis: FloatArray, columns: FloatArray) -> FloatArray:
    return columns - basis @ (basis.T @ columns)
