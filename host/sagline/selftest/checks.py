# SPDX-License-Identifier: MIT
"""The checks, one after the other; each is told as soon as it is made.

Every pulse is one that the guard allows, and ends as any other. Raises as `Rig.step` does where
the link is lost; what the guard or the analysis says of the rig is a check's finding.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt

import numpy as np

from sagline.analysis import presence, stuck
from sagline.analysis.calibration import tap_code, tap_volts
from sagline.analysis.estimate import estimate
from sagline.analysis.presence import Taps, limit_v
from sagline.analysis.values import ADS1115, FORCE, ONBOARD, SENSE, AnalysisError, RawStep
from sagline.device.admission import open_voltage
from sagline.device.balance import balance
from sagline.device.rig import Rig
from sagline.errors import BoardRefused, Refused
from sagline.selftest.card import Check
from sagline.selftest.taps import (
    CHANNEL_NAMES,
    Wanted,
    falls,
    noise_limit_codes,
    with_empty_clips,
)
from sagline_board import __version__, commands, faults

CONVERTER_NAMES = {ONBOARD: "on-board", ADS1115: "ADS1115"}
LOOK_MS = (300, 40, 60)
"""Rest, load or ARM, rest: with empty clips."""
PULSE_MS, PULSES = (1000, 150, 200), 3
SAME_R = 0.25
"""Loads of marked resistance find one r: a resistor of the next decade does not. Cells are not
quite linear, and a light load sees little of the sag, whose U is added."""
HOLD_STILL = "See to the clips, hold the cell still and try again."
LEAST_R_OHM = 0.002
LR6_V = (1.2, 1.75)
"""What loads are tried with: a cell that bears all of them and can harm nobody."""
LOADS_FILE = "hardware/bom.csv"


def of_board(rig: Rig) -> Iterator[Check]:
    """What the board says of itself."""
    identity = rig.identity
    same = identity.firmware == __version__
    yield Check(
        name="firmware",
        verdict="good" if same else "note",
        found=f"{identity.firmware}" + ("" if same else f", this program is {__version__}"),
        remedy="" if same else "To have them alike: `sagline flash`.",
    )
    reason = rig.trip_reason()
    yield Check(
        name="guard",
        verdict="bad" if reason else "good",
        found=faults.TEXTS.get(reason, f"trip {reason}") if reason else "no trip",
        remedy="See to what made it trip, then run this with --clear-trip." if reason else "",
    )
    yield Check(
        name="one-shot",
        verdict="good" if identity.one_shot else "note",
        found="hardware ends each pulse" if identity.one_shot else "none",
        remedy=""
        if identity.one_shot
        else "Without it this board loads primary and nickel cells only.",
    )
    names = [CONVERTER_NAMES[one] for one in sorted(rig.profile.converters)]
    yield Check(
        name="front ends",
        verdict="good",
        found=", ".join([*names, *(["null channel"] if identity.null else [])])
        + ". If one of yours is missing here, see to its wiring.",
    )


def with_empty(rig: Rig) -> Iterator[Check]:
    """All that can be seen with nothing between the clips."""
    empty = True
    for high in (True, False):
        rig.set_range(high)
        rig.wait(0.1)
        taps = _taps(rig)
        there = presence.find(rig.profile, rig.converter, high, taps)
        empty &= there is not None and there.code == "no_cell"
        yield _levels(rig, high, taps)
    if not empty:
        yield Check(
            name="switches",
            verdict="skipped",
            found="not tried, for something seems to be between the clips",
            remedy="Take it out and try again, or run this with --cell.",
        )
        return
    yield _conducts(rig, commands.ARM_ALONE, "switches at rest")
    for index, load in enumerate(rig.profile.loads):
        yield _conducts(rig, 1 << index, f"switch of {load.load_ohm:g} Ω")
    yield from _noises(rig)


def with_cell(rig: Rig) -> Iterator[Check]:
    """All that can be seen with a cell between the clips."""
    try:
        open_v = open_voltage(rig)
    except (Refused, AnalysisError) as error:
        yield _bad("cell", error)
        return
    yield Check(name="cell", verdict="good", found=f"{open_v:.3f} V, all four leads on it")
    if len(rig.profile.converters) > 1:
        yield from _converters_agree(rig)
    if not LR6_V[0] <= open_v <= LR6_V[1]:
        yield Check(
            name="loads",
            verdict="skipped",
            found=f"a cell of {open_v:.2f} V is not loaded here",
            remedy="Put a fresh LR6 in: it bears every load of the bank.",
        )
        return
    try:
        raw = _step(rig, 0, tuple(zip((0, commands.ARM_ALONE, 0), LOOK_MS, strict=True)))
        stuck.check_armed(raw, rig.profile, rig.converter)
    except (Refused, AnalysisError) as error:
        yield _bad("switches at rest", error)
        return
    yield Check(name="switches at rest", verdict="good", found="no load conducts unasked")
    if rig.has_null:
        yield _null(rig, open_v)
        rig.set_null(None)
    yield from _loads(rig)
    taps = _taps(rig)
    back = presence.find(rig.profile, rig.converter, rig.high_range, taps)
    recovered = back is None and taps.sense_v > 0.8 * open_v
    yield Check(
        name="after the loads",
        verdict="good" if recovered else "bad",
        found=f"{taps.sense_v:.3f} V" + ("" if back is None else f": {back.text}"),
        remedy="" if recovered else "Take the cell out now, and see to the loads' switches.",
    )


def _loads(rig: Rig) -> Iterator[Check]:
    """A pulse on every load that the guard allows; then whether they find one r."""
    found: list[tuple[str, float, float]] = []
    for index, load in enumerate(rig.profile.loads):
        name = f"load {load.load_ohm:g} Ω"
        segments = tuple(zip((0, 1 << index, 0), PULSE_MS, strict=True))
        try:
            raws = [_step(rig, index, segments) for _ in range(PULSES)]
            made = estimate(raws, rig.profile, rig.converter, (0.1,))
        except BoardRefused as error:
            if error.is_trip:
                yield _bad(name, error)
                return
            yield Check(name=name, verdict="skipped", found=error.message)
            continue
        except (Refused, AnalysisError) as error:
            yield _bad(name, error)
            return
        lost = [row.reason for row in made.repeats if not row.kept]
        if lost:
            yield Check(name=name, verdict="bad", found=str(lost[0]), remedy=HOLD_STILL)
            return
        at = made.r_at[0][1]
        assert at.low95 is not None and at.high95 is not None, "several pulses have a scatter"
        found.append((name, at.value, 0.5 * (at.high95 - at.low95)))
    if not found:
        return
    # The heaviest that was allowed sees most of the sag.
    _, true_ohm, true_u95 = min(found, key=lambda one: one[2])
    for name, r_ohm, u95 in found:
        allowed = SAME_R * max(true_ohm, LEAST_R_OHM) + sqrt(u95**2 + true_u95**2)
        same = abs(r_ohm - true_ohm) <= allowed
        yield Check(
            name=name,
            verdict="good" if same else "bad",
            found=f"r = {r_ohm:.4g} Ω by it"
            + ("" if same else f", {true_ohm:.4g} Ω by another load"),
            remedy=""
            if same
            else "One of the two loads has not the resistance it is marked with: measure both "
            f"between their ends with the supply off, beside {LOADS_FILE}.",
        )


def _levels(rig: Rig, high: bool, taps: Taps) -> Check:
    name = f"empty clips, {'16.5 V' if high else 'low'} range"
    text = ", ".join(f"{CHANNEL_NAMES[k]} {1e3 * v:.1f} mV" for k, v in enumerate(taps))
    off = [one for one in with_empty_clips(rig.profile, rig.converter, high) if not one.holds(taps)]
    if not off:
        return Check(name=name, verdict="good", found=text)
    other = with_empty_clips(rig.profile, rig.converter, not high)
    if all(_as_if(rig, one, taps, high) for one in other[:2]):
        remedy = "The range does not switch: see to TP8, the range's gates and their pins."
    else:
        remedy = (
            "Take out whatever is between the clips, or give --cell. If nothing is, see to the "
            f"dividers and lifts of {' and '.join(CHANNEL_NAMES[one.channel] for one in off)}."
        )
    wanted = ", ".join(
        f"{CHANNEL_NAMES[one.channel]} should be {1e3 * one.v:.0f} ± {1e3 * one.limit_v:.0f} mV"
        for one in off
    )
    return Check(name=name, verdict="bad", found=f"{text}; {wanted}", remedy=remedy)


def _as_if(rig: Rig, there: Wanted, taps: Taps, high: bool) -> bool:
    """Whether a tap, taken for the other range's, reads what it should `there`."""
    code = tap_code(rig.profile, rig.converter, there.channel, taps[there.channel], high)
    v = tap_volts(rig.profile, rig.converter, there.channel, code, not high)
    return abs(v - there.v) <= there.limit_v


def _conducts(rig: Rig, mask: int, name: str) -> Check:
    """Whether force falls to return with this mask on; ARM alone must not do that."""
    wanted = mask != commands.ARM_ALONE
    try:
        raw = _step(rig, 0, tuple(zip((0, mask, 0), LOOK_MS, strict=True)))
        before_v, on_v = _force_v(rig, raw)
    except (Refused, AnalysisError) as error:
        return _bad(name, error)
    fell = falls(rig.profile, before_v, on_v)
    if fell == wanted:
        return Check(name=name, verdict="good", found="closes" if wanted else "all open")
    if wanted:
        remedy = "See to its gate's pin and wire, to the load, and to ARM's pump (TP9)."
        return Check(name=name, verdict="bad", found="does not close", remedy=remedy)
    return Check(
        name=name,
        verdict="bad",
        found="a load conducts that was not switched on",
        remedy="Put no cell in: a load's switch is stuck on. See to the switches and pull-downs.",
    )


def _force_v(rig: Rig, raw: RawStep) -> tuple[float, float]:
    """The force tap before the first edge and between it and the second (V)."""
    if len(raw.edges_us) < 2:
        raise AnalysisError("few_points", "the record is not whole", "try again")
    on_us, off_us = raw.edges_us[:2]
    parts = []
    for from_us, to_us in ((on_us - 20_000, on_us), (on_us + 15_000, off_us)):
        end_us = raw.start_us + raw.length_us
        own = raw.source == rig.converter * 4 + FORCE
        chosen = own & (raw.start_us >= from_us) & (end_us <= to_us) & (raw.n > 0)
        if not chosen.any():
            raise AnalysisError("few_points", "the record is not whole", "try again")
        code = raw.total[chosen].sum() / raw.n[chosen].sum()
        parts.append(tap_volts(rig.profile, rig.converter, FORCE, code, raw.range_high))
    return parts[0], parts[1]


def _noises(rig: Rig) -> Iterator[Check]:
    raw = _step(rig, 0, ((0, 400), (1, 5), (0, 5)))
    for converter in sorted(rig.profile.converters):
        chosen = (raw.source == converter * 4 + SENSE) & (raw.n > 0)
        chosen &= raw.start_us + raw.length_us < raw.edges_us[0]
        n = raw.n[chosen].astype(np.float64)
        code = raw.total[chosen] / n
        scatter = float(np.sqrt(np.mean(n * (code - np.average(code, weights=n)) ** 2)))
        limit = noise_limit_codes(rig.profile, converter)
        good = scatter <= limit
        yield Check(
            name=f"noise, {CONVERTER_NAMES[converter]}",
            verdict="good" if good else "bad",
            found=f"{scatter:.1f} codes a conversion, at most {limit:.1f}",
            remedy=""
            if good
            else "Twist the leads, keep them from mains cables and switched supplies; see to the "
            "supply's filters.",
        )


def _converters_agree(rig: Rig) -> Iterator[Check]:
    """Both on the cell at rest, within what each may be off by."""
    raw = _step(rig, 0, ((0, 200),))
    volts, limits = [], []
    for converter in sorted(rig.profile.converters):
        chosen = (raw.source == converter * 4 + SENSE) & (raw.n > 0)
        code = raw.total[chosen].sum() / raw.n[chosen].sum()
        v = tap_volts(rig.profile, converter, SENSE, code, raw.range_high)
        unit = rig.profile.converter(converter)
        volts.append(v)
        share = unit.gain_limit + rig.profile.reference.tolerance
        limits.append(limit_v(rig.profile, converter, SENSE, raw.range_high) + share * v)
    apart_v = abs(volts[0] - volts[1])
    good = apart_v <= sum(limits)
    yield Check(
        name="both converters",
        verdict="good" if good else "bad",
        found=f"{1e3 * apart_v:.1f} mV apart, at most {1e3 * sum(limits):.0f} mV",
        remedy="" if good else "See to the reference (TP5) and to the ADS1115's supply and inputs.",
    )


def _null(rig: Rig, open_v: float) -> Check:
    setting = balance(rig, open_v)
    if setting is None:
        return Check(
            name="null channel",
            verdict="bad",
            found="it cannot be balanced against the cell",
            remedy="See to its reference (TP7), its PWM and its filter.",
        )
    return Check(name="null channel", verdict="good", found=f"in balance at setting {setting}")


def _step(rig: Rig, load: int, segments: tuple[tuple[int, int], ...]) -> RawStep:
    """One step; loads that count as warm are waited for. Raises as Rig.step."""
    while True:
        running = rig.step(load, segments)
        try:
            while True:
                next(running)
        except StopIteration as end:
            return end.value
        except BoardRefused as refusal:
            if refusal.number != faults.REFUSED_HOT:
                raise
            rig.wait(0.5)


def _taps(rig: Rig) -> Taps:
    live = rig.live()
    return Taps(live.sense_v, live.force_v, live.return_v)


def _bad(name: str, error: Refused | AnalysisError) -> Check:
    return Check(name=name, verdict="bad", found=error.message, remedy=error.remedy)
