# SPDX-License-Identifier: MIT
"""The load's current while it is on, as a smooth function of time."""

from __future__ import annotations

import numpy as np

from sagline.analysis.calibration import tap_code, tap_volts
from sagline.analysis.profile import RigProfile
from sagline.analysis.step import channel_points, edges_us
from sagline.analysis.values import FORCE, ONBOARD, RETURN, FloatArray, RawStep

SETTLED_S = 50e-6
"""After switching, until dividers and followers have settled (simulated circuit)."""

TAUS_PER_DECADE = 2
POINTS_PER_TAU = 3
FEWEST_FOR_SHAPE = 6


class Current:
    """Force, return and load current of one step by nominal values.

    Force and return alternate with sense, so both have to be known between their points. Force
    is a sum of exponentials of fixed time constants through its points, unconstrained; the
    return lead's drop is in proportion to the current. Raises ValueError for a step
    without loaded points of both.
    """

    def __init__(self, raw: RawStep, profile: RigProfile, converter: int) -> None:
        bank = profile.loads[raw.load]
        self._ohm = bank.load_ohm + bank.switch_ohm
        self._to_code = lambda channel, v: tap_code(profile, converter, channel, v, raw.range_high)
        on_us, off_us, _ = edges_us(raw)

        def tap(unit: int, channel: int, from_us: float, to_us: float) -> tuple[FloatArray, ...]:
            points = channel_points(raw, unit, channel, from_us, to_us)
            volts = tap_volts(profile, unit, channel, points.code, raw.range_high)
            return points.t_s, volts, points.n

        t_s, force_v, _ = tap(converter, FORCE, on_us, off_us)
        back_s, back_v, back_n = tap(converter, RETURN, on_us, off_us)
        _, open_v, open_n = tap(converter, RETURN, 0.0, on_us)
        _, rest_v, rest_n = tap(converter, FORCE, 0.0, on_us)
        if not (t_s.size and back_s.size and open_v.size):
            raise ValueError("the step has no loaded points of force and return")
        beside = np.zeros(t_s.size, dtype=bool)
        if converter != ONBOARD and ONBOARD in profile.converters:
            # The on-board converter adds the shape of the first milliseconds, not the level.
            early_s, early_v, _ = tap(ONBOARD, FORCE, on_us + SETTLED_S * 1e6, off_us)
            t_s = np.concatenate([t_s, early_s])
            force_v = np.concatenate([force_v, early_v])
            beside = np.concatenate([beside, np.ones(early_s.size, dtype=bool)])
        self._tau_s = taus_of(t_s, int(np.count_nonzero(~beside)))
        design = np.column_stack([self._basis(t_s), beside.astype(float)])
        self._part = np.linalg.lstsq(design, force_v, rcond=1e-10)[0][:-1]
        self._force_open_v = float(np.average(rest_v, weights=rest_n)) if rest_v.size else None
        self._return_open_v = float(np.average(open_v, weights=open_n))
        rise_v = float(np.average(back_v, weights=back_n)) - self._return_open_v
        self._return_share = rise_v / float(np.average(self._force_v(back_s), weights=back_n))

    def _basis(self, t_s: FloatArray) -> FloatArray:
        return np.column_stack([np.ones_like(t_s), np.exp(-t_s[:, None] / self._tau_s)])

    def _force_v(self, t_s: FloatArray) -> FloatArray:
        return self._basis(t_s) @ self._part

    def at(self, t_s: FloatArray) -> FloatArray:
        """Amperes at each time after load on (s)."""
        return self._force_v(t_s) * (1.0 - self._return_share) / self._ohm

    def force_fall_v(self, t_s: float) -> float | None:
        """By how much the force tap is below its level at rest; None where that was not read."""
        if self._force_open_v is None:
            return None
        return self._force_open_v - float(self._force_v(np.array([t_s]))[0])

    def codes(self, t_s: float) -> tuple[float, float, float]:
        """Mean codes of force, of return at rest, and of return at a time after load on (s)."""
        force_v = float(self._force_v(np.array([t_s]))[0])
        return_v = self._return_open_v + self._return_share * force_v
        return (
            self._to_code(FORCE, force_v),
            self._to_code(RETURN, self._return_open_v),
            self._to_code(RETURN, return_v),
        )


def taus_of(t_s: FloatArray, count: int) -> FloatArray:
    """As many time constants as the points bear, from the first to the last of them."""
    if count < FEWEST_FOR_SHAPE:
        return np.zeros(0)
    first_s, last_s = float(t_s.min()), float(t_s.max())
    wanted = int(TAUS_PER_DECADE * np.log10(last_s / first_s)) + 1
    return np.geomspace(first_s, last_s, max(1, min(wanted, count // POINTS_PER_TAU)))
