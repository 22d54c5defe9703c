# SPDX-License-Identifier: MIT
"""One look at what is between the clips, and what is to be thought about before any load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from sagline.analysis import presence
from sagline.analysis.values import AnalysisError
from sagline.designations import find
from sagline.device.admission import READING_LIMIT, open_voltage
from sagline.drawer.contact import Look

if TYPE_CHECKING:
    from sagline.device.rig import Rig


def look(rig: Rig) -> Look:
    """Look once; nothing is switched. Raises BoardRefused, LinkLost."""
    try:
        return Look(open_voltage(rig))
    except AnalysisError as error:
        if error.code not in presence.CODES:
            raise
        return Look(None, error.code, error.message, error.remedy)


@dataclass(frozen=True)
class Doubt:
    """Why to stop before any load. `may_go`: a person may say that it is measured all the same."""

    code: str
    reason: str
    remedy: str
    may_go: bool


def doubt_of(designation: str | None, open_v: float) -> Doubt | None:
    """Return the doubt about a cell of this open voltage (V), None where there is none.

    The bands are those of the designations, with the limit of a reading on either side; below
    the cut-off of a lithium-ion cell there is no such leave.
    """
    known = None if designation is None else find(designation)
    if known is None:
        return None
    where = f"{open_v:.3f} V, and {known.designation} ({known.title})"
    if open_v > known.high_v * (1.0 + READING_LIMIT):
        return Doubt(
            "above_band",
            f"{where} has at most {known.high_v:g} V: another kind of cell.",
            "Take it out, or say what it is.",
            may_go=False,
        )
    if known.has_cut_off and open_v < known.low_v:
        return Doubt(
            "below_cut_off",
            f"{where} may not be loaded below {known.low_v:g} V.",
            "Take it out; charge it as its maker says, or have it recycled.",
            may_go=False,
        )
    if open_v < known.low_v * (1.0 - READING_LIMIT):
        return Doubt(
            "below_band",
            f"{where} has {known.low_v:g} V even when flat: worn out, or another kind.",
            "Read what is printed on it; then go on, leave it out, or say what it is.",
            may_go=True,
        )
    return None
