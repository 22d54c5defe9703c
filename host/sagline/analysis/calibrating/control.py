# SPDX-License-Identifier: MIT
"""A check standard: a resistor of known ohms, measured again and again by the moved tap.

E_n compares one measurement with the resistor's stated value (|difference| over the expanded
uncertainties of both together, k = 2: ISO 13528, from memory). The control chart compares it with
those before: a centre, warning limits at two and action limits at three standard deviations
(Shewhart's chart, common practice). The same limits hold for the distance from the stated value,
of which E_n is half, in standard deviations of both: an E_n of 1 warns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from statistics import fmean, stdev

from sagline.analysis.calibrated import Known
from sagline.analysis.calibrating.found import Found

FEWEST_FOR_SCATTER = 5
"""Checks before their own scatter makes the limits, in place of what one check is good for."""

WARN, ACT = 2.0, 3.0

_STEADY = ("added resistor", "offset of the current", "load heating")
"""Sources that are the same every time, so that checks may differ by all others alone."""

_CHANCE = ("scatter", "tiring of the cell")
"""Sources that are new every time: limits are no narrower than these, however well a few checks
agree."""


@dataclass(frozen=True)
class Judged:
    """One check: `r` (ohm) as found with the calibration, and `rel` its deviation from the
    resistor, relative. `centre` and `u` (both relative) make the limits. `state` is "in order",
    "warning" or "out"; `of` how many checks the centre comes from, 0 for the resistor's value."""

    r: Known
    rel: float
    e_n: float
    centre: float
    u: float
    of: int
    state: str

    def limits(self, sigmas: float) -> tuple[float, float]:
        """The limits of so many standard deviations, relative."""
        return self.centre - sigmas * self.u, self.centre + sigmas * self.u


def judge(found: Found, scale: Known, resistor: Known, earlier: Sequence[float]) -> Judged:
    """Judge a check from what `scales.find` found of its steps.

    `scale` is the calibration's K, `earlier` the deviations of the same resistor with the same
    load, range and front end before, oldest first.
    """
    # The steps' own K would bring r to the resistor: the calibration's brings it here.
    ratio = scale.value / found.value
    own = _together(found, [source for source, _ in found.lines if source not in _STEADY])
    r_ohm = ratio * resistor.value
    u_ohm = r_ohm * hypot(own, scale.u / scale.value)
    rel = ratio - 1.0
    e_n = abs(r_ohm - resistor.value) / (2.0 * hypot(u_ohm, resistor.u))
    n = len(earlier)
    if n < 2:
        centre, u = 0.0, hypot(u_ohm, resistor.u) / resistor.value
        n = 0
    else:
        scatter = stdev(earlier)
        one = max(_together(found, _CHANCE), scatter) if n >= FEWEST_FOR_SCATTER else own
        centre, u = fmean(earlier), one * sqrt(1.0 + 1.0 / n)
    away = max(abs(rel - centre) / u, 2.0 * e_n)
    state = "out" if away > ACT else "warning" if away > WARN else "in order"
    return Judged(Known(r_ohm, u_ohm), rel, e_n, centre, u, n, state)


def _together(found: Found, sources: Sequence[str]) -> float:
    """The standard uncertainty of these sources together, relative."""
    return sqrt(sum(u * u for source, u in found.lines if source in sources))
