# SPDX-License-Identifier: MIT
"""How long the cell rests before each repeat."""

from sagline.analysis import quality
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import read_step
from sagline.analysis.values import AnalysisError, RawStep

# Rests are not made longer than this, however the cell drifts.
LONGEST_REST_MS = 30_000
# Two periods of 50 Hz; of 60 Hz 2.4.
SPREAD_MS = 40
GOLDEN_SHARE = 0.618034


def phase_ms(repeat: int) -> int:
    """Return by how much the rest of a repeat is longer, so that the mains meets each elsewhere.

    Multiples of the golden section, less their whole part, fill an interval evenly however
    many they are (D. E. Knuth, The Art of Computer Programming, vol. 3, section 6.4, theorem
    S; from memory), so hum of 50 and of 60 Hz meets the steps at ever other phases, and what is
    left of it in one does not come again in the next.
    """
    return round(SPREAD_MS * (repeat * GOLDEN_SHARE % 1.0))


def drift_share(step: RawStep, profile: RigProfile, converter: int) -> float:
    """Return how far the rest of a step drifted, as `quality.drift_share` has it.

    0 where the step is not to be used: a cell that moved says nothing of its drift.
    """
    try:
        reading = read_step(step, profile, converter)
    except AnalysisError:
        return 0.0
    return 0.0 if quality.cell_moved(reading) else quality.drift_share([reading])


def next_rest_ms(rest_ms: int, drift: float) -> int:
    """Return the rest of the next repeat, where the last one's was `rest_ms` without its phase.

    Where that still drifted by too large a share of the sag (`drift_share`) it is doubled,
    up to 30 s. One that was longer from the start stays.
    """
    if drift <= quality.DRIFT_SHARE:
        return rest_ms
    return max(rest_ms, min(2 * rest_ms, LONGEST_REST_MS))
