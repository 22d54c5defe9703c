# SPDX-License-Identifier: MIT
"""The measurement model: from levels in codes and the rig's values to r, E and I.

`model` is the one place where they meet. It uses + - * / only, so that the same function
runs on floats, on arrays of Monte Carlo draws and on uncertain numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

import numpy as np

from sagline.analysis.influences import STANDARD, VOLTS, Readings
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.values import (
    FORCE,
    ONBOARD,
    RETURN,
    SENSE,
    AnalysisError,
    FloatArray,
    RawStep,
)
from sagline.errors import NEW_FIRMWARE

Codes = TypeVar("Codes", float, FloatArray)

BLOCKING_DIODE_V = 0.3
"""Expected drop of the force path's blocking diode: used to plan only, it falls out of r."""


class Outputs(NamedTuple):
    """r (ohm), E (V), load current (A); of whatever number type went in."""

    r_ohm: Any
    emf_v: Any
    current_a: Any


def _conductance(x: Mapping[str, Any], channel: str) -> Any:
    total = 1.0 / x[f"{channel}_top_ohm"]
    for part in ("foot", "lift", "range_foot"):
        name = f"{channel}_{part}_ohm"
        if name in x:
            total = total + 1.0 / x[name]
    return total


def _pin_v(x: Mapping[str, Any], channel: str, level: str, above_code: Any) -> Any:
    zero_code = x.get(f"{channel}_zero_code", x["converter_offset_code"])
    code = (
        x[f"{level}_code"]
        + above_code
        - zero_code
        - x[f"{level}_inl_code"]
        - x[f"{level}_rounding_code"]
    )
    if "codes_per_reference" in x:
        width_v = x["reference_v"] / x["codes_per_reference"]
    else:
        width_v = x["lsb_v"]
    return code * width_v / (1.0 + x["converter_gain"])


def _tap_v(
    x: Mapping[str, Any], channel: str, level: str, conductance: Any, above_code: Any = 0.0
) -> Any:
    pin_v = _pin_v(x, channel, level, above_code)
    if f"{channel}_zero_code" in x:
        # Counted from the code at zero volts: lift and offsets are in that.
        return x[f"{channel}_top_ohm"] * pin_v * conductance
    node_v = pin_v - x[f"{channel}_follower_v"]
    lift_a = x["reference_v"] / x[f"{channel}_lift_ohm"] if f"{channel}_lift_ohm" in x else 0.0
    return x[f"{channel}_top_ohm"] * (node_v * conductance - lift_a)


def _input_conductance(x: Mapping[str, Any], channel: str, conductance: Any) -> Any:
    top = 1.0 / x[f"{channel}_top_ohm"]
    return top - top * top / conductance


def load_resistance(x: Mapping[str, Any]) -> Any:
    """The load resistor at its own temperature (ohm)."""
    load_ohm = x.get(f"{VOLTS}load_ohm", x["load_ohm"])
    return load_ohm * (1.0 + x["tcr_per_k"] * x["load_offset_k"])


def _compared(x: Mapping[str, Any], name: str) -> Any:
    """A calibrated value with what its standard adds to it; None where there is none."""
    value, added = x.get(name), x.get(name + STANDARD)
    return value if value is None or added is None else value + added


def _for_volts(x: Mapping[str, Any]) -> Mapping[str, Any]:
    """The inputs as E and the current take them, where a calibration parts them from r's."""
    own = {name[len(VOLTS) :]: value for name, value in x.items() if name.startswith(VOLTS)}
    return {**x, **own} if own else x


def _return_v(x: Mapping[str, Any], back: Any) -> Any:
    return _tap_v(x, "return", "return_loaded", back) - _tap_v(x, "return", "return_open", back)


def _current_a(x: Mapping[str, Any], force: Any, back: Any) -> Any:
    drop_v = _tap_v(x, "force", "force", force) - _return_v(x, back)
    switch_ohm = x["switch_ohm"]
    if "switch_tcr_per_k" in x:
        switch_ohm = switch_ohm * (1.0 + x["switch_tcr_per_k"] * x["load_offset_k"])
    load_ohm = x["load_ohm"] * (1.0 + x["tcr_per_k"] * x["load_offset_k"])
    return drop_v / ((load_ohm + switch_ohm) * (1.0 + x["heating"]))


def model(x: Mapping[str, Any]) -> Outputs:
    """The measurement equation.

    dV = E - V_sense(t), I = (V_force - V_return) / (R_load + R_switch),
    r = K dV / (I - G_sense dV - G_force dV_force), E = V_open (1 + r_slow G), r_slow what r is for
    a current that has flowed as long as the cell has rested, G the input conductance of the sense
    and force dividers together. `x` holds the names of `influences.influences_of`; a part that is
    not fitted is left out, and so is what no calibration has found (a scale is 1 then). The return
    channel's open reading removes its lift and offset. r takes the mean open level of all
    repeats at its own time, E that of the first at the edge, before which the cell had rested
    longest. Beside these stand what r is off by where its course is unusual, by what lifts
    the board's ground, and by the instant of switching.

    With K, r is computed with nominal values, which K makes good; E and I, of which K says
    nothing, take the inputs whose names begin with "volts.". With a voltage scale s as well,
    the current is that of dV = s dV_nominal at r: s/K of the nominal one. Where K is that of the
    null channel's range, s is of the other one, and the match of the two stays between them.
    """
    sense = _conductance(x, "sense")
    force = _conductance(x, "force")
    back = _conductance(x, "return")
    open_v = _tap_v(x, "sense", "sense_open", sense)
    sag_v = (open_v - _tap_v(x, "sense", "sense", sense)) / (1.0 + x["range_match"])
    sag_v = sag_v - x["null_shift_v"] * x["sense_top_ohm"] * sense
    current_a = _current_a(x, force, back)
    sense_s, force_s = _input_conductance(x, "sense", sense), _input_conductance(x, "force", force)
    input_s = sense_s + force_s
    # The blocking diode's drop loads the force tap off as well.
    taken_off_a = sense_s * sag_v + force_s * x.get("force_fall_v", sag_v)
    cell_a = current_a - taken_off_a
    r_ohm = sag_v / cell_a + x["course_ohm"]
    if "sense_neg_ohm" in x:
        # What the tie takes from the return node and the dividers no longer take goes through
        # the negative sense lead, and lifts the board's ground.
        lift_v = x["sense_neg_ohm"] * (_return_v(x, back) * x["tie_s"] - taken_off_a)
        r_ohm = r_ohm - lift_v / cell_a
    r_ohm = r_ohm + x["slope_ohm_per_s"] * x["late_s"]
    scale_k, voltage_scale = _compared(x, "scale_k"), _compared(x, "voltage_scale")
    volts = _for_volts(x)
    rested = sense if volts is x else _conductance(volts, "sense")
    above_code = x["edge_rise_code"] + x["edge_noise_code"]
    rested_v = _tap_v(volts, "sense", "sense_open", rested, above_code)
    if scale_k is not None:
        r_ohm = r_ohm * scale_k
        if voltage_scale is not None:
            match = 1.0 + x.get(f"{VOLTS}range_match", 0.0)
            current_a = current_a * voltage_scale / (scale_k * match)
        else:
            current_a = _current_a(
                volts, _conductance(volts, "force"), _conductance(volts, "return")
            )
    emf_v = rested_v * (1.0 + (r_ohm + x["slow_ohm"]) * input_s)
    if voltage_scale is not None:
        emf_v = emf_v * voltage_scale
    return Outputs(r_ohm, emf_v, current_a)


def code_width_v(profile: RigProfile, converter: int) -> float:
    """Nominal width of a code at the pin (V). Raises AnalysisError for an absent converter."""
    unit = profile.converter(converter)
    if converter == ONBOARD:
        return profile.reference.reference_v / (unit.full_code + 1.0)
    return unit.lsb_v


def tap_per_code_v(profile: RigProfile, converter: int, channel: int, range_high: bool) -> float:
    """Volts at a channel's tap per code."""
    gain, _ = transfer(profile.channels[channel], profile.reference.reference_v, range_high)
    return code_width_v(profile, converter) / gain


def tap_volts(
    profile: RigProfile, converter: int, channel: int, code: Codes, range_high: bool
) -> Codes:
    """Volts at a channel's tap for a mean code, or an array of them, with nominal values."""
    gain, lift_v = transfer(profile.channels[channel], profile.reference.reference_v, range_high)
    return (code * code_width_v(profile, converter) - lift_v) / gain


def tap_code(
    profile: RigProfile, converter: int, channel: int, tap_v: float, range_high: bool
) -> float:
    """The mean code for volts at a channel's tap, with nominal values."""
    gain, lift_v = transfer(profile.channels[channel], profile.reference.reference_v, range_high)
    return (tap_v * gain + lift_v) / code_width_v(profile, converter)


def tap_points(
    raw: RawStep, profile: RigProfile, converter: int, channel: int
) -> tuple[FloatArray, FloatArray]:
    """Middles of a channel's windows (us from the start of the step), nominal volts there.

    Points that straddle an edge are left out: their mean belongs to neither side. Raises
    AnalysisError for an absent converter or a record without the channel.
    """
    end_us = raw.start_us + raw.length_us
    chosen = (raw.source == converter * 4 + channel) & (raw.n > 0)
    for edge_us in raw.edges_us:
        chosen &= (end_us <= edge_us) | (raw.start_us >= edge_us)
    if not chosen.any():
        raise AnalysisError(
            "no_points",
            f"the record holds no points of channel {channel} of converter {converter}",
            f"measure again; if it stays so, {NEW_FIRMWARE}",
        )
    codes: FloatArray = raw.total[chosen] / raw.n[chosen]
    middle_us = raw.start_us[chosen] + raw.length_us[chosen] / 2.0
    return middle_us, tap_volts(profile, converter, channel, codes, raw.range_high)


def expected_readings(
    profile: RigProfile, converter: int, load: int, range_high: bool, open_v: float, r_ohm: float
) -> Readings:
    """Levels to expect from a cell of `open_v` and `r_ohm`: the model backwards, for a plan.

    Leads are left out: they lower the current a little and fall out of r. Raises
    AnalysisError where the cell cannot drive a current through the blocking diode.
    """
    bank = profile.loads[load]
    current_a = (open_v - BLOCKING_DIODE_V) / (r_ohm + bank.load_ohm + bank.switch_ohm)
    if current_a <= 0.0:
        raise AnalysisError(
            "voltage_too_low",
            f"{open_v:.3g} V is too little to drive a current through the rig",
            "check the contacts and the polarity of the cell",
        )

    def code(channel: int, tap_v: float) -> float:
        return tap_code(profile, converter, channel, tap_v, range_high)

    terminal_v = open_v - r_ohm * current_a
    return Readings(
        sense_open=code(SENSE, open_v),
        sense=code(SENSE, terminal_v),
        force=code(FORCE, terminal_v - BLOCKING_DIODE_V),
        return_open=code(RETURN, 0.0),
        return_loaded=code(RETURN, 0.0),
    )


@dataclass(frozen=True, eq=False)
class Waveform:
    """A step in volts and amperes. Three arrays of one length; t_s = 0 at load on."""

    t_s: FloatArray
    sense_v: FloatArray
    current_a: FloatArray


def waveform(raw: RawStep, profile: RigProfile, converter: int) -> Waveform:
    """The nominal waveform of a step, for drawing.

    The current is interpolated from the times of force and return to those of sense while
    the load is on, and is zero while it is off. Points that straddle an edge are left out.
    Raises AnalysisError for an absent converter or a record without the three channels.
    """
    edges_us = raw.edges_us
    origin_us = edges_us[0] if edges_us else 0

    def tap(channel: int) -> tuple[FloatArray, FloatArray]:
        middle_us, volts = tap_points(raw, profile, converter, channel)
        return (middle_us - origin_us) * 1e-6, volts

    t_s, sense_v = tap(SENSE)
    off_s = (edges_us[1] - origin_us) * 1e-6 if len(edges_us) > 1 else float("inf")

    def while_on(channel: int) -> FloatArray:
        at_s, volts = tap(channel)
        on = (at_s > 0.0) & (at_s < off_s)
        if not edges_us or not on.any():
            return np.zeros_like(t_s)
        return np.interp(t_s, at_s[on], volts[on])

    return_t_s, return_v = tap(RETURN)
    resting = return_v[return_t_s < 0.0]
    open_v = float(resting.mean()) if resting.size else 0.0
    bank = profile.loads[raw.load]
    current_a = (while_on(FORCE) - while_on(RETURN) + open_v) / (bank.load_ohm + bank.switch_ohm)
    on = (t_s > 0.0) & (t_s < off_s) & bool(edges_us)
    return Waveform(t_s, sense_v, np.where(on, current_a, 0.0))
