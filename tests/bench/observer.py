# SPDX-License-Identifier: MIT
"""An observer who knows a cell's time constants: what could be made of a record at best.

Generalized least squares on the points of all repeats, written apart from the analysis. The
cell's r(t) is a sum of known shapes with free amplitudes: its resistance at once, each of its
resistor-capacitor pairs, its diffusion, each shape that of the circuit on the load, found by
changing that element alone. What the load adds to r(t), about a thousandth, is known. Each
repeat has an open level of its own for each converter, and a drift. A second converter on the
same cell also has a scale of its own, so that it tells shapes alone, and is trusted no further
than by the analysis: nobody knows that this one is straight. The current is taken as known: its
noise is that of the sag by ΔV/V, at most a twentieth.

Aitken, Proc. R. Soc. Edinb. 55 (1935) 42: no linear unbiased estimate has a smaller variance.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sagline.analysis.rows import ROUGHNESS_CODES
from sagline.analysis.step import REST_WINDOW_S
from sagline.analysis.values import RawStep
from sagline.virtual.cell import Cell
from sagline.virtual.circuit import SENSE, Circuit
from sagline.virtual.parts import nominal_parts

Floats = NDArray[np.float64]

NULL_SOURCE = 7
NULL_LSB_V = 0.256 / 2**15
"""The ADS1115's ±0.256 V range: its data sheet (Texas Instruments SBAS444), full-scale range."""

CHANGE = 1e-3
"""By which an element is changed to find its shape; r(t) bends by a millionth of it."""


@dataclass(frozen=True)
class Seen:
    """What the observer makes of one record: r in ohm at each time asked for, and its s.d."""

    r_ohm: tuple[float, ...]
    sd_ohm: tuple[float, ...]
    chi2: float
    dof: int


def elements(cell: Cell) -> list[Cell]:
    """The cell with each element of its resistance greater by CHANGE, one at a time."""
    more = 1.0 + CHANGE
    changed = [replace(cell, r_instant_ohm=cell.r_instant_ohm * more)]
    for at, (ohm, tau_s) in enumerate(cell.rc):
        pairs = (*cell.rc[:at], (ohm * more, tau_s), *cell.rc[at + 1 :])
        changed.append(replace(cell, rc=pairs))
    if cell.diffusion_ohm_per_sqrt_s:
        ohm = cell.diffusion_ohm_per_sqrt_s * more
        changed.append(replace(cell, diffusion_ohm_per_sqrt_s=ohm))
    return changed


def resistance(
    cell: Cell, load: int, high: bool, start_s: Floats, length_s: Floats
) -> tuple[Floats, Floats]:
    """r (ohm) of the rested cell and the rise of its current (A), means over windows after load
    on: the dividers take a little at rest."""
    circuit = Circuit(cell, nominal_parts())
    circuit.switch(0, high)
    rest_a = circuit.current()
    circuit.switch(1 << load, high)
    current_a = circuit.mean_current(start_s, length_s)
    r_ohm = (cell.emf_v - circuit.taps(start_s, length_s)[SENSE]) / current_a
    return r_ohm, current_a - rest_a


@dataclass(frozen=True)
class Shapes:
    """In ohm: how r answers to each element of the cell, (windows, elements), and what of r is
    no element's; `rise_a` is the rise of the current, in A."""

    element: Floats
    other: Floats
    rise_a: Floats

    @classmethod
    def of(cls, cell: Cell, load: int, high: bool, start_s: Floats, length_s: Floats) -> "Shapes":
        """Means over windows after load on."""
        r_ohm, rise_a = resistance(cell, load, high, start_s, length_s)
        columns = [
            (resistance(changed, load, high, start_s, length_s)[0] - r_ohm) / CHANGE
            for changed in elements(cell)
        ]
        element = np.stack(columns, axis=1)
        return cls(element, r_ohm - element.sum(axis=1), rise_a)


def code_per_v(source: int, high: bool) -> float:
    """Codes for a volt at the sense tap, by nominal values."""
    parts = nominal_parts()
    gain, _ = parts.channels[SENSE].transfer(parts.reference_v, high)
    lsb_v = NULL_LSB_V if source == NULL_SOURCE else parts.converters[source // 4].lsb_v
    return gain / lsb_v


def observe(steps: Sequence[RawStep], cell: Cell, times_s: Sequence[float]) -> Seen:
    """What the observer of `cell` makes of `steps`, all of one load and range."""
    load, high = steps[0].load, steps[0].range_high
    asked = np.array(times_s, dtype=np.float64)
    at_times = Shapes.of(cell, load, high, asked, np.zeros_like(asked))
    wanted = at_times.element
    sources = sorted({
        source
        for raw in steps
        for source in np.unique(raw.source).tolist()
        if source % 4 == SENSE or source == NULL_SOURCE
    })  # fmt: skip
    blocks = [_block(steps, source, cell) for source in sources]
    # Scales are told apart from amplitudes only where another converter has none of its own.
    main = max(source // 4 for source in sources)
    width, repeats = wanted.shape[1], len(steps)
    rows = []
    for at, (source, block) in enumerate(zip(sources, blocks, strict=True)):
        level = np.zeros((block.code.size, repeats * len(sources)))
        level[np.arange(block.code.size), at * repeats + block.repeat] = 1.0
        drift = np.zeros((block.code.size, repeats))
        drift[np.arange(block.code.size), block.repeat] = block.t_s * block.scale
        scale = np.zeros((block.code.size, len(sources)))
        if source // 4 != main:
            scale[:, at] = block.sag.sum(axis=1)
        rows.append(np.hstack([block.sag, level, drift, scale]))
    design = np.concatenate(rows)
    design = design[:, np.any(design != 0.0, axis=0)]
    code = np.concatenate([block.code for block in blocks])
    n = np.concatenate([block.n for block in blocks])
    which = np.repeat(np.arange(len(blocks)), [block.code.size for block in blocks])
    weight = n.copy()
    # Each source's noise is that of the residuals themselves: no knowledge of converters.
    for _ in range(3):
        found, chi2, inverse = _solve(design, code, weight)
        residual = code - design @ found
        for at in range(len(blocks)):
            mine = which == at
            weight[mine] = n[mine] / np.mean(n[mine] * residual[mine] ** 2)
    beside = np.array([source // 4 != main for source in sources])[which]
    trust = np.where(beside, 1.0 / (1.0 / weight + ROUGHNESS_CODES**2), weight)
    found, _, inverse = _solve(design, code, trust)
    chi2 = float(weight @ (code - design @ found) ** 2)
    # With weights that are not the noise's own, what noise does is worked out through them.
    passed = inverse[:width] @ (trust[:, None] * design).T
    covariance = (passed / weight) @ passed.T
    return Seen(
        tuple(float(r) for r in wanted @ found[:width] + at_times.other),
        tuple(float(v) for v in np.sqrt(np.einsum("ij,jk,ik->i", wanted, covariance, wanted))),
        chi2,
        code.size - design.shape[1],
    )


@dataclass(frozen=True)
class _Block:
    """The points of one source: time from load on (s), mean code, conversions, repeat; `sag` is
    how the code answers to each element of the cell (windows, elements), `scale` code per V."""

    t_s: Floats
    code: Floats
    n: Floats
    repeat: NDArray[np.int64]
    sag: Floats
    scale: float


def _block(steps: Sequence[RawStep], source: int, cell: Cell) -> _Block:
    scale = code_per_v(source, steps[0].range_high)
    parts = [_points(raw, source, cell, scale) for raw in steps]
    t_s, code, n, sag = (np.concatenate(column) for column in zip(*parts, strict=True))
    repeat = np.repeat(np.arange(len(steps)), [part[0].size for part in parts])
    return _Block(t_s, code, n, repeat, sag, scale)


def _points(
    raw: RawStep, source: int, cell: Cell, scale: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Of one step and source: `t_s`, `code`, `n`, `sag` of a block."""
    on_us, off_us = raw.edges_us[:2]
    end_us = raw.start_us + raw.length_us
    rest = (raw.start_us >= on_us - REST_WINDOW_S * 1e6) & (end_us <= on_us)
    loaded = (raw.start_us >= on_us) & (end_us <= off_us)
    chosen = (raw.source == source) & (rest | loaded) & (raw.n > 0)
    start_s = ((raw.start_us[chosen] - on_us) * 1e-6).astype(np.float64)
    length_s = (raw.length_us[chosen] * 1e-6).astype(np.float64)
    n = raw.n[chosen].astype(np.float64)
    code = raw.total[chosen] / n
    on = loaded[chosen]
    shapes = Shapes.of(cell, raw.load, raw.range_high, start_s[on], length_s[on])
    code[on] += scale * shapes.rise_a * shapes.other
    sag = np.zeros((n.size, shapes.element.shape[1]))
    sag[on] = -scale * shapes.rise_a[:, None] * shapes.element
    return start_s + length_s / 2.0, code, n, sag


def _solve(design: Floats, code: Floats, weight: Floats) -> tuple[Floats, float, Floats]:
    """Weighted least squares: the unknowns, the weighted misfit, the inverse normal matrix."""
    root = np.sqrt(weight)[:, None]
    left, size, right = np.linalg.svd(root * design, full_matrices=False)
    wide = right.T / size
    found = wide @ (left.T @ (root[:, 0] * code))
    misfit = root[:, 0] * (code - design @ found)
    return found, float(misfit @ misfit), wide @ wide.T
