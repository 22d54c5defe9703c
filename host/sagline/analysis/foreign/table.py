# SPDX-License-Identifier: MIT
"""What a foreign record holds: columns of volts and amperes, and what is stated of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from sagline.analysis.values import BoolArray, FloatArray

REMEDY = (
    "write the columns time_s, sense_v and either current_a, or force_v with return_v where "
    "there is one, in seconds, volts and amperes; `sagline analyse --help` shows one"
)

STEPS_SHARE = 0.125
"""Of the span of the readings: an instrument's step is less."""


@dataclass(frozen=True, eq=False)
class Column:
    """Readings of one quantity: `t_s` ascending (s), `v` (V or A), both of one length.

    `digit` is the last digit that was typed: the readings are its multiples.
    """

    t_s: FloatArray
    v: FloatArray
    digit: float

    @classmethod
    def of_pairs(cls, pairs: Sequence[tuple[float, float]], exponent: int) -> Column:
        """From pairs of time and reading, whose last digit is ten to the `exponent`."""
        t_s, v = np.array(pairs, dtype=np.float64).T
        return cls(t_s, v, 10.0**exponent)

    @property
    def resolution(self) -> float:
        """The step between readings: of the digits, or coarser where the instrument's is.

        Few levels far apart are those of rest and load, not the instrument's steps.
        """
        steps = np.diff(np.unique(self.v))
        # A digit's multiples are a rounding error apart.
        steps = steps[steps > 0.5 * self.digit]
        if not steps.size or steps.min() > STEPS_SHARE * steps.sum():
            return self.digit
        return max(self.digit, float(steps.min()))

    def within(self, from_s: float, to_s: float) -> Column:
        """The readings at these times, both ends included."""
        return self.of((self.t_s >= from_s) & (self.t_s <= to_s))

    def of(self, chosen: BoolArray) -> Column:
        """Some of the readings."""
        return Column(self.t_s[chosen], self.v[chosen], self.digit)


@dataclass(frozen=True)
class Stated:
    """What the user says of the instrument, standard uncertainties; None where nothing is said.

    `u_ohm` of the load; `u_volts_rel` of each channel's scale and `u_volts` of its zero;
    `u_amps_rel` of the current's scale.
    """

    u_ohm: float | None = None
    u_volts_rel: float | None = None
    u_volts: float | None = None
    u_amps_rel: float | None = None


@dataclass(frozen=True, eq=False)
class ForeignTable:
    """A record: `sense`, and `current` or `force` (with `back`, the return), across a load.

    `load_ohm` and `switch_ohm` belong to `force`. `on_s` and `off_s` are the instants of
    switching where the record tells them, to within `edge_half_s`; `window_s` is what each
    reading is the mean over, 0 for an instant.
    """

    sense: Column
    current: Column | None = None
    force: Column | None = None
    back: Column | None = None
    load_ohm: float | None = None
    switch_ohm: float = 0.0
    on_s: tuple[float, ...] = ()
    off_s: tuple[float, ...] = ()
    edge_half_s: float = 0.0
    window_s: float = 0.0
    stated: Stated = field(default_factory=Stated)

    @property
    def driver(self) -> Column:
        """What tells when the load is on. Raises ValueError without current and force."""
        found = self.current if self.current is not None else self.force
        if found is None:
            raise ValueError("a foreign record needs a current or a force voltage")
        return found

    @property
    def end_s(self) -> float:
        return float(max(self.sense.t_s[-1], self.driver.t_s[-1]))
