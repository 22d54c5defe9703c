# SPDX-License-Identifier: MIT
"""The codes at zero volts at the taps.

The positive clips of sense and force are on the cell's negative terminal. Sense is read at rest.
The force tap lies behind the blocking diode, which lets the channel's own lift raise it, so it is
read with a load on, through which it is at the return tap. Return is at zero volts at rest.
"""

from __future__ import annotations

from math import hypot, inf, sqrt

import numpy as np

from sagline.analysis import presence
from sagline.analysis.calibrated import Calibration, Setting, nominal_zero
from sagline.analysis.calibrating.found import Findings, Found
from sagline.analysis.calibrating.linearity import level_u_codes, straightened
from sagline.analysis.calibrating.tolerances import Tolerance
from sagline.analysis.calibration import tap_code, tap_per_code_v
from sagline.analysis.influences import CHANNEL_NAMES, quantization_limit_codes
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.step import channel_points, edges_us
from sagline.analysis.values import FORCE, AnalysisError, RawStep

SETTLED_US = 5_000


def find(raw: RawStep, profile: RigProfile, calibration: Calibration | None = None) -> Findings:
    """The zeros of every channel and converter in the range of one step: rest, load on, rest.

    The on-board codes are corrected by the `calibration`'s table where it has one. Raises
    AnalysisError `not_shorted` where a tap is not near zero volts.
    """
    table = None if calibration is None else calibration.table
    step = straightened(raw, profile, table)
    found: list[Found] = []
    for converter in sorted(profile.converters):
        for channel, name in CHANNEL_NAMES.items():
            code, noise, count = _level(step, converter, channel)
            off_codes = code - tap_code(
                profile, converter, channel, _own_v(profile, raw, channel), raw.range_high
            )
            _require_zero(off_codes, profile, converter, channel, raw.range_high, name)
            lines = (
                ("linearity", level_u_codes(profile, converter, table)),
                ("quantization", quantization_limit_codes(noise) / sqrt(2.0)),
                ("noise", noise / sqrt(count)),
            )
            setting = Setting(converter, raw.load, raw.range_high)
            _, u_before = nominal_zero(profile, setting, channel)
            found.append(
                Found(
                    kind="offset",
                    key=(converter, channel, raw.range_high),
                    value=off_codes,
                    u=hypot(*(u for _, u in lines)),
                    dof=inf,
                    before=Tolerance(_limit_codes(profile, converter, channel, raw), u_before),
                    lines=tuple(sorted(lines, key=lambda line: -line[1])),
                    how="clips on the negative terminal",
                )
            )
    return Findings(tuple(found))


def _level(raw: RawStep, converter: int, channel: int) -> tuple[float, float, float]:
    """Mean code, noise of one conversion and the number of conversions."""
    on_us, off_us, _ = edges_us(raw)
    from_us, to_us = (on_us + SETTLED_US, off_us) if channel == FORCE else (0.0, on_us)
    points = channel_points(raw, converter, channel, from_us, to_us)
    if points.n.size < 2:
        raise AnalysisError(
            "few_points",
            "the step holds too few readings of zero volts",
            "calibrate again; if it stays so, see to the board's converter",
        )
    code = float(np.average(points.code, weights=points.n))
    noise = sqrt(float(np.sum(points.n * (points.code - code) ** 2)) / (points.n.size - 1))
    return code, noise, float(points.n.sum())


def _own_v(profile: RigProfile, raw: RawStep, channel: int) -> float:
    """Volts that the force channel's own lift makes across the load that is on."""
    if channel != FORCE:
        return 0.0
    circuit, bank = profile.channels[FORCE], profile.loads[raw.load]
    _, lift_v = transfer(circuit, profile.reference.reference_v, raw.range_high)
    return lift_v / circuit.top_ohm * (bank.load_ohm + bank.switch_ohm)


def _limit_codes(profile: RigProfile, converter: int, channel: int, raw: RawStep) -> float:
    limit_v = presence.limit_v(profile, converter, channel, raw.range_high)
    return limit_v / tap_per_code_v(profile, converter, channel, raw.range_high)


def _require_zero(
    off_codes: float,
    profile: RigProfile,
    converter: int,
    channel: int,
    range_high: bool,
    name: str,
) -> None:
    code_v = tap_per_code_v(profile, converter, channel, range_high)
    limit_v = presence.limit_v(profile, converter, channel, range_high)
    if abs(off_codes) * code_v > limit_v:
        raise AnalysisError(
            "not_shorted",
            f"the {name} tap is at {1e3 * off_codes * code_v:.3g} mV instead of zero volts",
            "put the positive sense clip and the positive force clip on the cell's negative "
            "terminal, beside the two negative clips, and see that they touch it",
        )
