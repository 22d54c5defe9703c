# SPDX-License-Identifier: MIT
"""The scale of volts by a voltmeter across the resting cell: for E and the current, not for r."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, inf, sqrt

import numpy as np

from sagline.analysis.calibrated import Calibration, Known, Setting, Standard, nominal_zero
from sagline.analysis.calibrating import tolerances
from sagline.analysis.calibrating.found import Findings, Found
from sagline.analysis.calibrating.linearity import level_u_codes, straightened
from sagline.analysis.calibration import tap_code, tap_per_code_v
from sagline.analysis.influences import quantization_limit_codes
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import SENSE, AnalysisError, Notice, RawStep

BEYOND = 0.05
"""A meter that disagrees by more than that beyond tolerances reads something else."""

METER_GAIN, METER_DIGITS = 5e-4, 2.0
"""Limits of a hand-held meter's error of which nothing else is stated: 0.05 % of the reading and
two units of its last digit (common practice for meters of four and a half digits, from memory)."""


METER = "voltmeter"


def read_by(volts: float, digit_v: float, u_v: float | None = None) -> Known:
    """A meter's reading (V) with its last digit, of stated uncertainty or by METER_GAIN and
    METER_DIGITS: within their sum, as it is given (GUM 4.3.7), and rounded."""
    if u_v is not None:
        return Known(volts, u_v, standard=Standard(METER, u_v, bounded=False))
    limit_u_v = (METER_GAIN * abs(volts) + METER_DIGITS * digit_v) / sqrt(3.0)
    u_v = hypot(limit_u_v, 0.5 * digit_v / sqrt(3.0))
    return Known(volts, u_v, standard=Standard(METER, limit_u_v, bounded=True))


def find(
    raw: RawStep, profile: RigProfile, meter: Known, calibration: Calibration | None = None
) -> Findings:
    """The voltage scale of every converter in the range of a step at rest, by the `meter` (V).

    Raises AnalysisError `meter_disagrees` for a reading of something else than this cell.
    """
    table = None if calibration is None else calibration.table
    step = straightened(raw, profile, table)
    found: list[Found] = []
    notices: list[Notice] = []
    for converter in sorted(profile.converters):
        chosen = (step.source == 4 * converter + SENSE) & (step.n > 0)
        setting = Setting(converter, raw.load, raw.range_high)
        zero = None if calibration is None else setting.offset(calibration, SENSE)
        if zero is None:
            zero = Known(0.0, nominal_zero(profile, setting, SENSE)[1])
        n = step.n[chosen]
        codes = step.total[chosen] / n
        above = float(np.average(codes, weights=n)) - zero.value
        above -= tap_code(profile, converter, SENSE, 0.0, raw.range_high)
        factor = meter.value / (above * tap_per_code_v(profile, converter, SENSE, raw.range_high))
        before = tolerances.of_volts(profile, converter, raw.range_high)
        if not abs(factor - 1.0) <= before.limit + BEYOND:
            raise AnalysisError(
                "meter_disagrees",
                f"the meter shows {meter.value:g} V and the rig {meter.value / factor:.4g} V",
                "hold the meter's probes on the terminals of the cell that is in the clips, on a "
                "range that shows millivolts, and give what it shows in volts",
            )
        noise = float(np.std(codes))
        standard = meter.standard
        if standard is not None:
            standard = replace(standard, u=factor * standard.u / meter.value)
        lines = (
            ("meter", meter.u / meter.value),
            ("linearity", level_u_codes(profile, converter, table) / above),
            ("offset", zero.u / above),
            ("quantization", quantization_limit_codes(noise) / sqrt(2.0) / above),
            ("noise", noise / sqrt(float(n.size)) / above),
        )
        found.append(
            Found(
                kind="voltage scale",
                key=(converter, raw.range_high),
                value=factor,
                u=factor * hypot(*(u for _, u in lines)),
                dof=inf,
                before=before,
                lines=tuple(sorted(lines, key=lambda line: -line[1])),
                how="voltmeter on the cell",
                standard=standard,
            )
        )
        if not found[-1].within:
            notices.append(_beyond(factor))
    return Findings(tuple(found), tuple(notices))


def _beyond(factor: float) -> Notice:
    return Notice(
        "volts_beyond_tolerance",
        f"the rig reads {100 * (1.0 / factor - 1.0):+.2f} % against the meter, more than its parts "
        "allow",
        "compare the meter with another one before you trust E and the currents",
    )
