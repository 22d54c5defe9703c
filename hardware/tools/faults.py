# SPDX-License-Identifier: MIT
"""Decks of what may go wrong at the clips and on the board, at their operating points."""

from __future__ import annotations

from dataclasses import dataclass

from tools.cell import on_leads
from tools.deck import Deck
from tools.firmware import PROFILE
from tools.netlist import Netlist
from tools.predict import NULL_PIN, PINS


@dataclass(frozen=True)
class Fault:
    """What is the matter with a full build on a cell of 50 milliohm; `load` says that load 1's
    gate and ARM are on."""

    name: str
    emf_v: float
    load: bool = False
    high: bool = True
    backwards: bool = False
    lost: tuple[str, ...] = ()
    earthed: bool = False
    shorted: str = ""


FAULTS = (
    Fault("20 V in the low range", 20.0, high=False),
    Fault("4.15 V reversed, load on", 4.15, load=True, backwards=True),
    Fault("16.5 V reversed, load on", 16.5, load=True, backwards=True),
    Fault("20 V reversed, load on", 20.0, load=True, backwards=True),
    Fault("positive force lead lost, load on", 12.8, load=True, lost=("J1",)),
    Fault("negative force lead lost, load on", 12.8, load=True, lost=("J2",)),
    Fault("positive sense lead lost", 12.8, lost=("J3",)),
    Fault("negative sense lead lost", 12.8, lost=("J4",)),
    Fault("no cell", 0.0, lost=("J1", "J2", "J3", "J4")),
    Fault("Q1 shorted, nothing asked", 12.8, shorted="Q1"),
    Fault("Q5 shorted, nothing asked", 12.8, shorted="Q5"),
    Fault("reversed, battery and computer earthed", 12.8, backwards=True, earthed=True),
    Fault("the same after F2 has opened", 12.8, backwards=True, earthed=True, lost=("J4",)),
)


def deck(netlist: Netlist, fault: Fault) -> str:
    """Prints the cell's current `amperes`, the converter's pins, and `ret`."""
    drawn = Deck(netlist.build("full"), shorted={fault.shorted} - {""})
    pins = PROFILE.PINS
    drawn.pins = {number: "0" for number in (*pins["gates"], pins["arm"])}
    drawn.pins[pins["range"]] = "3.3" if fault.high else "0"
    drawn.pins[NULL_PIN] = "3.3"
    drawn.stimulus = on_leads(
        drawn, fault.emf_v, 0.05, backwards=fault.backwards, lost=fault.lost, earthed=fault.earthed
    )
    if fault.load:
        drawn.pins[pins["gates"][0]] = "3.3"
        drawn.stimulus.append(f"vstore {drawn.node('C11', '1')} 0 2")
    lines = [".options itl1=500 reltol=1e-4 abstol=1e-10 vntol=1e-7", ".control", "op"]
    for name, what in (("amperes", "i(vcell)"), ("ret", "v(ret)"), *((p, f"v({p})") for p in PINS)):
        lines += [f"let at_{name} = {what}", f"print at_{name}"]
    return drawn.text([*lines, ".endc"], f"sagline rig: {fault.name}")
