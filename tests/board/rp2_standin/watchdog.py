# SPDX-License-Identifier: MIT
"""The stand-in chip's watchdog: MicroPython's WDT starts and feeds it, its enable bit stops it.

When its time is up the whole chip is reset: state machines stop and every pin is an input with its
pull-down, so that nothing is driven.
"""

from __future__ import annotations

from board.rp2_standin import Chip

# RP2040 data sheet 2.2.5 and RP2350 2.2.5, the address maps.
BASES = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
ENABLE = 1 << 30
REASON, SCRATCH4 = 0x08, 0x1C
# What pico-sdk's watchdog_enable leaves in SCRATCH4 (hardware/watchdog.c; from memory).
MARK = 0x6AB73121


class WatchdogBlock:
    """Registers at `base`; `resets` are the instants (us) at which it has reset the chip."""

    def __init__(self, chip: Chip, name: str) -> None:
        self.base = BASES[name]
        self.enabled = False
        self.resets: list[int] = []
        self.loaded_us = self.due_us = 0
        # Both outlive a reset; only taking the power off clears the second.
        self.reason = self.scratch4 = 0
        self._chip = chip
        chip.blocks.append(self)

    def load(self, timeout_us: int) -> None:
        """So much time is left from now on."""
        self.loaded_us = timeout_us
        self.due_us = self._chip.now_us + timeout_us

    def catch_up(self) -> None:
        """Reset the chip where the time was up."""
        if self.enabled and self._chip.now_us >= self.due_us:
            self.enabled = False
            self.reason = 1
            self.resets.append(self.due_us)
            self._chip.reset_pins(self.due_us)

    def read(self, offset: int) -> int:
        assert offset in (0, REASON, SCRATCH4), "nothing else is of interest"
        return {0: ENABLE if self.enabled else 0, REASON: self.reason}.get(offset, self.scratch4)

    def write(self, offset: int, value: int) -> None:
        if offset == SCRATCH4:
            self.scratch4 = value
            return
        assert value == ENABLE and offset in (0x2000, 0x3000), "only the enable bit, by an alias"
        self.enabled = offset == 0x2000


def wdt_class(chip: Chip, block: WatchdogBlock) -> type:
    """What `machine.WDT` is on this chip."""

    class WDT:
        def __init__(self, *, timeout: int) -> None:
            # The longest that the RP2040's counter can hold.
            assert 0 < timeout <= 8388

            def act() -> None:
                block.load(timeout * 1000)
                block.enabled = True
                block.scratch4 = MARK

            chip.access(act)

        def feed(self) -> None:
            chip.access(lambda: block.load(block.loaded_us))

    return WDT
