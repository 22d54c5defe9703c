# SPDX-License-Identifier: MIT
"""What readings cannot be, and what must be said beside their figures."""

from __future__ import annotations

from collections.abc import Mapping

from sagline.analysis.hand.fields import SLIDEWIRE, STATED, named, option
from sagline.analysis.hand.sheet import Group, Sheet
from sagline.analysis.values import AnalysisError, Notice, Quantity

EXTRAPOLATED = Notice(
    "extrapolated",
    "short-circuit current and greatest power are computed from E and r, far beyond the current "
    "that was drawn: there r is another, and a fuse or a protection would act first",
    "take them for what the model says, not for what the cell gives; never short a cell",
)

TIME_UNKNOWN = Notice(
    "time_unknown",
    "how long the key was closed is not known, and r grows with time: this r cannot be put "
    "beside one of a stated time",
    "give it in seconds with --closed-s",
)


def require_voltages(group: Group) -> None:
    """Refuse voltages that no cell under load has. Raises AnalysisError."""
    if any(one.value <= 0.0 for one in (*group.opened, *group.reopened)):
        raise AnalysisError(
            "open_not_positive",
            "an open voltage is not above zero",
            "read the cell with the meter's positive lead at its positive terminal, and type what "
            "it shows without a sign",
        )
    if any(one.value <= 0.0 for one in group.loaded):
        raise AnalysisError(
            "negative_terminal_voltage",
            "a loaded voltage is not above zero: a load alone cannot bring a cell's terminals to "
            "or below zero; more than E / r would have to flow, driven by something else",
            "see that nothing else feeds the circuit and that the meter sits at the cell's own "
            "terminals; or check the numbers typed",
        )


def require_current(group: Group) -> None:
    """Refuse a current of zero. Raises AnalysisError."""
    if group.setting.value == 0.0:
        raise AnalysisError(
            "no_current",
            "the current is zero: without one nothing is lost in r",
            "read the cell with a load across it",
        )


def require_sag(way: str, sag: Quantity, charging: bool = False) -> None:
    """Refuse what fell short of zero by more than its U. `sag` in V, or in cm of wire."""
    u95 = 0.0 if sag.high95 is None else sag.high95 - sag.value
    if sag.value + u95 >= 0.0:
        return
    if way == SLIDEWIRE:
        raise AnalysisError(
            "longer_loaded",
            f"the balance length with the load is longer than without it by {-sag.value:.3g} cm, "
            f"more than its U of {u95:.2g} cm: a loaded cell balances nearer to the wire's start",
            "see that the driver's EMF exceeds the cell's and has not fallen meanwhile, and that "
            "both have their positive sides at the wire's start; then read both lengths again",
        )
    if charging:
        raise AnalysisError(
            "charged_below_open",
            f"the voltage under charge is below the open one by {-sag.value:.3g} V, more than "
            f"its U of {u95:.2g} V",
            "check the sign of --amps: it is negative where the cell is charged",
        )
    raise AnalysisError(
        "loaded_above_open",
        f"the loaded voltage is above the open one by {-sag.value:.3g} V, more than its U of "
        f"{u95:.2g} V: something else feeds the cell, it had not come to rest, or the two "
        "readings were exchanged",
        "let the cell rest, read it open and then loaded; for a cell under charge give its "
        "current with a minus sign: --amps=-10",
    )


def bound(r: Quantity) -> list[Notice]:
    """What to say where r is not told from zero; nothing else. Raises AnalysisError below it."""
    if r.low95 is None or r.high95 is None or r.low95 > 0.0:
        return []
    if r.high95 < 0.0:
        raise AnalysisError(
            "r_below_zero",
            f"what comes out for r, {r.value:.3g} Ω, is below zero by more than its U: the "
            "voltage rises with the current",
            "check signs and order of the readings; let the cell rest before each",
        )
    return [
        Notice(
            "r_not_told_from_zero",
            f"these readings do not tell r from zero: it is below {r.high95:.2g} Ω (95 %)",
            "draw more current for a moment, or read to another digit",
        )
    ]


def guesses(guessed: Mapping[str, tuple[float, str]]) -> list[Notice]:
    """Say what was taken from the last digit typed for want of a stated uncertainty."""
    return [_guess(name, half, source) for name, (half, source) in guessed.items()]


def _guess(name: str, half: float, source: str) -> Notice:
    field = named(name)
    if field.takes == STATED:
        example = "0.05" if name == "u_length" else "0.5%"
        remedy = f"state its standard uncertainty with {option(name)}, such as {example}"
    else:
        remedy = f"type {option(name)} with every digit that is known, and no more"
    return Notice(
        "resolution_only",
        f"no uncertainty of {source} was stated: only what the last digit typed leaves open, "
        f"±{half:g} {field.unit}, is in U, not what the instrument itself may be off by",
        remedy,
    )


def times(sheet: Sheet) -> list[Notice]:
    """Say that the time is not known, where it is not."""
    known = sheet.closed_s is not None or "closed_each" in sheet.options
    return [] if known else [TIME_UNKNOWN]
