# SPDX-License-Identifier: MIT
"""Two stages: the first repeats decide how many there are, and keep their degrees of freedom.

C. Stein, Ann. Math. Statist. 16 (1945) 243-258: the mean of N = max(n, ceil(t²s²/d²)) has an
interval ± d of the stated coverage at least, with s and t of the first n. Without keeping to
them it would not.
"""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from scipy.stats import t

from analysis.analytic_cell import PROFILE
from sagline.analysis.repeats import Scatter
from sagline.analysis.target import missed, repeats_for, u_rel
from sagline.analysis.values import BudgetLine, Estimate, Notice, Quantity, RepeatRow

ROW = RepeatRow(1, 0.1, 1.5, True, None)


def found(*, scatter_u: float, rest_u: float, kept: int = 5, k: float = 2.0, r_ohm: float = 1.0):
    """An estimate of r with these two parts of u, in ohms."""
    u = sqrt(scatter_u**2 + rest_u**2)
    figure = Quantity(r_ohm, u, 10.0, k, r_ohm - k * u, r_ohm + k * u)
    lines = (
        BudgetLine("load resistance", "B", rest_u, rest_u**2 / u**2),
        BudgetLine("between repeats", "A", scatter_u, scatter_u**2 / u**2),
    )
    return Estimate(
        emf=figure, r_at=((0.1, figure),), load=figure, current=figure, short_circuit=None,
        max_power=None, repeats=(ROW,) * kept, rejected=0, budget=lines, emf_budget=lines,
        covariance_v_ohm=0.0, rest_s=5.0, dvdt_v_per_s=0.0, on_s=0.3, notices=(),
        ohmic=(0.1, figure), start_ohm=None,
    )  # fmt: skip


def test_with_scatter_alone_it_is_steins_number() -> None:
    """t(0.975, 4) = 2.776 (Student's table): s = 0.1·√5 and d = 0.1 take (2.776·s/d)² = 38.5."""
    first = found(scatter_u=0.1, rest_u=1e-9, k=2.776)
    assert repeats_for(first, 0.1, 100) == 39
    assert repeats_for(first, 0.1, 30) == 30
    assert repeats_for(first, 0.28, 100) == 5


def test_the_rest_is_not_lessened_by_repeats() -> None:
    assert repeats_for(found(scatter_u=0.001, rest_u=0.02), 0.03, 100) == 5, "out of reach"
    some = repeats_for(found(scatter_u=0.02, rest_u=0.01), 0.03, 100)
    u2_scatter = 0.02**2 * 5 / some
    u2 = u2_scatter + 0.01**2
    assert t.ppf(0.975, 4 * (u2 / u2_scatter) ** 2) * sqrt(u2) <= 0.03
    u2_before = 0.02**2 * 5 / (some - 1)
    u2 = u2_before + 0.01**2
    assert t.ppf(0.975, 4 * (u2 / u2_before) ** 2) * sqrt(u2) > 0.03


def test_rejected_repeats_are_made_beside_those_that_count() -> None:
    first = found(scatter_u=0.1, rest_u=1e-9, k=2.776)
    rejected = RepeatRow(2, None, None, False, "clipped")
    first = Estimate(**{**first.__dict__, "repeats": (*first.repeats, rejected)})
    assert repeats_for(first, 0.1, 100) == 40


def test_what_is_said_where_it_is_missed() -> None:
    assert missed(found(scatter_u=0.001, rest_u=0.01), 0.03, PROFILE, 1, 0) is None
    said = missed(found(scatter_u=0.001, rest_u=0.02), 0.03, PROFILE, 1, 0)
    assert said is not None
    assert "4 %, and 3 % was asked for; most of it comes from load resistance" in said.text
    assert "cannot help" in said.remedy
    said = missed(found(scatter_u=0.02, rest_u=0.001), 0.03, PROFILE, 1, 0)
    assert said is not None
    assert "ask for more repeats" in said.remedy
    assert u_rel(found(scatter_u=0.01, rest_u=0.0, r_ohm=-1.0)) is None


def test_the_calibration_that_is_lacking_is_named() -> None:
    def remedy(source: str, code: str) -> str:
        wide = found(scatter_u=0.001, rest_u=0.02)
        budget = tuple(replace(line, source=source) for line in wide.budget if line.type == "B")
        wide = replace(wide, budget=budget, notices=(Notice(code, "", ""),))
        said = missed(wide, 0.03, PROFILE, 0, 1)
        assert said is not None
        return said.remedy

    assert "--step scale-15-low`" in remedy("divider ratio", "uncalibrated")
    assert "--step table`" in remedy("linearity", "onboard_linearity")
    assert "calibrate" not in remedy("linearity", "uncalibrated")
    assert "calibrate" not in remedy("divider ratio", "mains_hum"), "it has a scale"


@pytest.mark.parametrize("keeping", [True, False])
def test_the_interval_of_two_stages_covers_and_is_no_wider_than_asked(keeping: bool) -> None:
    """4 000 series: 95 % within 3 binomial standard deviations where s keeps to the first stage;
    with s from all of them the coverage falls short, which is why."""
    chance = np.random.default_rng(5)
    aim, covered, half_widths = 0.5, 0, []
    for _ in range(4000):
        values = chance.standard_normal(5)
        number = max(5, int(np.ceil((t.ppf(0.975, 4) * values.std(ddof=1) / aim) ** 2)))
        values = np.append(values, chance.standard_normal(number - 5))
        scatter = Scatter.of(values[:, None], 5 if keeping else None)
        half = t.ppf(0.975, scatter.dof) * sqrt(scatter.covariance[0, 0])
        covered += abs(values.mean()) <= half
        half_widths.append(half)
    if not keeping:
        assert covered / 4000 < 0.94
        return
    assert covered / 4000 == pytest.approx(0.95, abs=3 * sqrt(0.95 * 0.05 / 4000))
    assert max(half_widths) <= aim * (1 + 1e-12)
    assert np.mean(half_widths) > 0.9 * aim
