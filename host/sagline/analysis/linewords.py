# SPDX-License-Identifier: MIT
"""What must be said of a V-I line, in words."""

from __future__ import annotations

from sagline.analysis.standards import PRESCRIBED, Closed
from sagline.analysis.values import AnalysisError, Notice, Quantity


def point_left_out(words: str, error: AnalysisError) -> Notice:
    """A point of the line whose steps cannot be used."""
    return Notice(
        "line_point_left_out", f"the point on {words} is left out: {error.message}", error.remedy
    )


def no_line(why: str) -> Notice:
    """There is no line."""
    return Notice(
        "no_line",
        f"there is no V-I line: {why}, and it takes three",
        "measure again with --load all, and hold the cell still; r at one current stands",
    )


def curved_notice(bend_v_per_a2: float, chi2: float, dof: int, chance: float) -> Notice:
    """The points miss the line by more than their uncertainty."""
    # V = E - r I + c I^2 has a slope of r - 2 c I.
    way = "less" if bend_v_per_a2 > 0.0 else "more"
    return Notice(
        "r_depends_on_current",
        f"the points lie off the straight line by more than their uncertainty (chi squared "
        f"{chi2:.1f} of {dof}; by chance once in {1.0 / max(chance, 1e-9):.0f}): r depends on the "
        f"current, and is {way} at a greater one",
        "this is the cell's own and no mistake; state r with the current it was measured at, as "
        "r(0.1 s) on one load has it",
    )


def activation_notice(gap: Quantity) -> Notice:
    """The line's E is below the open-circuit one by more than the uncertainty of that."""
    u95 = 0.0 if gap.low95 is None or gap.high95 is None else 0.5 * (gap.high95 - gap.low95)
    return Notice(
        "activation_polarization",
        f"the line's E is {1e3 * abs(gap.value):.2g} mV (U = {1e3 * u95:.2g} mV) below the "
        "open-circuit E: activation polarization, a part of the voltage that is lost as soon as "
        "any current flows",
        "take the open-circuit E for the cell without current, and the line for currents within "
        "its points only",
    )


def of_point(words: str, notice: Notice) -> Notice:
    """What is to be said of the steps of one point."""
    return Notice(notice.code, f"of the line's point on {words}: {notice.text}", notice.remedy)


def two_current_notice(r_ohm: Quantity, light: Closed, heavy: Closed) -> Notice:
    """r by the difference of two of the points, under our own name."""
    u_text = "U unknown"
    if r_ohm.low95 is not None and r_ohm.high95 is not None:
        u_text = f"U = {0.5 * (r_ohm.high95 - r_ohm.low95):.2g} Ω"
    others = ", ".join(
        f"{method.name} ({method.durations_s[0]:g} s and {method.durations_s[1]:g} s)"
        for method in PRESCRIBED
    )
    return Notice(
        "two_current_r",
        f"two-current r, (V1 - V2)/(I2 - I1), is {r_ohm.value:.4g} Ω ({u_text}) from {light} and "
        f"{heavy}, each from rest",
        f"it is no figure of a standard that states its own currents and times, such as {others}: "
        "compare it only with figures of the same two currents and times",
    )
