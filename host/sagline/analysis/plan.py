# SPDX-License-Identifier: MIT
"""Which load, for how long, how often: decided before anything is switched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

from sagline.analysis.calibrated import Calibration
from sagline.analysis.calibration import expected_readings
from sagline.analysis.influences import CHANNEL_NAMES, Readings, front_end, influences_of
from sagline.analysis.profile import LoadProfile, RigProfile
from sagline.analysis.sagerrors import of_levels
from sagline.analysis.step import WINDOW_RATIO
from sagline.analysis.values import ADS1115, AnalysisError
from sagline.designations import DESIGNATIONS, Designation, find

TARGET_U_REL = 0.03
WORTH = 2.0
"""A load of fewer ohms is recommended where it makes U(r) smaller by this factor at least."""

REST_MS, SHORT_REST_MS = 5000, 2000
"""Rest in the record: before the usual pulse, and before a longer one, which needs the record's
room. Its last second is what is read."""
REST_OVER_ON = 10
"""What a cell rests between steps at least, over how long the load is on."""
ON_MS = 300
RECOVERY_MS = (1000, 1500)
REPEATS = 5
UNRESOLVED_SHARE = 1e-3
"""Of the smallest load: r is taken as this where a probe could not tell it from zero."""

BANK_MATCH = 1e-3
"""How near a stated load must be to one of the bank to mean it."""


@dataclass(frozen=True)
class Plan:
    """One series. `expected_u_rel` is U(r)/r at 95 % for the r that the first look gave, or
    that is typical of the designation; None where nothing is known of r. `rest_ms` of rest are in
    the record of a step."""

    load_index: int
    load_ohm: float
    rest_ms: int
    on_ms: int
    recovery_ms: int
    repeats: int
    reason: str
    expected_u_rel: float | None

    @property
    def resting_ms(self) -> int:
        """How long the cell rests before each step."""
        return resting_ms(self.rest_ms, self.on_ms)


def resting_ms(rest_ms: int, on_ms: int) -> int:
    """How long a cell rests before a pulse, `rest_ms` of it in the record. Recovery after the step
    before comes on top of it."""
    return max(rest_ms, REST_MS, REST_OVER_ON * on_ms)


def needs_high_range(profile: RigProfile, open_v: float) -> bool:
    """Whether an open voltage is beyond the low range."""
    return open_v * 1e3 > profile.range_mv[0]


def limit_exceeded(load: LoadProfile, open_v: float, on_ms: int) -> str | None:
    """Which limit of a load a pulse would exceed, as what the load would; None if allowed.

    Current and energy are those of `open_v` straight across the resistor: an upper bound.
    """
    current_a = open_v / load.load_ohm
    energy_j = open_v * current_a * on_ms * 1e-3
    if open_v > load.max_v:
        return f"have {open_v:.3g} V across it; its limit is {load.max_v:g} V"
    if current_a > load.max_a:
        return f"carry {current_a:.3g} A; its limit is {load.max_a:g} A"
    if energy_j > load.max_pulse_j:
        return f"take {energy_j:.3g} J in a pulse; its limit is {load.max_pulse_j:g} J"
    if on_ms > load.max_on_ms:
        return f"be on for {on_ms / 1000:g} s; its limit is {load.max_on_ms / 1000:g} s"
    return None


def probe_load(profile: RigProfile, open_v: float, on_ms: int = ON_MS) -> int:
    """Index of the load for a first look at an unknown cell: the largest, if it may be used.

    Raises AnalysisError `load_limit`.
    """
    index = max(range(len(profile.loads)), key=lambda item: profile.loads[item].load_ohm)
    _refuse_limit(profile, index, open_v, on_ms)
    return index


def expected_u_rel(
    profile: RigProfile,
    converter: int,
    load: int,
    open_v: float,
    r_ohm: float,
    calibration: Calibration | None = None,
) -> float:
    """U(r)/r at 95 % to expect, by the budget's own model and the rig's `calibration`; noise is
    left out, being small beside linearity for either converter. Raises AnalysisError for an
    absent converter."""
    from sagline.analysis.budget import relative_u95

    high = needs_high_range(profile, open_v)
    levels = expected_readings(profile, converter, load, high, open_v, r_ohm)
    noise = profile.converter(converter).noise_millilsb * 1e-3
    # Rounding adds its own 1/12 to what would be measured.
    measured = sqrt(noise * noise + 1.0 / 12.0)
    noises = dict.fromkeys(CHANNEL_NAMES, measured)
    null = _within_null(profile, converter, levels)
    listed = influences_of(
        profile, converter, load, high, levels, noises, calibration, front_end(converter, null)
    )
    table = None if calibration is None else calibration.table
    errors = of_levels(profile, converter, levels.sense_open, levels.sense, null, table)
    return relative_u95(listed, errors)


def _within_null(profile: RigProfile, converter: int, levels: Readings) -> bool:
    """Whether the sag to expect fits the null channel's range, with a tenth to spare."""
    if profile.null is None or converter != ADS1115:
        return False
    sag_v = (levels.sense_open - levels.sense) * profile.converter(converter).lsb_v
    return sag_v < 0.9 * profile.null.full_code * profile.null.lsb_v


def choose(
    profile: RigProfile,
    converter: int,
    open_v: float,
    designation: str | None = None,
    load_ohm: float | None = None,
    probe_r_ohm: float | None = None,
    *,
    times_s: Sequence[float] = (0.1,),
    target_u_rel: float | None = None,
    calibration: Calibration | None = None,
) -> Plan:
    """The plan for one cell of `open_v` on a rig of this `calibration`.

    A stated load goes before a designation, a designation before the search. Without any
    of the three and without `probe_r_ohm` (what a first look gave) it is the probe itself;
    with it, the lightest load whose expected U(r) is within the target (3 % where None is
    given), else the best one that its limits allow, but none smaller than r. Raises AnalysisError:
    `voltage_out_of_range`, `load_not_in_bank`, `unknown_designation`, `load_limit`,
    `no_load_allowed`, `no_converter`.
    """
    profile.converter(converter)
    if not 0.0 < open_v * 1e3 <= profile.range_mv[1]:
        raise AnalysisError(
            "voltage_out_of_range",
            f"{open_v:.4g} V is outside what the rig measures, up to "
            f"{profile.range_mv[1] / 1000:g} V",
            "check the polarity and the contacts; measure fewer cells in series",
        )
    on_ms = max(ON_MS, ceil(max(times_s) * WINDOW_RATIO * 1e3))

    known = None if designation is None else _known(designation, load_ohm)
    r_ohm = known.typical_r_ohm if probe_r_ohm is None and known is not None else probe_r_ohm

    def plan(index: int, reason: str, repeats: int = REPEATS) -> Plan:
        _refuse_limit(profile, index, open_v, on_ms)
        u_rel = None
        if r_ohm is not None and r_ohm > 0.0:
            u_rel = expected_u_rel(profile, converter, index, open_v, r_ohm, calibration)
        return Plan(
            index,
            profile.loads[index].load_ohm,
            REST_MS if on_ms <= ON_MS else SHORT_REST_MS,
            on_ms,
            min(max(RECOVERY_MS[0], on_ms), RECOVERY_MS[1]),
            repeats,
            reason,
            u_rel,
        )

    if load_ohm is not None:
        return plan(_in_bank(profile, load_ohm), "the load that was asked for")
    if known is not None:
        reason = (
            f"the usual load for {known.designation}, whose r is usually "
            f"{known.r_low_ohm:g} to {known.r_high_ohm:g} Ω"
        )
        return plan(_in_bank(profile, known.load_ohm), reason)
    if probe_r_ohm is None:
        reason = "an unknown cell: the lightest load first, to see what it can bear"
        return plan(probe_load(profile, open_v, on_ms), reason, repeats=1)
    least_ohm = UNRESOLVED_SHARE * min(load.load_ohm for load in profile.loads)
    aim = target_u_rel or TARGET_U_REL
    least = max(probe_r_ohm, least_ohm)
    return plan(*_search(profile, converter, open_v, least, on_ms, aim, calibration))


def _search(
    profile: RigProfile,
    converter: int,
    open_v: float,
    r_ohm: float,
    on_ms: int,
    aim: float,
    calibration: Calibration | None,
) -> tuple[int, str]:
    lightest_first = sorted(
        range(len(profile.loads)), key=lambda item: -profile.loads[item].load_ohm
    )
    allowed: list[tuple[float, int]] = []
    for index in lightest_first:
        if limit_exceeded(profile.loads[index], open_v, on_ms) is not None:
            continue
        # Past the greatest power the cell heats itself more than the load: no way to treat
        # one that nothing is known of.
        if profile.loads[index].load_ohm < r_ohm and allowed:
            break
        u_rel = expected_u_rel(profile, converter, index, open_v, r_ohm, calibration)
        if u_rel <= aim:
            return index, f"the lightest load that gives r within {100 * aim:g} %"
        allowed.append((u_rel, index))
    if not allowed:
        raise AnalysisError(
            "no_load_allowed",
            f"every load of the bank is beyond its limits at {open_v:.3g} V",
            "measure fewer cells in series, or give shorter --times",
        )
    return min(allowed)[1], "no load of the bank reaches the target; this one comes nearest"


def _refuse_limit(profile: RigProfile, index: int, open_v: float, on_ms: int) -> None:
    reason = limit_exceeded(profile.loads[index], open_v, on_ms)
    if reason is not None:
        raise AnalysisError(
            "load_limit",
            f"the load of {profile.loads[index].load_ohm:g} Ω would {reason}",
            "give --load with more ohms, or shorter --times",
        )


def _in_bank(profile: RigProfile, load_ohm: float) -> int:
    for index, load in enumerate(profile.loads):
        if abs(load.load_ohm - load_ohm) <= BANK_MATCH * load.load_ohm:
            return index
    bank = ", ".join(f"{load.load_ohm:g}" for load in profile.loads)
    raise AnalysisError(
        "load_not_in_bank",
        f"the rig has no load of {load_ohm:g} Ω",
        f"choose one of {bank} Ω",
    )


def _known(designation: str, load_ohm: float | None) -> Designation | None:
    """The entry of a designation. One that is not in the table is None beside a stated load."""
    found = find(designation)
    if found is None and load_ohm is None:
        raise AnalysisError(
            "unknown_designation",
            f"the designation {designation!r} is not in the table",
            f"choose one of {', '.join(DESIGNATIONS)}, or give --load",
        )
    return found
