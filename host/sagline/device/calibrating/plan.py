# SPDX-License-Identifier: MIT
"""The steps of a rig's calibration: which load and range with which cell and added resistor."""

from collections.abc import Sequence
from dataclasses import dataclass

from sagline.analysis.calibrating import stepnames
from sagline.analysis.calibrating.scales import SHARES
from sagline.analysis.calibration import BLOCKING_DIODE_V
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.values import ONBOARD, SENSE
from sagline.designations import DESIGNATIONS, Designation
from sagline.errors import UsageError

CELLS = {False: "LR6", True: "6LR61"}
"""The cell for the low range and for the high one: primary, and of volts that fill the range."""
VIRTUAL_NAMES = {"LR6": "lr6", "6LR61": "6lr61"}

RESISTORS = {
    1.0: " (ten of 10 Ω in parallel make a good one)",
    2.0: " (five of 10 Ω in parallel make a good one)",
    10.0: "",
    100.0: "",
    1000.0: "",
}

NULL_SHARE = 0.9
"""Of the null channel's range that a sag may fill: it is balanced to within a tenth of it."""

LEADS_OHM = 0.15
"""Leads and clips, about."""


@dataclass(frozen=True)
class CalibrationStep:
    """One step: "table", "zero", "volts", "scale" or "load" of what, and what it takes."""

    name: str
    kind: str
    title: str
    range_high: bool
    cell: Designation | None
    load: int = 0
    resistor_ohm: float = 0.0

    @property
    def hint(self) -> str:
        """How to come by the resistor, where there is something to say."""
        return RESISTORS.get(self.resistor_ohm, "")


def steps_of(profile: RigProfile) -> list[CalibrationStep]:
    """Return every step of the whole calibration, in order: as few changes of cell as can be."""
    low, high = (DESIGNATIONS[CELLS[range_high]] for range_high in (False, True))
    steps = [CalibrationStep(stepnames.ZERO, "zero", "the codes at zero volts", False, low)]
    if ONBOARD in profile.converters:
        # First of all: zeros and volts are of codes that the table has corrected.
        title = "the on-board converter's linearity, by a capacitor's discharge"
        steps.insert(0, CalibrationStep(stepnames.TABLE, "table", title, False, None))
    for cell in (low, high):
        is_high = cell is high
        title = f"the scale of volts, {_range(is_high)}"
        steps.append(CalibrationStep(stepnames.volts(is_high), "volts", title, is_high, cell))
        steps += [
            _scale(profile, load, range_high, cell)
            for range_high in (False, True)
            for load in range(len(profile.loads))
            if _cell_for(profile, load, range_high) is cell
        ]
    return steps


def load_steps(profile: RigProfile) -> list[CalibrationStep]:
    """Return the steps that take a load's own ohms instead of a moved tap: to be asked for."""
    return [
        CalibrationStep(
            stepnames.load(bank.load_ohm),
            "load",
            f"the {bank.load_ohm:g} Ω load by its own ohms, both ranges",
            False,
            None,
            index,
        )
        for index, bank in enumerate(profile.loads)
    ]


def find(profile: RigProfile, names: Sequence[str]) -> list[CalibrationStep]:
    """Return the steps of these names in the calibration's order. Raises UsageError."""
    known = {step.name: step for step in (*steps_of(profile), *load_steps(profile))}
    for name in names:
        if name not in known:
            raise UsageError(
                "unknown_step",
                f"There is no step {name!r}.",
                f"The steps are {', '.join(known)}; `sagline calibrate --step list` says more.",
            )
    return [step for name, step in known.items() if name in names]


def _scale(profile: RigProfile, load: int, range_high: bool, cell: Designation) -> CalibrationStep:
    ohm = profile.loads[load].load_ohm
    return CalibrationStep(
        stepnames.scale(ohm, range_high),
        "scale",
        f"the scale of r, {ohm:g} Ω load, {_range(range_high)}",
        range_high,
        cell,
        load,
        _resistor(profile, load, range_high, cell) or _least(profile, load),
    )


def _range(high: bool) -> str:
    return "16.5 V range" if high else "low range"


def _cell_for(profile: RigProfile, load: int, range_high: bool) -> Designation:
    """The range's own cell, unless its sag is more than the null channel reads."""
    own = DESIGNATIONS[CELLS[range_high]]
    if not range_high or _resistor(profile, load, True, own) is not None:
        return own
    return DESIGNATIONS[CELLS[False]]


def _least(profile: RigProfile, load: int) -> float:
    return min(RESISTORS, key=lambda ohm: abs(ohm / profile.loads[load].load_ohm - SHARES[0]))


def _resistor(profile: RigProfile, load: int, range_high: bool, cell: Designation) -> float | None:
    """The largest that leaves most of the current and a sag that the null channel can read."""
    bank = profile.loads[load]
    gain, _ = transfer(profile.channels[SENSE], profile.reference.reference_v, range_high)
    null = profile.null
    most_v = float("inf") if null is None else NULL_SHARE * null.full_code * null.lsb_v / gain
    fitting = []
    for ohm in RESISTORS:
        if not SHARES[0] * bank.load_ohm <= ohm <= SHARES[1] * bank.load_ohm:
            continue
        inside_ohm = cell.typical_r_ohm + ohm
        all_ohm = inside_ohm + bank.load_ohm + bank.switch_ohm + LEADS_OHM
        if (cell.high_v - BLOCKING_DIODE_V) / all_ohm * inside_ohm <= most_v:
            fitting.append(ohm)
    return max(fitting, default=None)
