# SPDX-License-Identifier: MIT
"""Figures in words: value and U rounded alike, to two digits of U (GUM 7.2.6)."""

import pytest

from sagline import wording
from sagline.results import Quantity, Repeat


def quantity(value, half, k=2.0):
    return Quantity(value=value, u=half / k, dof=None, k=k, low95=value - half, high95=value + half)


@pytest.mark.parametrize(
    ("value", "half", "text"),
    [
        # GUM 7.2.2: mass 100.02147 g with u 0.35 mg, here as U.
        (100.02147, 0.00035, "100.02147 Ω ± 0.00035 Ω"),
        (0.160675, 0.00211, "0.1607 Ω ± 0.0021 Ω"),
        (0.160675, 0.0996, "0.16 Ω ± 0.10 Ω"),
        (0.160675, 0.0994, "0.161 Ω ± 0.099 Ω"),
        (12.34, 1.0, "12.3 Ω ± 1.0 Ω"),
        (1234.5, 250.0, "1234 Ω ± 250 Ω"),
    ],
)
def test_figure(value, half, text):
    assert wording.figure(quantity(value, half), "Ω") == text


def test_a_figure_without_interval_says_so():
    alone = Quantity(value=0.1606, u=None, dof=None, k=None, low95=None, high95=None)
    assert wording.figure(alone, "Ω") == "0.1606 Ω, U unknown"
    # Digits as a known part of 1.6 mΩ bears them (k = 2), and none are lost.
    assert wording.figure(alone, "Ω", 0.0016) == "0.1606 Ω, U unknown"
    volts = Quantity(value=1.58, u=None, dof=None, k=None, low95=None, high95=None)
    assert wording.figure(volts, "V", 0.0019) == "1.5800 V, U unknown"
    assert wording.figure(volts, "V") == "1.580 V, U unknown"
    assert wording.coverage(alone) == "no interval"
    assert wording.relative(alone) == "unknown"


def test_working_comes_out_with_a_calculator():
    # OpenStax University Physics vol. 2, 10.1: E 12.00 V, r 0.100 ohm, R 0.500 ohm -> 20.0 A,
    # terminal voltage 10.0 V.
    found = wording.Working.of(
        [Repeat(n=1, r_ohm=0.1, emf_v=12.0, kept=True, reason=None)], r_ohm=0.1, current_a=20.0
    )
    lines = wording.equation_lines(0.1, found.open_v, found.loaded_v, found.current_a, found.r_ohm)
    assert lines == [
        "r(0.1 s) = (E − V) / I",
        "         = (12.0000 − 10.0000) V / 20.00 A",
        "         = 0.1000 Ω",
    ]
