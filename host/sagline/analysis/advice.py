# SPDX-License-Identifier: MIT
"""What to say of a load: whether another would serve better, and what to look to first.

A recommendation is words. The load is the plan's or the user's choice, and results on two
loads are not to be compared.
"""

from __future__ import annotations

from typing import NamedTuple

from sagline.analysis.calibrated import Calibration
from sagline.analysis.plan import TARGET_U_REL, WORTH, Plan, expected_u_rel, limit_exceeded
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import Notice
from sagline.designations import find

UNKNOWN_PACK_V = 4.5
"""Above this a battery without designation is no single cell: lithium cells end at 4.35 V, and
three primary ones in series begin here (from memory). It may hold electronics."""


class Better(NamedTuple):
    """A load of fewer ohms, the U(r)/r to expect of it, and the current that it draws at most."""

    load_ohm: float
    u_rel: float
    current_a: float


def heavier(
    profile: RigProfile,
    converter: int,
    load: int,
    open_v: float,
    r_ohm: float,
    on_ms: int,
    calibration: Calibration | None = None,
) -> list[Better]:
    """The loads of fewer ohms than `load` that their limits allow, the lightest first.

    None smaller than `r_ohm` is among them: past the greatest power the cell heats itself
    more than the load. Empty where r is not positive, for then nothing can be expected.
    """
    if not r_ohm > 0.0:
        return []
    fewer = [
        (index, bank.load_ohm)
        for index, bank in enumerate(profile.loads)
        if r_ohm <= bank.load_ohm < profile.loads[load].load_ohm
        and limit_exceeded(bank, open_v, on_ms) is None
    ]
    return [
        Better(
            ohm,
            expected_u_rel(profile, converter, index, open_v, r_ohm, calibration),
            open_v / ohm,
        )
        for index, ohm in sorted(fewer, key=lambda item: -item[1])
    ]


def recommended(
    profile: RigProfile,
    converter: int,
    load: int,
    open_v: float,
    r_ohm: float,
    on_ms: int,
    calibration: Calibration | None = None,
) -> Better | None:
    """The lightest load with which U(r) is half of that with `load` or less; None if none is."""
    choice = heavier(profile, converter, load, open_v, r_ohm, on_ms, calibration)
    if not choice:
        return None
    now = expected_u_rel(profile, converter, load, open_v, r_ohm, calibration)
    return next((better for better in choice if WORTH * better.u_rel <= now), None)


def remedy(
    profile: RigProfile,
    converter: int,
    load: int,
    open_v: float,
    r_ohm: float,
    on_ms: int,
    calibration: Calibration | None = None,
) -> str:
    """What to do about a U(r) that the load makes large: the load to take, or that none helps."""
    better = recommended(profile, converter, load, open_v, r_ohm, on_ms, calibration)
    if better is not None:
        return (
            f"measure with --load {better.load_ohm:g}, if the cell bears {better.current_a:.2g} A "
            f"for {on_ms / 1000:g} s: U(r) would be about {_percent(better.u_rel)}"
        )
    fewer = [bank for bank in profile.loads if bank.load_ohm < profile.loads[load].load_ohm]
    if not fewer:
        return "this rig cannot tell it better by another load: it has none of fewer ohms"
    if all(limit_exceeded(bank, open_v, on_ms) is not None for bank in fewer):
        return (
            "this rig cannot tell it better by another load: those of fewer ohms are beyond "
            f"their limits at {open_v:.3g} V and {on_ms / 1000:g} s"
        )
    return "this rig cannot tell it better by another load: none that it may use halves U(r)"


def before(
    profile: RigProfile,
    converter: int,
    plan: Plan,
    open_v: float,
    designation: str | None,
    probe_r_ohm: float | None,
    target_u_rel: float | None = None,
    calibration: Calibration | None = None,
) -> tuple[Notice, ...]:
    """What to know before the first repeat; `probe_r_ohm` is what a first look gave.

    A U(r) within the target (3 % where None is given) is no reason for another load.
    """
    said = []
    if designation is None and open_v > UNKNOWN_PACK_V:
        said.append(
            Notice(
                "unknown_pack",
                f"{open_v:.3g} V and no designation: this may be a power bank or a pack with "
                "electronics in it, whose r is not that of its cells",
                "give --designation if it has one; read an unknown pack with a voltmeter before it "
                f"is connected, for the rig bears {profile.range_mv[1] / 1000:g} V at most and no "
                "pack of 24 V",
            )
        )
    known = None if designation is None else find(designation)
    r_ohm = probe_r_ohm if known is None else known.typical_r_ohm
    expected = plan.expected_u_rel
    if expected is None or expected <= (target_u_rel or TARGET_U_REL) or r_ohm is None:
        return tuple(said)
    load, on_ms = plan.load_index, plan.on_ms
    better = recommended(profile, converter, load, open_v, r_ohm, on_ms, calibration)
    if better is None:
        return tuple(said)
    worst = ""
    if known is not None:
        low_ohm = known.r_low_ohm
        u_rel = expected_u_rel(profile, converter, load, open_v, low_ohm, calibration)
        worst = f" ({_percent(u_rel)} where r is {known.r_low_ohm:g} Ω)"
    said.append(
        Notice(
            "heavier_load_advised",
            f"on {plan.load_ohm:g} Ω, U(r) of about {_percent(expected)} is to be expected{worst}; "
            f"a load of {better.load_ohm:g} Ω would give about {_percent(better.u_rel)}",
            f"measure with --load {better.load_ohm:g}, if the cell bears "
            f"{better.current_a:.2g} A for {on_ms / 1000:g} s; results on two loads are not to be "
            "compared",
        )
    )
    return tuple(said)


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if share < 0.995 else "more than r itself"
