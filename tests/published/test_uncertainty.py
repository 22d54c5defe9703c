# SPDX-License-Identifier: MIT
"""Printed answers on uncertainty, through the project's own propagation."""

from math import sqrt
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from sagline.analysis.budget import coverage_factor, propagate
from sagline.analysis.influences import Influence
from sagline.analysis.montecarlo import draw, interval
from sagline.analysis.repeats import Scatter

# JCGM 100:2008, table G.2, the 95 % column.
TABLE_G2 = {
    1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 6: 2.45, 7: 2.36, 8: 2.31, 9: 2.26, 10: 2.23,
    15: 2.13, 20: 2.09, 30: 2.04, 50: 2.01, 100: 1.984, None: 1.960,
}  # fmt: skip


@pytest.mark.parametrize(("dof", "printed"), TABLE_G2.items())
def test_coverage_factors_of_gum_table_g2(dof: float | None, printed: float) -> None:
    last_digit = 0.001 if dof in (100, None) else 0.01
    assert coverage_factor(dof) == pytest.approx(printed, abs=0.5001 * last_digit)


def test_welch_satterthwaite_of_gum_g41() -> None:
    """A product of three inputs: 1.03 %, 19.0 degrees, U95 2.2 % (from memory)."""
    inputs = [
        Influence("a", "a", 1.0, 0.0025, "normal", 9),
        Influence("b", "b", 1.0, 0.0057, "normal", 4),
        Influence("c", "c", 1.0, 0.0082, "normal", 14),
    ]
    figure = propagate(lambda x: x["a"] * x["b"] * x["c"], inputs)
    assert figure.u is not None and figure.dof is not None and figure.k is not None
    assert 100 * figure.u == pytest.approx(1.03, abs=0.005)
    assert figure.dof == pytest.approx(19.0, abs=0.05)
    assert 100 * figure.k * figure.u == pytest.approx(2.2, abs=0.05)


@pytest.mark.parametrize(
    ("shape", "half_width"),
    # Four rectangular inputs of s.d. 1: exact 3.879406742; four normal ones: 3.92.
    [("rectangular", 3.879406742), ("normal", 3.9199279)],
)
def test_four_inputs_of_jcgm_101_section_92(shape: str, half_width: float) -> None:
    spread = sqrt(3.0) if shape == "rectangular" else 1.0
    inputs = [Influence(name, name, 0.0, spread, shape) for name in "abcd"]
    drawn = draw(inputs, np.random.default_rng(101), 2_000_000)
    low, high = interval(sum(drawn[name] for name in "abcd") + np.zeros(1))
    # A 2.5 % quantile of two million draws has an s.d. of about 0.004.
    assert high == pytest.approx(half_width, abs=0.015)
    assert low == pytest.approx(-half_width, abs=0.015)


def test_law_of_propagation_differs_from_monte_carlo_in_jcgm_101_section_92() -> None:
    inputs = [Influence(name, name, 0.0, sqrt(3.0)) for name in "abcd"]
    figure = propagate(lambda x: x["a"] + x["b"] + x["c"] + x["d"], inputs)
    assert figure.high95 == pytest.approx(3.92, abs=0.005)
    assert figure.dof is None


def test_standard_resistor_of_ea_4_02_s3() -> None:
    """R_X 10 000.178 ohm, u 8.33 mohm; unrounded 10 000.1780007665 and 8.3279 mohm."""
    ratios = np.array([[1.0000104], [1.0000107], [1.0000106], [1.0000103], [1.0000105]])
    type_a = sqrt(Scatter.of(ratios).covariance[0, 0])
    inputs = [
        Influence("standard", "", 10_000.053, 0.0025, "normal"),
        Influence("drift", "", 0.020, 0.010),
        Influence("standard_temperature", "", 0.0, 0.00275),
        Influence("item_temperature", "", 0.0, 0.0055),
        Influence("coupling", "", 1.0, 1.0e-6, "triangular"),
        Influence("ratio", "", float(ratios.mean()), type_a, "t", 4),
    ]
    figure = propagate(
        lambda x: (
            (x["standard"] + x["drift"] + x["standard_temperature"]) * x["coupling"] * x["ratio"]
            - x["item_temperature"]
        ),
        inputs,
    )
    assert figure.value == pytest.approx(10_000.1780007665, abs=1e-6)
    assert figure.u == pytest.approx(8.3279e-3, abs=5e-7)


def atomic_weights() -> list[np.ndarray]:
    """Two groups of 24 (NIST StRD AtmWtAg), from the file that scipy carries."""
    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova" / "AtmWtAg.dat"
    rows = [line.split() for line in path.read_text(encoding="utf-8").splitlines()[60:]]
    table = np.array([[float(cell) for cell in row] for row in rows if len(row) == 2])
    return [table[table[:, 0] == group, 1] for group in (1, 2)]


def test_step_between_two_groups_of_nist_atmwtag() -> None:
    """Open and loaded are two groups: their difference, its u, and t squared = certified F."""
    one, two = atomic_weights()
    assert (one.size, two.size) == (24, 24)
    inputs = [
        Influence(name, name, float(group.mean()),
                  sqrt(Scatter.of(group[:, None]).covariance[0, 0]), "t", 23)
        for name, group in (("one", one), ("two", two))
    ]  # fmt: skip
    figure = propagate(lambda x: x["one"] - x["two"], inputs)
    assert figure.u is not None
    assert figure.value == pytest.approx(1.74125e-05, rel=1e-7)
    assert figure.u == pytest.approx(4.360389250313693e-06, rel=1e-7)
    assert (figure.value / figure.u) ** 2 == pytest.approx(15.9467335677930, rel=1e-7)
