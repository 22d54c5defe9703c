# SPDX-License-Identifier: MIT
"""The measurement equation of a foreign record, and the one list of its inputs.

r = (E - V) / I with I as it was read, or (V_force - V_return) / (R_load + R_switch). What the
record's instrument may be wrong by is what the user states of it, no more. The instant of
switching lies anywhere between two readings, in all steps alike: an instrument that switches the
load itself does so at one phase of its readings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf
from typing import Any

from sagline.analysis.budget import Equation
from sagline.analysis.calibration import Outputs
from sagline.analysis.foreign.drive import DriveLevels
from sagline.analysis.foreign.steps import MODEL_SHARE
from sagline.analysis.foreign.table import ForeignTable
from sagline.analysis.influences import (
    COURSE,
    FIT,
    REST_NOISE,
    TIMING,
    Influence,
    quantization_limit_codes,
)

SCALE, ZERO = "instrument scale", "instrument zero"
LOAD, QUANTIZATION = "load resistance", "quantization"
SOURCES = (LOAD, SCALE, ZERO, QUANTIZATION, TIMING)


@dataclass(frozen=True)
class ForeignLevels:
    """What the fit says at one time: r and E, the current, and how far each may be off.

    `fit_ohm` and `drive.u_rel` are Type A of a single step, 0 where the repeats' scatter holds
    it, with `dof`; `timing_ohm` bounds what an edge elsewhere changes; `noise_v` is the noise of
    one reading of sense, and `drive_noise` that of force or current.
    """

    r_ohm: float
    open_v: float
    open_u_v: float
    drive: DriveLevels
    fit_ohm: float
    dof: float
    timing_ohm: float
    course_ohm: float
    noise_v: float
    drive_noise: float


def equation_of(table: ForeignTable) -> Equation:
    """The equation for the columns that a record has."""
    if table.current is not None:
        return Equation(_by_current, None, SOURCES[1:])
    return Equation(_by_force, lambda x: x["load_ohm"], SOURCES)


def influences_of(table: ForeignTable, levels: ForeignLevels) -> list[Influence]:
    """The inputs of `equation_of` at one time."""
    stated, drive = table.stated, levels.drive
    sense_v = levels.r_ohm * drive.current_a
    rounding_v = _rounding(table.sense.resolution, levels.noise_v)
    volts_rel, volts = stated.u_volts_rel or 0.0, stated.u_volts or 0.0
    listed = [
        Influence("open_v", REST_NOISE, levels.open_v, levels.open_u_v, "normal"),
        Influence("sag_v", FIT, sense_v),
        Influence("sense_scale", SCALE, 0.0, volts_rel, "normal"),
        Influence("sense_zero_v", ZERO, 0.0, volts, "normal"),
        Influence("open_rounding_v", QUANTIZATION, 0.0, rounding_v, "arcsine"),
        Influence("loaded_rounding_v", QUANTIZATION, 0.0, rounding_v, "arcsine"),
        _type_a("fit_ohm", levels.fit_ohm, levels.dof),
        _type_a("drive_noise", drive.u_rel, drive.dof),
        Influence("timing_ohm", TIMING, 0.0, levels.timing_ohm),
        Influence("course_ohm", COURSE, 0.0, levels.course_ohm),
        Influence("model_ohm", COURSE, 0.0, MODEL_SHARE * abs(levels.r_ohm)),
    ]
    rounding = _rounding(table.driver.resolution, levels.drive_noise)
    if table.current is not None:
        return [
            *listed,
            Influence("current_a", FIT, drive.current_a),
            Influence("current_scale", SCALE, 0.0, stated.u_amps_rel or 0.0, "normal"),
            Influence("current_rounding_a", QUANTIZATION, 0.0, rounding, "arcsine"),
        ]
    listed += [
        Influence("force_v", FIT, drive.force_v),
        Influence("force_scale", SCALE, 0.0, volts_rel, "normal"),
        Influence("force_zero_v", ZERO, 0.0, volts, "normal"),
        Influence("force_rounding_v", QUANTIZATION, 0.0, rounding, "arcsine"),
        Influence("return_v", FIT, drive.return_v),
        Influence("return_scale", SCALE, 0.0, volts_rel if drive.return_v else 0.0, "normal"),
        Influence("load_ohm", LOAD, table.load_ohm or 0.0, stated.u_ohm or 0.0, "normal"),
        Influence("switch_ohm", LOAD, table.switch_ohm),
    ]
    return listed


def _type_a(name: str, u: float, dof: float) -> Influence:
    return Influence(name, FIT, 0.0, u, "t" if u else "normal", dof if u else inf)


def _rounding(step: float, noise: float) -> float:
    """How far rounding may leave a mean of readings of this step and noise off."""
    return quantization_limit_codes(noise / step) * step


def _by_current(x: Mapping[str, Any]) -> Outputs:
    current_a = x["current_a"] * (1.0 + x["current_scale"]) + x["current_rounding_a"]
    return _outputs(x, current_a)


def _by_force(x: Mapping[str, Any]) -> Outputs:
    force_v = x["force_v"] * (1.0 + x["force_scale"]) + x["force_rounding_v"] - x["force_zero_v"]
    drop_v = force_v - x["return_v"] * (1.0 + x["return_scale"])
    return _outputs(x, drop_v / (x["load_ohm"] + x["switch_ohm"]))


def _outputs(x: Mapping[str, Any], current_a: Any) -> Outputs:
    """r = sag / I, E the open voltage. Each channel's zero falls out of the sag."""
    current_a = current_a * (1.0 + x["drive_noise"])
    sag_v = x["sag_v"] * (1.0 + x["sense_scale"])
    sag_v = sag_v + x["open_rounding_v"] - x["loaded_rounding_v"]
    r_ohm = sag_v / current_a + x["fit_ohm"] + x["timing_ohm"]
    r_ohm = r_ohm + x["course_ohm"] + x["model_ohm"]
    emf_v = (x["open_v"] + x["open_rounding_v"]) * (1.0 + x["sense_scale"]) - x["sense_zero_v"]
    return Outputs(r_ohm, emf_v, current_a)
