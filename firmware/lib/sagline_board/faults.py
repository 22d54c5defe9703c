# SPDX-License-Identifier: MIT
"""Error numbers with their words, and the error queue.

Negative numbers are those of SCPI-1999 volume 2, chapter 21 (from memory);
positive ones are the rig's own: 101 to 109 are latched trips of the guard,
111 to 119 its refusals before a step.
"""

NO_ERROR = 0
SYNTAX = -102
DATA_TYPE = -104
PARAMETER_NOT_ALLOWED = -108
MISSING_PARAMETER = -109
UNDEFINED_HEADER = -113
INIT_IGNORED = -213
SETTINGS_CONFLICT = -221
OUT_OF_RANGE = -222
DATA_STALE = -230
HARDWARE = -240
MASS_STORAGE = -250
QUEUE_OVERFLOW = -350
INPUT_OVERRUN = -363

TRIP_OVER_VOLTAGE = 101
TRIP_OVER_CURRENT = 102
TRIP_ON_TIME = 103
TRIP_ENERGY = 104
TRIP_CAPTURE = 105
TRIP_RECORD = 106
TRIP_HUNG = 107

REFUSED_TRIPPED = 111
REFUSED_EMPTY = 112
REFUSED_VOLTAGE = 113
REFUSED_CURRENT = 114
REFUSED_ON_TIME = 115
REFUSED_ENERGY = 116
REFUSED_HOT = 117
REFUSED_RECORD = 118
REFUSED_SESSION = 119

TEXTS = {
    NO_ERROR: "No error",
    SYNTAX: "Syntax error",
    DATA_TYPE: "Data type error",
    PARAMETER_NOT_ALLOWED: "Parameter not allowed",
    MISSING_PARAMETER: "Missing parameter",
    UNDEFINED_HEADER: "Undefined header",
    INIT_IGNORED: "Init ignored; a step is running",
    SETTINGS_CONFLICT: "Settings conflict; a session is open",
    OUT_OF_RANGE: "Data out of range",
    DATA_STALE: "Data corrupt or stale; nothing whole is there",
    HARDWARE: "Hardware error",
    MASS_STORAGE: "Mass storage error; the newest good copy stands",
    QUEUE_OVERFLOW: "Queue overflow",
    INPUT_OVERRUN: "Input buffer overrun",
    TRIP_OVER_VOLTAGE: "Guard: cell voltage above the limit of the load or the range",
    TRIP_OVER_CURRENT: "Guard: current above the load's limit",
    TRIP_ON_TIME: "Guard: load was on too long",
    TRIP_ENERGY: "Guard: pulse energy above the load's limit",
    TRIP_CAPTURE: "Guard: sampling failed with a step running",
    TRIP_RECORD: "Guard: the step outgrew its record",
    TRIP_HUNG: "Guard: the firmware hung with a load on; the watchdog started the board anew",
    REFUSED_TRIPPED: "Guard has tripped; read GUARd:STATe? and send GUARd:CLEar",
    REFUSED_EMPTY: "No segments; send STEP:SEGMent first",
    REFUSED_VOLTAGE: "Cell voltage above the limit of the load or the range",
    REFUSED_CURRENT: "Expected current above the load's limit",
    REFUSED_ON_TIME: "Load on for longer than its limit",
    REFUSED_ENERGY: "Pulse energy above the load's limit",
    REFUSED_HOT: "Load still warm; wait",
    REFUSED_RECORD: "Step too long for the record",
    REFUSED_SESSION: "No such session; send SESSion:OPEN",
}

# Bits of the standard event status register, IEEE 488.2 11.5.1 (from memory).
EVENT_QUERY = 4
EVENT_DEVICE = 8
EVENT_EXECUTION = 16
EVENT_COMMAND = 32
EVENT_POWER_ON = 128


def event_bit(number):
    """Return the event status bit that an error of this number sets."""
    if -200 < number <= -100:
        return EVENT_COMMAND
    if -300 < number <= -200:
        return EVENT_EXECUTION
    if -500 < number <= -400:
        return EVENT_QUERY
    return EVENT_DEVICE


class ErrorQueue:
    """First in, first out, bounded; overflow replaces the newest entry."""

    DEPTH = 16

    def __init__(self):
        self._items = []

    def push(self, number):
        if len(self._items) >= self.DEPTH:
            self._items[-1] = QUEUE_OVERFLOW
        else:
            self._items.append(number)

    def pop(self):
        """Return the oldest error number, NO_ERROR when there is none."""
        return self._items.pop(0) if self._items else NO_ERROR

    def clear(self):
        self._items = []

    def __len__(self):
        return len(self._items)
