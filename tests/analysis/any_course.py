# SPDX-License-Identifier: MIT
"""A cell whose r(t) is whatever a test says, and steps as both converters see it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.analytic_cell import DIODE_V, Rig, make_step
from sagline.analysis.values import RawStep


@dataclass(frozen=True)
class AnyCourse:
    """r(t) = (E - V)/I is `course` (ohm, of seconds after load on), so V and I follow from it."""

    course: Callable[[Any], Any]
    emf_v: float = 1.58
    drift_v_per_s: float = 0.0
    ripple_v: float = 0.0
    ripple_hz: float = 100.0

    def loaded(self, t_s: Any, loop_ohm: float) -> tuple[Any, Any]:
        """Terminal voltage and current at t after load on."""
        r = self.course(np.asarray(t_s, dtype=float))
        i = (self.emf_v - DIODE_V) / (r + loop_ohm)
        return self.emf_v - r * i, i

    def recovering(self, t_s: Any, on_s: float, loop_ohm: float) -> Any:
        """Terminal voltage at t after a load of `on_s` went off, by superposition."""
        _, i = self.loaded(on_s, loop_ohm)
        return self.emf_v - i * (self.course(t_s + on_s) - self.course(t_s))

    def r_at(self, t_s: float, loop_ohm: float = 0.0) -> float:
        return float(self.course(np.asarray(t_s)))


def both(cell: Any, rng: np.random.Generator | None, **options: Any) -> RawStep:
    """One step recorded by both converters."""
    parts = [make_step(cell, converter=unit, rng=rng, **options) for unit in (0, 1)]
    columns = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in ("source", "start_us", "length_us", "n", "total")
    }
    return replace(parts[1], **columns)


def with_hum(raw: RawStep, hz: float, amplitude_v: float, phase: float) -> RawStep:
    """Hum on the sense tap of every converter: its mean over each window, then whole codes."""
    t_s, length_s = raw.start_us * 1e-6, raw.length_us * 1e-6
    turn = 2.0 * np.pi * hz
    mean_v = (
        amplitude_v
        * (np.cos(turn * t_s + phase) - np.cos(turn * (t_s + length_s) + phase))
        / (turn * length_s)
    )
    total = raw.total.astype(float)
    for converter in (0, 1):
        rig = Rig()
        zero, one = (rig.code(converter, 0, v, raw.range_high) for v in (0.0, 1.0))
        sense = raw.source == 4 * converter
        total[sense] += (raw.n * mean_v * (one - zero))[sense]
    return replace(raw, total=np.rint(total).astype(np.int64))
