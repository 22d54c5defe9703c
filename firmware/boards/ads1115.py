# SPDX-License-Identifier: MIT
"""The ADS1115 by its ready signal: one conversion after the other, each channel in its own range.

Registers and their fields are those of its data sheet (SBAS444). Every
conversion is started by itself, so that it is known when it began; the ready
pin goes low when it has ended. A range belongs to a channel and never changes.
Nothing in `poll` allocates, which is why whole buffers are written and no
register is addressed by the bus's own calls for that.
"""

import time

from sagline_board.hardware import ADS_NULL_ORDER, ADS_ORDER, ROW
from sagline_board.profile import ADS1115, CONVERTERS, NULL, NULL_DIFFERENCE

# With its address pin at ground.
ADDRESS = 0x48
BUS_HZ = 400000
# No transaction may hold a slice up for longer, whatever hangs on the bus.
BUS_TIMEOUT_US = 1000

CONVERSION, CONFIG, LOW, HIGH = 0, 1, 2, 3
START = 0x8000
# Single conversions, 860 a second, comparator after each one: with the highest bits of
# its thresholds at 1 (high) and 0 (low) its pin then says that a conversion has ended.
MODE = 0x01E0
# Inputs: one against ground, or the first against the fourth.
AGAINST_GROUND = 4
FIRST_LESS_FOURTH = 1
# Code width in pV to the field of the range.
RANGES = {62500000: 2, 7812500: 5}

_EIO, _ETIMEDOUT = 5, 110
# After a pause as long as this the conversion in flight is of another time.
_PAUSE_MS = 20
_TRIALS = 8


def config_word(inputs, lsb_pv):
    """Return the config word that starts a conversion of `inputs` in the range of `lsb_pv`."""
    return START | inputs << 12 | RANGES[lsb_pv] << 9 | MODE


def channel_word(channel):
    """Return the config word of a channel: 0 sense, 1 force, 2 return, 3 sense less null."""
    if channel == NULL_DIFFERENCE:
        return config_word(FIRST_LESS_FOURTH, NULL["lsb_pv"])
    return config_word(AGAINST_GROUND + channel, CONVERTERS[ADS1115]["lsb_nv"] * 1000)


class Ads1115:
    """The converter on `i2c`, its ready signal on the pin `ready`.

    length_us: how long this one takes for a conversion, once `find` has found it.
    """

    def __init__(self, i2c, ready):
        self._i2c = i2c
        self._ready = ready
        self._pointer = bytes([CONVERSION])
        self._word = bytearray(2)
        nominal_us = CONVERTERS[ADS1115]["sample_ns"] // 1000
        spread_us = nominal_us * (CONVERTERS[ADS1115]["rate_tolerance_ppm"] // 1000) // 1000
        # Ready before the first of these, a signal is stuck; not ready after the second, it
        # is stuck or the converter has forgotten what it was told.
        self._least_us = nominal_us - spread_us - nominal_us // 20
        self._most_us = 2 * (nominal_us + spread_us)
        self.length_us = nominal_us
        self.use(ADS_ORDER)
        self._running = False
        self._spoiled = False
        self._lost = False
        self._start = 0
        self._seen_ms = 0

    def use(self, order):
        """Read the channels in `order` from now on; its length is even."""
        self._order = order
        self._starts = [
            bytes([CONFIG, word >> 8, word & 0xFF]) for word in map(channel_word, order)
        ]
        self._slot = 0

    def find(self):
        """Return whether an ADS1115 answers, holds what is written, and signals its conversions.

        An acknowledge alone could be any chip's. Takes some 15 ms.
        """
        try:
            # Whatever was begun before a reset of the board has ended by then.
            time.sleep_ms(3)
            return self._holds() and self._signals()
        except OSError:
            return False

    def spoil(self):
        """The circuit changes now: drop the conversion in flight, begin the order anew."""
        self._spoiled = True
        self._slot = 0

    def resume(self):
        """Begin a slice; what a pause has made old is dropped. Raises OSError.

        After a pause the second half of the order comes first: it holds every channel.
        """
        if self._lost:
            self._set_up()
            self._lost = False
        now_ms = time.ticks_ms()
        if time.ticks_diff(now_ms, self._seen_ms) > _PAUSE_MS:
            self._spoiled = True
            self._slot = len(self._order) // 2
        self._seen_ms = now_ms

    def ready(self):
        """Return whether `poll` has something to do."""
        return not self._running or not self._ready.value()

    def poll(self, rows, row):
        """Put what has ended into `rows` at `row`, begin the next; return the place behind it.

        Raises OSError where the bus or the ready signal fails.
        """
        self._seen_ms = time.ticks_ms()
        try:
            if self._running:
                high = self._ready.value()
                waited_us = time.ticks_diff(time.ticks_us(), self._start)
                if high and waited_us > self._most_us:
                    raise OSError(_ETIMEDOUT)
                if high:
                    return row
                if waited_us < self._least_us:
                    raise OSError(_EIO)
                row = self._take(rows, row)
            self._begin()
            return row
        except OSError:
            self._running = False
            self._lost = True
            self.spoil()
            raise

    def read_pin(self, number):
        """Return one conversion of input `number` against ground, in codes of the plain range.

        Not for use in a slice. Raises OSError.
        """
        word = config_word(AGAINST_GROUND + number, CONVERTERS[ADS1115]["lsb_nv"] * 1000)
        self._time(bytes([CONFIG, word >> 8, word & 0xFF]))
        return self._code()

    def _take(self, rows, row):
        code = self._code()
        if self._spoiled:
            return row
        slot = self._slot
        rows[row] = ADS1115 * 4 + self._order[slot]
        rows[row + 1] = self._start
        # Its own time, not until it was noticed.
        rows[row + 2] = self.length_us
        rows[row + 3] = 1
        rows[row + 4] = code
        self._slot = slot + 1 if slot + 1 < len(self._order) else 0
        return row + ROW

    def _begin(self):
        self._running = False
        self._i2c.writeto(ADDRESS, self._starts[self._slot])
        self._start = time.ticks_us()
        self._spoiled = False
        self._running = True

    def _code(self):
        self._i2c.writeto(ADDRESS, self._pointer)
        self._i2c.readfrom_into(ADDRESS, self._word)
        code = self._word[0] << 8 | self._word[1]
        return code - 0x10000 if code & 0x8000 else code

    def _write(self, register, value):
        self._i2c.writeto(ADDRESS, bytes([register, value >> 8, value & 0xFF]))

    def _read(self, register):
        self._i2c.writeto(ADDRESS, bytes([register]))
        self._i2c.readfrom_into(ADDRESS, self._word)
        return self._word[0] << 8 | self._word[1]

    def _set_up(self):
        self._write(LOW, 0x0000)
        self._write(HIGH, 0x8000)

    def _holds(self):
        """Whether its registers hold what is written to them, and start nothing unasked."""
        self._set_up()
        if self._read(LOW) != 0x0000 or self._read(HIGH) != 0x8000:
            return False
        for channel in (NULL_DIFFERENCE, 0):
            word = channel_word(channel)
            self._write(CONFIG, word & 0x7FFF)
            # Bit 15 reads 1 where nothing is being converted.
            if self._read(CONFIG) != word:
                return False
        return True

    def _signals(self):
        """Whether the ready pin follows its conversions; remembers how long they take.

        What is noticed late only makes one seem longer, so the shortest of some counts.
        """
        shortest_us = self._most_us
        for _ in range(_TRIALS):
            shortest_us = min(shortest_us, self._time(self._starts[0]))
        self.length_us = shortest_us
        return shortest_us >= self._least_us

    def _time(self, start):
        """Convert once; return how long (us) it took. Raises OSError."""
        self._running = False
        self._i2c.writeto(ADDRESS, start)
        began = time.ticks_us()
        while self._ready.value():
            if time.ticks_diff(time.ticks_us(), began) > self._most_us:
                raise OSError(_ETIMEDOUT)
        return time.ticks_diff(time.ticks_us(), began)


def find_ads1115(i2c, ready):
    """Return the ADS1115 on `i2c`, None where there is none."""
    converter = Ads1115(i2c, ready)
    return converter if converter.find() else None


def use_null(converter):
    """Let `converter` read sense less null as well."""
    converter.use(ADS_NULL_ORDER)
