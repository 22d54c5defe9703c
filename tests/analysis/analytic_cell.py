# SPDX-License-Identifier: MIT
"""A cell and a rig with known answers, written apart from the analysis.

One RC pair and a constant resistance in the loop have a closed form, so levels at every
instant are exact; the rig turns them into codes by the node equation with its own parts.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from sagline.analysis.profile import RigProfile
from sagline.analysis.values import RawStep
from sagline_board import profile as board

DIODE_V = 0.3
LEADS_OHM = 0.15
RETURN_LEAD_OHM = 0.06

WIDE_PROFILE = RigProfile.from_integers(
    {
        "loads": board.LOADS,
        "channels": board.CHANNELS,
        "reference": board.REFERENCE,
        "converters": board.CONVERTERS,
        "range_mv": board.RANGE_MV,
    }
)
"""Of an RP2040, four of whose codes are wide."""

PROFILE = replace(
    WIDE_PROFILE,
    converters={
        index: replace(unit, wide_code_millilsb=0)
        for index, unit in WIDE_PROFILE.converters.items()
    },
)
"""Of an RP2350, as what follows makes the codes."""


@dataclass(frozen=True)
class Cell:
    emf_v: float
    ohmic_ohm: float
    pair_ohm: float = 0.0
    tau_s: float = 1.0
    drift_v_per_s: float = 0.0
    ripple_v: float = 0.0
    ripple_hz: float = 100.0

    def loaded(self, t_s: Any, loop_ohm: float) -> tuple[Any, Any]:
        """Terminal voltage and current at t after load on, the diode in the loop.

        v' = i/C - v/(R C), i = (U - v)/a: one exponential of rate 1/(a C) + 1/(R C).
        """
        a = self.ohmic_ohm + loop_ohm
        u = self.emf_v - DIODE_V
        if self.pair_ohm:
            c = self.tau_s / self.pair_ohm
            rate = 1.0 / (a * c) + 1.0 / self.tau_s
            v = u / (a * c) / rate * -np.expm1(-rate * t_s)
        else:
            v = 0.0 * t_s
        i = (u - v) / a
        return self.emf_v - v - self.ohmic_ohm * i, i

    def recovering(self, t_s: Any, on_s: float, loop_ohm: float) -> Any:
        """Terminal voltage at t after a load of `on_s` went off: the pair discharges alone."""
        v, i = self.loaded(on_s, loop_ohm)
        held_v = self.emf_v - v - self.ohmic_ohm * i
        return self.emf_v - held_v * np.exp(-t_s / self.tau_s)

    def r_at(self, t_s: float, loop_ohm: float) -> float:
        v, i = self.loaded(t_s, loop_ohm)
        return float((self.emf_v - v) / i)


@dataclass(frozen=True)
class Rig:
    """Parts as they are in one rig, relative to nominal; errors of one converter in codes."""

    load: float = 0.0
    load_k: float = 0.0
    switch: float = 0.0
    parts: dict[tuple[int, str], float] = field(default_factory=dict)
    follower_v: tuple[float, float, float] = (0.0, 0.0, 0.0)
    reference: float = 0.0
    gain: float = 0.0
    offset_codes: float = 0.0
    inl_codes: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    curve: Any = None  # code -> error in codes, beside the levels' own

    @classmethod
    def drawn(cls, rng: np.random.Generator, converter: int, load: int) -> Rig:
        """Every part anywhere within its limits."""

        def within(limit: float) -> float:
            return float(rng.uniform(-limit, limit))

        unit, bank = board.CONVERTERS[converter], board.LOADS[load]
        names = ("top_ohm", "foot_ohm", "lift_ohm", "range_foot_ohm")
        return cls(
            load=within(bank["tolerance_ppm"] * 1e-6),
            load_k=within(5.0),
            switch=within(bank["switch_tolerance_ppm"] * 1e-6),
            parts={(c, n): within(1e-3) for c in range(3) for n in names},
            follower_v=(within(5e-4), within(5e-4), within(5e-4)),
            reference=within(board.REFERENCE["tolerance_ppm"] * 1e-6),
            gain=within(unit["gain_ppm"] * 1e-6),
            offset_codes=within(unit["offset_millilsb"] * 1e-3),
            curve=inl_curve(
                rng,
                unit["inl_millilsb"] * 1e-3,
                span=16.0 if converter else 128.0,
                smooth=converter == 0,
            ),
        )

    def code(self, converter: int, channel: int, tap_v: Any, high: bool) -> Any:
        """Exact code (before noise, linearity, rounding) of a tap's voltage."""
        ohm = {
            name: value * (1.0 + self.parts.get((channel, name), 0.0))
            for name, value in board.CHANNELS[channel].items()
            if name.endswith("_ohm") and value and (high or name != "range_foot_ohm")
        }
        reference_v = board.REFERENCE["reference_uv"] * 1e-6 * (1.0 + self.reference)
        siemens = sum(1.0 / value for value in ohm.values())
        node_v = (tap_v / ohm["top_ohm"] + reference_v / ohm["lift_ohm"]) / siemens
        pin_v = node_v + self.follower_v[channel]
        unit = board.CONVERTERS[converter]
        if converter == 0:
            return pin_v * 4096.0 / reference_v + self.offset_codes
        return pin_v * (1.0 + self.gain) / (unit["lsb_nv"] * 1e-9) + self.offset_codes

    def loop_ohm(self, load: int) -> tuple[float, float]:
        """R_load + R_switch, and the leads outside the taps."""
        bank = board.LOADS[load]
        r_load = bank["load_milliohm"] * 1e-3 * (1.0 + self.load)
        r_load *= 1.0 + bank["tcr_ppm_per_k"] * 1e-6 * self.load_k
        r_switch = bank["switch_milliohm"] * 1e-3 * (1.0 + self.switch)
        r_switch *= 1.0 + bank["switch_tcr_ppm_per_k"] * 1e-6 * self.load_k
        return r_load + r_switch, LEADS_OHM


def inl_curve(rng: np.random.Generator, limit: float, span: float, smooth: bool) -> Any:
    """Blocks, or half cosines between knots, of `span` codes, and blocks of 2 codes on top, all of
    it within the limit: blocks fill that, a bow leaves room for what is on top."""
    fine, offset = rng.uniform(-0.25, 0.25, 20_000), rng.integers(2)
    reach = limit - 0.25 if smooth else limit
    coarse = rng.uniform(-reach, reach, 3_000)
    shift = rng.uniform(0.0, span)

    def error(code: Any) -> Any:
        small = fine[(np.floor(code + offset) / 2).astype(int)]
        at = (code + shift) / span
        low = at.astype(int)
        if not smooth:
            return np.clip(small + coarse[low], -limit, limit)
        rise = np.sin(0.5 * np.pi * (at - low)) ** 2
        return small + coarse[low] + rise * (coarse[low + 1] - coarse[low])

    return error


def make_step(
    cell: Cell,
    *,
    converter: int = 1,
    load: int = 0,
    rig: Rig | None = None,
    rng: np.random.Generator | None = None,
    noise_codes: float | None = None,
    rounded: bool = True,
    rest_s: float = 5.0,
    on_s: float = 0.3,
    recovery_s: float = 1.0,
    range_high: bool = False,
) -> RawStep:
    """One step. Without `rng` there is no noise; `rounded=False` scales codes by 2**20 and
    claims 2**20 conversions, so that integer sums carry exact levels."""
    rig = rig or Rig()
    seen_ohm, leads_ohm = rig.loop_ohm(load)
    on_us, off_us = round(rest_s * 1e6), round((rest_s + on_s) * 1e6)
    end_us = off_us + round(recovery_s * 1e6)
    if noise_codes is None:
        noise_codes = board.CONVERTERS[converter]["noise_millilsb"] * 1e-3
    columns: list[np.ndarray] = []
    for from_us, to_us in ((0, on_us), (on_us, off_us), (off_us, end_us)):
        if to_us <= from_us:
            continue
        start, length, channel, n = _windows(converter, from_us, to_us, on_us, from_us == 0)
        t_s = (start + length / 2 - on_us) * 1e-6
        on = from_us == on_us
        if on:
            v_t, i = cell.loaded(t_s, seen_ohm + leads_ohm)
        elif from_us == off_us:
            v_t, i = cell.recovering(t_s - on_s, on_s, seen_ohm + leads_ohm), 0 * t_s
        else:
            v_t, i = cell.emf_v + 0 * t_s, 0 * t_s
        v_t = v_t + cell.drift_v_per_s * t_s
        # The mean of a sine over a window is shorter by sinc(f T).
        heard_v = cell.ripple_v * np.sinc(cell.ripple_hz * length * 1e-6)
        v_t = v_t + heard_v * np.sin(2.0 * np.pi * cell.ripple_hz * t_s)
        v_return = i * RETURN_LEAD_OHM
        v_force = np.where(on, v_return + i * seen_ohm, v_t)
        codes = np.zeros_like(t_s)
        order = ((0, v_t, 1, 0), (1, v_force, 2, 2), (2, v_return, 4, 3))
        for index, tap_v, loaded_inl, open_inl in order:
            chosen = channel == index
            inl = rig.inl_codes[loaded_inl if on else open_inl]
            exact = rig.code(converter, index, tap_v, range_high) + inl
            if rig.curve is not None:
                exact = exact + rig.curve(exact)
            codes[chosen] = exact[chosen]
        total = _sums(codes, n, rng, noise_codes, rounded)
        n = n if rounded else np.full_like(n, 2**20)
        columns.append(np.stack([converter * 4 + channel, start, length, n, total]))
    source, start, length, n, total = np.concatenate(columns, axis=1)
    segments = ((0, round(rest_s * 1e3)), (1 << load, round(on_s * 1e3)), (0, 1000))
    edges = (on_us, off_us)
    return RawStep(source, start, length, n, total, edges, load, range_high, segments)


def _windows(
    converter: int, from_us: int, to_us: int, on_us: int, resting: bool
) -> tuple[np.ndarray, ...]:
    """Start, length, channel, conversions of every point between two edges."""
    if converter == 0:
        bins = [50]
        while sum(bins) < to_us - from_us:
            bins.append(min(int(bins[-1] * 1.15) + 1, 20_000))
        ends = np.cumsum(bins)
        keep = from_us + ends <= to_us
        start = from_us + np.concatenate([[0], ends[:-1]])[keep]
        length = np.array(bins)[keep]
        shape = start.size
        return (
            np.repeat(start, 3),
            np.repeat(length, 3),
            np.tile([0, 1, 2], shape),
            np.maximum(1, np.repeat(length, 3) // 30),
        )
    period = 1163
    count = (to_us - from_us) // period
    start = from_us + period * np.arange(count)
    channel = np.tile([0, 1, 0, 1, 0, 1, 0, 2], count // 8 + 1)[:count]
    length, n = np.full(count, period), np.ones(count, dtype=np.int64)
    if not resting:
        return start, length, channel, n
    # Rest older than 0.5 s before the edge comes as sums over about 50 ms.
    near = start >= on_us - 500_000
    parts = [np.stack([start[near], length[near], channel[near], n[near]])]
    group = (start - from_us) // 50_000
    for index in range(3):
        far = ~near & (channel == index)
        _, first, size = np.unique(group[far], return_index=True, return_counts=True)
        last = first + size - 1
        begin = start[far][first]
        parts.append(
            np.stack([begin, start[far][last] + period - begin, np.full(size.size, index), size])
        )
    start, length, channel, n = np.concatenate(parts, axis=1)
    return start, length, channel, n


def _sums(
    codes: np.ndarray, n: np.ndarray, rng: np.random.Generator | None, noise: float, rounded: bool
) -> np.ndarray:
    if not rounded:
        return np.round(codes * 2**20).astype(np.int64)
    if rng is None:
        return np.round(codes).astype(np.int64) * n
    # Conversions of one point are rounded one by one, as a converter does.
    point = np.repeat(np.arange(n.size), n) if n.max() < 1000 else np.arange(n.size)
    if n.max() < 1000:
        each = np.round(codes[point] + noise * rng.standard_normal(point.size))
        return np.bincount(point, weights=each, minlength=n.size).astype(np.int64)
    return np.round(codes * n + noise * np.sqrt(n) * rng.standard_normal(n.size)).astype(np.int64)
