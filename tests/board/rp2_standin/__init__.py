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
"""

from collections.abc import Callable

PERIOD = 1 << 30
READ_US = 10
ADC_PINS = {26: 0, 27: 1, 28: 2}


class Chip:
    """The registers. `volts(channel)` is what the circuit puts on an ADC pin."""

    def __init__(self, volts: Callable[["Chip", int], float] | None = None) -> None:
        self.out = 0
        self.enable = 0
        self.pull_up = 0
        self.analogue: set[int] = set()
        self.grounded: set[int] = set()
        self.now_us = 0
        self.volts = volts or (lambda _chip, _channel: 1.0)
        self.history: list[tuple[int, int, int]] = []
        self.was_reset = 0
        # Raised before the k-th access from now, as Ctrl-C would be.
        self.interrupt_in = -1

    def drives_high(self, number: int) -> bool:
        """Whether the pin is an output and high."""
        return bool(self.enable >> number & self.out >> number & 1)

    def access(self) -> None:
        """Count an access to the chip; this is where an interrupt may come."""
        if self.interrupt_in == 0:
            self.interrupt_in = -1
            raise KeyboardInterrupt
        if self.interrupt_in > 0:
            self.interrupt_in -= 1

    def latch(self, number: int, value: int) -> None:
        """Set a pin's output latch."""
        self.out = self.out & ~(1 << number) | (value & 1) << number
        self.history.append((self.now_us, number, value))


def modules(chip: Chip) -> dict[str, type]:
    """Return what the names Pin and ADC of `machine` stand for on this chip."""

    class Pin:
        IN, OUT = 0, 1
        PULL_UP = 1

        def __init__(self, number: int, mode: int = -1, pull: int = -1, *, value: int = -1):
            chip.access()
            self.number = number
            if value >= 0:
                chip.latch(number, value)
            if mode == Pin.OUT:
                chip.enable |= 1 << number
            elif mode == Pin.IN:
                chip.enable &= ~(1 << number)
            if pull == Pin.PULL_UP:
                chip.pull_up |= 1 << number

        def value(self, value: int = -1) -> int:
            chip.access()
            if value >= 0:
                chip.latch(self.number, value)
                return value
            if self.number in chip.grounded:
                return 0
            return int(bool(chip.pull_up >> self.number & 1))

    class ADC:
        def __init__(self, pin: "Pin") -> None:
            chip.access()
            assert isinstance(pin, Pin), "ADC(channel) leaves the pad's pull-down on"
            self.channel = ADC_PINS[pin.number]
            chip.analogue.add(pin.number)

        def read_u16(self) -> int:
            chip.access()
            chip.now_us += READ_US
            raw = max(0, min(4095, round(chip.volts(chip, self.channel) / 3.0 * 4096)))
            return raw << 4 | raw >> 8

    return {"Pin": Pin, "ADC": ADC}
