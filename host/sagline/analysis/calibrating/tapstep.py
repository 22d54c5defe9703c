# SPDX-License-Identifier: MIT
"""One step of a calibration: r about one time by nominal values, for one front end.

No model of the cell: what a moved tap changes is a resistor, whose share is the same at every
time, so that the mean over a window serves, and the window is the same in every step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

from sagline.analysis import presence
from sagline.analysis.calibration import tap_per_code_v, tap_volts
from sagline.analysis.current import Current
from sagline.analysis.influences import quantization_limit_codes
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.rows import Front, null_code_v, rows_of
from sagline.analysis.step import WINDOW_RATIO, channel_points, edges_us, fit_line, read_step
from sagline.analysis.values import FORCE, RETURN, SENSE, AnalysisError, FloatArray, RawStep

AT_S = 0.1
"""The scale belongs to r(0.1 s); a load warms up within the pulse."""

EARLY_S = (4e-3, 20e-3)
"""About t_f of the ADS1115: what is found there must agree with AT_S."""

_POINT_FIELDS = ("source", "start_us", "length_us", "n", "total")


@dataclass(frozen=True)
class TapReading:
    """r (ohm) about AT_S and early in the pulse, by nominal values and without a scale.

    `current_a` at AT_S; `open_code` and `loaded_code` mean codes of the front end that read the
    sag, `code_ohm` how many ohms a code of it is; `force_codes` the drop over the load in codes of
    the force tap, `return_codes` the same in those of the return tap, which went from the first to
    the second of `return_levels`; `rounding_codes` the greatest bias of a level by rounding;
    `heating_limit` how far, relative, the load's own heat may have moved it beside what is allowed
    for.
    """

    r_ohm: float
    early_ohm: float
    early_u_ohm: float
    current_a: float
    open_code: float
    loaded_code: float
    code_ohm: float
    force_codes: float
    return_codes: float
    return_levels: tuple[float, float]
    rounding_codes: float
    heating_limit: float = 0.0


def without_offset(raw: RawStep, converter: int, codes: Mapping[int, float]) -> RawStep:
    """One converter's points alone, less the `codes` at zero volts found by channel."""
    kept = raw.source // 4 == converter
    fields = {name: getattr(raw, name)[kept] for name in _POINT_FIELDS}
    total = fields["total"].astype(np.float64)
    for channel, offset in codes.items():
        total -= np.where(fields["source"] % 4 == channel, offset * fields["n"], 0.0)
    fields["total"] = total
    return replace(raw, **fields)


def require_cell(raw: RawStep, profile: RigProfile, converter: int) -> None:
    """Refuse a step whose cell was not there throughout. Raises AnalysisError."""
    presence.check_step(read_step(raw, profile, converter, (AT_S,)), profile, converter)


def read_tap(raw: RawStep, profile: RigProfile, converter: int, null: bool) -> TapReading:
    """Read a step by one converter's points (`without_offset`); `null` by the null difference.

    r = sag/(I - G_f D - G_s sag): the dividers' currents fall with their taps, force by D.
    Raises AnalysisError `few_points` for a pulse that holds too little about AT_S.
    """
    current = Current(raw, profile, converter)
    noise = _noise_codes(raw, converter)
    rows = rows_of(raw, profile, converter, current, {SENSE: noise}, null)
    rows = rows.of(rows.is_from(Front.NULL if null else Front.LEVEL))
    rest, t_s = rows.of(~rows.loaded), rows.middle_s
    about = rows.loaded & (t_s > AT_S / WINDOW_RATIO) & (t_s < AT_S * WINDOW_RATIO)
    early = rows.loaded & (t_s > EARLY_S[0]) & (t_s < EARLY_S[1])
    if rest.v.size < 4 or not about.any():
        raise AnalysisError(
            "few_points",
            f"the step holds too few readings at rest or about {AT_S:g} s",
            "calibrate again; if it stays so, see to the board's converter",
        )
    line = fit_line(rest.middle_s, rest.v, 1.0 / rest.u_v**2)
    sag_v = line.level + line.slope * t_s - rows.v
    fall_v = _force_open_v(raw, profile, converter) - _force_v(raw, profile, converter, current)
    force_s, sense_s = (_input_siemens(profile, k, raw.range_high) for k in (FORCE, SENSE))
    at_a = float(current.at(np.array([AT_S]))[0])
    warmer, heating_limit = profile.loads[raw.load].heating(at_a * at_a * AT_S)
    current_a = rows.current_a / (1.0 + warmer)
    r_ohm = sag_v / (current_a - force_s * fall_v - sense_s * sag_v)
    code_v = tap_per_code_v(profile, converter, SENSE, raw.range_high)
    if null:
        code_v = null_code_v(profile, raw.range_high)
    weight = 1.0 / rows.u_v**2
    bank = profile.loads[raw.load]
    drop_v = at_a * (bank.load_ohm + bank.switch_ohm)
    force_codes, return_codes = (
        drop_v / tap_per_code_v(profile, converter, channel, raw.range_high)
        for channel in (FORCE, RETURN)
    )
    r_at_ohm = float(np.average(r_ohm[about], weights=weight[about]))
    return TapReading(
        r_ohm=r_at_ohm,
        early_ohm=float(np.average(r_ohm[early], weights=weight[early])) if early.any() else np.nan,
        # As many readings of force as of sense tell the current there.
        early_u_ohm=hypot(
            _mean_u(rows.u_v[early]) / at_a,
            r_at_ohm * noise / force_codes / sqrt(max(1, np.count_nonzero(early))),
        ),
        current_a=at_a,
        open_code=float(np.average(rest.code, weights=1.0 / rest.u_v**2)),
        loaded_code=float(np.average(rows.code[about], weights=weight[about])),
        code_ohm=code_v / at_a,
        force_codes=force_codes,
        return_codes=return_codes,
        return_levels=current.codes(AT_S)[1:],
        rounding_codes=quantization_limit_codes(noise),
        heating_limit=heating_limit,
    )


def _noise_codes(raw: RawStep, converter: int) -> float:
    """Noise of one conversion of sense, from neighbours at rest; 0 where too few tell."""
    on_us, _, _ = edges_us(raw)
    points = channel_points(raw, converter, SENSE, 0.0, on_us)
    if points.code.size < 8:
        return 0.0
    return float(np.sqrt(np.mean(np.diff(points.code) ** 2 * points.n[1:] / 2.0)))


def _force_open_v(raw: RawStep, profile: RigProfile, converter: int) -> float:
    points = channel_points(raw, converter, FORCE, 0.0, edges_us(raw)[0])
    if not points.n.size:
        return 0.0
    code = float(np.average(points.code, weights=points.n))
    return tap_volts(profile, converter, FORCE, code, raw.range_high)


def _force_v(raw: RawStep, profile: RigProfile, converter: int, current: Current) -> float:
    return tap_volts(profile, converter, FORCE, current.codes(AT_S)[0], raw.range_high)


def _input_siemens(profile: RigProfile, channel: int, range_high: bool) -> float:
    """What a divider draws per volt at its tap: it is `top` in series with the rest."""
    circuit = profile.channels[channel]
    gain, _ = transfer(circuit, profile.reference.reference_v, range_high)
    return (1.0 - gain) / circuit.top_ohm


def _mean_u(u: FloatArray) -> float:
    return float(1.0 / np.sqrt(np.sum(1.0 / u**2))) if u.size else np.inf
