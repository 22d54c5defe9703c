# SPDX-License-Identifier: MIT
"""Records as another instrument would make them, of a cell with known answers.

The cell is `analytic_cell.Cell`: one RC pair, in closed form. Readings are at instants of unequal
spacing, with noise, rounded to the digits of the instrument; the load goes on somewhere between
two of them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.analytic_cell import Cell
from sagline.analysis.foreign.table import Column, ForeignTable

CELL = Cell(emf_v=1.55, ohmic_ohm=0.15, pair_ohm=0.05, tau_s=0.03)
LOAD_OHM = 3.3


@dataclass(frozen=True)
class Recorder:
    """An instrument and its settings, and how often and how long the load is on.

    `volts_rel` and `volts` are the errors of scale and zero of sense, `force_rel` and `force_v`
    of force, `amps_rel` and `amps` of the current; `jitter` how far an instant may be off its
    place, as a part of the spacing. `in_step` has the load go on at one phase of the spacing.
    """

    readings_per_s: float = 1000.0
    noise_v: float = 2e-4
    noise_a: float = 1e-4
    steps: int = 1
    rest_s: float = 3.0
    on_s: float = 0.3
    recovery_s: float = 1.0
    jitter: float = 0.3
    digits: int = 5
    volts_rel: float = 0.0
    volts: float = 0.0
    force_rel: float = 0.0
    force_v: float = 0.0
    amps_rel: float = 0.0
    amps: float = 0.0
    load_rel: float = 0.0
    ripple_v: float = 0.0
    ripple_hz: float = 50.0
    in_step: bool = False

    def instants_s(self, rng: np.random.Generator) -> tuple[Any, list[float]]:
        """When it reads, and when the load goes on."""
        period_s = self.rest_s + self.on_s + self.recovery_s
        spacing_s = 1.0 / self.readings_per_s
        t_s = np.arange(0.0, period_s * self.steps, spacing_s)
        t_s = t_s + spacing_s * self.jitter * rng.uniform(-0.5, 0.5, t_s.size)
        phases = rng.uniform(0.0, 1.0, self.steps)
        if self.in_step:
            phases[:] = phases[0]
        on_s = [k * period_s + self.rest_s + spacing_s * p for k, p in enumerate(phases)]
        if self.in_step:
            on_s = [on_s[0] + round((t - on_s[0]) / spacing_s) * spacing_s for t in on_s]
        return np.round(t_s, 7), on_s

    def columns(self, rng: np.random.Generator, cell: Cell = CELL) -> dict[str, Any]:
        """Columns by name, as read."""
        t_s, on_s = self.instants_s(rng)
        load_ohm = LOAD_OHM * (1.0 + self.load_rel)
        v, i = cell.emf_v + cell.drift_v_per_s * t_s, np.zeros(t_s.size)
        v = v + self.ripple_v * np.sin(2.0 * np.pi * self.ripple_hz * t_s)
        for at_s in on_s:
            on = (t_s >= at_s) & (t_s < at_s + self.on_s)
            loaded_v, i[on] = cell.loaded(t_s[on] - at_s, load_ohm)
            v[on] += loaded_v - cell.emf_v
            after = t_s >= at_s + self.on_s
            since_s = t_s[after] - at_s - self.on_s
            v[after] += cell.recovering(since_s, self.on_s, load_ohm) - cell.emf_v
        force_v = i * load_ohm * (1.0 + self.force_rel) + self.force_v
        read = {
            "sense_v": (v * (1.0 + self.volts_rel) + self.volts, self.noise_v),
            "current_a": (i * (1.0 + self.amps_rel) + self.amps, self.noise_a),
            "force_v": (force_v, self.noise_v),
        }
        found = {"time_s": t_s}
        for name, (values, noise) in read.items():
            noisy = values + noise * rng.standard_normal(t_s.size)
            found[name] = np.round(noisy, self.digits)
        return found

    def table(
        self, rng: np.random.Generator, cell: Cell = CELL, by_force: bool = False
    ) -> ForeignTable:
        """The record with its current, or with the force voltage across the load."""
        read = self.columns(rng, cell)
        digit = 10.0**-self.digits

        def column(name: str) -> Column:
            return Column(read["time_s"], read[name], digit)

        if by_force:
            return ForeignTable(column("sense_v"), force=column("force_v"), load_ohm=LOAD_OHM)
        return ForeignTable(column("sense_v"), current=column("current_a"))

    def true_r_ohm(self, t_s: float, cell: Cell = CELL) -> float:
        """r(t) by its definition (ohm)."""
        return cell.r_at(t_s, LOAD_OHM * (1.0 + self.load_rel))

    def with_(self, **changed: Any) -> Recorder:
        """The same with other settings."""
        return replace(self, **changed)


def as_csv(columns: dict[str, Any], digits: int, **metadata: Any) -> str:
    """Columns as CSV text, written without any code of the project."""
    lines = [f"# {key}: {value}" for key, value in metadata.items()]
    lines.append(",".join(columns))
    for row in zip(*columns.values(), strict=True):
        lines.append(",".join([f"{row[0]:.7f}", *(f"{value:.{digits}f}" for value in row[1:])]))
    return "\n".join(lines) + "\n"
