# SPDX-License-Identifier: MIT
"""The cell's temperature by the rig's own thermistor, where nobody says it."""

from sagline.analysis.thermistor import CellTemperature, cell_temperature
from sagline.analysis.values import AnalysisError, Notice
from sagline.device.rig import Rig
from sagline.errors import BoardRefused
from sagline_board import faults

# A cell that moves by more while it is measured is not at one temperature.
MOVED_K = 1.0


def read(rig: Rig) -> tuple[CellTemperature | None, tuple[Notice, ...]]:
    """Return the temperature, None without a thermistor or where it tells none; what to say of it.

    Raises LinkLost, WrongDevice.
    """
    if rig.thermistor is None:
        return None, ()
    try:
        return cell_temperature(rig.thermistor, *rig.thermistor_codes()), ()
    except AnalysisError as error:
        return None, (Notice(error.code, error.message, error.remedy),)
    except BoardRefused as refusal:
        if refusal.number != faults.HARDWARE:
            raise
        return None, (
            Notice(
                "thermistor_silent",
                "The thermistor's converter does not answer",
                "See to its wiring, or give --temperature",
            ),
        )


def moved(rig: Rig, before: CellTemperature | None) -> tuple[Notice, ...]:
    """Read once more after the last step; say so where the cell has warmed or cooled."""
    if before is None:
        return ()
    after, said = read(rig)
    if after is None or abs(after.celsius - before.celsius) <= MOVED_K:
        return said
    return (
        Notice(
            "temperature_moved",
            f"The cell went from {before.celsius:.1f} to {after.celsius:.1f} °C meanwhile",
            "Let it take the room's temperature, then measure again",
        ),
    )
