# SPDX-License-Identifier: MIT
"""A plant cell measured: its deck run, its waveform recorded, once for each set of parts."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path

import numpy as np

from plant import decks, simulator
from plant.cells import PlantCell
from plant.parts import BLOCK_CODES, Parts
from plant.recorder import NOTHING, Extras, Recorder, Waveform
from sagline.analysis.values import RawStep
from sagline_board.profile import ADS1115, ONBOARD

NO_NGSPICE = shutil.which("ngspice") is None
WHY = "ngspice is not installed (on Debian: apt-get install ngspice)"


@cache
def run(
    cell: PlantCell, method: decks.Method = "trap", load: float = 0.0, switch: float = 0.0
) -> simulator.Run:
    """The run of a cell's deck with load and switch off their marked values by so much."""
    with tempfile.TemporaryDirectory() as folder:
        return simulator.run(
            decks.netlist(cell, method, load_scale=1.0 + load, switch_scale=1.0 + switch),
            Path(folder),
        )


def ideal(
    cell: PlantCell, extras: Extras = NOTHING, converters: tuple[int, ...] = (ONBOARD, ADS1115)
) -> tuple[simulator.Run, list[RawStep]]:
    """Five steps on a board as marked, without noise and rounding."""
    found = run(cell)
    recorder = Recorder(cell.load, cell.range_high, converters=converters, extras=extras)
    return found, recorder.steps(_wave(found), _starts(found))


def drawn(
    cell: PlantCell,
    seed: int,
    *,
    e11: bool = False,
    extras: Extras = NOTHING,
    converters: tuple[int, ...] = (ONBOARD, ADS1115),
    null: bool = False,
    block_codes: float = BLOCK_CODES,
) -> tuple[simulator.Run, list[RawStep]]:
    """Five steps on the board that `seed` draws, with its noise."""
    rng = np.random.default_rng(seed)
    parts = Parts.drawn(rng, cell.load, e11, block_codes)
    found = run(cell, "trap", parts.load, parts.switch)
    recorder = Recorder(
        cell.load, cell.range_high, parts, rng, converters=converters, null=null, extras=extras
    )
    return found, recorder.steps(_wave(found), _starts(found))


def _wave(found: simulator.Run) -> Waveform:
    return Waveform(found.t_s, found.sense_v, found.force_v, found.return_v)


def _starts(found: simulator.Run) -> list[float]:
    return [on_s - decks.REST_S for on_s in found.on_s]
