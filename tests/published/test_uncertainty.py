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
from sagline.analysis.step import fit_line

# JCGM 100:2008, table G.2 (the same as NIST Technical Note 1297, table B.1): the columns for
# 95 % and 95.45 %.
TABLE_G2 = {
    1: (12.71, 13.97), 2: (4.30, 4.53), 3: (3.18, 3.31), 4: (2.78, 2.87), 5: (2.57, 2.65),
    6: (2.45, 2.52), 7: (2.36, 2.43), 8: (2.31, 2.37), 9: (2.26, 2.32), 10: (2.23, 2.28),
    15: (2.13, 2.18), 20: (2.09, 2.13), 30: (2.04, 2.09), 50: (2.01, 2.05), 100: (1.984, 2.025),
    None: (1.960, 2.000),
}  # fmt: skip

# JCGM 100:2008, table E.1 (from memory): readings, and the s.d. of their s.d. over its own mean.
TABLE_E1 = {2: 76, 3: 52, 4: 42, 5: 36, 10: 24, 20: 16, 30: 13, 50: 10}


@pytest.mark.parametrize(("dof", "printed"), TABLE_G2.items())
def test_coverage_factors_of_gum_table_g2(dof: float | None, printed: tuple[float, float]) -> None:
    last_digit = 0.001 if dof in (100, None) else 0.01
    assert coverage_factor(dof) == pytest.approx(printed[0], abs=0.5001 * last_digit)
    assert coverage_factor(dof, 95.45) == pytest.approx(printed[1], abs=0.5001 * last_digit)


@pytest.mark.parametrize(("count", "percent"), TABLE_E1.items())
def test_how_little_is_known_of_an_sd_from_few_repeats(count: int, percent: float) -> None:
    """GUM table E.1, through the Scatter of sets of repeats of known spread."""
    rng = np.random.default_rng(count)
    s = np.concatenate(
        [
            np.sqrt(np.diag(Scatter.of(rng.standard_normal((count, 200))).covariance) * count)
            for _ in range(100)
        ]
    )
    # 20 000 sets give the spread to half a percent of itself; printed to one percent.
    assert 100.0 * s.std() / s.mean() == pytest.approx(percent, abs=1.0)
    assert np.mean(s * s) == pytest.approx(1.0, rel=0.04)


def test_resolution_of_gum_f221() -> None:
    """An indication that is rounded to steps of δx has u = 0.29 δx (F.2.2.1, from memory)."""
    assert Influence("reading", "", 0.0, 0.5).u == pytest.approx(0.29, abs=0.005)
    # And that is how rounded numbers scatter about what was rounded.
    drawn = 7.0 * np.random.default_rng(29).random(200_000)
    assert np.std(np.round(drawn) - drawn) == pytest.approx(0.29, abs=0.005)


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
    # 3.92 by the law, where 3.88 is true: four rectangular inputs have short tails.
    assert figure.high95 == pytest.approx(3.92, abs=0.005)
    assert figure.dof is None


def test_standard_resistor_of_ea_4_02_s3() -> None:
    """R_X 10 000.178 ohm, u 8.33 mohm, U 17 mohm; by arithmetic without rounding in between
    10 000.1780007665 and 8.3279 mohm."""
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
    assert figure.u is not None
    assert figure.value == pytest.approx(10_000.1780007665, abs=1e-6)
    assert figure.u == pytest.approx(8.3279e-3, abs=5e-7)
    assert figure.u == pytest.approx(8.33e-3, abs=1e-5) and round(2e3 * figure.u) == 17


def atomic_weights() -> list[np.ndarray]:
    """Two groups of 24 (NIST StRD AtmWtAg), from the file that scipy carries."""
    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova" / "AtmWtAg.dat"
    rows = [line.split() for line in path.read_text(encoding="utf-8").splitlines()[60:]]
    table = np.array([[float(cell) for cell in row] for row in rows if len(row) == 2])
    return [table[table[:, 0] == group, 1] for group in (1, 2)]


def test_step_between_two_groups_of_nist_atmwtag() -> None:
    """Open and loaded are two groups: their difference, its u, and t squared = certified F.
    By the two groups' scatter, and by least squares with the certified residual s.d."""
    one, two = atomic_weights()
    assert (one.size, two.size) == (24, 24)
    inputs = [
        Influence(name, name, float(group.mean()),
                  sqrt(Scatter.of(group[:, None]).covariance[0, 0]), "t", 23)
        for name, group in (("one", one), ("two", two))
    ]  # fmt: skip
    figure = propagate(lambda x: x["one"] - x["two"], inputs)
    assert figure.u is not None
    assert figure.value == pytest.approx(1.74125e-05, rel=1e-7, abs=0.0)
    assert figure.u == pytest.approx(4.360389250313693e-06, rel=1e-7, abs=0.0)
    assert (figure.value / figure.u) ** 2 == pytest.approx(15.9467335677930, rel=1e-7, abs=0.0)
    group = np.repeat([0.0, 1.0], 24)
    line = fit_line(group, np.concatenate([two, one]), np.ones(48))
    # Atomic weights of ten digits, in numbers of sixteen, leave their spread seven or so.
    assert line.noise == pytest.approx(1.51048314446410e-05, rel=1e-7, abs=0.0)
    assert 46.0 * line.noise**2 == pytest.approx(1.04951729166667e-08, rel=2e-7, abs=0.0)
    assert 12.0 * line.slope**2 == pytest.approx(3.63834187500000e-09, rel=2e-7, abs=0.0)
    assert (line.slope / line.slope_u) ** 2 == pytest.approx(15.9467335677930, rel=2e-7, abs=0.0)
