# SPDX-License-Identifier: MIT
"""What a step of a calibration found: values with their uncertainty, before and after."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sagline.analysis.calibrated import Standard
from sagline.analysis.calibrating.tolerances import Tolerance
from sagline.analysis.onboard_table import OnboardTable
from sagline.analysis.values import Notice


@dataclass(frozen=True)
class Found:
    """One entry of a calibration.

    `kind` is "scale", "offset" or "voltage scale" and `key` says of what: (load, high range,
    front end), (converter, channel, high range), (converter, high range). `value` a factor, or
    codes for an offset, with its standard uncertainty `u` in the same unit and `dof`.
    `before_u` is what tolerances alone leave, `limit` how far they let it be from nominal.
    `lines` is the budget of `u`, largest first, and `how` says by what it was found; `standard`
    is what it was compared with, its u in the unit of `value`.
    """

    kind: str
    key: tuple[Any, ...]
    value: float
    u: float
    dof: float
    before: Tolerance
    lines: tuple[tuple[str, float], ...]
    how: str
    standard: Standard | None = None

    @property
    def nominal(self) -> float:
        """The value without a calibration."""
        return 0.0 if self.kind == "offset" else 1.0

    @property
    def serves(self) -> bool:
        """Whether it is known better than by tolerances: only then it is put to use."""
        return self.u < self.before.u

    @property
    def within(self) -> bool:
        """Whether it is where the parts' tolerances let it be, beside its own uncertainty."""
        return abs(self.value - self.nominal) <= self.before.limit + 2.0 * self.u


@dataclass(frozen=True)
class Findings:
    """The entries of one step, or the linearity table it made, and what must be said of them."""

    found: tuple[Found, ...]
    notices: tuple[Notice, ...] = ()
    table: OnboardTable | None = None
