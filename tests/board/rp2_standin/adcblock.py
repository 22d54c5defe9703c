# SPDX-License-Identifier: MIT
"""The chip's converter at the level of its registers, its FIFO, and a DMA channel that empties it.

From the data sheets (RP2040 4.9 and 2.5, RP2350 12.4 and 12.6): free-running conversions of
96 cycles of 48 MHz, the input advanced in round robin after each one, a FIFO that drops the
newest code and sets OVER when it is full, writes of ones that clear OVER and UNDER, aliases at
0x2000 and 0x3000 that set and clear single bits, and a DMA that takes a code for each request
of the converter's number.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable
from typing import Any

from board.rp2_standin import Chip
from board.rp2_standin.registers import ACCESS_US

EN, START_MANY, READY = 1, 1 << 3, 1 << 8
FIFO_EN, DREQ_EN, EMPTY, FULL, UNDER, OVER = 1, 1 << 3, 1 << 8, 1 << 9, 1 << 10, 1 << 11
CONVERSION_US = 2

# Base, DMA request and depth of the FIFO.
CHIPS = {"RP2040": (0x4004C000, 36, 4), "RP2350": (0x400A0000, 48, 8)}


class AdcBlock:
    """Registers at `base`.

    dither: where there is one, dither(index) is added to each code, so that no two need be alike.
    log: then, (instant us, channel, code) of every conversion that was to be kept.
    slips: after the conversions with these numbers an input is left out.
    order: the registers written, as (name, value).
    stall: (from us, to us) in which the bus gives the DMA no turn.
    """

    def __init__(self, chip: Chip, name: str) -> None:
        self.base, self.request, self.depth = CHIPS[name]
        self.dither: Callable[[int], int] | None = None
        self.log: list[tuple[int, int, int]] = []
        self.order: list[tuple[str, int]] = []
        self.stall: tuple[int, int] = (0, 0)
        self.dma: Dma | None = None
        self.slips: set[int] = set()
        self.divider = 0
        self.fifo: list[int] = []
        self._chip = chip
        self._cs = 0
        self._fcs = 0
        # When the conversion in progress began.
        self._began_us = 0
        self._index = 0
        chip.blocks.append(self)

    @property
    def running(self) -> bool:
        return bool(self._cs & START_MANY)

    def catch_up(self) -> None:
        """Do the conversions that have ended by now."""
        now_us = self._chip.now_us
        if not self.running:
            return
        ended = (now_us - self._began_us) // CONVERSION_US
        if ended <= 0:
            return
        if not self._fcs & FIFO_EN:
            self._cs = self._advanced(ended)
            self._began_us += ended * CONVERSION_US
            return
        volts = [self._chip.volts(self._chip, channel) for channel in range(3)]
        codes = [max(0, min(4095, round(v / 3.0 * 4096))) for v in volts]
        if self._all_at_once(codes, ended):
            return
        for _ in range(ended):
            channel = self._cs >> 12 & 7
            code = codes[channel]
            if self.dither is not None:
                code = max(0, min(4095, code + self.dither(self._index)))
                self.log.append((self._began_us, channel, code))
            self._index += 1
            self._push(code)
            self._cs = self._advanced(2 if self._index in self.slips else 1)
            self._began_us += CONVERSION_US

    def _all_at_once(self, codes: list[int], ended: int) -> bool:
        """Where nothing can go wrong, do all of them in one go; else say that it was not done."""
        dma = self.dma
        if len(self.fifo) >= self.depth and not (dma and dma.takes(self.base + 0xC, self.request)):
            # Full, and nobody takes: all are lost.
            self._fcs |= OVER
            self._index += ended
            self._cs = self._advanced(ended)
            self._began_us += ended * CONVERSION_US
            return True
        if dma is None or self.dither is not None or self.slips or self.fifo or any(self.stall):
            return False
        ready = self._fcs & DREQ_EN and dma.takes(self.base + 0xC, self.request)
        if not ready or dma.room() < ended or self._cs >> 16 & 0x1F != 7:
            return False
        first = self._cs >> 12 & 7
        turn = [codes[(first + k) % 3] for k in range(3)]
        dma.take_all(array("H", (turn * (ended // 3 + 1))[:ended]))
        self._index += ended
        self._cs = self._advanced(ended)
        self._began_us += ended * CONVERSION_US
        return True

    def _advanced(self, count: int) -> int:
        """CS after so many conversions: the input goes round those of RROBIN."""
        ring = [channel for channel in range(5) if self._cs >> 16 & 1 << channel]
        following = self._cs >> 12 & 7
        if ring:
            following = ring[(ring.index(following) + count) % len(ring)]
        return self._cs & ~(7 << 12) | following << 12

    def _push(self, code: int) -> None:
        self._drain()
        if len(self.fifo) >= self.depth:
            self._fcs |= OVER
        else:
            self.fifo.append(code)
        self._drain()

    def _drain(self) -> None:
        stalled = self.stall[0] <= self._began_us < self.stall[1]
        if self.dma is None or stalled or not self._fcs & DREQ_EN:
            return
        while self.fifo and self.dma.takes(self.base + 0xC, self.request):
            self.dma.take(self.fifo.pop(0))

    def read(self, offset: int) -> int:
        if offset == 0x00:
            return self._cs | (0 if self.running else READY)
        if offset == 0x08:
            level = len(self.fifo)
            flags = (0 if level else EMPTY) | (FULL if level >= self.depth else 0)
            return self._fcs | flags | level << 16
        if offset == 0x0C:
            if not self.fifo:
                self._fcs |= UNDER
                return 0
            return self.fifo.pop(0)
        return self.divider

    def write(self, offset: int, value: int) -> None:
        register = offset & 0xFFF
        name = {0x00: "CS", 0x08: "FCS", 0x10: "DIV"}[register]
        if offset & 0x3000:
            assert name == "CS", "single bits of CS alone"
            old = self._cs
            value = old | value if offset & 0x3000 == 0x2000 else old & ~value
        self.order.append((name, value))
        if name == "DIV":
            self.divider = value
        elif name == "FCS":
            self._fcs = (self._fcs & (UNDER | OVER) & ~value) | value & (FIFO_EN | DREQ_EN)
            self._fcs |= value & 0xF << 24
        else:
            was = self.running
            self._cs = value & (EN | START_MANY | 7 << 12 | 0x1F << 16)
            if was and not self.running:
                # The conversion in progress is finished first.
                self._chip.now_us = max(self._chip.now_us, self._began_us + CONVERSION_US)
                self._cs |= START_MANY
                self.catch_up()
                self._cs &= ~START_MANY
            if self.running and not was:
                assert self._cs & EN, "the converter is off"
                self._began_us = self._chip.now_us


class Dma:
    """MicroPython's rp2.DMA, the part of it that is used, on one `block`."""

    def __init__(self, chip: Chip, block: AdcBlock) -> None:
        self._chip = chip
        self._block = block
        self.control: dict[str, Any] = {}
        self.read = 0
        self._write: array[int] = array("H")
        self._given = 0
        self._left = 0
        self._active = False
        block.dma = self

    def takes(self, address: int, request: int) -> bool:
        return self._active and self.read == address and self.control["treq_sel"] == request

    def room(self) -> int:
        """How many codes it is still to take."""
        return self._left

    def take(self, code: int) -> None:
        self.take_all(array("H", [code]))

    def take_all(self, codes: array[int]) -> None:
        self._write[self._given : self._given + len(codes)] = codes
        self._given += len(codes)
        self._left -= len(codes)
        self._active = self._left > 0

    def pack_ctrl(self, **fields: Any) -> dict[str, Any]:
        return {"size": 2, "inc_read": True, "inc_write": True, "treq_sel": 63, **fields}

    def config(self, *, read: int = -1, write: array[int] | None = None, count: int = -1,
               ctrl: dict[str, Any] | None = None, trigger: bool = False) -> None:  # fmt: skip
        def act() -> None:
            if read >= 0:
                self.read = read
            if write is not None:
                self._write, self._given = write, 0
            if count >= 0:
                self._left = count
            if ctrl is not None:
                assert (ctrl["size"], ctrl["inc_read"], ctrl["inc_write"]) == (1, False, True)
                self.control = ctrl
            if trigger:
                assert count <= len(self._write), "the DMA would write beyond its buffer"
                self._active = True
                self._block.order.append(("DMA", count))

        self._chip.access(act)

    @property
    def count(self) -> int:
        self._chip.now_us += ACCESS_US
        self._chip.access()
        return self._left

    def active(self, value: int) -> bool:
        def act() -> None:
            self._active = bool(value)

        self._chip.access(act)
        return self._active
