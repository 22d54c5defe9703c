# SPDX-License-Identifier: MIT
"""The on-board converter at its own rate: its FIFO emptied by DMA, three channels in turn.

500 000 conversions a second, from the first slice on without end, so that the
supply sees the same converter at rest and under load; between slices nobody
keeps what it gives. The FIFO has no mark of the channel: a slice begins with
an empty one and with sense, and every slice is checked. A code that was lost
or a turn that is out of step is an OSError, never a row.

Registers: RP2040 data sheet 4.9 and 2.5, RP2350 data sheet 12.4 and 12.6.
Addresses are made once: they are above 2**30, where an integer takes memory.
"""

import time
from array import array

from boards.decimate import TURN_US, sum_turns

from sagline_board import ticks
from sagline_board.hardware import ROW
from sagline_board.sampler import LOADED_SLICE_US

# Base of the converter's registers and the number of its DMA request, by chip.
CHIPS = {"RP2040": (0x4004C000, 36), "RP2350": (0x400A0000, 48)}
CS, FCS, FIFO, DIV = 0x00, 0x08, 0x0C, 0x10
# Writes here set or clear single bits of a register.
SET, CLEAR = 0x2000, 0x3000

ENABLE = 1 << 0
START_MANY = 1 << 3
READY = 1 << 8
# Round robin over the first three inputs; the field of the next input is left 0: sense.
ROUND = 7 << 16
_NEXT_SHIFT = 12

KEEP = 1 << 0
REQUEST = 1 << 3
EMPTY = 1 << 8
# Both are cleared by writing ones to them.
UNDER, OVER = 1 << 10, 1 << 11
LEVEL_SHIFT = 16
# A request for each code.
THRESHOLD = 1 << 24

CHANNELS = 3
# Codes beyond the slice's own: 2 ms in which the interpreter must have looked.
SPARE = 1000
# What is longer comes in pieces, or the buffer would take twice as much memory.
PIECE_US = LOADED_SLICE_US

# Codes that have not come by then do not come.
_LATE_US = 5000

_EIO, _ETIMEDOUT = 5, 110


class Fifo:
    """The converter's FIFO at `base` and the DMA channel `dma`, paced by `request`.

    `mem32` are the chip's registers.
    """

    def __init__(self, mem32, dma, base, request):
        self._mem32 = mem32
        self._cs = base + CS
        self._cs_set = base + CS + SET
        self._cs_clear = base + CS + CLEAR
        self._fcs = base + FCS
        self._fifo = base + FIFO
        self._div = base + DIV
        self._dma = dma
        dma.config(read=self._fifo, ctrl=dma.pack_ctrl(size=1, inc_read=False, treq_sel=request))
        self._codes = array("H", bytes(2 * (CHANNELS * (PIECE_US // TURN_US) + SPARE)))
        self._work = array("i", [0, 0, 0, 0])

    def stop(self):
        """Let the converter rest, so that single conversions can be asked of it.

        Raises OSError where it does not come to rest.
        """
        mem32 = self._mem32
        mem32[self._cs_clear] = START_MANY
        for _ in range(20):
            if mem32[self._cs] & READY:
                break
        else:
            raise OSError(_EIO)
        self._dma.active(0)
        mem32[self._fcs] = UNDER | OVER
        for _ in range(20):
            if mem32[self._fcs] & EMPTY:
                break
            _dropped = mem32[self._fifo]
        else:
            raise OSError(_EIO)
        mem32[self._cs] = ENABLE

    def capture(self, rows, length_us, bin_us, between):
        """Sample for `length_us` into `rows`, three of them for each `bin_us` of a piece.

        `between(row)` is called while codes come in; it may put rows of its own
        at `row`, and returns the place behind them, as this does. Raises OSError
        where codes were lost or do not come.
        """
        pieces = (length_us + PIECE_US - 1) // PIECE_US
        row = 0
        for _ in range(pieces):
            row = self._piece(rows, row, length_us // pieces, bin_us, between)
        return row

    def _piece(self, rows, row, length_us, bin_us, between):
        turns = max(1, length_us // TURN_US)
        transfers = CHANNELS * turns + SPARE
        mem32, dma, work = self._mem32, self._dma, self._work
        work[3] = self._start(transfers)
        first = 0
        until_us = 0
        while first < turns:
            until_us += bin_us
            last = max(first + 1, min(turns, until_us // TURN_US))
            left = transfers - CHANNELS * last
            row = between(row)
            while dma.count > left:
                if time.ticks_diff(time.ticks_us(), work[3]) > length_us + _LATE_US:
                    raise OSError(_ETIMEDOUT)
                row = between(row)
            # Read after the codes have come: if nothing was lost yet, none of them was.
            if mem32[self._fcs] & (UNDER | OVER):
                raise OSError(_EIO)
            work[0] = first
            work[1] = last
            work[2] = row
            # A buffer stands for a pointer there.
            sum_turns(self._codes, rows, work)  # pyright: ignore[reportArgumentType]
            row += CHANNELS * ROW
            first = last
        self._finish(transfers)
        return row

    def _start(self, transfers):
        """Begin with sense and an empty FIFO; return the tick at which it began."""
        self.stop()
        mem32 = self._mem32
        mem32[self._div] = 0
        mem32[self._cs] = ENABLE | ROUND
        mem32[self._fcs] = KEEP | REQUEST | THRESHOLD | UNDER | OVER
        self._dma.config(write=self._codes, count=transfers, trigger=True)
        before = time.ticks_us()
        mem32[self._cs_set] = START_MANY
        after = time.ticks_us()
        return ticks.add(before, time.ticks_diff(after, before) // 2)

    def _finish(self, transfers):
        """Compare the codes that came with the input whose turn it is; convert on, keep nothing.

        Raises OSError where they are out of step.
        """
        mem32 = self._mem32
        mem32[self._cs_clear] = START_MANY
        state = 0
        for _ in range(20):
            state = mem32[self._cs]
            if state & READY:
                break
        else:
            raise OSError(_EIO)
        fifo = mem32[self._fcs]
        came = transfers - self._dma.count + (fifo >> LEVEL_SHIFT & 15)
        if fifo & (UNDER | OVER) or came % CHANNELS != state >> _NEXT_SHIFT & 7:
            raise OSError(_EIO)
        self._dma.active(0)
        mem32[self._fcs] = UNDER | OVER
        mem32[self._cs_set] = START_MANY


def open_fifo(mem32, dma_class, board_name):
    """Return the FIFO of the chip that `board_name` names, None where there is none for us.

    `dma_class` is None where this MicroPython has no DMA.
    """
    for chip, (base, request) in CHIPS.items():
        if chip in board_name and dma_class is not None:
            try:
                return Fifo(mem32, dma_class(), base, request)
            except OSError:
                return None
    return None
