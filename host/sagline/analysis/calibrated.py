# SPDX-License-Identifier: MIT
"""What a calibration replaces among the inputs of the measurement model.

With a scale K, r is K times what nominal values give, and the tolerances it was found against
are no inputs of r any more. E and the current have a scale of their own, from a voltmeter.
Where the calibration says nothing, the tolerance stays.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf, isfinite, sqrt

from sagline.analysis.influences import CHANNEL_NAMES, FRONT_ENDS, STANDARD, VOLTS, Influence
from sagline.analysis.onboard_table import OnboardTable
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.values import FORCE, ONBOARD, Notice

CALIBRATION, VOLTAGE_SCALE, LOAD_TEMPERATURE = "calibration", "voltage scale", "load temperature"

_COMMON = ("reference_v", "converter_gain")
_LOAD = ("load_ohm", "switch_ohm")


@dataclass(frozen=True)
class Standard:
    """What a value was compared with, by name: values of one standard err alike.

    `u` is its standard uncertainty in the value, in that one's unit; `bounded` where no more than
    limits are known of it.
    """

    name: str
    u: float
    bounded: bool


@dataclass(frozen=True)
class Known:
    """A value found by a calibration, its standard uncertainty with all that is in it, and that
    one's dof; the `standard` it was compared with, where it is told apart."""

    value: float
    u: float
    dof: float = inf
    standard: Standard | None = None

    def influences(self, name: str, source: str) -> list[Influence]:
        """The value as an input called `name`; what its standard adds to it as name + STANDARD."""
        u, dof, found = self.u, self.dof, []
        if self.standard is not None and self.standard.u > 0.0:
            part = self.standard
            u = sqrt(max(0.0, u * u - part.u * part.u))
            # All of the degrees of freedom belong to the rest (Welch-Satterthwaite, GUM G.4.1).
            dof *= (u / self.u) ** 4 if isfinite(dof) else 1.0
            shape, spread = ("rectangular", sqrt(3.0)) if part.bounded else ("normal", 1.0)
            found.append(
                Influence(name + STANDARD, source, 0.0, spread * part.u, shape, shared=part.name)
            )
        shape = "t" if isfinite(dof) and u > 0.0 else "normal"
        return [Influence(name, source, self.value, u, shape, dof), *found]


@dataclass(frozen=True)
class Calibration:
    """One rig's calibration at the age it has; missing entries are unknown.

    `scales`: K by load (index), high range, front end. `offsets`: codes at zero volts at the
    tap above the nominal ones, by converter, channel, high range. `voltage_scales`: true volts
    over nominal ones at the sense tap, by converter and high range.
    """

    id: str
    scales: Mapping[tuple[int, bool, str], Known] = field(default_factory=dict)
    offsets: Mapping[tuple[int, int, bool], Known] = field(default_factory=dict)
    voltage_scales: Mapping[tuple[int, bool], Known] = field(default_factory=dict)
    table: OnboardTable | None = None


@dataclass(frozen=True)
class Setting:
    """How a series was measured; `front_end` None is the converter's plain one."""

    converter: int
    load: int
    range_high: bool
    front_end: str | None = None

    def scale(self, calibration: Calibration) -> Known | None:
        end = self.front_end or FRONT_ENDS[self.converter]
        return calibration.scales.get((self.load, self.range_high, end))

    def voltage_scale(self, calibration: Calibration) -> Known | None:
        return calibration.voltage_scales.get((self.converter, self.range_high))

    def offset(self, calibration: Calibration, channel: int) -> Known | None:
        return calibration.offsets.get((self.converter, channel, self.range_high))

    def table(self, calibration: Calibration) -> OnboardTable | None:
        return calibration.table if self.converter == ONBOARD else None


def apply(
    listed: Sequence[Influence],
    calibration: Calibration | None,
    profile: RigProfile,
    setting: Setting,
) -> list[Influence]:
    """The inputs of `influences.influences_of` with what the calibration replaces.

    Raises AnalysisError for an absent converter.
    """
    if calibration is None:
        return list(listed)
    scale = setting.scale(calibration)
    voltage_scale = setting.voltage_scale(calibration)
    listed = _with_zeros(listed, calibration, profile, setting, scale is not None)
    table = setting.table(calibration)
    if table is not None and table.residual_lsb is not None:
        limit = table.residual_lsb
        listed = [
            replace(item, spread=limit) if item.name.endswith("_inl_code") else item
            for item in listed
        ]
    if scale is not None:
        listed = _scaled(listed, scale, profile, setting, voltage_scale is not None)
    if voltage_scale is not None:
        if scale is None:
            # r keeps its tolerances; E is judged with nominal values times the scale.
            sense = [*_COMMON, *_parts(profile, setting, ("sense",))]
            listed += [_renamed(item, spread=0.0) for item in listed if item.name in sense]
        listed += voltage_scale.influences("voltage_scale", VOLTAGE_SCALE)
    return listed


def _scaled(
    listed: Sequence[Influence], scale: Known, profile: RigProfile, setting: Setting, volts: bool
) -> list[Influence]:
    """With a scale for r. Without one for volts (`volts` false), E keeps its tolerances; with it,
    the current keeps what lies between the range of r and that of volts."""
    replaced = [*_LOAD, *_COMMON, "range_match", *_parts(profile, setting, CHANNEL_NAMES.values())]
    kept = ["load_ohm", "range_match"] if volts else replaced
    changed: list[Influence] = []
    for item in listed:
        if item.name in replaced:
            if item.name in kept and item.spread:
                changed.append(_renamed(item))
            changed.append(replace(item, spread=0.0))
        elif item.name == "load_offset_k":
            # K belongs to the temperature of the calibration. Load and switch stand on one
            # board, so that one difference moves both.
            changed.append(replace(item, source=LOAD_TEMPERATURE))
            tcr = profile.loads[setting.load].switch_tcr_per_k
            changed.append(Influence("switch_tcr_per_k", LOAD_TEMPERATURE, tcr))
        else:
            changed.append(item)
    return changed + scale.influences("scale_k", CALIBRATION)


def _with_zeros(
    listed: Sequence[Influence],
    calibration: Calibration,
    profile: RigProfile,
    setting: Setting,
    scaled: bool,
) -> list[Influence]:
    """Codes at zero volts in place of lifts and offsets, where they are known.

    A scale needs that of force in any case, for K is no cure for an offset: what is not measured
    counts with its tolerance. In r the zeros of sense and return cancel.
    """
    changed = list(listed)
    zeros: list[Influence] = []
    for channel, name in CHANNEL_NAMES.items():
        found = setting.offset(calibration, channel)
        code, u = nominal_zero(profile, setting, channel)
        if found is not None:
            known = replace(found, value=code + found.value)
        elif scaled and channel == FORCE:
            known = Known(code, u)
        else:
            continue
        zeros += known.influences(f"{name}_zero_code", "offset")
    gone = [item.name.replace("_zero_code", "_follower_v") for item in zeros]
    if len(zeros) == len(CHANNEL_NAMES):
        gone.append("converter_offset_code")
    changed = [replace(item, spread=0.0) if item.name in gone else item for item in changed]
    return changed + zeros


def nominal_zero(profile: RigProfile, setting: Setting, channel: int) -> tuple[float, float]:
    """The code at zero volts at a channel's tap, and its standard uncertainty from tolerances."""
    unit = profile.converter(setting.converter)
    reference = profile.reference
    circuit = profile.channels[channel]
    _, lift_v = transfer(circuit, reference.reference_v, setting.range_high)
    width_v = unit.lsb_v
    tolerance = reference.tolerance
    if setting.converter == ONBOARD:
        # Lift and full scale are the same reference: it cancels in codes.
        width_v, tolerance = reference.reference_v / (unit.full_code + 1.0), 0.0
    parts = circuit.parts(setting.range_high)
    siemens = sum(1.0 / ohm for ohm in parts.values())
    # lift = V_ref / (R_lift * sum of 1/R): the sensitivities of ln lift to each ln R.
    shares = [1.0 / ohm / siemens - (name == "lift") for name, ohm in parts.items()]
    lift = [lift_v / width_v * limit for limit in (tolerance, unit.gain_limit)]
    lift += [lift_v / width_v * share * circuit.tolerance for share in shares if "lift" in parts]
    limits = [*lift, circuit.follower_limit_v / width_v, unit.offset_limit_codes]
    return lift_v / width_v, sqrt(sum(limit * limit for limit in limits) / 3.0)


def _parts(profile: RigProfile, setting: Setting, names: Collection[str]) -> list[str]:
    return [
        f"{name}_{part}_ohm"
        for channel, name in CHANNEL_NAMES.items()
        if name in names
        for part in profile.channels[channel].parts(setting.range_high)
    ]


def _renamed(item: Influence, spread: float | None = None) -> Influence:
    return replace(item, name=VOLTS + item.name, spread=item.spread if spread is None else spread)


def notices(calibration: Calibration | None, profile: RigProfile, setting: Setting) -> list[Notice]:
    """What must be said of a series' calibration: that there is none, or what it lacks."""
    if calibration is None:
        return [
            Notice(
                "uncalibrated",
                "the load and the divider ratios are taken from their tolerances",
                "calibrate the rig (`sagline calibrate`); the budget says which source limits r",
            )
        ]
    if setting.scale(calibration) is not None:
        return []
    applies = (
        setting.voltage_scale(calibration) is not None
        or setting.table(calibration) is not None
        or any(setting.offset(calibration, channel) is not None for channel in CHANNEL_NAMES)
    )
    which = "16.5 V range" if setting.range_high else "low range"
    end = setting.front_end or FRONT_ENDS[setting.converter]
    return [
        Notice(
            "no_scale" if applies else "uncalibrated",
            f"the calibration has no scale for the {profile.loads[setting.load].load_ohm:g} Ω load "
            f"in the {which} on {end}: the load and the divider ratios are taken from their "
            "tolerances",
            "measure with a load that it holds, or calibrate this one",
        )
    ]
