# SPDX-License-Identifier: MIT
"""An ADS1115 on the I2C bus, by the registers of its data sheet (SBAS444), and the bus itself.

Single conversions and the ready pin: OS starts one in the power-down state and has no effect
while one goes on; with the highest bits of Hi_thresh and Lo_thresh at 1 and 0 and the comparator
in use, the pin is low where a conversion has ended and high while one goes on. A conversion is
the mean of its inputs over its time.
"""

from __future__ import annotations

from collections.abc import Callable

from board.rp2_standin import Chip

ADDRESS = 0x48
EIO = 5
BYTE_US = 23
RANGES_V = {0: 6.144, 1: 4.096, 2: 2.048, 3: 1.024, 4: 0.512, 5: 0.256, 6: 0.256, 7: 0.256}
RATES = (8, 16, 32, 64, 128, 250, 475, 860)
INPUTS: dict[int, tuple[int, int | None]] = {
    0: (0, 1), 1: (0, 3), 2: (1, 3), 3: (2, 3),
    4: (0, None), 5: (1, None), 6: (2, None), 7: (3, None),
}  # fmt: skip


class WideChip:
    """The converter; `pin_v(number)` is what the circuit puts on its inputs.

    rate: its speed over the nominal one. stuck: the level its ready pin is held at, or None.
    absent: it does not answer. done: (began us, ended us, config word, code) of each conversion.
    """

    def __init__(self, chip: Chip, pin_v: Callable[[int], float], address: int = ADDRESS) -> None:
        self.address = address
        self.rate = 0.97
        self.stuck: int | None = None
        self.absent = False
        self.done: list[tuple[int, int, int, int]] = []
        self._chip = chip
        self._pin_v = pin_v
        self.power_up()
        chip.blocks.append(self)

    base = -1 << 32

    def power_up(self) -> None:
        """The registers as they are after power-up or a brown-out."""
        self.registers = [0x0000, 0x8583, 0x8000, 0x7FFF]
        self._pointer = 0
        self._began_us: int | None = None
        self._seen_us = 0
        self._sum = 0.0
        self._ended = False

    def _duration_us(self) -> int:
        return round(1e6 / (RATES[self.registers[1] >> 5 & 7] * self.rate))

    def catch_up(self) -> None:
        """Let the conversion in progress see the inputs up to now, and end when its time is up."""
        if self._began_us is None:
            return
        end_us = self._began_us + self._duration_us()
        until_us = min(self._chip.now_us, end_us)
        if until_us > self._seen_us:
            self._sum += self._input_v() * (until_us - self._seen_us)
            self._seen_us = until_us
        if self._chip.now_us >= end_us:
            span_v = RANGES_V[self.registers[1] >> 9 & 7]
            code = round(self._sum / (end_us - self._began_us) / span_v * 32768)
            code = max(-32768, min(32767, code))
            self.registers[0] = code & 0xFFFF
            self.done.append((self._began_us, end_us, self.registers[1], code))
            self._began_us = None
            self._ended = True

    def _input_v(self) -> float:
        positive, negative = INPUTS[self.registers[1] >> 12 & 7]
        return self._pin_v(positive) - (0.0 if negative is None else self._pin_v(negative))

    def level(self) -> int:
        """Its ready pin; released where it is not told to signal readiness."""
        if self.stuck is not None:
            return self.stuck
        _, config, low, high = self.registers
        if self.absent or config & 3 == 3 or not high & 0x8000 or low & 0x8000:
            return 1
        return 0 if self._ended and self._began_us is None else 1

    def receive(self, data: bytes) -> None:
        self._pointer = data[0] & 3
        if len(data) < 3:
            return
        value = data[1] << 8 | data[2]
        if self._pointer != 1:
            self.registers[self._pointer] = value
            return
        assert value & 0x0100, "single conversions only"
        self.registers[1] = value & 0x7FFF
        if value & 0x8000 and self._began_us is None:
            self._began_us = self._seen_us = self._chip.now_us
            self._sum = 0.0
            self._ended = False

    def send(self) -> bytes:
        value = self.registers[self._pointer]
        if self._pointer == 1 and self._began_us is None:
            value |= 0x8000
        return bytes([value >> 8 & 0xFF, value & 0xFF])


def bus(chip: Chip, *fitted: WideChip) -> type:
    """Return machine.I2C with `fitted` on it."""
    by_address = {one.address: one for one in fitted}

    class I2C:
        def __init__(self, number: int, *, sda: object, scl: object, freq: int, timeout: int):
            chip.bus = (number, sda.number, scl.number, freq, timeout)  # type: ignore[attr-defined]

        def _there(self, address: int, length: int) -> WideChip:
            chip.now_us += BYTE_US * (1 + length)
            chip.access()
            if address not in by_address or by_address[address].absent:
                raise OSError(EIO)
            return by_address[address]

        def writeto(self, address: int, data: bytes) -> int:
            self._there(address, len(data)).receive(data)
            return len(data)

        def readfrom_into(self, address: int, into: bytearray) -> None:
            into[:] = self._there(address, len(into)).send()

    return I2C
