# SPDX-License-Identifier: MIT
"""The firmware's hardware contract, answered by physics instead of a chip."""

from array import array
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from sagline.virtual.cell import Cell
from sagline.virtual.circuit import Circuit
from sagline.virtual.clock import VirtualClock
from sagline.virtual.faults import (
    CIRCUIT_EVENTS,
    OVER_VOLTAGE_V,
    PORT_EVENTS,
    STEP_DELAY_US,
    Faults,
)
from sagline.virtual.parts import Parts
from sagline.virtual.sampling import Sampling
from sagline.virtual.thermistor import VirtualThermistor
from sagline_board import profile
from sagline_board.commands import ARM_ALONE
from sagline_board.hardware import ROW, Hardware
from sagline_board.ticks import PERIOD

_NEVER = 1 << 62


class SimulationBug(BaseException):
    """The simulation itself failed. No Exception, so that the firmware, which
    rightly takes any exception while sampling for a broken converter, lets it pass.
    """


class VirtualHardware(Hardware):
    """One rig's circuit and converters on a virtual clock.

    The gate one-shot is part of the circuit: a pulse ends at its time even if
    the firmware is never polled again.
    """

    one_shot = 1
    cold = 1

    def __init__(
        self,
        cell: Cell,
        parts: Parts,
        noise: np.random.Generator,
        clock: VirtualClock,
        *,
        onboard: bool,
        ads1115: bool,
        null: bool,
        wide_codes: bool,
        build: int = profile.FULL,
        model: str,
        serial: str,
        faults: Faults | None = None,
        thermistor: VirtualThermistor | None = None,
    ) -> None:
        super().__init__()
        self.thermistor = int(thermistor is not None)
        self._bead = thermistor
        self.faults = faults or Faults()
        self.onboard = int(onboard)
        self.ads1115 = int(ads1115)
        self.null = int(null)
        self.wide_codes = int(wide_codes)
        self.build = build
        self.model = model
        self.serial = serial
        self.mask = 0
        self.high = 1
        self._clock = clock
        parts = replace(parts, force_path_ohm=parts.force_path_ohm + self.faults.contact_ohm)
        self._circuit = Circuit(cell, parts, self.faults.wiring)
        if self._conducting(0):
            # Without ARM a switch that is stuck conducts from the beginning.
            self._circuit.switch(self._conducting(0), True)
        self._sampling = Sampling(
            self._circuit, parts, noise, onboard=onboard, ads1115=ads1115, null=null
        )
        # The circuit's own "present" is the last switching; everything later
        # in the segment is evaluated from there, exactly.
        self._segment_start_us = 0
        self._off_at_us = _NEVER
        self._pulses = 0
        # Faults to come: (instant, name), in the circuit and at the port.
        self._circuit_events: list[tuple[int, str]] = []
        self._port_events: list[tuple[int, str]] = []

    def ticks_us(self) -> int:
        return self._clock.now_us % PERIOD

    def switch(self, mask: int, longest_us: int) -> None:
        self._settle()
        now_us = self._clock.now_us
        if mask & ~ARM_ALONE and not self.mask & ~ARM_ALONE:
            self._pulses += 1
            self._expect(now_us + STEP_DELAY_US)
        self._set_taps(mask, self.high, now_us)
        self._off_at_us = now_us + longest_us if mask else _NEVER

    def set_range(self, high: int) -> None:
        self._settle()
        self._set_taps(self.mask, high, self._clock.now_us)

    def set_null(self, setting: int) -> None:
        self._settle()
        self._sampling.null.set(setting, self._clock.now_us)
        # What was worked out ahead is of the old voltage.
        self._at(self._clock.now_us, lambda circuit: None)

    def read_thermistor(self) -> tuple[int, int]:
        if self._bead is None:
            raise OSError(5)
        return self._bead.codes(self.circuit.cell.temperature_c)

    def gate_mask(self) -> int:
        """Return the loads that are on now (for tests and for whoever looks at the bench)."""
        self._settle()
        return self.mask

    def conducting(self) -> int:
        """Return the loads that carry current now, whatever the gates are told."""
        self._settle()
        return self._circuit.mask

    def handle(self, change: Callable[[Circuit], None]) -> None:
        """Let a hand change the circuit at the present instant."""
        self._settle()
        self._at(self._clock.now_us, change)

    @property
    def circuit(self) -> Circuit:
        """What hangs on the rig now; to be changed through `handle` alone."""
        self._settle()
        return self._circuit

    def terminal_v(self) -> float:
        """Return the voltage between the cell's terminals now; 0 without a cell."""
        circuit = self.circuit
        return circuit.terminal_v((self._clock.now_us - self._segment_start_us) * 1e-6)

    def take_port_events(self) -> list[str]:
        """Return the names of what has happened to the port, and forget them."""
        now_us = self._clock.now_us
        due = [name for at_us, name in self._port_events if at_us <= now_us]
        self._port_events = [event for event in self._port_events if event[0] > now_us]
        return due

    def capture(self, length_us: int, bin_us: int) -> int:
        try:
            return self._capture(length_us, bin_us)
        except Exception as error:
            raise SimulationBug from error

    def _capture(self, length_us: int, bin_us: int) -> int:
        self._settle()
        count = 0
        left_us = length_us
        while left_us > 0:
            # The one-shot may end the pulse in the middle, or something come loose.
            piece_us = min(left_us, self._next_change_us() - self._clock.now_us)
            rows = self._sampling.rows(self._clock.now_us, piece_us, bin_us)
            flat = [
                number
                for source, start_us, length, n, total in rows
                for number in (source, start_us % PERIOD, length, n, total)
            ]
            self.rows[count * ROW : count * ROW + len(flat)] = array("i", flat)
            count += len(rows)
            self._clock.advance(piece_us)
            left_us -= piece_us
            self._settle()
        return count

    def _expect(self, at_us: int) -> None:
        """Note down what is to happen in the pulse that begins."""
        for name, step in self.faults.events:
            if step == self._pulses and name in CIRCUIT_EVENTS:
                self._circuit_events.append((at_us, name))
            elif step == self._pulses and name in PORT_EVENTS:
                self._port_events.append((at_us, name))

    def _next_change_us(self) -> int:
        return min([self._off_at_us, *(at_us for at_us, _ in self._circuit_events)])

    def _settle(self) -> None:
        """Do what was due by now: end the one-shot's pulse, let faults of the circuit happen."""
        while (at_us := self._next_change_us()) <= self._clock.now_us:
            if self._off_at_us == at_us:
                self._off_at_us = _NEVER
                self._set_taps(0, self.high, at_us)
                continue
            name = next(name for event_us, name in self._circuit_events if event_us == at_us)
            self._circuit_events.remove((at_us, name))
            self._at(at_us, _take_out if name == "removed" else _over_voltage)

    def _set_taps(self, mask: int, high: int, at_us: int) -> None:
        conducting = self._conducting(mask)
        self._at(at_us, lambda circuit: circuit.switch(conducting, bool(high)))
        self.mask = mask
        self.high = high

    def _conducting(self, mask: int) -> int:
        return self.faults.conducting(mask, armed=self.build == profile.BASE)

    def _at(self, at_us: int, change: Callable[[Circuit], None]) -> None:
        self._circuit.advance((at_us - self._segment_start_us) * 1e-6)
        change(self._circuit)
        self._segment_start_us = at_us
        self._sampling.restart(at_us)


def _take_out(circuit: Circuit) -> None:
    circuit.rewire(replace(circuit.wiring, present=False))


def _over_voltage(circuit: Circuit) -> None:
    circuit.set_emf(OVER_VOLTAGE_V)
