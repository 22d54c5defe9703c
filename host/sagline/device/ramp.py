# SPDX-License-Identifier: MIT
"""Records a slow ramp: a charged capacitor on the sense clips, discharged by sense's divider.

Rests of a few seconds one after the other, for a board's record holds no more than half a
minute of it, and what falls while a record is fetched is lost: short rests leave short gaps.
"""

from collections.abc import Generator
from dataclasses import dataclass

from sagline.analysis.calibrating.ramp import Piece
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.values import SENSE
from sagline.device.rig import Rig
from sagline.errors import Refused

PIECE_MS = 6000
"""Of each rest; fetching it takes some tenths of a second on a board."""

ABOVE_END_V = (0.1, 0.12)
"""Recorded down to this above the voltage at which the ramp would end, in either range: more than
the on-board converter may be off by there."""

STILL_V = (0.004, 0.012)
"""A ramp that falls by less in a piece has come to its end, whatever its readings say: some two
codes."""

LEAST_FALL_V = 0.5
"""A ramp that begins nearer to its end than that shows too few codes."""

WAIT_S = 1.0
LONGEST_S = 3600.0
"""A ramp that would take longer is none: a cell hangs there, or far too large a capacitor."""

SHORTEST_S = 30.0


@dataclass(frozen=True)
class Ramping:
    """The ramp falls; `sense_v` now, `to_v` where it is done. Not `recording`: still too high."""

    sense_v: float
    to_v: float
    recording: bool


def ends_v(profile: RigProfile, high: bool) -> tuple[float, float]:
    """Return (highest, lowest) volts at the sense tap that a ramp in this range is recorded at.

    With nothing but its own divider and the lift the sense tap comes to rest where its node has
    the same voltage: lift/(1 − gain).
    """
    gain, lift_v = transfer(profile.channels[SENSE], profile.reference.reference_v, high)
    return profile.range_mv[high] * 1e-3, lift_v / (1.0 - gain) + ABOVE_END_V[high]


def record_ramp(rig: Rig, high: bool = False) -> Generator[Ramping, None, list[Piece]]:
    """Record one ramp in the low range, or in the 16.5 V range; yield how it goes.

    The capacitor is charged and on the sense clips, with its positive terminal at the positive
    one; nothing else is connected. Waits while it is above the range. Raises Refused `ramp_low`
    where it is (almost) discharged, `ramp_stands` where it does not fall, `ramp_short` where it
    falls within seconds; else as `Rig.step`.
    """
    top_v, to_v = ends_v(rig.profile, high)
    rig.set_range(high)
    rig.set_null(None)
    begun_s = rig.now_s()
    sense_v = rig.live().sense_v
    if sense_v < to_v + LEAST_FALL_V:
        raise Refused(
            "ramp_low",
            f"The sense clips have {sense_v:.2f} V between them; a ramp needs more.",
            f"Charge the capacitor to {top_v if not high else 3:g} V, put it on the sense clips "
            "(positive to positive) and begin again.",
        )
    while sense_v > top_v:
        yield Ramping(sense_v, to_v, recording=False)
        rig.wait(WAIT_S)
        sense_v = rig.live().sense_v
        _require_fall(sense_v - top_v, rig.now_s() - begun_s)
    pieces: list[Piece] = []
    from_v, from_s = sense_v, rig.now_s()
    while sense_v > to_v:
        before_v = sense_v
        pieces.append((yield from _piece(rig, to_v)))
        sense_v = rig.live().sense_v
        if from_v - sense_v > LEAST_FALL_V and before_v - sense_v < STILL_V[high]:
            break
        _require_pace(from_v, sense_v, to_v, rig.now_s() - from_s)
    return pieces


def _piece(rig: Rig, to_v: float) -> Generator[Ramping, None, Piece]:
    step = rig.step(0, ((0, PIECE_MS),))
    # When the board began is known no better than by its answers; the quickest says it best.
    start_s = float("inf")
    while True:
        try:
            state = next(step)
        except StopIteration as end:
            return Piece(start_s, end.value)
        start_s = min(start_s, rig.now_s() - state.elapsed_s)
        try:
            yield Ramping(state.sense_v, to_v, recording=True)
        except BaseException:
            step.close()
            raise


def _require_fall(left_v: float, passed_s: float) -> None:
    if left_v > 0.0 and passed_s > LONGEST_S / 10.0:
        raise _stands()


def _require_pace(from_v: float, now_v: float, to_v: float, passed_s: float) -> None:
    """Refuse what would take too long or is over too soon, as soon as that can be told."""
    fallen_v = from_v - now_v
    # A straight line is a low estimate for what slows down.
    if passed_s > LONGEST_S or fallen_v * LONGEST_S < passed_s * (from_v - to_v):
        raise _stands()
    if now_v <= to_v and passed_s < SHORTEST_S:
        raise Refused(
            "ramp_short",
            f"The voltage fell to its end within {passed_s:.0f} s: too fast to see single codes.",
            "Use a larger capacitor: some hundreds of microfarads take minutes. See that the "
            "force clips touch nothing.",
        )


def _stands() -> Refused:
    return Refused(
        "ramp_stands",
        "The voltage between the sense clips does not fall as that of a capacitor would.",
        "Take the cell or supply off: the charged capacitor alone is on the sense clips. One of "
        "some hundreds of microfarads takes minutes.",
    )
