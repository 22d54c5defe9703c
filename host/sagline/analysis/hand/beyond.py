# SPDX-License-Identifier: MIT
"""Short-circuit current and greatest power, computed from E, r and their covariance."""

from __future__ import annotations

from math import hypot, inf, sqrt

import numpy as np

from sagline.analysis.budget import CURVED_U_REL, coverage_factor
from sagline.analysis.montecarlo import DRAWS, SEED, interval
from sagline.analysis.values import FloatArray, Quantity


def beyond(
    emf: Quantity, r: Quantity, covariance_v_ohm: float
) -> tuple[Quantity | None, Quantity | None]:
    """E/r (A) and E²/(4 r) (W); None where r is not positive or an uncertainty is unknown.

    Where r may be zero they have but a lower bound: a corner of two 95 % intervals, at least
    95 % for the bound, whatever the covariance.
    """
    if not r.value > 0.0 or r.u is None or emf.u is None or r.low95 is None or emf.low95 is None:
        return None, None
    e, ohm = emf.value, r.value
    current_a, power_w = e / ohm, e * e / (4.0 * ohm)
    if r.low95 <= 0.0:
        least_v, most_ohm = max(0.0, emf.low95), r.high95 or inf
        return (
            Quantity(current_a, None, None, None, least_v / most_ohm, None),
            Quantity(power_w, None, None, None, least_v**2 / (4.0 * most_ohm), None),
        )
    # Derivatives by E and r.
    sides = ((current_a, 1.0 / ohm, -current_a / ohm), (power_w, 2.0 * power_w / e, -power_w / ohm))
    return tuple(  # pyright: ignore[reportReturnType]
        _figure(value, by_e, by_r, emf, r, covariance_v_ohm, place)
        for place, (value, by_e, by_r) in enumerate(sides)
    )


def _figure(
    value: float,
    by_e: float,
    by_r: float,
    emf: Quantity,
    r: Quantity,
    covariance: float,
    place: int,
) -> Quantity:
    u_e, u_r = emf.u or 0.0, r.u or 0.0
    u2 = (by_e * u_e) ** 2 + (by_r * u_r) ** 2 + 2.0 * by_e * by_r * covariance
    u = sqrt(max(0.0, u2))
    # That of the input which contributes the more.
    dof = r.dof if abs(by_r * u_r) >= abs(by_e * u_e) else emf.dof
    if u_r <= CURVED_U_REL * r.value:
        k = coverage_factor(dof)
        return Quantity(value, u, dof, k, value - k * u, value + k * u)
    low, high = interval(_draws(emf, r, covariance, dof)[place])
    return Quantity(value, u, dof, 0.5 * (high - low) / u, low, high)


def _draws(
    emf: Quantity, r: Quantity, covariance: float, dof: float | None
) -> tuple[FloatArray, FloatArray]:
    """E/r and E²/(4 r) of E and r drawn together: normal, or t where dof is finite."""
    generator = np.random.default_rng(SEED)
    u_e, u_r = emf.u or 0.0, r.u or 0.0
    slope = covariance / (u_r * u_r)
    rest = sqrt(max(0.0, u_e * u_e - (slope * u_r) ** 2))
    z = generator.standard_normal((2, DRAWS))
    if dof is not None:
        z = z * np.sqrt(dof / generator.chisquare(dof, DRAWS))
    ohm = r.value + u_r * z[0]
    e = emf.value + slope * u_r * z[0] + rest * z[1]
    return e / ohm, e * e / (4.0 * ohm)


def joint_u95(one: Quantity, other: Quantity, covariance: float) -> float:
    """U at 95 % of the difference of two figures with this covariance."""
    u2 = hypot(one.u or 0.0, other.u or 0.0) ** 2 - 2.0 * covariance
    dof = min((d for d in (one.dof, other.dof) if d is not None), default=None)
    return coverage_factor(dof) * sqrt(max(0.0, u2))
