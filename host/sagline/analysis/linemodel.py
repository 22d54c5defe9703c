# SPDX-License-Identifier: MIT
"""The measurement model at every point of a V-I line at once, with the inputs that they share.

One rig reads all points: its dividers, reference, gain and offsets err alike at each, a load in
every combination that it is part of. What is read at one point alone (rounding, linearity of
force and return, heat) is its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from sagline.analysis import bank
from sagline.analysis.calibrated import Calibration, Known, Setting
from sagline.analysis.calibration import Outputs, model
from sagline.analysis.influences import (
    STANDARD,
    VOLTS,
    Influence,
    Readings,
    influences_of,
)
from sagline.analysis.nonlinearity import LevelErrors
from sagline.analysis.profile import RigProfile, transfer
from sagline.analysis.sagerrors import NAMES
from sagline.analysis.values import FORCE, SENSE

ARM_KEY = "arm_share"
_OF_LOAD = ("load_ohm", "switch_ohm")
_SCALE = "scale_k"
_SCALE_STANDARD = _SCALE + STANDARD
_OWN_SUFFIXES = ("_inl_code", "_rounding_code")
_OWN_NAMES = ("course_ohm", "heating")


class Level(NamedTuple):
    """What was read of one mask: mean levels, what non-linearity does to them, their noise."""

    mask: int
    readings: Readings
    errors: LevelErrors
    noise_codes: Mapping[int, float]
    front_end: str


@dataclass(frozen=True)
class _At:
    """One point: the keys of its inputs by name, the values of those that have no spread, and
    the point's loads where they are more than one."""

    keys: Mapping[str, str]
    values: Mapping[str, float]
    members: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class LineModel:
    """`inputs` by key, each independent of the others but for those that `errors` has."""

    inputs: Mapping[str, Influence]
    errors: Mapping[str, LevelErrors]
    points: Mapping[str, _At]
    front_ends: Mapping[str, str]
    input_s: float

    @classmethod
    def of(
        cls,
        levels: Sequence[Level],
        profile: RigProfile,
        converter: int,
        range_high: bool,
        calibration: Calibration | None,
    ) -> LineModel:
        """From the levels of every point. Raises AnalysisError for an absent converter."""
        inputs: dict[str, Influence] = {}
        points: dict[str, _At] = {}

        def listed(
            level: Level, rig: RigProfile, load: int, known: Calibration | None
        ) -> list[Influence]:
            return influences_of(
                rig,
                converter,
                load,
                range_high,
                level.readings,
                level.noise_codes,
                known,
                level.front_end,
            )

        def take(items: Sequence[Influence], load: int, level: Level) -> dict[str, str]:
            keys = {}
            for item in items:
                if item.spread and item.name not in NAMES:
                    keys[item.name] = _key(item, load, level)
                    inputs.setdefault(keys[item.name], item)
            return keys

        for level in levels:
            rig, load = bank.with_mask(profile, level.mask)
            members = bank.members(level.mask)
            known = with_scale(calibration, level, profile, converter, range_high)
            items = listed(level, rig, load, known)
            if len(members) > 1:
                # Its resistance and its scale are those of its loads.
                items = [item for item in items if not _is_of_load(item.name)]
            keys = take(items, load, level)
            values = {item.name: item.value for item in items if item.name not in keys}
            if len(members) > 1:
                for index in members:
                    own = listed(level, profile, index, known)
                    own = [item for item in own if _is_of_load(item.name)]
                    keys |= {
                        f"{name}@{index}": key for name, key in take(own, index, level).items()
                    }
                    values |= {f"{item.name}@{index}": item.value for item in own}
                keys[ARM_KEY] = ARM_KEY
                inputs.setdefault(
                    ARM_KEY,
                    Influence(ARM_KEY, "load resistance", bank.ARM_SHARE, bank.ARM_SHARE_LIMIT),
                )
            points[str(level.mask)] = _At(keys, values, members if len(members) > 1 else ())
        return cls(
            inputs,
            {str(level.mask): level.errors for level in levels},
            points,
            {str(level.mask): level.front_end for level in levels},
            _input_s(profile, range_high),
        )

    def outputs(self, numbers: Mapping[str, Any]) -> list[Outputs]:
        """r, E and load current at each point, of whatever type the `numbers` by key are.

        Those of `errors` have a level's name, "@" and the mask.
        """
        return [model(self._x(mask, at, numbers)) for mask, at in self.points.items()]

    def terminals(self, numbers: Mapping[str, Any]) -> list[tuple[Any, Any]]:
        """The cell's own current and the voltage at its terminals at each point, (I, V).

        E − V is the cell's r times its own current, which is that of the load and what the
        dividers draw at V.
        """
        found = []
        for r_ohm, emf_v, load_a in self.outputs(numbers):
            v = (emf_v - r_ohm * load_a) / (1.0 + r_ohm * self.input_s)
            found.append((load_a + self.input_s * v, v))
        return found

    def _x(self, mask: str, at: _At, numbers: Mapping[str, Any]) -> Mapping[str, Any]:
        x: dict[str, Any] = dict(at.values)
        x.update({name: numbers[key] for name, key in at.keys.items()})
        for name in NAMES:
            x[name] = numbers[f"{name}@{mask}"]
        return _combined(x, at.members) if at.members else x


def with_scale(
    calibration: Calibration | None,
    level: Level,
    profile: RigProfile,
    converter: int,
    range_high: bool,
) -> Calibration | None:
    """The calibration as it serves a point: a combination has a scale where each of its loads has.

    Where one has none, none of them counts: it would stand for that load's tolerance as well.
    """
    members = bank.members(level.mask)
    if calibration is None or len(members) < 2:
        return calibration
    settings = [Setting(converter, one, range_high, level.front_end) for one in members]
    scales = [one.scale(calibration) for one in settings]
    if any(one is None for one in scales):
        return replace(calibration, scales={})
    # A value that marks it as there: what it is comes from its loads'.
    there = (len(profile.loads), range_high, level.front_end)
    return replace(calibration, scales={**calibration.scales, there: Known(1.0, 0.0)})


def _combined(x: dict[str, Any], members: Sequence[int]) -> dict[str, Any]:
    """Loads in parallel: resistance with and without the switch, and the scale.

    Of each load's switch, ARM's share is common to all. A scale K is true over nominal
    resistance, so that of a combination is the mean of 1/K by conductance, inverted.
    """
    arm = x.pop(ARM_KEY)

    def parallel(prefix: str) -> tuple[Any, Any]:
        loads = [_first(x, f"{prefix}load_ohm@{one}", f"load_ohm@{one}") for one in members]
        switches = [_first(x, f"{prefix}switch_ohm@{one}", f"switch_ohm@{one}") for one in members]
        resistors = 1.0 / sum(1.0 / load for load in loads)
        own = sum(
            1.0 / (load + (1.0 - arm) * switch)
            for load, switch in zip(loads, switches, strict=True)
        )
        return resistors, arm * sum(switches) / len(switches) + 1.0 / own - resistors

    x["load_ohm"], x["switch_ohm"] = parallel("")
    if any(f"{VOLTS}load_ohm@{one}" in x for one in members):
        x[f"{VOLTS}load_ohm"], x[f"{VOLTS}switch_ohm"] = parallel(VOLTS)
    if f"{_SCALE}@{members[0]}" in x:
        siemens = [1.0 / (x[f"load_ohm@{one}"] + x[f"switch_ohm@{one}"]) for one in members]
        scales = [x[f"{_SCALE}@{one}"] + x.get(f"{_SCALE_STANDARD}@{one}", 0.0) for one in members]
        x[_SCALE] = sum(siemens) / sum(s / k for s, k in zip(siemens, scales, strict=True))
    return x


def _first(x: Mapping[str, Any], *names: str) -> Any:
    return next(x[name] for name in names if name in x)


def _bare(name: str) -> str:
    return name.removeprefix(VOLTS)


def _is_of_load(name: str) -> bool:
    return _bare(name) in (*_OF_LOAD, _SCALE, _SCALE_STANDARD)


def _key(item: Influence, load: int, level: Level) -> str:
    """Equal for what is one and the same thing at several points."""
    name = _bare(item.name)
    if name in _OF_LOAD:
        return f"{name}@{load}"
    if name == _SCALE:
        return f"{name}@{load}@{level.front_end}"
    if name == _SCALE_STANDARD:
        # One resistor may have been the standard of several loads: its error is one.
        return f"{name}@{item.shared}"
    if name.endswith(_OWN_SUFFIXES) or name in _OWN_NAMES:
        return f"{name}@mask{level.mask}"
    return name


def _input_s(profile: RigProfile, range_high: bool) -> float:
    """What the sense and force dividers draw together (S), by nominal values."""
    total = 0.0
    for channel in (SENSE, FORCE):
        circuit = profile.channels[channel]
        gain, _ = transfer(circuit, profile.reference.reference_v, range_high)
        total += (1.0 - gain) / circuit.top_ohm
    return total
