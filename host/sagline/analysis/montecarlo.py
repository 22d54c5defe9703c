# SPDX-License-Identifier: MIT
"""Propagation of distributions (JCGM 101) through any model of named inputs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sagline.analysis.calibrated import Known
from sagline.analysis.influences import Influence
from sagline.analysis.values import FloatArray

DRAWS = 40_000
SEED = 20_080_101
"""Fixed, so that one record always gives one result."""


def draw(
    influences: Sequence[Influence], generator: np.random.Generator, count: int = DRAWS
) -> dict[str, FloatArray | float]:
    """Independent draws of each input, by name; inputs without a spread stay plain numbers.

    Shapes follow JCGM 101, 6.4: rectangular, triangular (sum of two rectangular), arc sine
    (sine of a uniform phase), normal, scaled and shifted t.
    """
    drawn: dict[str, FloatArray | float] = {}
    for item in influences:
        if item.spread == 0.0:
            drawn[item.name] = item.value
            continue
        if item.shape == "rectangular":
            unit = 2.0 * generator.random(count) - 1.0
        elif item.shape == "triangular":
            unit = generator.random(count) - generator.random(count)
        elif item.shape == "arcsine":
            unit = np.sin(2.0 * np.pi * generator.random(count))
        elif item.shape == "normal":
            unit = generator.standard_normal(count)
        elif item.shape == "t":
            unit = generator.standard_t(item.dof, count)
        else:
            raise ValueError(f"unknown shape {item.shape}")
        drawn[item.name] = item.value + item.spread * unit
    return drawn


def half_width(known: Known) -> float:
    """Of the 95 % interval of one value: by its dof, or by draws where limits are in it."""
    from sagline.analysis.budget import coverage_factor

    if known.standard is None or not known.standard.bounded:
        return coverage_factor(known.dof) * known.u
    drawn = draw(known.influences("", ""), np.random.default_rng(SEED))
    low, high = interval(np.asarray(sum(drawn.values())))
    return 0.5 * (high - low)


def interval(draws: FloatArray, probability: float = 0.95) -> tuple[float, float]:
    """The probabilistically symmetric coverage interval (JCGM 101, 7.7)."""
    tail = 0.5 * (1.0 - probability)
    low, high = np.quantile(draws, [tail, 1.0 - tail])
    return float(low), float(high)
