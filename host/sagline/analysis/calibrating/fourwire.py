# SPDX-License-Identifier: MIT
"""A scale from a load's own ohms, measured with four wires: for who has no resistor to add.

What it knows is the load. Switch, dividers and gains keep their tolerances, which the
uncertainty of K takes in.
"""

from __future__ import annotations

from math import hypot, inf

from sagline.analysis.calibrated import Known
from sagline.analysis.calibrating import tolerances
from sagline.analysis.calibrating.found import Findings, Found
from sagline.analysis.influences import FRONT_ENDS, NULL_FRONT_END
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import ADS1115, AnalysisError

HOW = "four-wire value of the load"
BEYOND = 0.05


def find(profile: RigProfile, load: int, measured: Known) -> Findings:
    """K of every front end and both ranges for one load of `measured` ohms, without its switch.

    Raises AnalysisError `load_implausible` for ohms that this load cannot have.
    """
    bank = profile.loads[load]
    off = measured.value / bank.load_ohm - 1.0
    if not abs(off) <= bank.load_limit_ohm / bank.load_ohm + BEYOND:
        raise AnalysisError(
            "load_implausible",
            f"{measured.value:g} Ω is not the load of {bank.load_ohm:g} Ω",
            "measure at the load resistor's own terminals, with four wires and without a cell",
        )
    nominal_ohm = bank.load_ohm + bank.switch_ohm
    value = (measured.value + bank.switch_ohm) / nominal_ohm
    u_load = measured.u / nominal_ohm
    found: list[Found] = []
    for converter in sorted(profile.converters):
        for high in (False, True):
            for null in (False, True):
                if null and (converter != ADS1115 or profile.null is None):
                    continue
                others = tolerances.of_r_without_load(profile, converter, load, high, null=null)
                lines = (("load", u_load), ("switch, dividers and gains", others.u))
                end = NULL_FRONT_END if null else FRONT_ENDS[converter]
                found.append(
                    Found(
                        "scale",
                        (load, high, end),
                        value,
                        value * hypot(u_load, others.u),
                        inf,
                        tolerances.of_r(profile, converter, load, high, null=null),
                        tuple(sorted(lines, key=lambda line: -line[1])),
                        HOW,
                    )
                )
    return Findings(tuple(found))
