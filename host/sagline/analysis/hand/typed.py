# SPDX-License-Identifier: MIT
"""Numbers as somebody typed them: the value, and what the last digit leaves open."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import fsum, isfinite, sqrt
from statistics import stdev

from sagline.errors import UsageError

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d{1,2})?", re.ASCII)

FINEST = 15
"""The most decimals that are taken for read."""

LARGEST = 1e12
"""No reading is larger, or smaller than its reciprocal."""


@dataclass(frozen=True)
class Typed:
    """One number; `digit` is one unit of the last place that was typed, in the same unit."""

    value: float
    digit: float

    @property
    def half_digit(self) -> float:
        """How far the value may be off by its rounding alone."""
        return 0.5 * self.digit


def typed(name: str, text: str) -> Typed:
    """Read a number with a decimal point or comma. Raises UsageError naming `name`."""
    plain = text.strip().replace("−", "-")
    if not _NUMBER.fullmatch(plain) or not isfinite(float(plain.replace(",", "."))):
        raise UsageError(
            "not_a_number",
            f"{name} is {text!r}, which is no number.",
            "Give it such as 1.58 or 1,58, without its unit.",
        )
    number = Decimal(plain.replace(",", "."))
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)
    size = abs(float(number))
    if exponent < -FINEST or size > LARGEST or 0.0 < size < 1.0 / LARGEST:
        raise UsageError(
            "not_a_reading",
            f"{name} is {text}, which no instrument shows.",
            f"Give it in V, A, W, Ω or cm, with {FINEST} decimals at most.",
        )
    return Typed(float(number), 10.0**exponent)


def positive(name: str, text: str) -> Typed:
    """Read a number above zero. Raises UsageError."""
    found = typed(name, text)
    if not found.value > 0.0:
        raise UsageError("not_positive", f"{name} is {text}.", f"Give {name} above zero.")
    return found


@dataclass(frozen=True)
class Stated:
    """A standard uncertainty as it was stated: in the unit of the value, or as a share of it."""

    amount: float
    relative: bool

    def of(self, value: float) -> float:
        """The standard uncertainty of `value`, in its unit."""
        return self.amount * abs(value) if self.relative else self.amount


def stated(name: str, text: str) -> Stated:
    """Read a standard uncertainty such as 0.002 or 0.5%. Raises UsageError."""
    share = text.strip().removesuffix("%")
    relative = share != text.strip()
    found = positive(name, share.strip())
    return Stated(found.value / 100.0 if relative else found.value, relative)


@dataclass(frozen=True)
class Mean:
    """The mean of `n` readings of one thing.

    `scatter_u` is the standard uncertainty of the mean from their scatter, s/sqrt(n) with
    n - 1 degrees of freedom (GUM 4.2.3), 0 for a single one. `half_range` is half of the
    greatest less the least, `half_digit` half of the coarsest last place.
    """

    value: float
    n: int
    scatter_u: float
    half_range: float
    half_digit: float

    @property
    def dof(self) -> int:
        """Degrees of freedom of `scatter_u`."""
        return self.n - 1


def mean(readings: Sequence[Typed]) -> Mean:
    """Return the mean. Raises ValueError for no readings at all."""
    if not readings:
        raise ValueError("no reading has no mean")
    values = [one.value for one in readings]
    n = len(values)
    return Mean(
        value=fsum(values) / n,
        n=n,
        scatter_u=stdev(values) / sqrt(n) if n > 1 else 0.0,
        half_range=0.5 * (max(values) - min(values)),
        half_digit=max(one.half_digit for one in readings),
    )
