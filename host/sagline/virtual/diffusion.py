# SPDX-License-Identifier: MIT
"""Diffusion in the cell, R_d(t) = w·√t, as a ladder of resistor-capacitor pairs."""

import math

# Neighbouring time constants differ by 4. The trapezoid's ripple in dR_d/dt is at most
# 2·|Γ(1/2 + 2πi/h)|/Γ(1/2) = 2/√cosh(2π²/h) = 0.23 % of it at this h, and less in R_d.
_LOG_RATIO = math.log(4.0)
_FASTEST_S = 2e-6
_SLOWEST_S = 1e4


def ladder(diffusion_ohm_per_sqrt_s: float) -> tuple[tuple[float, float], ...]:
    """Pairs (ohm, time constant in s) whose step response is w·√t for 20 µs ≤ t ≤ 100 s.

    Derivation. d(w√t)/dt = (w/2)·t^(-1/2), and t^(-1/2) = (1/Γ(1/2))·∫ s^(-1/2)·e^(-st) ds over
    s > 0, with Γ(1/2) = √π. Put s = e^x, so s^(-1/2) ds = e^(x/2) dx; the trapezoid with step h
    in x gives t^(-1/2) ≈ (h/√π)·Σ √s_k·e^(-s_k·t). Integrate from 0 to t, with tau_k = 1/s_k:

        w√t ≈ Σ R_k·(1 − e^(-t/tau_k)),   R_k = w·h·√tau_k / (2√π),   tau_(k+1) = tau_k·e^h.

    The sum must stop somewhere. Pairs faster than the fastest kept are fully charged within the
    range of t, so together they are one more resistance; pairs slower than the slowest kept
    are still charging linearly, so together they are one more slope R/tau. Both are the same
    geometric series of ratio q = e^(-h/2), and are folded in by dividing the two end resistances
    by 1 − q. w = 0 gives an empty ladder.
    """
    w = diffusion_ohm_per_sqrt_s
    if w == 0.0:
        return ()
    last = math.ceil(math.log(_SLOWEST_S / _FASTEST_S) / _LOG_RATIO)
    taus = [_FASTEST_S * math.exp(k * _LOG_RATIO) for k in range(last + 1)]
    ohms = [w * _LOG_RATIO * math.sqrt(tau / math.pi) / 2.0 for tau in taus]
    end_gain = 1.0 / (1.0 - math.exp(-_LOG_RATIO / 2.0))
    ohms[0] *= end_gain
    ohms[-1] *= end_gain
    return tuple(zip(ohms, taus, strict=True))
