# SPDX-License-Identifier: MIT
"""A run of a deck in ngspice, and the truth that is read off its waveform."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from plant.decks import PERIOD_S, REST_S, STEPS

Floats = NDArray[np.float64]

TIME_OUT_S = 60.0


class PlantError(RuntimeError):
    """ngspice did not finish."""


@dataclass(frozen=True, eq=False)
class Run:
    """What a run gave, at the simulator's own instants `t_s`: taps against the board's ground
    (the negative sense lead), the voltage between the sense points, and the cell's current."""

    t_s: Floats
    sense_v: Floats
    force_v: Floats
    return_v: Floats
    terminal_v: Floats
    cell_a: Floats
    on_s: tuple[float, ...]

    def emf_v(self) -> float:
        """E: the open voltage at the first edge, freed of what the dividers draw (V)."""
        before = self._before()
        open_v = np.interp(before, self.t_s, self.terminal_v)
        return float(open_v + np.interp(before, self.t_s, self.cell_a) * self.r_ohm(0.1))

    def r_ohm(self, t_s: float, step: int = 0) -> float:
        """r(t) of a step, by its definition: the sag over the current that makes it (ohm)."""
        before, at = self._before(step), self.on_s[step] + t_s
        sag_v = np.interp(before, self.t_s, self.terminal_v) - np.interp(
            at, self.t_s, self.terminal_v
        )
        rise_a = np.interp(at, self.t_s, self.cell_a) - np.interp(before, self.t_s, self.cell_a)
        return float(sag_v / rise_a)

    def _before(self, step: int = 0) -> float:
        return self.on_s[step] - 1e-9


def columns_of(deck: str, folder: Path, end_s: float) -> dict[str, Floats]:
    """Run a deck in `folder`; return its columns by name. Raises PlantError where ngspice does not
    come to the end."""
    source, raw = folder / "deck.cir", folder / "deck.raw"
    source.write_text(deck, encoding="ascii")
    raw.unlink(missing_ok=True)
    try:
        done = subprocess.run(
            ["ngspice", "-n", "-b", "-r", str(raw), str(source)],
            capture_output=True,
            text=True,
            timeout=TIME_OUT_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise PlantError(f"ngspice took longer than {TIME_OUT_S:g} s") from error
    said = done.stdout + done.stderr
    if done.returncode or not raw.exists() or "aborted" in said or "too small" in said:
        raise PlantError(f"ngspice ended with {done.returncode}: {said[-1500:]}")
    columns = read_raw(raw)
    if columns["time"][-1] < end_s * (1.0 - 1e-6):
        raise PlantError(f"ngspice stopped at {columns['time'][-1]:g} s: {said[-800:]}")
    return columns


def run(deck: str, folder: Path, steps: int = STEPS) -> Run:
    """Run a deck in `folder`. Raises PlantError where ngspice does not come to the end."""
    columns = columns_of(deck, folder, steps * PERIOD_S)
    sense_v = columns["v(sp)"]
    return Run(
        columns["time"],
        sense_v,
        columns["v(fp)"],
        columns["v(ret)"],
        sense_v - columns["v(sn)"],
        columns["i(vcell)"],
        tuple(REST_S + PERIOD_S * step for step in range(steps)),
    )


def read_raw(path: Path) -> dict[str, Floats]:
    """Columns of a binary raw file of real numbers, by name (ngspice manual, ch. 17.6)."""
    head, _, body = path.read_bytes().partition(b"Binary:\n")
    lines = head.decode("ascii", "replace").splitlines()
    fields = dict(line.split(":", 1) for line in lines if ":" in line)
    variables, points = int(fields["No. Variables"]), int(fields["No. Points"])
    first = lines.index("Variables:") + 1
    names = [line.split()[1] for line in lines[first : first + variables]]
    table = np.frombuffer(body, dtype="<f8", count=variables * points).reshape(points, variables)
    return {name: table[:, index].copy() for index, name in enumerate(names)}
