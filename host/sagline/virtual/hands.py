# SPDX-License-Identifier: MIT
"""Hands at a virtual rig: what a person does at the bench while a program has the port.

They never touch the wire. What they do happens at the present instant of virtual time.
"""

from dataclasses import replace
from typing import Any

from sagline.virtual.capacitor import capacitor
from sagline.virtual.cell import Cell
from sagline.virtual.circuit import Circuit
from sagline.virtual.port import VirtualPort
from sagline.virtual.wiring import Lead, Side

FORCE_LEADS: frozenset[Lead] = frozenset({"force_pos", "force_neg"})


class Hands:
    """Two hands, a meter, and the tray of cells beside an opened VirtualPort.

    A cell put in is always a rested one: the tray is not a laboratory, and nothing is kept of
    what a cell has been through.
    """

    def __init__(self, port: VirtualPort) -> None:
        self._port = port
        self._tray = list(port.address.cells[1:])
        # Leads that touched nothing before a capacitor was put on the sense clips alone.
        self._lost_before: frozenset[Lead] | None = None

    @property
    def tray(self) -> tuple[str, ...]:
        """The cells not yet measured, in order."""
        return tuple(self._tray)

    @property
    def cell(self) -> str | None:
        """The name of the cell between the clips, None for none."""
        circuit = self._port.hardware.circuit
        return circuit.cell.name if circuit.wiring.present else None

    def insert(self, name: str) -> None:
        """Put in a rested cell, the right way round, in place of the present one.

        Raises ValueError for a name that neither the catalogue nor the address has.
        """
        known = self._port.address.known
        if name not in known:
            raise ValueError(f"no cell {name!r}; there are {', '.join(known)}")

        self._put_in(known[name], self._force_back())

    def connect_capacitor(self, farad: float, volts: float) -> None:
        """Put a capacitor charged to `volts` on the sense clips; the force clips hang free.

        Its positive terminal is at the positive clip. The divider of sense alone discharges it
        then. A cell put in later has all its leads again. Raises ValueError as `capacitor`.
        """
        charged = capacitor(farad, volts)
        lost = self._port.hardware.circuit.wiring.lost
        if self._lost_before is None:
            self._lost_before = lost
        self._put_in(charged, lost | FORCE_LEADS, sense_shorted=False)

    def _force_back(self) -> frozenset[Lead]:
        lost, self._lost_before = self._lost_before, None
        return self._port.hardware.circuit.wiring.lost if lost is None else lost

    def _put_in(self, cell: Cell, lost: frozenset[Lead], **changes: Any) -> None:
        def put_in(circuit: Circuit) -> None:
            wiring = replace(circuit.wiring, present=True, reversed=False, lost=lost, **changes)
            circuit.rewire(wiring)
            circuit.insert(cell)

        self._port.hardware.handle(put_in)

    def remove(self) -> None:
        """Take the cell out; all four clips hang free."""
        self._wire(present=False)

    def next_cell(self) -> str | None:
        """Take the cell out and put in the tray's next; its name, or None and an empty rig."""
        self.remove()
        if not self._tray:
            return None
        name = self._tray.pop(0)
        self.insert(name)
        return name

    def reverse(self) -> None:
        """Turn the cell round."""
        self._wire(reversed=not self._port.hardware.circuit.wiring.reversed)

    def add_series(self, ohm: float) -> None:
        """Put a resistor between the cell's positive terminal and the force clip; 0 takes it out.

        The positive sense clip stays where it is. Raises ValueError for a negative one.
        """
        if not 0.0 <= ohm < float("inf"):
            raise ValueError("a resistor has 0 Ω or more")
        self._wire(series_ohm=ohm)

    def move_tap(self, where: Side) -> None:
        """Put the positive sense clip on the "cell" or the "load" side of the added resistor."""
        if where not in ("cell", "load"):
            raise ValueError(f"the tap goes to the cell or to the load side, not {where!r}")
        self._wire(tap=where)

    def short_sense(self, shorted: bool = True) -> None:
        """Put the positive sense clip on the cell's negative terminal, or back."""
        self._wire(sense_shorted=shorted)

    def short_force(self, shorted: bool = True) -> None:
        """Put the positive force clip on the cell's negative terminal, or back."""
        self._wire(force_shorted=shorted)

    def read_meter(self) -> float:
        """Volts that a hand-held meter shows across the cell's terminals now, 0.5 mV or so off."""
        return self._port.meter.read(self._port.hardware.terminal_v())

    def unplug(self) -> None:
        """Pull the board's cable: it loses its supply and its loads, the port is dead."""
        self._port.cut_supply()

    def plug_in(self) -> None:
        """Put the cable back: the board starts anew; whoever had the port must open it again."""
        self._port.restore_supply()

    def _wire(self, **changes: Any) -> None:
        def rewire(circuit: Circuit) -> None:
            circuit.rewire(replace(circuit.wiring, **changes))

        self._port.hardware.handle(rewire)
