# SPDX-License-Identifier: MIT
"""How long the cell rests before each repeat."""

from sagline.analysis.quality import DRIFT_SHARE

# Rests are not made longer than this, however the cell drifts.
LONGEST_REST_MS = 30_000
# Two periods of 50 Hz; of 60 Hz 2.4.
SPREAD_MS = 40
GOLDEN_SHARE = 0.618034


def phase_ms(repeat: int) -> int:
    """Return by how much the rest of a repeat is longer, so that the mains meets each elsewhere.

    Multiples of the golden section, less their whole part, fill an interval evenly however
    many they are (D. E. Knuth, The Art of Computer Programming, vol. 3, section 6.4, theorem
    S; from memory), so hum of 50 and of 60 Hz meets the steps at ever other phases and its
    rest does not add up.
    """
    return round(SPREAD_MS * (repeat * GOLDEN_SHARE % 1.0))


def next_rest_ms(rest_ms: int, drift_share: float) -> int:
    """Return the rest of the next repeat, where the last one's was `rest_ms` without its phase.

    Where it still drifted by too large a share of the sag (`quality.drift_share`) it is
    doubled, up to 30 s. One that was longer from the start stays.
    """
    if drift_share <= DRIFT_SHARE:
        return rest_ms
    return max(rest_ms, min(2 * rest_ms, LONGEST_REST_MS))
