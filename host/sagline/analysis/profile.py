# SPDX-License-Identifier: MIT
"""The rig's circuit values as the board answers them, with SI views.

Fields carry exactly the integer keys of the board's profile; every SI value is a
property, so that no number is kept twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import MISSING, dataclass, fields
from typing import Any, Self

from sagline.analysis.values import AnalysisError

PPM = 1e6


class Integers:
    """Mixin: build from a mapping of the board's integer fields."""

    @classmethod
    def from_integers(cls, mapping: Mapping[str, Any]) -> Self:
        """Raises ValueError for a missing field; fields of a newer board are ignored."""
        listed = fields(cls)  # type: ignore[arg-type]
        missing = [f.name for f in listed if f.name not in mapping and f.default is MISSING]
        if missing:
            raise ValueError(f"the profile lacks {', '.join(missing)}")
        return cls(**{f.name: int(mapping[f.name]) for f in listed if f.name in mapping})


@dataclass(frozen=True)
class LoadProfile(Integers):
    """One load of the bank: resistor, its switch (two MOSFETs in series), limits.

    What warms within a pulse is 0 where it is not known.
    """

    load_milliohm: int
    tolerance_ppm: int
    switch_milliohm: int
    switch_tolerance_ppm: int
    tcr_ppm_per_k: int
    switch_tcr_ppm_per_k: int
    max_mv: int
    max_ma: int
    max_on_ms: int
    max_pulse_mj: int
    mean_mw: int
    heat_mj_per_k: int = 0
    switch_heat_mj_per_k: int = 0

    @property
    def load_ohm(self) -> float:
        return self.load_milliohm / 1e3

    @property
    def load_limit_ohm(self) -> float:
        """Half-width of the load's tolerance."""
        return self.load_ohm * self.tolerance_ppm / PPM

    @property
    def switch_ohm(self) -> float:
        return self.switch_milliohm / 1e3

    @property
    def switch_limit_ohm(self) -> float:
        return self.switch_ohm * self.switch_tolerance_ppm / PPM

    @property
    def tcr_per_k(self) -> float:
        return self.tcr_ppm_per_k / PPM

    @property
    def switch_tcr_per_k(self) -> float:
        return self.switch_tcr_ppm_per_k / PPM

    def heating(self, i2t_a2s: float) -> tuple[float, float]:
        """By how much a pulse's own heat raises the load, relative, and how far that may be off.

        `i2t_a2s` is the time integral of the current squared until then. No heat is taken to leave
        within a pulse. A resistor's temperature coefficient may have either sign; a switch warms
        by anything up to what its chips alone would.
        """
        resistor = switch = 0.0
        if self.heat_mj_per_k:
            resistor = self.tcr_per_k * i2t_a2s * self.load_ohm / (1e-3 * self.heat_mj_per_k)
        if self.switch_heat_mj_per_k:
            rise_k = i2t_a2s * self.switch_ohm / (1e-3 * self.switch_heat_mj_per_k)
            switch = 0.5 * self.switch_tcr_per_k * rise_k * self.switch_ohm / self.load_ohm
        return switch, resistor + switch

    @property
    def max_v(self) -> float:
        return self.max_mv / 1e3

    @property
    def max_a(self) -> float:
        return self.max_ma / 1e3

    @property
    def max_pulse_j(self) -> float:
        return self.max_pulse_mj / 1e3


@dataclass(frozen=True)
class ChannelProfile(Integers):
    """A node fed from its tap and the reference. A part of 0 ohm is not fitted."""

    top_ohm: int
    foot_ohm: int
    lift_ohm: int
    range_foot_ohm: int
    tolerance_ppm: int
    follower_offset_uv: int

    def parts(self, range_high: bool) -> dict[str, int]:
        """The fitted resistors of the range in use, by name without its unit."""
        parts = {"top": self.top_ohm, "foot": self.foot_ohm, "lift": self.lift_ohm}
        if range_high:
            parts["range_foot"] = self.range_foot_ohm
        return {name: ohm for name, ohm in parts.items() if ohm}

    @property
    def tolerance(self) -> float:
        return self.tolerance_ppm / PPM

    @property
    def follower_limit_v(self) -> float:
        return self.follower_offset_uv / 1e6


@dataclass(frozen=True)
class ReferenceProfile(Integers):
    """The reference that lifts the channels and is the on-board converter's full scale."""

    reference_uv: int
    tolerance_ppm: int

    @property
    def reference_v(self) -> float:
        return self.reference_uv / 1e6

    @property
    def tolerance(self) -> float:
        return self.tolerance_ppm / PPM


@dataclass(frozen=True)
class ConverterProfile(Integers):
    """A converter: code width at the pin, limits of its errors in codes, its pace."""

    lsb_nv: int
    full_code: int
    gain_ppm: int
    offset_millilsb: int
    inl_millilsb: int
    noise_millilsb: int
    sample_ns: int
    rate_tolerance_ppm: int
    wide_code_millilsb: int

    @property
    def lsb_v(self) -> float:
        return self.lsb_nv / 1e9

    @property
    def gain_limit(self) -> float:
        return self.gain_ppm / PPM

    @property
    def wide_codes(self) -> float:
        """How much too wide the wide codes are (codes); 0 without them."""
        return self.wide_code_millilsb / 1e3

    @property
    def noise_codes(self) -> float:
        return self.noise_millilsb / 1e3

    @property
    def offset_limit_codes(self) -> float:
        return self.offset_millilsb / 1e3

    @property
    def inl_limit_codes(self) -> float:
        return self.inl_millilsb / 1e3


@dataclass(frozen=True)
class NullProfile(Integers):
    """The null channel: a steady voltage of `settings` steps, and sense less it in fine codes."""

    settings: int
    reference_uv: int
    tolerance_ppm: int
    lsb_pv: int
    full_code: int
    range_match_ppm: int
    inl_millilsb: int
    noise_millilsb: int
    load_shift_nv: int

    @property
    def step_v(self) -> float:
        """Volts at the pin per step of the setting, nominal."""
        return self.reference_uv / 1e6 / self.settings

    @property
    def lsb_v(self) -> float:
        return self.lsb_pv / 1e12

    @property
    def range_match(self) -> float:
        return self.range_match_ppm / PPM

    @property
    def inl_limit_codes(self) -> float:
        return self.inl_millilsb / 1e3

    @property
    def noise_codes(self) -> float:
        return self.noise_millilsb / 1e3

    @property
    def load_shift_v(self) -> float:
        """How far the null may move at the pin when a load is switched."""
        return self.load_shift_nv / 1e9


@dataclass(frozen=True)
class LeadsProfile(Integers):
    """The negative leads as they usually are, what ties the return node to ground, and what the
    force path may carry, 0 where the board does not say."""

    return_path_milliohm: int
    sense_path_milliohm: int
    ground_tie_ohm: int
    force_max_ma: int = 0

    @property
    def sense_path_ohm(self) -> float:
        return self.sense_path_milliohm / 1e3

    @property
    def tie_s(self) -> float:
        """Conductance of the tie; 0 where there is none."""
        return 1.0 / self.ground_tie_ohm if self.ground_tie_ohm else 0.0


@dataclass(frozen=True)
class RigProfile:
    """The whole rig. `converters` holds only those present (0 on-board, 1 ADS1115); `null` is
    None where that channel is not fitted, `leads` where they are not known."""

    loads: tuple[LoadProfile, ...]
    channels: tuple[ChannelProfile, ...]
    reference: ReferenceProfile
    converters: Mapping[int, ConverterProfile]
    range_mv: tuple[int, int]
    null: NullProfile | None = None
    leads: LeadsProfile | None = None

    @classmethod
    def from_integers(cls, mapping: Mapping[str, Any]) -> RigProfile:
        """From `{"loads", "channels", "reference", "converters", "range_mv", "null", "leads"}`.

        `converters` is a mapping by index or a list, in which None is an absent one.
        Raises ValueError for a missing field.
        """
        required = [field.name for field in fields(cls) if field.default is MISSING]
        missing = [name for name in required if name not in mapping]
        if missing:
            raise ValueError(f"the profile lacks {', '.join(missing)}")
        null, leads = mapping.get("null"), mapping.get("leads")
        given: Mapping[Any, Any] | Sequence[Any] = mapping["converters"]
        pairs = given.items() if isinstance(given, Mapping) else enumerate(given)
        low_mv, high_mv = mapping["range_mv"]
        return cls(
            loads=tuple(LoadProfile.from_integers(item) for item in mapping["loads"]),
            channels=tuple(ChannelProfile.from_integers(item) for item in mapping["channels"]),
            reference=ReferenceProfile.from_integers(mapping["reference"]),
            converters={
                int(key): ConverterProfile.from_integers(item) for key, item in pairs if item
            },
            range_mv=(int(low_mv), int(high_mv)),
            null=NullProfile.from_integers(null) if null else None,
            leads=LeadsProfile.from_integers(leads) if leads else None,
        )

    def converter(self, index: int) -> ConverterProfile:
        """Raises AnalysisError where the rig has no such converter."""
        if index not in self.converters:
            raise AnalysisError(
                "no_converter",
                f"this rig has no converter {index} (it has {sorted(self.converters)})",
                "choose a converter that the rig reports",
            )
        return self.converters[index]


def transfer(channel: ChannelProfile, reference_v: float, range_high: bool) -> tuple[float, float]:
    """Gain and lift (V) of a channel's node: node = gain * V_tap + lift.

    Kirchhoff's current law at a node fed through `top` from the tap and through `lift`
    from the reference, with the feet to ground.
    """
    parts = channel.parts(range_high)
    conductance = sum(1.0 / ohm for ohm in parts.values())
    lift_v = reference_v / parts["lift"] / conductance if "lift" in parts else 0.0
    return 1.0 / parts["top"] / conductance, lift_v
