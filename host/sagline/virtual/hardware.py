# SPDX-License-Identifier: MIT
"""The firmware's hardware contract, answered by physics instead of a chip."""

from array import array

import numpy as np

from sagline.virtual.cells import Cell
from sagline.virtual.circuit import Circuit
from sagline.virtual.clock import VirtualClock
from sagline.virtual.parts import Parts
from sagline.virtual.sampling import Sampling
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
        model: str,
        serial: str,
    ) -> None:
        super().__init__()
        self.onboard = int(onboard)
        self.ads1115 = int(ads1115)
        self.model = model
        self.serial = serial
        self.mask = 0
        self.high = 1
        self._clock = clock
        self._circuit = Circuit(cell, parts)
        self._sampling = Sampling(self._circuit, parts, noise, onboard=onboard, ads1115=ads1115)
        # The circuit's own "present" is the last switching; everything later
        # in the segment is evaluated from there, exactly.
        self._segment_start_us = 0
        self._off_at_us = _NEVER

    def ticks_us(self) -> int:
        return self._clock.now_us % PERIOD

    def switch(self, mask: int, longest_us: int) -> None:
        self._settle()
        now_us = self._clock.now_us
        self._set_taps(mask, self.high, now_us)
        self._off_at_us = now_us + longest_us if mask else _NEVER

    def set_range(self, high: int) -> None:
        self._settle()
        self._set_taps(self.mask, high, self._clock.now_us)

    def gate_mask(self) -> int:
        """Return the loads that are on now (for tests and for whoever looks at the bench)."""
        self._settle()
        return self.mask

    def capture(self, length_us: int, bin_us: int) -> int:
        try:
            return self._capture(length_us, bin_us)
        except Exception as error:
            raise SimulationBug from error

    def _capture(self, length_us: int, bin_us: int) -> int:
        self._settle()
        at = 0
        left_us = length_us
        while left_us > 0:
            # The one-shot may end the pulse in the middle.
            piece_us = min(left_us, self._off_at_us - self._clock.now_us)
            for source, start_us, *rest in self._sampling.rows(
                self._clock.now_us, piece_us, bin_us
            ):
                self.rows[at : at + ROW] = array("i", (source, start_us % PERIOD, *rest))
                at += ROW
            self._clock.advance(piece_us)
            left_us -= piece_us
            self._settle()
        return at // ROW

    def _settle(self) -> None:
        """End the one-shot's pulse if its time has come."""
        if self._off_at_us <= self._clock.now_us:
            off_at_us = self._off_at_us
            self._off_at_us = _NEVER
            self._set_taps(0, self.high, off_at_us)

    def _set_taps(self, mask: int, high: int, at_us: int) -> None:
        self._circuit.advance((at_us - self._segment_start_us) * 1e-6)
        self._circuit.switch(mask, bool(high))
        self._segment_start_us = at_us
        self.mask = mask
        self.high = high
        self._sampling.restart(at_us)
