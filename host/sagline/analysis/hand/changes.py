# SPDX-License-Identifier: MIT
"""r from how much voltage and current changed, without the readings: r = -dV / dI.

E is not in such differences: a higher one with the same r changes by as much.
"""

from __future__ import annotations

from sagline.analysis.budget import figures
from sagline.analysis.hand import checks
from sagline.analysis.hand.inputs import Inputs
from sagline.analysis.hand.sheet import Sheet
from sagline.analysis.hand.values import HandEstimate
from sagline.analysis.values import AnalysisError, Notice
from sagline.errors import UsageError

CHANGES = ("volts_change", "amps_change")


def estimate(sheet: Sheet) -> HandEstimate:
    """Return what the two differences say. Raises AnalysisError, UsageError."""
    if sheet.entries or not all(name in sheet.options for name in CHANGES):
        raise UsageError(
            "changes_alone",
            "--volts-change and --amps-change belong together and go without other readings.",
            "Give both, or the readings themselves.",
        )
    if sheet.extrapolate:
        raise AnalysisError(
            "emf_not_in_differences",
            "the EMF cannot be found from how much voltage and current changed: a higher E with "
            "the same r changes by as much",
            "give the readings themselves: --loaded and --amps of both; or leave --extrapolate "
            "out for r alone",
        )
    inputs = Inputs()
    readings = []
    for name, source, known in (
        ("volts_change", "change of voltage", "u_volts"),
        ("amps_change", "change of current", "u_amps"),
    ):
        number = sheet.signed(name)
        assert number is not None
        if number.value == 0.0:
            raise AnalysisError(
                "no_change", f"the {source} is zero", "read at two currents that differ"
            )
        readings.append(inputs.number(name, source, number, sheet.stated(known), known))
    found = figures(lambda x: {"r_ohm": -1.0 * readings[0](x) / readings[1](x)}, inputs.influences)
    r = found.quantities["r_ohm"]
    notices = [
        *checks.bound(r), _EMF_UNKNOWN, *checks.guesses(inputs.guessed), *checks.times(sheet)
    ]  # fmt: skip
    values = [reading(inputs.no_errors) for reading in readings]
    return HandEstimate(
        r=r, emf=None, load=None, current=None, short_circuit=None, max_power=None, groups=(),
        budget=found.budgets["r_ohm"], emf_budget=(), line=None, table=(),
        numbers={"dV": values[0], "dI": values[1]}, notices=tuple(notices),
    )  # fmt: skip


_EMF_UNKNOWN = Notice(
    "emf_unknown",
    "the EMF cannot be found from how much voltage and current changed",
    "give the readings themselves: --loaded and --amps of both",
)
