# SPDX-License-Identifier: MIT
"""The budget against other arithmetic: the `uncertainties` package, and our own Monte Carlo.

`uncertainties` propagates by its own derivatives through the same measurement equation; the
Monte Carlo needs no derivatives at all.
"""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
import uncertainties
from uncertainties import ufloat

from analysis.analytic_cell import PROFILE
from sagline.analysis.budget import OUTPUTS, evaluate
from sagline.analysis.calibration import expected_readings, load_resistance, model
from sagline.analysis.influences import SOURCES, influences_of
from sagline.analysis.montecarlo import draw, interval
from sagline.analysis.plan import needs_high_range
from sagline.analysis.profile import LeadsProfile
from sagline.analysis.repeats import Scatter
from sagline_board.profile import LEADS

# Converter, load, open voltage, r: cells of each kind on their usual loads.
CELLS = [(1, 0, 1.58, 0.16), (1, 2, 9.4, 1.9), (1, 3, 3.2, 15.0), (1, 1, 12.9, 0.024),
         (0, 0, 1.58, 0.16), (0, 2, 9.4, 1.9)]  # fmt: skip
NOISE = {0: 0.6, 1: 0.6, 2: 0.6}


def inputs_of(converter, load, open_v, r_ohm):
    profile = replace(PROFILE, leads=LeadsProfile.from_integers(LEADS))
    high = needs_high_range(profile, open_v)
    levels = expected_readings(profile, converter, load, high, open_v, r_ohm)
    levels = replace(levels, i2t_a2s=0.02, slope_ohm_per_s=0.5 * r_ohm)
    return influences_of(profile, converter, load, high, levels, NOISE)


@pytest.mark.parametrize("case", CELLS)
def test_the_law_of_propagation_agrees_with_uncertainties(case):
    inputs = inputs_of(*case)
    numbers = {item.name: ufloat(item.value, item.u) if item.u else item.value for item in inputs}
    theirs = {**dict(zip(OUTPUTS, model(numbers), strict=True)),
              "load_ohm": load_resistance(numbers)}  # fmt: skip
    ours = evaluate(inputs, Scatter.none(len(OUTPUTS)))
    for name, other in theirs.items():
        figure = getattr(ours, name)
        assert figure.value == pytest.approx(other.n, rel=1e-12)
        # Both have exact derivatives of + - * /.
        assert figure.u == pytest.approx(other.s, rel=1e-9)
    covariance = uncertainties.covariance_matrix([theirs["emf_v"], theirs["r_ohm"]])[0][1]
    assert ours.covariance_v_ohm == pytest.approx(covariance, rel=1e-9)


@pytest.mark.parametrize("case", CELLS)
def test_each_line_of_the_budget_agrees_with_uncertainties(case):
    inputs = inputs_of(*case)
    numbers = {item.name: ufloat(item.value, item.u) if item.u else item.value for item in inputs}
    r_ohm = model(numbers)[0]
    sources = {number: item.source for item in inputs
               if hasattr(number := numbers[item.name], "s")}  # fmt: skip
    variance = dict.fromkeys(SOURCES, 0.0)
    for number, u in r_ohm.error_components().items():
        variance[sources[number]] = variance.get(sources[number], 0.0) + u * u
    ours = {line.source: line for line in evaluate(inputs, Scatter.none(len(OUTPUTS))).budget}
    for source, u2 in variance.items():
        assert ours[source].u == pytest.approx(sqrt(u2), rel=1e-9, abs=1e-15)
        assert ours[source].share == pytest.approx(u2 / r_ohm.s**2, rel=1e-9, abs=1e-15)
    assert sum(line.share for line in ours.values()) == pytest.approx(1.0)


@pytest.mark.parametrize("case", CELLS)
def test_the_law_of_propagation_agrees_with_monte_carlo(case):
    """u within 1 %: 200 000 draws give a standard deviation to 0.16 %, and the model is nearly
    linear over the limits of the parts."""
    inputs = inputs_of(*case)
    draws = model(draw(inputs, np.random.default_rng(7), 200_000))
    ours = evaluate(inputs, Scatter.none(len(OUTPUTS)))
    for name, column in zip(OUTPUTS, draws, strict=True):
        figure = getattr(ours, name)
        assert np.std(column) == pytest.approx(figure.u, rel=0.01)
        assert np.mean(column) == pytest.approx(figure.value, abs=0.02 * figure.u)
        # The interval, by whichever of the two it was taken: of a bounded input that
        # dominates, 1.96 u would be too wide by up to a seventh.
        low, high = interval(column)
        share = 0.5 * (figure.high95 - figure.low95) / (0.5 * (high - low))
        assert 0.97 < share < 1.06
