# SPDX-License-Identifier: MIT
"""Battery designations: what is expected of each, and the load the plan gives it.

Letters and sizes follow IEC 60086-1 for primary batteries (L alkaline, C lithium-manganese,
R round), IEC 61951-2 for nickel-metal-hydride (HR) and IEC 61960-3 for lithium-ion (I, then C
cobalt or Fp iron phosphate, R round, diameter/height in mm; Fp by a decision of the IECEE's
laboratories on that standard, second-hand). Lead-acid batteries have no such designation;
`PB12` is this project's own name. `low_v` and `high_v` bound the open voltage of a cell that may
carry the designation, from flat to fresh: from memory, plausibility only. For lithium-ion `low_v`
is the cut-off below which it must not be discharged.

`r_low_ohm` and `r_high_ohm` are what r(0.1 s) of a sound cell at room temperature usually lies
between: from memory, good for saying beforehand what U(r) to expect, and for nothing else. A
lead-acid battery of 12 V may be a small block or one that starts an engine.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from types import MappingProxyType


@dataclass(frozen=True)
class Designation:
    """One kind of battery; voltages are open, `load_ohm` is one of the bank's loads."""

    designation: str
    title: str
    nominal_v: float
    low_v: float
    high_v: float
    load_ohm: float
    rechargeable: bool
    chemistry: str
    r_low_ohm: float
    r_high_ohm: float

    @property
    def typical_r_ohm(self) -> float:
        """The middle of the usual r(0.1 s), as a ratio."""
        return sqrt(self.r_low_ohm * self.r_high_ohm)

    @property
    def has_cut_off(self) -> bool:
        """Whether it must not be loaded below `low_v`."""
        return self.chemistry == "lithium-ion"


_ALL = (
    Designation(
        "LR6", "alkaline AA", 1.5, 0.9, 1.65, 3.3, False, "alkaline",
        r_low_ohm=0.1, r_high_ohm=0.3,
    ),
    Designation(
        "LR03", "alkaline AAA", 1.5, 0.9, 1.65, 15.0, False, "alkaline",
        r_low_ohm=0.15, r_high_ohm=0.5,
    ),
    Designation(
        "6LR61", "alkaline 9 V block", 9.0, 5.4, 9.9, 68.0, False, "alkaline",
        r_low_ohm=1.2, r_high_ohm=3.0,
    ),
    Designation(
        "CR2032", "lithium coin cell", 3.0, 2.0, 3.4, 470.0, False, "lithium-manganese",
        r_low_ohm=10.0, r_high_ohm=30.0,
    ),
    Designation(
        "HR6", "nickel-metal-hydride AA", 1.2, 1.0, 1.5, 3.3, True, "nickel",
        r_low_ohm=0.015, r_high_ohm=0.05,
    ),
    Designation(
        "ICR18/65", "lithium-ion 18650", 3.6, 2.5, 4.25, 3.3, True, "lithium-ion",
        r_low_ohm=0.02, r_high_ohm=0.1,
    ),
    Designation(
        "IFpR26/65", "lithium iron phosphate 26650", 3.2, 2.0, 3.65, 3.3, True, "lithium-ion",
        r_low_ohm=0.006, r_high_ohm=0.02,
    ),
    Designation(
        "PB12", "lead-acid 12 V", 12.0, 10.5, 13.8, 15.0, True, "lead-acid",
        r_low_ohm=0.005, r_high_ohm=0.03,
    ),
)  # fmt: skip

DESIGNATIONS: Mapping[str, Designation] = MappingProxyType({d.designation: d for d in _ALL})
_BY_FOLDED_NAME = {name.casefold(): found for name, found in DESIGNATIONS.items()}


def find(designation: str) -> Designation | None:
    """Return the entry of this name, in any case; None where the table has none."""
    return _BY_FOLDED_NAME.get(designation.casefold())
