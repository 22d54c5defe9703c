# SPDX-License-Identifier: MIT
"""The calibration that a virtual rig would get from a careful person: its true values, each
with an error drawn from the uncertainty stated with it.

    parts, serial = rig_of("virtual://lr6?seed=7")
    calibration = calibration_of(parts, serial=serial, rng=np.random.default_rng(7))
    with sagline.open_rig("virtual://lr6?seed=7", calibration=calibration) as rig: ...

Written from the drawn parts and the node equation, apart from the analysis.
"""

from datetime import UTC, datetime

import numpy as np
from uuid6 import uuid7

from sagline.calibrations import (
    CALIBRATION_SCHEMA,
    Calibration,
    Channel,
    Converter,
    FrontEnd,
    Offset,
    OnboardLinearity,
    Scale,
    VoltageScale,
)
from sagline.virtual.address import parse
from sagline.virtual.clock import VirtualClock
from sagline.virtual.parts import Parts, nominal_parts
from sagline.virtual.port import build_hardware
from sagline_board import profile

CONVERTERS: tuple[Converter, ...] = ("onboard", "ads1115")
CHANNELS: tuple[Channel, ...] = ("sense", "force", "return")
RANGES = (False, True)
KNOT_CODES = 16
# Codes that stand still on an RP2040 (erratum E11) need their own knots on either side.
WIDE_CODES = (512, 1536, 2560, 3584)


def rig_of(address: str) -> tuple[Parts, str]:
    """The parts that a virtual address draws, and the serial number of its rig."""
    hardware = build_hardware(parse(address), VirtualClock(real_pace=False))
    return hardware._circuit.parts, hardware.serial


def true_scale(parts: Parts, load: int, range_high: bool, sag_gain_rel: float = 0.0) -> float:
    """K = r / (r found with nominal values and true offsets), at the calibration's temperature.

    With rho = V_return/V_force, which the return path and the load fix, K is
    (g_f/G_f - rho g_r/G_r) / (1 - rho) * R/R_nominal / (g_s/G_s), g the true gains and G the
    nominal ones. A gain common to all channels cancels; `sag_gain_rel` is what the reading of
    the sag has over the others. The divider current is left out (below 1e-6 of K).
    """
    nominal = nominal_parts()

    def ratio(channel: int) -> float:
        true, _ = parts.channels[channel].transfer(parts.reference_v, range_high)
        return true / nominal.channels[channel].transfer(nominal.reference_v, range_high)[0]

    entry = profile.LOADS[load]
    offset_k = parts.temperature_offset_k
    cold_ohm = parts.load_ohm[load] / (1.0 + entry["tcr_ppm_per_k"] * 1e-6 * offset_k)
    cold_ohm += parts.switch_ohm[load] / (1.0 + entry["switch_tcr_ppm_per_k"] * 1e-6 * offset_k)
    nominal_ohm = nominal.load_ohm[load] + nominal.switch_ohm[load]
    rho = parts.return_path_ohm / (parts.return_path_ohm + cold_ohm)
    current = (ratio(1) - rho * ratio(2)) / (1.0 - rho) * cold_ohm / nominal_ohm
    return current / (ratio(0) * (1.0 + sag_gain_rel))


def true_offset_codes(parts: Parts, converter: int, channel: int, range_high: bool) -> float:
    """The ideal code at zero volts at a tap, less the nominal one."""
    return _zero_code(parts, converter, channel, range_high) - _zero_code(
        nominal_parts(), converter, channel, range_high
    )


def _zero_code(parts: Parts, converter: int, channel: int, range_high: bool) -> float:
    circuit, unit = parts.channels[channel], parts.converters[converter]
    _, lift_v = circuit.transfer(parts.reference_v, range_high)
    pin_v = (lift_v + circuit.follower_offset_v) * (1.0 + unit.gain_error) + unit.offset_v
    return pin_v / unit.lsb_v


def true_voltage_scale(parts: Parts, converter: int, range_high: bool) -> float:
    """True volts at the sense tap over those that nominal gain and code width give."""

    def code_per_volt(rig: Parts) -> float:
        gain, _ = rig.channels[0].transfer(rig.reference_v, range_high)
        unit = rig.converters[converter]
        return gain * (1.0 + unit.gain_error) / unit.lsb_v

    return code_per_volt(nominal_parts()) / code_per_volt(parts)


def true_correction_lsb(parts: Parts, code: np.ndarray) -> np.ndarray:
    """Ideal code less the on-board converter's, at whole or other output codes."""
    unit = parts.converters[profile.ONBOARD]
    ideal = np.arange(unit.low_code, unit.full_code + 1e-9, 0.05)
    output = ideal + unit.linearity.at(ideal)
    # Never falling, but flat inside a wide code: the middle of the flat answers there.
    first = np.searchsorted(output, code - 1e-6, side="left")
    last = np.searchsorted(output, code + 1e-6, side="right") - 1
    between = np.interp(code, output, ideal)
    inside = last > first
    first, last = (np.clip(at, 0, ideal.size - 1) for at in (first, last))
    return np.where(inside, 0.5 * (ideal[first] + ideal[last]), between) - code


def calibration_of(
    parts: Parts,
    *,
    serial: str,
    rng: np.random.Generator,
    u_k_rel: float = 1e-3,
    u_ads1115_code: float = 0.2,
    u_onboard_code: float = 0.1,
    u_volts_rel: float = 5e-4,
    residual_lsb: float = 0.3,
    made_at: datetime | None = None,
) -> Calibration:
    """The whole calibration of one rig; every error is normal, that of the table rectangular.

    The front end "ads1115+null" reads the sag with the gain of its own range.
    """

    def about(value: float, u: float) -> float:
        return value + u * float(rng.standard_normal())

    ends: list[tuple[FrontEnd, float]] = [(name, 0.0) for name in CONVERTERS]
    plain_gain = parts.converters[profile.ADS1115].gain_error
    ends.append(("ads1115+null", (1.0 + parts.null.gain_error) / (1.0 + plain_gain) - 1.0))
    scales = []
    for load in range(len(profile.LOADS)):
        for high in RANGES:
            for front_end, gain_rel in ends:
                k = true_scale(parts, load, high, gain_rel)
                scales.append(
                    Scale(
                        load=load,
                        range_high=high,
                        front_end=front_end,
                        k=about(k, u_k_rel * k),
                        u_k_rel=u_k_rel,
                        dof=None,
                    )
                )
    offsets, voltage_scales = [], []
    for converter, name in enumerate(CONVERTERS):
        u_codes = u_ads1115_code if converter == profile.ADS1115 else u_onboard_code
        for high in RANGES:
            factor = true_voltage_scale(parts, converter, high)
            voltage_scales.append(
                VoltageScale(
                    converter=name,
                    range_high=high,
                    factor=about(factor, u_volts_rel * factor),
                    u_rel=u_volts_rel,
                )
            )
            for channel, channel_name in enumerate(CHANNELS):
                codes = true_offset_codes(parts, converter, channel, high)
                offsets.append(
                    Offset(
                        converter=name,
                        channel=channel_name,
                        range_high=high,
                        codes=about(codes, u_codes),
                        u_codes=u_codes,
                    )
                )
    return Calibration(
        schema=CALIBRATION_SCHEMA,
        id=str(uuid7()),
        rig_serial=serial,
        made_at=made_at or datetime.now(UTC),
        temperature_c=None,
        scales=scales,
        offsets=offsets,
        onboard_table=_table(parts, rng, residual_lsb),
        voltage_scales=voltage_scales,
    )


def _table(parts: Parts, rng: np.random.Generator, residual_lsb: float) -> OnboardLinearity:
    full_code = profile.CONVERTERS[profile.ONBOARD]["full_code"]
    knots = set(range(0, full_code + 1, KNOT_CODES)) | {full_code}
    knots |= {code + side for code in WIDE_CODES for side in (-1, 0, 1)}
    code = np.array(sorted(knots), dtype=np.float64)
    error = rng.uniform(-residual_lsb, residual_lsb, code.size)
    # A ramp's bins hold the mean over the codes between two knots, not the knot's own code;
    # near a wide code the bins are narrow.
    about = code[:, None] + np.arange(-KNOT_CODES // 2, KNOT_CODES // 2 + 1)
    mean = true_correction_lsb(parts, np.clip(about, 0, full_code)).mean(axis=1)
    near = (np.abs(code[:, None] - np.array(WIDE_CODES)) <= KNOT_CODES).any(axis=1)
    correction = np.where(near, true_correction_lsb(parts, code), mean)
    return OnboardLinearity(
        code=code.tolist(),
        correction_lsb=(correction + error).tolist(),
        residual_lsb=residual_lsb,
        residual_span_codes=float(KNOT_CODES),
    )
