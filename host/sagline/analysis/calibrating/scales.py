# SPDX-License-Identifier: MIT
"""The scale of every front end from one run of steps with a moved tap: all of them saw it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, inf

from sagline.analysis.calibrated import Calibration, Known, Setting, nominal_zero
from sagline.analysis.calibrating import movedtap, tolerances
from sagline.analysis.calibrating.found import Findings, Found
from sagline.analysis.calibrating.movedtap import MovedTap, Side, Spread, Tapped
from sagline.analysis.calibrating.tapstep import read_tap, require_cell, without_offset
from sagline.analysis.influences import FRONT_ENDS, NULL_FRONT_END
from sagline.analysis.profile import RigProfile
from sagline.analysis.rows import Front, has_null
from sagline.analysis.sagerrors import processes_of
from sagline.analysis.values import ADS1115, FORCE, ONBOARD, AnalysisError, Notice, RawStep
from sagline.analysis.widecodes import straighten

HOW = "moved tap"

INPUTS_U_REL = 2e-4
"""How far K of one converter may be from the other's, which reads the same pins: a gain that all
channels share falls out of K, what the converters draw from 220 ohm does not (an estimate)."""

SHARES = (0.1, 1.0)
"""Of the load: an added resistor of less makes too small a difference, one of more takes too
much of the current away."""

_SAG_LINES = ("scatter", "linearity of the sag", "quantization")
"""What two readings of one sag do not have in common."""

COSTS = 0.1
"""A tiring cell is spoken of where it makes u(K) so much larger."""


@dataclass(frozen=True, eq=False)
class TapStep:
    """A recorded step with the tap on one side of the added resistor, at a time (s)."""

    side: Side
    at_s: float
    raw: RawStep


def find(
    steps: Sequence[TapStep],
    profile: RigProfile,
    resistor: Known,
    calibration: Calibration | None = None,
) -> Findings:
    """K of every front end for the load and range of the steps, by an added `resistor` (ohm).

    The `calibration` gives the zero of force and the on-board table. Raises AnalysisError: those
    of `movedtap.find` and of a step without a cell, and `scale_implausible`.
    """
    first, main = steps[0].raw, max(profile.converters)
    for step in steps:
        require_cell(step.raw, profile, main)
    notices = _resistor_notices(profile, first.load, resistor)
    results: dict[str, MovedTap] = {}
    for converter in sorted(profile.converters, reverse=True):
        try:
            readings = _read(steps, profile, converter, calibration)
        except AnalysisError as error:
            if converter == main:
                raise
            notices.append(Notice(error.code, error.message, error.remedy))
            continue
        for null, tapped in readings:
            end = NULL_FRONT_END if null else FRONT_ENDS[converter]
            spread = _spread(profile, converter, null, first, calibration)
            results[end] = movedtap.find(tapped, resistor, spread)
    found = {end: _found(end, one, profile, first, resistor) for end, one in results.items()}
    best = found[FRONT_ENDS[main]]
    _require_plausible(best, resistor)
    # The front end that reads the one cell best tells most of its tiring.
    notices += _tiring(min(results.values(), key=lambda one: one.u_k_rel))
    notices += _notices(results[FRONT_ENDS[main]], best, resistor)
    if NULL_FRONT_END in results:
        plain = results[FRONT_ENDS[ADS1115]]
        beyond, notice = _beyond_plain(results[NULL_FRONT_END], plain, profile)
        notices += [] if notice is None else [notice]
        if beyond > movedtap.BEYOND:
            del found[NULL_FRONT_END]
    elif profile.null is not None:
        notices.append(_NO_NULL)
    if ADS1115 in profile.converters and ONBOARD in profile.converters:
        other = found.get(FRONT_ENDS[ONBOARD])
        found[FRONT_ENDS[ONBOARD]] = taken = _for_onboard(best, other, profile)
        if other is not None and abs(other.value - taken.value) > 3.0 * hypot(other.u, taken.u):
            notices.append(_differs(other.value / taken.value - 1.0))
    return Findings(tuple(found.values()), tuple(notices))


def _read(
    steps: Sequence[TapStep],
    profile: RigProfile,
    converter: int,
    calibration: Calibration | None,
) -> list[tuple[bool, list[Tapped]]]:
    """The readings of a converter: plain, and by the null difference where all steps have it."""
    table = None if calibration is None else calibration.table
    raws: Sequence[RawStep] = [step.raw for step in steps]
    if converter == ONBOARD:
        raws = straighten(raws, profile, converter, table).steps
    setting = Setting(converter, raws[0].load, raws[0].range_high)
    zero = None if calibration is None else setting.offset(calibration, FORCE)
    codes = {} if zero is None else {FORCE: zero.value}
    own = [without_offset(raw, converter, codes) for raw in raws]
    ways = [False]
    if converter == ADS1115 and all(has_null(raw, profile) for raw in raws):
        ways.append(True)
    return [
        (
            null,
            [
                Tapped(step.side, step.at_s, read_tap(raw, profile, converter, null))
                for step, raw in zip(steps, own, strict=True)
            ],
        )
        for null in ways
    ]


def _spread(
    profile: RigProfile,
    converter: int,
    null: bool,
    raw: RawStep,
    calibration: Calibration | None,
) -> Spread:
    table = None if calibration is None else calibration.table
    level = processes_of(profile, Front.LEVEL, converter, table)
    setting = Setting(converter, raw.load, raw.range_high)
    zero = None if calibration is None else setting.offset(calibration, FORCE)
    u_codes = nominal_zero(profile, setting, FORCE)[1] if zero is None else zero.u
    sag = processes_of(profile, Front.NULL, converter) if null else level
    return Spread(sag, level, u_codes)


def _found(end: str, one: MovedTap, profile: RigProfile, raw: RawStep, resistor: Known) -> Found:
    converter = ONBOARD if end == FRONT_ENDS[ONBOARD] else ADS1115
    before = tolerances.of_r(
        profile, converter, raw.load, raw.range_high, null=end == NULL_FRONT_END
    )
    key = (raw.load, raw.range_high, end)
    standard = resistor.standard
    if standard is not None:
        standard = replace(standard, u=one.k * standard.u / resistor.value)
    return Found(
        "scale", key, one.k, one.k * one.u_k_rel, one.dof, before, one.lines, HOW, standard
    )


def _for_onboard(best: Found, own: Found | None, profile: RigProfile) -> Found:
    """K of the on-board converter: its own, or that of the ADS1115, which reads the same pins."""
    load, high, _ = best.key
    u = hypot(best.u, INPUTS_U_REL * best.value)
    if own is not None and own.u < u:
        return own
    lines = sorted((*best.lines, ("converter inputs", INPUTS_U_REL)), key=lambda line: -line[1])
    return replace(
        best,
        key=(load, high, FRONT_ENDS[ONBOARD]),
        u=u,
        dof=best.dof * (u / best.u) ** 4 if best.dof < inf else inf,
        before=tolerances.of_r(profile, ONBOARD, load, high),
        lines=tuple(lines),
        how=f"{HOW}, by the ADS1115 on the same pins",
    )


def _require_plausible(best: Found, resistor: Known) -> None:
    beyond = abs(best.value - 1.0) - best.before.limit
    if beyond > movedtap.BEYOND:
        raise AnalysisError(
            "scale_implausible",
            f"moving the tap across {resistor.value:g} Ω changed r by "
            f"{resistor.value / best.value:.4g} Ω, {100 * abs(best.value - 1.0):.2g} % off",
            "see that the value given is the resistor's, that the sense clip sits on its very "
            "ends and not beyond a clip, and that nothing else is between the clips",
        )


def _beyond_plain(
    null: MovedTap, plain: MovedTap, profile: RigProfile
) -> tuple[float, Notice | None]:
    """By how much K of the null channel and the plain one differ (relative) beyond what their
    two ranges and readings may, and what to say of that.

    Both are of the same steps: the resistor, the current and the cell's tiring are theirs alike.
    """
    assert profile.null is not None, "else there is no reading by it"
    rel = null.k / plain.k - 1.0
    u = hypot(*(u for one in (null, plain) for source, u in one.lines if source in _SAG_LINES))
    beyond = abs(rel) - profile.null.range_match - 3.0 * u
    if beyond <= 0.0:
        return beyond, None
    left_out = " and it gets no scale here" if beyond > movedtap.BEYOND else ""
    return beyond, Notice(
        "null_differs",
        f"K of the null channel differs by {100 * rel:+.2g} % from that of plain readings, more "
        f"than the converter's ranges may ({100 * profile.null.range_match:.2g} %){left_out}",
        "see to the null channel's filter, follower and joints, then calibrate this load again",
    )


def _resistor_notices(profile: RigProfile, load: int, resistor: Known) -> list[Notice]:
    load_ohm = profile.loads[load].load_ohm
    least, most = (share * load_ohm for share in SHARES)
    if least <= resistor.value <= most:
        return []
    return [
        Notice(
            "resistor_size",
            f"{resistor.value:g} Ω is outside {least:.3g} to {most:.3g} Ω, so that K is less "
            "certain than it could be",
            "take a resistor within them for this load; ten of 10 Ω in parallel make a good 1 Ω",
        )
    ]


def _tiring(result: MovedTap) -> list[Notice]:
    tiring = dict(result.lines)["tiring of the cell"]
    without = (result.u_k_rel**2 - tiring**2) ** 0.5
    if result.u_k_rel <= (1.0 + COSTS) * without:
        return []
    return [
        Notice(
            "cell_tiring",
            f"the cell's r changed by {1e3 * result.tired_ohm:+.2g} mΩ meanwhile; the "
            f"uncertainty of K is {100 * result.u_k_rel:.2g} % for it instead of "
            f"{100 * without:.2g} %",
            "take a fresh cell, or an added resistor of more ohms, and let it rest longer",
        )
    ]


def _notices(result: MovedTap, best: Found, resistor: Known) -> list[Notice]:
    notices: list[Notice] = []
    if not best.within:
        notices.append(
            Notice(
                "scale_beyond_tolerance",
                f"K is {best.value:.4f}, further from 1 than the parts' tolerances allow "
                f"({100 * best.before.limit:.2g} %)",
                "see that the sense clip sits on the resistor's own ends, that its value is "
                f"{resistor.value:g} Ω, and which resistor the load is",
            )
        )
    if result.early_sigmas > movedtap.SIGMAS:
        notices.append(
            Notice(
                "resistor_changes",
                "the added resistor looks different early in the pulse and at 0.1 s",
                "take one that bears more watts, and see to the clips on it",
            )
        )
    return notices


_NO_NULL = Notice(
    "null_not_calibrated",
    "the null channel was out of its range in some step, so that it gets no scale here",
    "take an added resistor of fewer ohms, or a cell of fewer volts",
)


def _differs(rel: float) -> Notice:
    return Notice(
        "converters_differ",
        f"K of the two converters differ by {100 * rel:.2g} %, more than their uncertainties",
        "calibrate the on-board converter's linearity first, then this load again",
    )
