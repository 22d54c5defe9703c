# SPDX-License-Identifier: MIT
"""What the taps must read with empty clips, and what a closed switch does to them.

Nothing touches sense and force, so both show their lift; return hangs on the ground tie. A load
that is switched on connects force to return: in the low range the force tap falls to the tie's
level, without any cell, and so tells that gate, switch and ARM do what they should.
"""

from __future__ import annotations

from dataclasses import dataclass

from sagline.analysis.presence import NOISES, Taps, floating_v, limit_v
from sagline.analysis.profile import RigProfile
from sagline.analysis.rows import ROUNDING_CODES
from sagline.analysis.values import FORCE, RETURN, SENSE

CHANNEL_NAMES = ("sense", "force", "return")
TIE_SHARE = 0.2
"""How far the ground tie's level may be off: its diode's leakage lies beside its 10 kΩ (a guess on
the large side: all of it would be 12 µA at 0.12 V)."""


@dataclass(frozen=True)
class Wanted:
    """A tap with empty clips: its level (V), and how far it may be off."""

    channel: int
    v: float
    limit_v: float

    def holds(self, taps: Taps) -> bool:
        return abs(taps[self.channel] - self.v) <= self.limit_v


def tie_v(profile: RigProfile) -> float:
    """What the return tap reads where RET hangs on the ground tie alone (V)."""
    circuit = profile.channels[RETURN]
    tie_ohm = 0.0 if profile.leads is None else float(profile.leads.ground_tie_ohm)
    whole_ohm = circuit.lift_ohm + circuit.top_ohm + tie_ohm
    return profile.reference.reference_v * tie_ohm / whole_ohm


def with_empty_clips(profile: RigProfile, converter: int, range_high: bool) -> tuple[Wanted, ...]:
    """Every tap's level with nothing between the clips."""
    limits = [limit_v(profile, converter, channel, range_high) for channel in range(3)]
    tie = tie_v(profile)
    return (
        Wanted(SENSE, floating_v(profile, SENSE, range_high), limits[SENSE]),
        Wanted(FORCE, floating_v(profile, FORCE, range_high), limits[FORCE]),
        Wanted(RETURN, tie, limits[RETURN] + TIE_SHARE * tie),
    )


def falls(profile: RigProfile, before_v: float, on_v: float) -> bool:
    """Whether the force tap has fallen to the tie's level, in the low range: half way decides."""
    return before_v - on_v > 0.5 * (floating_v(profile, FORCE, False) - tie_v(profile))


def noise_limit_codes(profile: RigProfile, converter: int) -> float:
    """More than this, conversion by conversion, is not the converter's own noise."""
    return NOISES * max(ROUNDING_CODES, profile.converter(converter).noise_millilsb / 1e3)
