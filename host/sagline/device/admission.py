# SPDX-License-Identifier: MIT
"""Which cell may be loaded: what it is by its voltage, whether it is still the same, and what a
board without a hardware one-shot keeps away from."""

from dataclasses import dataclass

from sagline.analysis import plan as planning
from sagline.analysis import presence, stuck
from sagline.analysis.values import Notice
from sagline.designations import Designation
from sagline.device.rig import Rig
from sagline.errors import Refused

# Below this nothing that could be measured is between the clips.
ABSENT_V = presence.LEAST_V
# Above this a cell without designation may be lithium or lead-acid.
UNKNOWN_WITHOUT_ONE_SHOT_V = 1.7
# A cell that rests between steps comes back to within this of its open voltage.
SAME_SHARE, SAME_V = 0.1, 0.05
# A reading may be off by this much of itself, so a voltage is out of a band only beyond it.
READING_LIMIT = 0.02


@dataclass(frozen=True)
class Seen:
    """The cell as it was first looked at: what it is said to be, and its open voltage."""

    known: Designation | None
    open_v: float


def open_voltage(rig: Rig) -> float:
    """Look at the cell, in both ranges if it fits, and leave the one to measure in set.

    Raises Refused for what is no cell to be measured, BoardRefused, LinkLost.
    """

    def look(high: bool) -> presence.Taps:
        rig.set_range(high)
        return _taps(rig)

    taps = look(True)
    readings = [(True, taps)]
    if not planning.needs_high_range(rig.profile, max(taps.sense_v, taps.force_v)):
        readings.insert(0, (False, look(False)))
    if rig.identity.base:
        stuck.check_at_rest(rig.profile, rig.converter, *readings[0])
    presence.refuse(rig.profile, rig.converter, readings, ABSENT_V)
    return readings[0][1].sense_v


def _taps(rig: Rig) -> presence.Taps:
    live = rig.live()
    return presence.Taps(live.sense_v, live.force_v, live.return_v)


def within_band(known: Designation | None, open_v: float) -> tuple[Notice, ...]:
    """What must be said of a voltage beside the designation's; too high a one is refused.

    A flat cell is still that cell; one of more volts than it can have is another, and what
    is right for the one may hurt with the other. A lithium-ion cell below its cut-off is
    refused: what is taken from it then harms it for good. No reading limit is left there,
    for that errs on the cell's side. Raises Refused.
    """
    if known is None:
        return ()
    if open_v > known.high_v * (1.0 + READING_LIMIT):
        raise Refused(
            "another_cell",
            f"The cell has {open_v:.2f} V, and {known.designation} ({known.title}) at most "
            f"{known.high_v:g} V: it must be another.",
            "Give --designation as it is printed on the cell, or leave it out.",
        )
    if known.has_cut_off and open_v < known.low_v:
        raise Refused(
            "below_cut_off",
            f"The cell has {open_v:.2f} V, which is below the cut-off of {known.low_v:g} V of "
            f"{known.designation} ({known.title}); a load would harm it.",
            "Charge it as its maker says and measure again. Where it has been so low for long, "
            "do not charge it: have it recycled. If it is another cell, give its --designation.",
        )
    if open_v < known.low_v * (1.0 - READING_LIMIT):
        return (
            Notice(
                "below_band",
                f"{open_v:.2f} V is less than the {known.low_v:g} V of a flat {known.designation}",
                "the cell is worn out, or another one: read what is printed on it",
            ),
        )
    return ()


def require_same_cell(rig: Rig, seen: Seen) -> None:
    """Refuse a cell that was put in place of the one that was looked at.

    Where there is none now, the step itself says so, and harms nothing. Raises Refused.
    """
    taps = _taps(rig)
    if presence.find(rig.profile, rig.converter, rig.high_range, taps) is not None:
        return
    if abs(taps.sense_v - seen.open_v) > SAME_SHARE * seen.open_v + SAME_V:
        raise Refused(
            "another_cell",
            f"The cell had {seen.open_v:.2f} V and has {taps.sense_v:.2f} V now: "
            "it is another one, or it has not recovered.",
            "Leave the cell in until the end; let a tired one rest, then measure again.",
        )
    within_band(seen.known, taps.sense_v)
    refuse_what_could_harm(rig, seen.known, taps.sense_v)


def refuse_what_could_harm(rig: Rig, known: Designation | None, open_v: float) -> None:
    """Keep a board that cannot end a pulse in hardware, or has no second switch in its load's
    path, away from cells that could do harm.

    Raises Refused.
    """
    if rig.identity.one_shot and not rig.identity.base:
        return
    code, why = "no_one_shot", "This board has no hardware that ends a pulse by itself"
    if rig.identity.one_shot:
        code = "base_build"
        why = "This is a base build, whose load stays on where its one switch sticks"
    if known is not None and known.rechargeable and known.chemistry != "nickel":
        raise Refused(
            code,
            f"{why}, so no {known.title} cell is loaded.",
            "Use it with primary or nickel cells; lithium and lead-acid need a full build.",
        )
    if open_v <= UNKNOWN_WITHOUT_ONE_SHOT_V:
        return
    if known is None:
        raise Refused(
            code,
            f"{why}, so no unknown cell above {UNKNOWN_WITHOUT_ONE_SHOT_V:g} V is loaded; "
            f"this one has {open_v:.2f} V.",
            "If it is a primary cell, say which with --designation, e.g. 6LR61 or CR2032.",
        )
