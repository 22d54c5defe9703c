# SPDX-License-Identifier: MIT
"""How many repeats a target takes, decided once from the scatter of the first ones.

Repeats lessen the scatter's part of u alone. Where the rest is too much for the target by
itself, more of them cannot help.
"""

from __future__ import annotations

from math import sqrt

from sagline.analysis import advice
from sagline.analysis.budget import LINEARITY
from sagline.analysis.calibrated import Calibration
from sagline.analysis.calibrating import stepnames
from sagline.analysis.plan import needs_high_range
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import Estimate, Notice

_TOLERANCES = ("load resistance", "divider ratio", "reference", "converter gain")
"""Sources of u that a scale K stands for."""


def u_rel(found: Estimate) -> float | None:
    """U(r)/r at 95 % at the first time; None where r has no interval or is not positive."""
    r_ohm = found.r_at[0][1]
    if r_ohm.low95 is None or r_ohm.high95 is None or not r_ohm.value > 0.0:
        return None
    return 0.5 * (r_ohm.high95 - r_ohm.low95) / r_ohm.value


def repeats_for(found: Estimate, target_u_rel: float, most: int) -> int:
    """Repeats in all, `most` at the most, after which U(r)/r is expected within the target.

    `found` comes of the first ones, n of them, two or more kept. With s their standard
    deviation and u_B all else, U(N) = t(nu)*sqrt(u_B^2 + s^2/N) with nu from the
    Welch-Satterthwaite formula (GUM G.4.1), the scatter keeping its n - 1. It is n itself
    where the target is met, or out of reach.
    """
    made = len(found.repeats)
    now = u_rel(found)
    r_ohm = found.r_at[0][1]
    if now is None or now <= target_u_rel or r_ohm.u is None:
        return made
    kept = sum(row.kept for row in found.repeats)
    scatter_u = sqrt(sum(line.u**2 for line in found.budget if line.type == "A"))
    rest_u2 = max(0.0, r_ohm.u**2 - scatter_u**2)
    aim_ohm = target_u_rel * r_ohm.value
    if scatter_u == 0.0 or _student(None) * sqrt(rest_u2) > aim_ohm:
        return made
    for number in range(kept + 1, most - made + kept + 1):
        u2_scatter = scatter_u**2 * kept / number
        u2 = rest_u2 + u2_scatter
        dof = (kept - 1) * (u2 / u2_scatter) ** 2
        if _student(dof) * sqrt(u2) <= aim_ohm:
            return made - kept + number
    return most


def missed(
    found: Estimate,
    target_u_rel: float,
    profile: RigProfile,
    converter: int,
    load: int,
    calibration: Calibration | None = None,
) -> Notice | None:
    """What to say where the target is not met with this `load` of the bank; None where it is.

    Where a tolerance makes most of u, that is the step of a calibration that takes it away.
    """
    now = u_rel(found)
    if now is not None and now <= target_u_rel:
        return None
    largest = max(found.budget, key=lambda line: line.share)
    if largest.type == "A":
        remedy = "hold the cell still and see to the contacts; ask for more repeats"
    else:
        on_ms = round(found.on_s * 1e3)
        of_load = (load, found.emf.value, found.r_at[0][1].value, on_ms, calibration)
        step = _step_against(largest.source, found, profile, load)
        first = "" if step is None else f"calibrate the rig (`sagline calibrate --step {step}`); "
        remedy = f"more repeats cannot help; {first}{advice.remedy(profile, converter, *of_load)}"
    reached = "unknown" if now is None else f"{100.0 * now:.2g} %"
    return Notice(
        "target_missed",
        f"U(r) is {reached}, and {100.0 * target_u_rel:g} % was asked for; most of it comes from "
        f"{largest.source}",
        remedy,
    )


def _step_against(source: str, found: Estimate, profile: RigProfile, load: int) -> str | None:
    """The calibration step that this rig lacks against a source of u; None where none helps."""
    said = {notice.code for notice in found.notices}
    if source in _TOLERANCES and said & {"uncalibrated", "no_scale"}:
        high = needs_high_range(profile, found.emf.value)
        return stepnames.scale(profile.loads[load].load_ohm, high)
    return stepnames.TABLE if source == LINEARITY and "onboard_linearity" in said else None


def _student(dof: float | None) -> float:
    """The two-sided 95 % factor of Student's t; None is infinitely many degrees of freedom."""
    from scipy.stats import norm, t

    return float(norm.ppf(0.975) if dof is None else t.ppf(0.975, dof))
