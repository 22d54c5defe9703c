# SPDX-License-Identifier: MIT
"""An RP2 chip at the level of its registers, for the Pico's board file on a computer.

`Chip` holds what the chip holds: the output latches, the output enables, pulls,
the pads' analogue set-up, and a microsecond counter. `Pin` and `ADC` act on it
as MicroPython's do where that matters here:
- Pin(n, OUT) without a value drives whatever the latch holds; with one, the
  latch is set before the direction.
- Neither a soft reset nor Ctrl-C touches latch or direction.
- ADC(number of a channel) does not set up the pad: refused here, since it
  would silently load the divider.
- read_u16 gives raw << 4 | raw >> 8 and takes about 10 us.

Outside the chip there is the ARM pump, whose gate is up only while its pin
keeps toggling: each edge fills an eighth of what is missing, and what is there
leaks away so that a full pump lets go 0.13 s after the last edge.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from board.rp2_standin.pio import StateMachine
    from board.rp2_standin.watchdog import WatchdogBlock

PERIOD = 1 << 30
READ_US = 10
PIN_US = 2
ADC_PINS = {26: 0, 27: 1, 28: 2}
PUMP_EDGE = 1 / 8
PUMP_ON = 0.5
PUMP_LEAK_US = 130_000 / math.log(1 / PUMP_ON)


class Chip:
    """The registers. `volts(channel)` is what the circuit puts on an ADC pin."""

    def __init__(self, volts: Callable[[Chip, int], float] | None = None, arm: int = -1) -> None:
        self.out = 0
        self.enable = 0
        # Pins whose output a PIO state machine has, by number.
        self.given: dict[int, StateMachine] = {}
        self.machines: list[StateMachine] = []
        self.watchdog: WatchdogBlock
        self.pull_up = 0
        self.analogue: set[int] = set()
        self.grounded: set[int] = set()
        self.now_us = 0
        self.volts = volts or (lambda _chip, _channel: 1.0)
        # Every setting of a latch: instant, pin, value, number of the access.
        self.history: list[tuple[int, int, int, int]] = []
        # When each of the last conversions began, and on which channel.
        self.conversions: deque[tuple[int, int]] = deque(maxlen=10_000)
        self._arm = arm
        self._pumped = 0.0
        self._edge_us = 0
        self.was_reset = 0
        # Pins that have a name and no number: those of the radio chip.
        self.named: dict[str, int] = {}
        self.named_history: list[tuple[int, str, int]] = []
        # Blocks beside the pins, and chips at the end of them: told of the time before
        # anything changes. Pins that something outside drives, by their level.
        self.blocks: list[Any] = []
        self.driven: dict[int, Callable[[], int]] = {}
        # The I2C bus: number, SDA, SCL, rate in Hz, time-out in us.
        self.bus: tuple[int, int, int, int, int] | None = None
        self.accesses = 0
        # Ctrl-C comes before the accesses with these numbers; with `late` after
        # what they do is done.
        self.interrupts: set[int] = set()
        self.late = False

    def drives_high(self, number: int) -> bool:
        """Whether the pin is an output and high."""
        # The watchdog alone: what a converter has done meanwhile may depend on this very pin.
        if (watchdog := getattr(self, "watchdog", None)) is not None:
            watchdog.catch_up()
        if number in self.given:
            return self.given[number].level(number)
        return bool(self.enable >> number & self.out >> number & 1)

    def armed(self) -> bool:
        """Whether the pump holds the ARM switch on now."""
        return self._pump_now() > PUMP_ON

    def _pump_now(self) -> float:
        return self._pumped * math.exp((self._edge_us - self.now_us) / PUMP_LEAK_US)

    def access(self, act: Callable[[], None] = lambda: None) -> None:
        """Count an access to the chip and do it; this is where an interrupt may come."""
        self.accesses += 1
        for block in self.blocks:
            block.catch_up()
        interrupted = self.accesses in self.interrupts
        if interrupted and not self.late:
            raise KeyboardInterrupt
        act()
        if interrupted:
            raise KeyboardInterrupt

    def reset_pins(self, at_us: int) -> None:
        """What a reset of the chip at `at_us` does: nothing is driven, no state machine runs."""
        for machine in self.machines:
            machine.reset(at_us)
        self.given.clear()
        self.enable = self.out = self.pull_up = 0

    def set_named(self, name: str | None, value: int) -> None:
        """Set a pin that has a name and no number."""
        if name is not None:
            self.named[name] = value
            self.named_history.append((self.now_us, name, value))

    def latch(self, number: int, value: int) -> None:
        """Set a pin's output latch."""
        if number == self._arm and value != self.out >> number & 1:
            self._pumped = self._pump_now()
            self._pumped += (1 - self._pumped) * PUMP_EDGE
            self._edge_us = self.now_us
        self.out = self.out & ~(1 << number) | (value & 1) << number
        self.history.append((self.now_us, number, value, self.accesses))


def modules(chip: Chip) -> dict[str, type]:
    """Return what the names Pin and ADC of `machine` stand for on this chip."""

    class Pin:
        IN, OUT = 0, 1
        PULL_UP = 1

        def __init__(self, number: int | str, mode: int = -1, pull: int = -1, *, value: int = -1):
            self.number = -1
            self.name = number if isinstance(number, str) else None
            if isinstance(number, str):
                chip.named[number] = value
                return
            self.number = number

            def set_up() -> None:
                if value >= 0:
                    chip.latch(number, value)
                if mode in (Pin.OUT, Pin.IN):
                    chip.given.pop(number, None)
                if mode == Pin.OUT:
                    chip.enable |= 1 << number
                elif mode == Pin.IN:
                    chip.enable &= ~(1 << number)
                if pull == Pin.PULL_UP:
                    chip.pull_up |= 1 << number

            chip.access(set_up)

        def init(self, mode: int = -1, pull: int = -1, *, value: int = -1) -> None:
            chip.now_us += PIN_US
            Pin(self.number, mode, pull, value=value)

        def value(self, value: int = -1) -> int:
            if self.name is not None:
                chip.now_us += PIN_US
                chip.access(lambda: chip.set_named(self.name, value))
                return value
            if value >= 0:
                chip.now_us += PIN_US
                chip.access(lambda: chip.latch(self.number, value))
                return value
            if self.number in chip.driven:
                chip.now_us += PIN_US
            chip.access()
            if self.number in chip.grounded:
                return 0
            if self.number in chip.driven:
                return chip.driven[self.number]()
            return int(bool(chip.pull_up >> self.number & 1))

    class ADC:
        def __init__(self, pin: Pin) -> None:
            chip.access()
            assert isinstance(pin, Pin), "ADC(channel) leaves the pad's pull-down on"
            self.channel = ADC_PINS[pin.number]
            chip.analogue.add(pin.number)

        def read_u16(self) -> int:
            chip.access()
            assert not any(getattr(block, "running", False) for block in chip.blocks)
            chip.conversions.append((chip.now_us, self.channel))
            chip.now_us += READ_US
            raw = max(0, min(4095, round(chip.volts(chip, self.channel) / 3.0 * 4096)))
            return raw << 4 | raw >> 8

    return {"Pin": Pin, "ADC": ADC}
