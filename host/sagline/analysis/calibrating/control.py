# SPDX-License-Identifier: MIT
"""A check standard: a resistor of known ohms, measured again and again by the moved tap.

E_n compares one measurement with the resistor's stated value (|difference| over the expanded
uncertainties of both together, k = 2: ISO 13528, from memory). The control chart compares it with
those before. Until there are enough of them its limits come of what is stated of the check, the
calibration and the resistor; then of how the checks scatter about their mean, whatever all of
them have in common (NIST/SEMATECH e-Handbook, 2.2.2, on check standards, from memory). Warning
limits are at two and action limits at three standard deviations (Shewhart's chart, ISO 7870,
from memory), with Student's t where these are estimated, so that false alarms stay as rare.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean, stdev

from sagline.analysis.calibrated import Known
from sagline.analysis.calibrating.found import Found
from sagline.analysis.influences import LOAD_TEMPERATURE_LIMIT_K
from sagline.analysis.profile import RigProfile

FEWEST_FOR_CHART = 5
"""Checks before the limits are those of the chart itself."""

WARN, ACT = 2.0, 3.0

REFERENCE = "added resistor"
STEADY = (
    REFERENCE,
    "linearity of the sag",
    "linearity of the current",
    "offset of the current",
    "load heating",
    "converter inputs",
)
"""Sources that are the same every time that one rig measures one resistor, so that checks differ
by all others alone. (Linearity is nearly so: the cell's volts differ a little. What that does is
in the scatter of the checks.)"""


@dataclass(frozen=True)
class Judged:
    """One check: `r` (ohm) as found with the calibration, and `rel` its deviation from the
    resistor, relative. `centre` and `u` (both relative) make the limits. `state` is "in order",
    "warning" or "out"; `of` how many checks the centre and `u` come from, 0 for the resistor's
    value and what is stated."""

    r: Known
    rel: float
    e_n: float
    centre: float
    u: float
    of: int
    state: str

    def limits(self, sigmas: float) -> tuple[float, float]:
        """The limits that a normal error exceeds as rarely as so many standard deviations,
        relative."""
        half = _factor(sigmas, self.of) * self.u
        return self.centre - half, self.centre + half


def temperature_u_rel(profile: RigProfile, load: int) -> float:
    """Of r by a load's temperature, which is not that of the calibration's day (relative)."""
    bank = profile.loads[load]
    ohm_per_k = bank.load_ohm * bank.tcr_per_k + bank.switch_ohm * bank.switch_tcr_per_k
    rel_per_k = ohm_per_k / (bank.load_ohm + bank.switch_ohm)
    return abs(rel_per_k) * LOAD_TEMPERATURE_LIMIT_K / sqrt(3.0)


def judge(
    found: Found,
    scale: Known,
    resistor: Known,
    earlier: Sequence[float],
    temperature_u_rel: float = 0.0,
) -> Judged:
    """Judge a check from what `scales.find` found of its steps.

    `scale` is the calibration's K, `earlier` the deviations of the same resistor with the same
    K, load, range and front end before, oldest first; `temperature_u_rel` what a load's
    temperature does to r.
    """
    # The steps' own K would bring r to the resistor: the calibration's brings it here.
    ratio = scale.value / found.value
    own = [u for source, u in found.lines if source != REFERENCE]
    varying = [u for source, u in found.lines if source not in STEADY]
    r_ohm = ratio * resistor.value
    u_ohm = r_ohm * hypot(*own, scale.u / scale.value, temperature_u_rel)
    rel = ratio - 1.0
    from_value = abs(r_ohm - resistor.value) / hypot(u_ohm, resistor.u)
    n = len(earlier)
    if n < FEWEST_FOR_CHART:
        centre, u, of = 0.0, hypot(u_ohm, resistor.u) / resistor.value, 0
    else:
        one = max(hypot(*varying), stdev(earlier))
        centre, u, of = fmean(earlier), one * sqrt(1.0 + 1.0 / n), n
    away = abs(rel - centre) / u

    def beyond(sigmas: float) -> bool:
        return from_value > sigmas or away > _factor(sigmas, of)

    state = "out" if beyond(ACT) else "warning" if beyond(WARN) else "in order"
    return Judged(Known(r_ohm, u_ohm), rel, 0.5 * from_value, centre, u, of, state)


def _factor(sigmas: float, of: int) -> float:
    """Of a standard deviation by `of` checks, 0 for one that is stated."""
    if not of:
        return sigmas
    from scipy.stats import norm, t

    return float(t.isf(norm.sf(sigmas), of - 1))
