# SPDX-License-Identifier: MIT
"""Which loads and combinations of them make the points of a V-I line, and in which order."""

from __future__ import annotations

from dataclasses import dataclass

from sagline.analysis import bank
from sagline.analysis.plan import Plan, limit_exceeded, resting_ms
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import AnalysisError

FEWEST = 3
"""Points of a line: two are on a line whatever the cell does."""

APART = 1.1
"""Currents nearer to each other than by this factor are one point."""

LEAST_OVER_R = 3.0
"""Of the cell's r: a load of fewer ohms takes more than a quarter of E as sag, which is no way to
treat a cell for a line through small currents too."""


@dataclass(frozen=True)
class LinePlan:
    """The points of a line: `masks` of loads and what those have together (ohm), lightest first.

    Each step rests, is on and recovers for so many ms; of the `resting_ms` of rest before it the
    last `rest_ms` are in its record.
    """

    masks: tuple[int, ...]
    load_ohm: tuple[float, ...]
    rest_ms: int
    on_ms: int
    recovery_ms: int
    reason: str

    @property
    def resting_ms(self) -> int:
        """How long the cell rests before each step."""
        return resting_ms(self.rest_ms, self.on_ms)

    @property
    def order(self) -> tuple[int, ...]:
        """The masks of all steps: light to heavy and back, so that a cell that tires evenly does
        so alike at every current."""
        return self.masks + self.masks[::-1]


def sum_limit_a(profile: RigProfile) -> float:
    """What the loads may draw together (A); where the board does not say, what one of them may."""
    if profile.leads is not None and profile.leads.force_max_ma:
        return profile.leads.force_max_ma / 1e3
    return max(load.max_a for load in profile.loads)


def choose(profile: RigProfile, plan: Plan, open_v: float, r_ohm: float | None) -> LinePlan:
    """The points for a cell of `open_v` and about `r_ohm`, whose usual measurement is `plan`.

    Every load and every combination whose limits allow the pulse, alone and together, that has
    three times r or more, and whose current differs from the others'. Raises AnalysisError
    `too_few_currents`.
    """
    count = len(profile.loads)
    # Single loads go first: each resistor in a combination brings its own tolerance along.
    masks = sorted(range(1, 1 << count), key=lambda m: (m.bit_count(), -bank.load_ohm(profile, m)))
    allowed = [m for m in masks if _allowed(profile, m, open_v, plan.on_ms)]
    least_ohm = LEAST_OVER_R * (r_ohm or 0.0)
    gentle = [m for m in allowed if bank.load_ohm(profile, m) >= least_ohm]
    chosen: list[int] = []
    for mask in gentle:
        ohm = bank.load_ohm(profile, mask)
        others = [bank.load_ohm(profile, one) for one in chosen]
        if all(max(ohm, other) >= APART * min(ohm, other) for other in others):
            chosen.append(mask)
    if len(chosen) < FEWEST:
        raise _too_few(profile, plan, open_v, len(chosen), len(gentle) < len(allowed))
    chosen.sort(key=lambda m: -bank.load_ohm(profile, m))
    return LinePlan(
        masks=tuple(chosen),
        load_ohm=tuple(bank.load_ohm(profile, m) for m in chosen),
        rest_ms=plan.rest_ms,
        on_ms=plan.on_ms,
        recovery_ms=plan.recovery_ms,
        reason=_reason(profile, chosen, len(allowed) < len(masks), len(gentle) < len(allowed)),
    )


def _allowed(profile: RigProfile, mask: int, open_v: float, on_ms: int) -> bool:
    loads = [profile.loads[index] for index in bank.members(mask)]
    if any(limit_exceeded(load, open_v, on_ms) is not None for load in loads):
        return False
    return sum(open_v / load.load_ohm for load in loads) <= sum_limit_a(profile)


def _reason(profile: RigProfile, chosen: list[int], limited: bool, gentle: bool) -> str:
    said = f"{len(chosen)} currents at least {100 * (APART - 1):.0f} % apart from " + ", ".join(
        bank.words(profile, mask) for mask in chosen
    )
    if limited:
        said += "; others are beyond the rig's limits at this voltage"
    if gentle:
        said += "; others would take more than a quarter of E as sag"
    return said


def _too_few(
    profile: RigProfile, plan: Plan, open_v: float, found: int, gentle: bool
) -> AnalysisError:
    why = (
        "others would take more than a quarter of its voltage as sag"
        if gentle
        else f"others are beyond their limits at {open_v:.3g} V and {plan.on_ms / 1000:g} s"
    )
    count = f"{found} current{'' if found == 1 else 's'}"
    return AnalysisError(
        "too_few_currents",
        f"a V-I line needs {FEWEST} different currents, and this cell may be given {count}: {why}",
        f"measure with --load {plan.load_ohm:g}, for r at one current; for a line take fewer "
        "cells in series, shorter --times, or a rig with more loads",
    )
