# SPDX-License-Identifier: MIT
"""What the board's lamp says without a host: its patterns, and which of them holds.

What each means to whoever looks is told in hardware/assembly.md, which a test reads against this.

The lamp draws on the supply that the references hang on, so it is dark from the first reading of
a step to the last.
"""

from . import faults
from .commands import RUNNING

STARTING = "starting"
STEP = "step"
TRIPPED = "tripped"
HELD = "held"
WARM = "warm"
READY = "ready"

# Lit and dark in turn, in ms; nothing is dark throughout. A trip blinks as often as its number
# is above 100.
PATTERNS = {
    STARTING: (1500,),
    STEP: (),
    HELD: (60, 140, 60, 1740),
    WARM: (1000, 1000),
    READY: (60, 1940),
}
BLINK_MS = (200, 300)
PAUSE_MS = 1500


def state_of(board):
    """Return the name of the row that holds for a board that runs."""
    engine = board.engine
    if engine.state == RUNNING:
        return STEP
    if engine.guard.reason:
        return TRIPPED
    if board.held:
        return HELD
    return WARM if engine.guard.ready_ms() else READY


def blinks(reason):
    """Return how often a trip of this number blinks."""
    return reason - faults.TRIP_OVER_VOLTAGE + 1


def pattern_of(state, reason):
    """Return the times (ms) of a row, lit first."""
    if state != TRIPPED:
        return PATTERNS[state]
    return BLINK_MS * (blinks(reason) - 1) + (BLINK_MS[0], PAUSE_MS)


def level(pattern, at_ms):
    """Return 1 where the lamp is lit `at_ms` after the pattern's beginning, over and over."""
    if not pattern:
        return 0
    at_ms %= sum(pattern)
    lit = 1
    for lasts_ms in pattern:
        if at_ms < lasts_ms:
            break
        at_ms -= lasts_ms
        lit = 1 - lit
    return lit
