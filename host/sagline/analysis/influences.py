# SPDX-License-Identifier: MIT
"""Every input of the measurement model with its distribution: one list.

The nominal value of each goes into the model, its limit into the budget and into the
Monte Carlo draws, so that none of the three can hold an input the others lack.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import exp, inf, pi, sqrt
from typing import TYPE_CHECKING

from sagline.analysis.profile import RigProfile
from sagline.analysis.values import ADS1115, FORCE, ONBOARD, RETURN, SENSE

if TYPE_CHECKING:
    from sagline.analysis.calibrated import Calibration

LOAD_TEMPERATURE_LIMIT_K = 5.0
"""How far a load may be from the temperature its value belongs to."""

SOURCES: tuple[str, ...] = (
    "load resistance",
    "divider ratio",
    "offset",
    "linearity",
    "quantization",
    "reference",
    "converter gain",
)
"""The lines of a budget of Type B."""

GROUND, HEATING, TIMING = "ground lead", "load heating", "timing"
"""Lines of r alone: what a load changes of the current in the negative sense lead, by which the
board's ground is read; the load's own heat; the instant."""

LOADING = "divider loading"
"""A line of E alone: what the dividers' current, which always flows, takes from the open level."""

EDGE_LIMIT_S = 10e-6
"""How far the instant of switching may be from where the record has it: half of what the board's
interpreter takes to switch (assumption)."""

COURSE = "course of r"
"""What the fallback for an unusual course may be wrong by."""

FIT = "fit"
"""Of a single step: how its readings scatter about the fit, Type A."""

REST_NOISE = "rest noise"
"""What noise leaves of the open level at the edge: of E alone, Type A."""

FRONT_ENDS: Mapping[int, str] = {ONBOARD: "onboard", ADS1115: "ads1115"}
"""The plain front end of each converter."""

NULL_FRONT_END = "ads1115+null"
"""The sag read as the difference of sense and the null channel."""


def front_end(converter: int, null: bool) -> str:
    """The name under which a front end is calibrated."""
    return NULL_FRONT_END if null else FRONT_ENDS[converter]


STANDARD = "_standard"
"""Ends the name of an input that stands for what a calibrated value was compared with."""

VOLTS = "volts."
"""Begins the name of an input that stands for one of r's in E, the current and the load."""

CHANNEL_NAMES = {SENSE: "sense", FORCE: "force", RETURN: "return"}

# Divisor of the spread that gives the standard uncertainty (GUM 4.3.7, 4.3.9; JCGM 101
# 6.4.6 for the arc sine). Normal and t carry the standard uncertainty itself.
_DIVISOR = {
    "rectangular": sqrt(3.0),
    "triangular": sqrt(6.0),
    "arcsine": sqrt(2.0),
    "normal": 1.0,
    "t": 1.0,
}


@dataclass(frozen=True)
class Influence:
    """One input: `spread` is the half-width of a bounded shape, else the standard uncertainty.

    `shared` names the thing whose error it is, where other inputs may be of the same one.
    """

    name: str
    source: str
    value: float
    spread: float = 0.0
    shape: str = "rectangular"
    dof: float = inf
    shared: str = ""

    @property
    def u(self) -> float:
        return self.spread / _DIVISOR[self.shape]

    @property
    def bounded(self) -> bool:
        return self.shape in ("rectangular", "triangular", "arcsine")


@dataclass(frozen=True)
class Readings:
    """The five levels of a step in mean codes; loaded ones at one time after load on.

    `sense_open` is carried to that time. `edge` is the open level of the first repeat at the
    edge, which E is taken from (None: the same as `sense_open`), `edge_u` its s.d. from noise;
    `course_ohm` how far r may be off where its course in time is not a cell's usual one;
    `force_fall_v` by how much force is below its level at rest (None: as sense is); `i2t_a2s` the
    time integral of the current squared until then; `slope_ohm_per_s` that of r;
    `slow_ohm` by how much r is larger at most for the dividers' current, which flows all the time.
    """

    sense_open: float
    sense: float
    force: float
    return_open: float
    return_loaded: float
    edge: float | None = None
    edge_u: float = 0.0
    course_ohm: float = 0.0
    force_fall_v: float | None = None
    i2t_a2s: float = 0.0
    slope_ohm_per_s: float = 0.0
    slow_ohm: float = 0.0


LEVEL_CHANNELS: Mapping[str, int] = {
    "sense_open": SENSE,
    "sense": SENSE,
    "force": FORCE,
    "return_open": RETURN,
    "return_loaded": RETURN,
}


def nominal(influences: Iterable[Influence]) -> dict[str, float]:
    """The value of each input, by name."""
    return {item.name: item.value for item in influences}


def quantization_limit_codes(noise_codes: float) -> float:
    """Greatest bias left by rounding after averaging, in codes.

    (1/pi) exp(-2 pi^2 sigma^2): the first Fourier term of the rounding error, Widrow and
    Kollar, "Quantization Noise". `noise_codes` is measured on rounded codes, so the
    rounding's own 1/12 is taken off first (Sheppard).
    """
    variance = max(0.0, noise_codes * noise_codes - 1.0 / 12.0)
    return exp(-2.0 * pi * pi * variance) / pi


def influences_of(
    profile: RigProfile,
    converter: int,
    load: int,
    range_high: bool,
    readings: Readings,
    noise_codes: Mapping[int, float],
    calibration: Calibration | None = None,
    front_end: str | None = None,
) -> list[Influence]:
    """The inputs for one load, range and converter at the given levels.

    What the `calibration` knows of the `front_end` (None: the converter's plain one) replaces
    tolerances.

    `noise_codes` is the noise of one conversion by channel (missing: taken as none, which
    is the worst case for quantization). Raises AnalysisError for an absent converter.
    """
    unit = profile.converter(converter)
    bank = profile.loads[load]
    listed = [
        Influence("load_ohm", "load resistance", bank.load_ohm, bank.load_limit_ohm),
        Influence("load_offset_k", "load resistance", 0.0, LOAD_TEMPERATURE_LIMIT_K),
        Influence("tcr_per_k", "load resistance", bank.tcr_per_k),
        Influence("switch_ohm", "load resistance", bank.switch_ohm, bank.switch_limit_ohm),
        Influence(
            "reference_v",
            "reference",
            profile.reference.reference_v,
            profile.reference.reference_v * profile.reference.tolerance,
        ),
        Influence("converter_gain", "converter gain", 0.0, unit.gain_limit),
        Influence("converter_offset_code", "offset", 0.0, unit.offset_limit_codes),
    ]
    # With the null channel the sag is read in a range of its own, from a voltage that may move
    # when the load is switched.
    null = profile.null if front_end == NULL_FRONT_END else None
    listed += [
        Influence("range_match", "converter gain", 0.0, null.range_match if null else 0.0),
        Influence("null_shift_v", "null shift", 0.0, null.load_shift_v if null else 0.0),
    ]
    # The on-board converter's full scale is the reference itself, so its code width is no
    # input of its own: a common change of the reference then cancels in r, as it should.
    if converter == ONBOARD:
        listed.append(Influence("codes_per_reference", "reference", unit.full_code + 1.0))
    else:
        listed.append(Influence("lsb_v", "converter gain", unit.lsb_v))
    for index, name in CHANNEL_NAMES.items():
        channel = profile.channels[index]
        for part, ohm in channel.parts(range_high).items():
            listed.append(
                Influence(f"{name}_{part}_ohm", "divider ratio", ohm, ohm * channel.tolerance)
            )
        listed.append(Influence(f"{name}_follower_v", "offset", 0.0, channel.follower_limit_v))
    edge = readings.sense_open if readings.edge is None else readings.edge
    listed.append(Influence("edge_rise_code", REST_NOISE, edge - readings.sense_open))
    listed.append(Influence("course_ohm", COURSE, 0.0, readings.course_ohm))
    leads = profile.leads
    if leads is not None:
        # Mostly a cold fuse and its clips: anything from none to twice its usual value.
        lead_ohm = leads.sense_path_ohm
        listed += [
            Influence("sense_neg_ohm", GROUND, lead_ohm, lead_ohm),
            Influence("tie_s", GROUND, leads.tie_s),
        ]
    listed += [
        Influence("heating", HEATING, *bank.heating(readings.i2t_a2s)),
        Influence("late_s", TIMING, 0.0, EDGE_LIMIT_S),
        Influence("slope_ohm_per_s", TIMING, readings.slope_ohm_per_s),
        Influence("slow_ohm", LOADING, 0.5 * readings.slow_ohm, 0.5 * readings.slow_ohm),
    ]
    listed.append(Influence("edge_noise_code", REST_NOISE, 0.0, readings.edge_u, "normal"))
    if readings.force_fall_v is not None:
        # Of a correction of some 1e-4: its own uncertainty is of no account.
        listed.append(Influence("force_fall_v", LOADING, readings.force_fall_v))
    for level, index in LEVEL_CHANNELS.items():
        limit = quantization_limit_codes(noise_codes.get(index, 0.0))
        listed += [
            Influence(f"{level}_code", "linearity", getattr(readings, level)),
            Influence(f"{level}_inl_code", "linearity", 0.0, unit.inl_limit_codes),
            Influence(f"{level}_rounding_code", "quantization", 0.0, limit, "arcsine"),
        ]
    if calibration is None:
        return listed
    # It builds on the list above.
    from sagline.analysis.calibrated import Setting, apply

    return apply(listed, calibration, profile, Setting(converter, load, range_high, front_end))
