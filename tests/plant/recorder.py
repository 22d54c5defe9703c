# SPDX-License-Identifier: MIT
"""Any waveform as a board would have recorded it.

Each point is the mean of the waveform over the conversion's own window, taken from the
cumulative integral between the waveform's instants, then sent through the board's parts.
The schedule is the firmware's; the rest is written apart from the virtual rig.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from plant.parts import Parts
from plant.windows import Row, Slice, grouped, schedule
from sagline.analysis.values import RawStep
from sagline_board import profile
from sagline_board.profile import ADS1115, ONBOARD

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Volts = Floats | Callable[[Floats], Floats]

ADS_ORDER = (0, 1, 0, 1, 0, 1, 0, 2)
NULL_CHANNEL = 3
NULL_ORDER = (3, 1, 0, 1, 3, 1, 0, 2)
IDEAL_CONVERSIONS = 2**20
"""Claimed of every point without noise, so that its integer sum holds the exact mean."""
FEW = 64
"""Up to so many conversions of a row are drawn one by one."""


class Waveform:
    """Sense, force and return against the board's ground (V) at instants `t_s` of any spacing,
    straight between them. Functions of time are taken at those instants."""

    def __init__(self, t_s: Floats, sense: Volts, force: Volts, back: Volts) -> None:
        self.t_s = np.asarray(t_s, dtype=np.float64)
        self.tap_v = [tap(self.t_s) if callable(tap) else tap for tap in (sense, force, back)]
        step_s = np.diff(self.t_s)
        # Of what lies above the first instant, or the integral's rounding would show.
        above = [v - v[0] for v in self.tap_v]
        self._integral = [
            np.concatenate([[0.0], np.cumsum(step_s * (v[1:] + v[:-1]) / 2.0)]) for v in above
        ]

    def mean_v(self, channel: int, from_s: Floats, to_s: Floats) -> Floats:
        """Mean of a channel over each window (s)."""
        above = (self._until(channel, to_s) - self._until(channel, from_s)) / (to_s - from_s)
        return self.tap_v[channel][0] + above

    def _until(self, channel: int, at_s: Floats) -> Floats:
        index = np.clip(np.searchsorted(self.t_s, at_s, "right") - 1, 0, self.t_s.size - 2)
        into_s = at_s - self.t_s[index]
        v, step_s = self.tap_v[channel], self.t_s[index + 1] - self.t_s[index]
        slope = (v[index + 1] - v[index]) / step_s
        above = v[index] - v[0] + slope * into_s / 2.0
        return self._integral[channel][index] + into_s * above


@dataclass(frozen=True)
class Extras:
    """What is added to the waveform: mains on sense (V, Hz; its phase is drawn each repeat, or
    given), and a drift of the cell (V/s) that sense and force share."""

    mains_v: float = 0.0
    mains_hz: float = 50.0
    mains_phase: tuple[float, ...] = ()
    drift_v_per_s: float = 0.0


NOTHING = Extras()


@dataclass(frozen=True, eq=False)
class Recorder:
    """A board that records steps of one load and range.

    Without `rng` there is neither noise nor rounding. `null` adds the difference channel with
    a balance per repeat within `null_residual_v` of the rest.
    """

    load: int
    range_high: bool
    parts: Parts = field(default_factory=Parts)
    rng: np.random.Generator | None = None
    converters: tuple[int, ...] = (ONBOARD, ADS1115)
    null: bool = False
    null_residual_v: float = 0.015
    null_noise_lsb: float = 0.5
    extras: Extras = NOTHING

    def steps(
        self,
        wave: Waveform,
        starts_s: Sequence[float],
        rest_s: float = 5.0,
        on_s: float = 0.3,
        recovery_s: float = 1.0,
    ) -> list[RawStep]:
        """One step for each start of a rest (s of the waveform), the load on after `rest_s`."""
        durations = (rest_s, on_s, recovery_s)
        segments = tuple(
            (mask, round(duration * 1e3))
            for mask, duration in zip((0, 1 << self.load, 0), durations, strict=True)
        )
        return [
            self._step(wave, start_s, segments, number) for number, start_s in enumerate(starts_s)
        ]

    def _step(
        self, wave: Waveform, start_s: float, segments: tuple[tuple[int, int], ...], number: int
    ) -> RawStep:
        edges_us, slices = schedule(segments)
        rows = self._onboard(slices) if ONBOARD in self.converters else []
        rows += self._ads(slices, edges_us) if ADS1115 in self.converters else []
        rows.sort(key=lambda row: row.end_us)
        channel = np.array([row.source & 3 for row in rows])
        source = np.array([row.source for row in rows])
        from_s = start_s + np.array([row.start_us for row in rows]) * 1e-6
        to_s = start_s + np.array([row.end_us for row in rows]) * 1e-6
        edge_s = start_s + edges_us[0] * 1e-6
        tap_v = np.empty(len(rows))
        for index in range(3):
            chosen = (channel == index) | ((index == 0) & (channel == NULL_CHANNEL))
            tap_v[chosen] = wave.mean_v(index, from_s[chosen], to_s[chosen])
        tap_v += self._added(channel, from_s, to_s, edge_s, number)
        code = self._codes(source, tap_v, to_s < edge_s)
        n = np.array([row.n for row in rows])
        totals = self._totals(source, code, n)
        points = grouped(rows, totals, edges_us)
        columns = [[point[k] for point in points] for k in range(5)]
        if self.rng is None:
            mean = np.array(columns[4]) / np.array(columns[3])
            columns[3] = [IDEAL_CONVERSIONS] * len(points)
            columns[4] = list(np.round(mean * IDEAL_CONVERSIONS))
        source, start_us, length_us, n, total = (
            np.array(column).astype(np.int64) for column in columns
        )
        return RawStep(
            source,
            start_us,
            length_us,
            n,
            total,
            tuple(edges_us),
            self.load,
            self.range_high,
            segments,
        )

    def _onboard(self, slices: Sequence[Slice]) -> list[Row]:
        triple_us = 3.0 * self.parts.period_us(ONBOARD)
        rows = []
        for start_us, length_us, bin_us, group_us in slices:
            for begin_us in range(start_us, start_us + length_us, bin_us):
                end_us = min(begin_us + bin_us, start_us + length_us)
                n = max(1, int((end_us - begin_us) / triple_us))
                rows += [
                    Row(ONBOARD * 4 + channel, begin_us, end_us, n, group_us)
                    for channel in range(3)
                ]
        return rows

    def _ads(self, slices: Sequence[Slice], edges_us: Sequence[int]) -> list[Row]:
        order = NULL_ORDER if self.null else ADS_ORDER
        period_us = self.parts.period_us(ADS1115)
        ends = np.array([start_us + length_us for start_us, length_us, _, _ in slices])
        rows = []
        for begin_us, stop_us in zip([0, *edges_us], [*edges_us, int(ends[-1])], strict=True):
            slots = np.arange(int((stop_us - begin_us) / period_us))
            start_us = begin_us + period_us * slots
            # A conversion belongs to the slice in which it is ready.
            within = np.minimum(np.searchsorted(ends, start_us + period_us), len(slices) - 1)
            rows += [
                Row(
                    ADS1115 * 4 + order[slot % len(order)],
                    start,
                    start + period_us,
                    1,
                    slices[index][3],
                )
                for slot, start, index in zip(
                    slots.tolist(), start_us.tolist(), within.tolist(), strict=True
                )
            ]
        return rows

    def _added(
        self, channel: Integers, from_s: Floats, to_s: Floats, edge_s: float, number: int
    ) -> Floats:
        """Mean of what is added, over each window (V)."""
        extras, middle_s = self.extras, (from_s + to_s) / 2.0 - edge_s
        cell = channel != 2
        volts = np.where(cell, extras.drift_v_per_s * middle_s, 0.0)
        if not extras.mains_v:
            return volts
        if extras.mains_phase:
            phase = extras.mains_phase[number % len(extras.mains_phase)]
        else:
            phase = self.rng.uniform(0.0, 2.0 * np.pi) if self.rng else 2.4 * number
        # The mean of a sine over a window is its middle times sinc.
        left = np.sinc(extras.mains_hz * (to_s - from_s))
        hum = extras.mains_v * left * np.sin(2.0 * np.pi * extras.mains_hz * middle_s + phase)
        return volts + np.where((channel == 0) | (channel == NULL_CHANNEL), hum, 0.0)

    def _codes(self, source: Integers, tap_v: Floats, resting: NDArray[np.bool_]) -> Floats:
        code = np.empty(source.size)
        for each in np.unique(source):
            converter, channel = divmod(int(each), 4)
            chosen = source == each
            sense = 0 if channel == NULL_CHANNEL else channel
            pin_v = self.parts.pin_v(sense, tap_v[chosen], self.range_high)
            if channel == NULL_CHANNEL:
                off_v = self.null_residual_v
                off_v = self.rng.uniform(-off_v, off_v) if self.rng else off_v
                balance_v = float(pin_v[resting[chosen]].mean()) + off_v
                code[chosen] = self.parts.null_code(pin_v, balance_v)
            else:
                code[chosen] = self.parts.code(converter, pin_v)
        return code

    def _totals(self, source: Integers, code: Floats, n: Integers) -> Floats:
        """Sum of codes of each row: exact without noise, else integers."""
        if self.rng is None:
            return code * n
        converter = source >> 2
        unit = np.array([c["noise_millilsb"] * 1e-3 for c in profile.CONVERTERS])
        noise = np.where(source & 3 == NULL_CHANNEL, self.null_noise_lsb, unit[converter])
        full = np.array([c["full_code"] for c in profile.CONVERTERS])[converter]
        least = np.where(converter == ADS1115, -full - 1, 0)
        few = n <= FEW
        row = np.repeat(np.flatnonzero(few), n[few])
        each = np.round(code[row] + noise[row] * self.rng.standard_normal(row.size))
        each = np.clip(each, least[row], full[row])
        totals = np.bincount(row, weights=each, minlength=n.size)
        # Many at once: rounding adds 1/12 of variance (Sheppard) where noise smears it.
        spread = np.sqrt(n * (noise**2 + 1.0 / 12.0))
        many = np.round(n * code + spread * self.rng.standard_normal(n.size))
        return np.where(few, totals, np.clip(many, least * n, full * n))
