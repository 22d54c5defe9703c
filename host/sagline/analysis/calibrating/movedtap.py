# SPDX-License-Identifier: MIT
"""The scale K by a moved tap.

A resistor R_a stays in the force path. In position A the positive sense tap is on its cell side,
in B on its load side: current, polarization and joints are the same, so that r_B - r_A at one
time is R_a, whatever the cell is, and K = R_a/(r_B - r_A). The order A B B A lets a cell that
tires evenly fall out.

What both positions have in common cancels in the difference and is no line of the budget: the
open level and its linearity, the converter's and the sense channel's offset, what the null
channel moves by when a load is switched, the current through the ground tie, the instant of
switching, the temperature of the load (K belongs to that of its day). What K makes good is none
either: load, switch, dividers, reference, gain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, inf, sqrt
from typing import Literal

import numpy as np

from sagline.analysis.calibrated import Known
from sagline.analysis.calibrating.linearity import u_codes
from sagline.analysis.calibrating.tapstep import TapReading
from sagline.analysis.nonlinearity import Process, WeightedCodes
from sagline.analysis.values import AnalysisError, FloatArray

Side = Literal["cell", "load"]

MOVED_LEAST = 0.2
"""Of the added resistor: with less the tap was not moved."""
BEYOND = 0.05
"""How far K may be outside what tolerances allow before it is refused."""
CURRENT_SHARE = 0.02
"""The current is the same in both positions but for the cell's tiring."""
SIGMAS = 3.5
"""How far r early in the pulse and about 0.1 s may be apart, in standard deviations."""


@dataclass(frozen=True)
class Tapped:
    """One step: where the tap was, when (s), and what was read."""

    side: Side
    at_s: float
    reading: TapReading


@dataclass(frozen=True)
class Spread:
    """What of a front end is uncertain: the non-linearity of the codes that the sag and the
    force tap are read in, and the force tap's zero (codes)."""

    sag: tuple[Process, ...]
    force: tuple[Process, ...]
    zero_u_codes: float


@dataclass(frozen=True)
class MovedTap:
    """K with its relative standard uncertainty and degrees of freedom.

    `delta_ohm` is r_B - r_A by nominal values, `lines` the budget (source, relative u), largest
    first; `tired_ohm` what r_A grew by from the first to the last step. `early_rel` is what the
    difference early in the pulse differs by, in its own standard deviations.
    """

    k: float
    u_k_rel: float
    dof: float
    delta_ohm: float
    tired_ohm: float
    lines: tuple[tuple[str, float], ...]
    early_sigmas: float


def weights(steps: Sequence[Tapped]) -> FloatArray:
    """The weight of each step in r_B - r_A: least squares with a straight drift in time.

    For A B B A at even distances (-1, 1, 1, -1)/2. Raises AnalysisError `few_steps` where the
    steps do not tell the difference, the drift and the scatter apart.
    """
    design = _design(steps)
    if design.shape[0] <= design.shape[1] or np.linalg.matrix_rank(design) < design.shape[1]:
        raise AnalysisError(
            "few_steps",
            "the steps with the tap on either side are too few to tell a tiring cell apart",
            "take them in the order cell side, load side, load side, cell side",
        )
    return np.asarray(np.linalg.pinv(design)[0], dtype=np.float64)


def find(steps: Sequence[Tapped], resistor: Known, spread: Spread) -> MovedTap:
    """K from the steps of one load, range and front end.

    Raises AnalysisError `tap_not_moved`, `tap_swapped`, `resistor_moved` for a difference that
    no added resistor makes, and `few_steps`.
    """
    share = weights(steps)
    design = _design(steps)
    r_ohm = np.array([step.reading.r_ohm for step in steps])
    found = np.linalg.pinv(design) @ r_ohm
    delta_ohm, drift_ohm_per_s = float(found[0]), float(found[2])
    _require_moved(steps, share, delta_ohm, resistor)
    dof = len(steps) - design.shape[1]
    scatter = float(np.sqrt(((r_ohm - design @ found) ** 2).sum() / dof))
    u_scatter = scatter * float(np.sqrt((share**2).sum())) / delta_ohm
    at_s = [step.at_s for step in steps]
    tired_ohm = drift_ohm_per_s * (max(at_s) - min(at_s))
    sag_codes = sqrt(_variance(steps, share, spread.sag))
    code_ohm = float(np.mean([step.reading.code_ohm for step in steps]))
    force_codes = float(np.mean([step.reading.force_codes for step in steps]))
    rounding = max(step.reading.rounding_codes for step in steps)
    relative = {
        "added resistor": resistor.u / resistor.value,
        "scatter": u_scatter,
        "linearity of the sag": sag_codes * code_ohm / delta_ohm,
        "linearity of the current": hypot(
            u_codes(spread.force) / force_codes, _return_u(steps[0].reading, spread.force)
        ),
        "offset of the current": spread.zero_u_codes / force_codes,
        # Two levels, each off by the greatest bias of an arc sine law.
        "quantization": rounding * code_ohm / delta_ohm,
        # The same current warms the load by as much in every step.
        "load heating": max(step.reading.heating_limit for step in steps) / sqrt(3.0),
        # However unevenly it tires, a cell that only tires is off its straight line by no more
        # than half of it all.
        "tiring of the cell": 0.5 * abs(tired_ohm) / delta_ohm / sqrt(3.0),
    }
    variance = sum(u * u for u in relative.values())
    return MovedTap(
        k=resistor.value / delta_ohm,
        u_k_rel=sqrt(variance),
        dof=variance**2 * dof / u_scatter**4 if u_scatter else inf,
        delta_ohm=delta_ohm,
        tired_ohm=tired_ohm,
        lines=tuple(sorted(relative.items(), key=lambda line: -line[1])),
        early_sigmas=_early_sigmas(steps, share, delta_ohm, scatter, sag_codes * code_ohm),
    )


def _design(steps: Sequence[Tapped]) -> FloatArray:
    """Columns: tap on the load side, always, time about its mean."""
    at_s = np.array([step.at_s for step in steps])
    moved = np.array([float(step.side == "load") for step in steps])
    return np.column_stack([moved, np.ones_like(at_s), at_s - at_s.mean()])


def _require_moved(
    steps: Sequence[Tapped], share: FloatArray, delta_ohm: float, resistor: Known
) -> None:
    current_a = np.array([step.reading.current_a for step in steps])
    changed = float(share @ current_a) / float(current_a.mean())
    if abs(changed) > CURRENT_SHARE:
        raise AnalysisError(
            "resistor_moved",
            f"the current changed by {100 * abs(changed):.2g} % between the two positions of the "
            "tap, so that the resistor was not in its place in both",
            "leave the resistor between the cell's positive terminal and the positive force "
            "clip all along; move the positive sense clip alone, from one end of the resistor "
            "itself to the other",
        )
    if delta_ohm < -MOVED_LEAST * resistor.value:
        raise AnalysisError(
            "tap_swapped",
            f"r was {-delta_ohm:.3g} Ω greater with the tap on the cell side",
            "the cell side of the resistor is the end at the cell: begin again there",
        )
    if delta_ohm < MOVED_LEAST * resistor.value:
        raise AnalysisError(
            "tap_not_moved",
            f"moving the tap across {resistor.value:g} Ω changed r by {delta_ohm:.2g} Ω",
            "move the positive sense clip to the other end of the resistor; the positive force "
            "clip must be beyond it, so that the load's current flows through it",
        )


def _variance(steps: Sequence[Tapped], share: FloatArray, processes: Sequence[Process]) -> float:
    """Of the difference by non-linearity, in codes squared: every level at its own code, so that
    what equal levels have in common falls out."""
    readings = [step.reading for step in steps]
    codes = np.array([code for one in readings for code in (one.open_code, one.loaded_code)])
    signed = np.array([[sign * part for part in share for sign in (1.0, -1.0)]])
    return sum(float(WeightedCodes(one, codes, signed).covariance()[0, 0]) for one in processes)


def _return_u(reading: TapReading, processes: Sequence[Process]) -> float:
    """Of the current by the return tap's two levels, relative."""
    codes, change = np.array(reading.return_levels), np.array([[-1.0, 1.0]])
    variance = sum(float(WeightedCodes(one, codes, change).covariance()[0, 0]) for one in processes)
    return sqrt(max(0.0, variance)) / reading.return_codes


def _early_sigmas(
    steps: Sequence[Tapped], share: FloatArray, delta_ohm: float, scatter: float, sag_ohm: float
) -> float:
    early_ohm = np.array([step.reading.early_ohm for step in steps])
    if not np.all(np.isfinite(early_ohm)):
        return 0.0
    noise_ohm = np.array([step.reading.early_u_ohm for step in steps])
    noise = float(np.sqrt((share**2 * (noise_ohm**2 + scatter**2)).sum()))
    # The early levels lie at other codes: their linearity is taken as independent.
    apart = (float(share @ early_ohm) - delta_ohm) / sqrt(noise**2 + 2.0 * sag_ohm**2)
    return abs(apart)
