# SPDX-License-Identifier: MIT
"""The drawn circuit on a cell, in ngspice: what the leads, the cell and the firmware do to it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

import make
from plant.simulator import columns_of
from sagline_board.profile import PINS
from tools.cell import on_leads
from tools.deck import Deck

Floats = NDArray[np.float64]
Columns = dict[str, Floats]

NO_NGSPICE = shutil.which("ngspice") is None
WHY = "ngspice is not installed (on Debian: apt-get install ngspice)"

ON_S, END_S = 3e-3, 8e-3
EDGE_S = 30e-6
"""Time between two edges of ARM's pin while the plain loop samples (emulated)."""
TOGGLING = f"pulse(0 3.3 0 20n 20n {EDGE_S - 20e-9:g} {2 * EDGE_S:g})"


def edges(count: int, apart_s: float, high_v: float = 3.3) -> str:
    """A pin that changes so often from the start, and then rests."""
    points = ["0 0"]
    for edge in range(count):
        at_s, level = (edge + 1) * apart_s, high_v * ((edge + 1) % 2)
        points += [f"{at_s:.9g} {high_v - level:g}", f"{at_s + 20e-9:.9g} {level:g}"]
    return f"pwl({' '.join(points)})"


@dataclass(frozen=True)
class Bench:
    """A cell of `emf_v` behind `r_ohm`, four leads, and what is the matter.

    `load` is an index into the bank, None for no pulse; `lost` are leads (J1 to J4) off the
    cell; `held` are pins that stand high throughout; `earthed` joins
    the computer's ground with the battery's negative pole; `floating` leaves the board's pins to
    themselves; `scale` is by how much values of parts are off; `shorted` are switches that conduct.
    """

    emf_v: float
    r_ohm: float = 0.1
    load: int | None = None
    high: bool = True
    reversed: bool = False
    lost: frozenset[str] = frozenset()
    powered: bool = True
    arm: str = TOGGLING
    held: tuple[int, ...] = ()
    shorted: frozenset[str] = frozenset()
    build: str = "full"
    earthed: bool = False
    floating: bool = False
    supply_v: float = 3.3
    scale: tuple[tuple[str, float], ...] = ()
    method: str = "trap"
    on_s: float = ON_S
    end_s: float = END_S

    def deck(self) -> str:
        deck = Deck(
            make.netlist().build(self.build), powered=self.powered, shorted=set(self.shorted)
        )
        deck.supply_v, deck.scale = self.supply_v, dict(self.scale)
        if self.powered and not self.floating:
            deck.pins = {number: "0" for number in (*PINS["gates"], PINS["arm"])}
            # The firmware drives it; left alone it would be pulled up.
            deck.pins[PINS["range"]] = "3.3" if self.high else "0"
            if self.load is not None:
                width_s = self.end_s - 2e-3 - self.on_s
                deck.pins[PINS["gates"][self.load]] = (
                    f"pulse(0 3.3 {self.on_s:g} 10n 10n {width_s:g})"
                )
            if self.load is not None:
                deck.pins[PINS["arm"]] = self.arm
            deck.pins.update(dict.fromkeys(self.held, "3.3"))
        deck.stimulus = on_leads(
            deck,
            self.emf_v,
            self.r_ohm,
            backwards=self.reversed,
            lost=self.lost,
            earthed=self.earthed,
        )
        drawn = {
            deck.node(ref, pin) for ref, part in deck.netlist.parts.items() for pin in part.pins
        }
        saved = " ".join(f"v({node})" for node in NODES if node in {*drawn, "pos", "neg"})
        return deck.text(
            [
                f".options method={self.method} reltol=1e-4 abstol=1e-10 vntol=1e-7 itl1=500",
                f".save {saved} i(vcell)",
                f".tran 5u {self.end_s:g} 0 {self.end_s / 400.0:g}",
            ]
        )


NODES = (
    "pos", "neg", "fp", "ret", "s_pin", "f_pin", "r_pin", "n_pin", "3v3", "3v3a", "ref", "vn",
    "arm_gate", "c11_1", "q1_1", "q4_1", "d11_2", "d12_2", "d13_2", "d14_2", "range_gate",
)  # fmt: skip


@cache
def run(bench: Bench) -> Columns:
    """Columns of the bench's run. Raises PlantError where ngspice does not come to the end."""
    return simulate(bench.deck(), bench.end_s)


def simulate(deck: str, end_s: float) -> Columns:
    """Run a deck to its end. Raises PlantError where that fails or takes too long."""
    with TemporaryDirectory() as folder:
        return columns_of(deck, Path(folder), end_s)


def at(columns: Columns, name: str, t_s: float) -> float:
    """A column's value at an instant."""
    return float(np.interp(t_s, columns["time"], columns[name]))
