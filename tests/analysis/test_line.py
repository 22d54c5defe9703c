# SPDX-License-Identifier: MIT
"""The V-I line: its least squares, the covariance of its points, which points it takes."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
import uncertainties
from scipy.optimize import least_squares
from scipy.stats import chi2
from uncertainties import ufloat

from analysis.analytic_cell import PROFILE
from sagline.analysis import bank, lineplan, plan
from sagline.analysis.calibrated import Calibration, Known
from sagline.analysis.calibration import expected_readings
from sagline.analysis.line import Points, fit, through
from sagline.analysis.linebudget import LineBudget, Pooled, pooled
from sagline.analysis.linemodel import Level, LineModel
from sagline.analysis.linewords import activation_notice, curved_notice, two_current_notice
from sagline.analysis.montecarlo import draw
from sagline.analysis.nonlinearity import together
from sagline.analysis.profile import LeadsProfile
from sagline.analysis.sagerrors import of_levels
from sagline.analysis.standards import PRESCRIBED, Closed, two_current_ohm, two_current_r
from sagline.analysis.values import ADS1115, AnalysisError, Quantity
from sagline_board import profile as board

RIG = replace(PROFILE, leads=LeadsProfile.from_integers(board.LEADS))
MASKS = (8, 4, 12, 2, 6, 1, 3)
NOISE = {0: 0.6, 1: 0.6, 2: 0.6}


def line_model(
    masks: tuple[int, ...] = MASKS,
    open_v: float = 1.58,
    r_ohm: float = 0.16,
    calibration: Calibration | None = None,
) -> LineModel:
    """The points to expect of an ohmic cell."""
    levels = []
    for mask in masks:
        rig, load = bank.with_mask(RIG, mask)
        readings = expected_readings(rig, ADS1115, load, False, open_v, r_ohm)
        errors = of_levels(RIG, ADS1115, readings.sense_open, readings.sense)
        levels.append(Level(mask, readings, errors, NOISE, "ads1115"))
    return LineModel.of(levels, RIG, ADS1115, False, calibration)


def still(masks: tuple[int, ...], s_v: float = 20e-6) -> Pooled:
    return Pooled(s_v, len(masks), (2,) * len(masks))


# -- the fit ------------------------------------------------------------------


def random_points(seed: int = 3) -> tuple[Points, float, float]:
    """Points on a line of E = 1.5 V, r = 0.2 ohm, with errors that all hang together."""
    rng = np.random.default_rng(seed)
    current_a = np.array([0.02, 0.1, 0.2, 0.4, 0.5])
    mix = rng.standard_normal((10, 12)) * np.repeat([1e-3, 2e-4], 5)[:, None]
    return Points(current_a, 1.5 - 0.2 * current_a, mix @ mix.T), 1.5, 0.2


def test_points_on_a_line_give_it_back() -> None:
    points, emf_v, r_ohm = random_points()
    found = fit(points)
    assert (found.emf_v, found.r_ohm) == pytest.approx((emf_v, r_ohm), rel=1e-12)
    assert found.dof == 3 and found.chi2 == pytest.approx(0.0, abs=1e-12)
    # E counts every point once in all and no current; r the other way round.
    assert found.weights.sum(axis=1) == pytest.approx([1.0, 0.0], abs=1e-9)
    assert found.weights @ points.current_a == pytest.approx([0.0, -1.0], abs=1e-9)


@pytest.mark.parametrize("correlated", [False, True])
def test_errors_in_both_axes_against_another_formulation(correlated: bool) -> None:
    """The least sum of squares over E, r and every true current, by scipy's own search.

    Theirs moves the points along the line; ours is the same to the first order in the errors.
    """
    rng = np.random.default_rng(5)
    true_a = np.linspace(0.05, 0.5, 8)
    covariance = np.diag(np.concatenate([2e-3 * (1.0 + true_a), np.full(8, 3e-4)]) ** 2)
    if correlated:
        gain = np.concatenate([true_a, 1.5 - 0.2 * true_a]) * 2e-3
        covariance += np.outer(gain, gain)
    z = np.concatenate([true_a, 1.5 - 0.2 * true_a])
    z += np.linalg.cholesky(covariance) @ rng.standard_normal(16)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))

    def misses(x):
        return whiten @ (z - np.concatenate([x[2:], x[0] - x[1] * x[2:]]))

    start = np.concatenate([[1.4, 0.1], z[:8]])
    theirs = least_squares(misses, start, xtol=1e-14, ftol=1e-14, gtol=1e-14, x_scale="jac")
    their_covariance = np.linalg.inv(theirs.jac.T @ theirs.jac)[:2, :2]
    found = fit(Points(z[:8], z[8:], covariance))
    u = np.sqrt(np.diag(found.covariance))
    assert np.all(np.abs([found.emf_v, found.r_ohm] - theirs.x[:2]) < 0.05 * u)
    assert found.covariance == pytest.approx(their_covariance, rel=0.02)
    assert found.chi2 == pytest.approx(2.0 * theirs.cost, rel=0.02)


def test_the_covariance_is_the_scatter_of_many_lines() -> None:
    points, emf_v, r_ohm = random_points()
    rng = np.random.default_rng(6)
    z = np.concatenate([points.current_a, points.v])
    drawn = rng.multivariate_normal(z, points.covariance, 4000)
    found = [fit(Points(one[:5], one[5:], points.covariance)) for one in drawn]
    lines = np.array([(one.emf_v, one.r_ohm) for one in found])
    covariance = fit(points).covariance
    assert np.cov(lines.T) == pytest.approx(covariance, rel=0.1)
    u = np.sqrt(np.diag(covariance))
    assert lines.mean(axis=0) == pytest.approx((emf_v, r_ohm), abs=0.1 * u.max())
    for index, true in enumerate((emf_v, r_ohm)):
        inside = np.abs(lines[:, index] - true) < 1.96 * u[index]
        assert 0.935 < inside.mean() < 0.965
    # And the misfit is chi squared of k − 2: its mean, and how often it is beyond 99 %.
    misfit = np.array([one.chi2 for one in found])
    assert misfit.mean() == pytest.approx(3.0, rel=0.05)
    assert 0.005 < (misfit > chi2.ppf(0.99, 3)).mean() < 0.017


def test_a_common_scale_error_moves_e_and_r_alike() -> None:
    """V' = (1 + g) V: E and r both grow by g, whatever the weights."""
    i, u_g = np.array([0.1, 0.3, 0.5]), 2e-3
    v = 1.5 - 0.2 * i
    covariance = np.zeros((6, 6))
    covariance[3:, 3:] = u_g**2 * np.outer(v, v) + 1e-12 * np.eye(3)
    found = fit(Points(i, v, covariance))
    u = np.sqrt(np.diag(found.covariance))
    assert u == pytest.approx([1.5 * u_g, 0.2 * u_g], rel=1e-3)
    assert found.covariance[0, 1] / (u[0] * u[1]) == pytest.approx(1.0, abs=1e-3)


def test_a_bend_is_told_with_its_way() -> None:
    """V = E − r·I + c·I²: c comes back, and beside 0.1 mV a bend of 1 mV is no chance."""
    i = np.array([0.05, 0.15, 0.3, 0.5])
    covariance = np.zeros((8, 8))
    covariance[4:, 4:] = 1e-8 * np.eye(4)
    found = fit(Points(i, 1.5 - 0.2 * i + 0.03 * i * i, covariance))
    assert found.curvature is not None
    assert found.curvature[0] == pytest.approx(0.03, rel=1e-6)
    assert chi2.sf(found.chi2, found.dof) < 1e-3
    assert "is less at a greater one" in curved_notice(0.03, found.chi2, 2, 1e-4).text
    assert "is more at a greater one" in curved_notice(-0.03, found.chi2, 2, 1e-4).text


def test_a_line_needs_two_currents() -> None:
    with pytest.raises(ValueError, match="two points"):
        Points(np.array([0.1]), np.array([1.5]), np.eye(2))
    with pytest.raises(ValueError, match="do not differ"):
        fit(Points(np.array([0.1, 0.1]), np.array([1.5, 1.5]), np.eye(4)))
    two = fit(Points(np.array([0.1, 0.5]), np.array([1.48, 1.4]), 1e-6 * np.eye(4)))
    assert (two.r_ohm, two.emf_v, two.dof, two.curvature) == (
        pytest.approx(0.2), pytest.approx(1.5), 0, None
    )  # fmt: skip


def test_two_currents_as_in_a_textbook() -> None:
    """OpenStax, College Physics 2e, chapter 21: −2.00 V for +5.00 A more is 0.400 ohm.
    And a maker's bulletin: 1.485 V at 5 mA, 1.378 V at 505 mA, 0.214 ohm."""
    assert two_current_ohm(0.0, 12.0, 5.0, 10.0) == pytest.approx(0.400)
    assert two_current_ohm(0.005, 1.485, 0.505, 1.378) == pytest.approx(0.214)


def test_a_two_current_r_says_its_currents_and_times_and_what_it_is_not() -> None:
    light, heavy = Closed(1.568, 0.0835, 0.1), Closed(1.516, 0.402, 0.1)
    told = two_current_notice(Quantity(0.1627, 1e-3, None, 2.0, 0.1607, 0.1647), light, heavy)
    assert "0.1627 Ω (U = 0.002 Ω)" in told.text
    assert "1.568 V at 0.0835 A after 0.1 s and 1.516 V at 0.402 A after 0.1 s" in told.text
    assert "no figure of a standard" in told.remedy
    # It departs from both that are named in every current and time.
    r_ohm = two_current_r(light, heavy, None)
    for method in PRESCRIBED:
        assert method.name in told.remedy and len(r_ohm.departures(method, 2.6)) == 4
    assert r_ohm.r_ohm == two_current_ohm(0.0835, 1.568, 0.402, 1.516)


# -- the covariance of the points ---------------------------------------------


def by_uncertainties(model: LineModel) -> list[list[float]]:
    """The covariance of all currents, then all voltages below the open one, by that package's own
    derivatives."""
    numbers = {key: ufloat(item.value, item.u) for key, item in model.inputs.items()}
    numbers |= dict.fromkeys(together(model.errors).names, 0.0)
    pairs = model.terminals(numbers)
    open_v = model.outputs(numbers)[-1].emf_v
    z = [i for i, _ in pairs] + [v - open_v for _, v in pairs]
    return uncertainties.covariance_matrix(z)


def test_the_points_covariance_agrees_with_uncertainties() -> None:
    model = line_model()
    covariance = LineBudget(model, Pooled(0.0, 0, (1,) * len(MASKS))).below.covariance
    # Non-linearity apart, which that package is not told of.
    calm = replace(model, errors={
        mask: replace(one, parts=()) for mask, one in model.errors.items()
    })  # fmt: skip
    ours = LineBudget(calm, Pooled(0.0, 0, (1,) * len(MASKS))).below.covariance
    theirs = np.array(by_uncertainties(calm))
    scale = np.sqrt(np.outer(np.diag(theirs), np.diag(theirs)))
    assert ours / scale == pytest.approx(theirs / scale, abs=1e-9)
    assert np.all(np.diag(covariance)[len(MASKS) :] > np.diag(ours)[len(MASKS) :])


def test_a_load_in_two_points_errs_in_both() -> None:
    """3.3 ohm and 3.3 ∥ 15 ohm share what carries most of the current; 15 and 3.3 do not."""
    made = LineBudget(line_model(), still(MASKS))
    misfit = made.below.misfit_covariance(made.fit.r_ohm)
    r = misfit / np.sqrt(np.outer(np.diag(misfit), np.diag(misfit)))
    of = {mask: index for index, mask in enumerate(MASKS)}
    assert r[of[1], of[3]] > 0.8
    assert abs(r[of[1], of[2]]) < 0.3


@pytest.mark.parametrize("calibrated", [False, True])
def test_the_law_agrees_with_monte_carlo(calibrated: bool) -> None:
    """E, r, their gap and a two-current r: u within 2 %, the interval's own draws apart."""
    known = None
    if calibrated:
        known = Calibration(
            "x",
            scales={(n, False, "ads1115"): Known(1.0 + 2e-3 * n, 1e-3) for n in range(4)},
            voltage_scales={(ADS1115, False): Known(1.001, 5e-4)},
        )
    model = line_model(calibration=known)
    made = LineBudget(model, still(MASKS))
    rng = np.random.default_rng(11)
    x = draw([replace(item, name=key) for key, item in model.inputs.items()], rng, 40_000)
    x.update(together(model.errors).draws(rng, 40_000))
    pairs = model.terminals(x)
    i = np.stack([one for one, _ in pairs])
    u_v = np.array(still(MASKS).u_v)[:, None]
    v = np.stack([one for _, one in pairs]) + u_v * rng.standard_normal(i.shape)
    weights, r_ohm = made.fit.weights, made.fit.r_ohm
    open_v = model.outputs(x)[-1].emf_v
    gaps, r = weights @ (v - open_v + r_ohm * i) + np.array([[0.0], [r_ohm]])
    lines = np.stack([open_v + gaps, r])
    for number, column in zip((made.emf_v, made.r_ohm), lines, strict=True):
        assert number.u == pytest.approx(np.std(column), rel=0.02)
        assert np.mean(column) == pytest.approx(number.x, abs=0.05 * number.u)
    assert made.covariance_v_ohm == pytest.approx(np.cov(lines)[0, 1], abs=0.02 * sqrt(
        np.var(lines[0]) * np.var(lines[1])
    ))  # fmt: skip
    assert made.gap_v.u == pytest.approx(np.std(gaps), rel=0.02)
    assert made.fit.covariance == pytest.approx(np.cov(gaps, r), rel=0.05, abs=1e-9)
    two = two_current_ohm(i[0], v[0], i[-1], v[-1])
    found = made.two_current(0, len(MASKS) - 1)
    assert found.u == pytest.approx(np.std(two), rel=0.02)
    # A calibration of 0.1 % leaves far less than tolerances of 1 %.
    assert (made.r_ohm.u / r_ohm < 0.0025) == calibrated


def test_lines_through_drawn_points_hold_the_true_one() -> None:
    """1 000 rigs by the model's own inputs, each with a line of its own: held in 95 %, no more."""
    masks = (4, 2, 1)
    model = line_model(masks)
    made = LineBudget(model, still(masks))
    covariance = made.below.covariance
    z = np.concatenate([made.below.current_a, made.below.v])
    rng = np.random.default_rng(12)
    inside = np.zeros(2)
    for one in rng.multivariate_normal(z, covariance, 1000):
        found = fit(Points(one[:3], one[3:], covariance))
        u = np.sqrt(np.diag(found.covariance))
        error = np.array([found.emf_v - made.fit.emf_v, found.r_ohm - made.fit.r_ohm])
        inside += np.abs(error) < 1.96 * u
    assert np.all((inside / 1000 > 0.93) & (inside / 1000 < 0.97))


def test_the_lines_e_is_the_open_one_for_an_ohmic_cell() -> None:
    """Both are counted from one open voltage, so their gap is known far better than either."""
    made = LineBudget(line_model(), still(MASKS))
    gap, emf_v = made.gap(), made.emf()
    assert gap.u is not None and emf_v.u is not None
    assert gap.value == pytest.approx(0.0, abs=1e-6)
    assert gap.u < 0.05 * emf_v.u
    told = activation_notice(Quantity(-2e-3, 1e-4, None, 2.0, -2.2e-3, -1.8e-3))
    assert told.code == "activation_polarization" and "2 mV (U = 0.2 mV) below" in told.text


def test_scatter_of_all_points_is_one_estimate() -> None:
    """Worked by hand: I·δr of ±10 µV and ±30 µV, two repeats each: s² = (200 + 1800)/2 µV²."""
    found = pooled(
        [0.1, 0.3], [np.array([1e-4, -1e-4]), np.array([1e-4, -1e-4])], [2, 2], [0.0, 0.0]
    )  # fmt: skip
    assert found.s_v == pytest.approx(sqrt(1000.0) * 1e-6)
    assert (found.dof, found.counts) == (2, (2, 2))
    assert found.u_v == pytest.approx([found.s_v / sqrt(2.0)] * 2)
    once = LineBudget(
        line_model((4, 2, 1)), pooled([0.1] * 3, [np.zeros(1)] * 3, [1] * 3, [0.0] * 3)
    )
    assert once.r().u is None and once.r().value == pytest.approx(0.16, rel=1e-3)


def test_scatter_that_non_linearity_explains_is_not_counted_again() -> None:
    """As above, less what two repeats at other codes are expected to make: s.d. of 5 and 20 µV."""
    deviations = [np.array([1e-4, -1e-4]), np.array([1e-4, -1e-4])]
    found = pooled([0.1, 0.3], deviations, [2, 2], [5e-6, 20e-6])
    assert found.s_v == pytest.approx(sqrt(1000.0) * 1e-6) and found.dof == 2
    noise_uv = sqrt((1000.0 - (25.0 + 400.0) / 2.0) / 2.0)
    assert found.u_v == pytest.approx([noise_uv * 1e-6] * 2)
    assert pooled([0.1, 0.3], deviations, [2, 2], [40e-6, 40e-6]).u_v == [0.0, 0.0]
    # The line runs where it would anyway; only what it is believed to differs.
    alike, explained = (Pooled(20e-6, 7, (2,) * 7, part) for part in (0.0, 15e-6))
    one, other = LineBudget(line_model(), alike), LineBudget(line_model(), explained)
    assert other.fit.weights == pytest.approx(one.fit.weights)
    assert other.gap_v.u < one.gap_v.u


def test_the_same_weights_make_the_same_line() -> None:
    points, emf_v, r_ohm = random_points()
    found = fit(points)
    again, _, _ = through(points.current_a, points.v, found.precision)
    assert again == pytest.approx((emf_v, r_ohm))


# -- combinations -------------------------------------------------------------


def test_a_combination_is_its_loads_in_parallel_behind_one_arm_switch() -> None:
    """3.3 and 15 ohm, each with 20.5 mohm of its own, behind 20.5 mohm: 2.7390 ohm by hand."""
    rig, load = bank.with_mask(RIG, 3)
    entry = rig.loads[load]
    assert load == 4 and entry.load_ohm == pytest.approx(2.705, abs=1e-3)
    whole = 1.0 / (1.0 / 3.3205 + 1.0 / 15.0205) + 0.0205
    assert entry.load_ohm + entry.switch_ohm == pytest.approx(whole, abs=1e-3)
    assert bank.with_mask(RIG, 2) == (RIG, 1)
    assert bank.words(RIG, 3) == "3.3 ∥ 15 Ω" and bank.heaviest(RIG, 6) == 1


def test_a_combination_has_the_scale_of_its_loads_or_none() -> None:
    """K is true over nominal resistance: with every load 1 % high, so is the combination."""
    masks = (4, 2, 1, 3)
    scales = {(n, False, "ads1115"): Known(1.01, 1e-4) for n in range(4)}
    plain = line_model(masks).outputs(_nominal(line_model(masks)))
    model = line_model(masks, calibration=Calibration("x", scales=scales))
    found = model.outputs(_nominal(model))
    for one, other in zip(found, plain, strict=True):
        assert one.r_ohm == pytest.approx(1.01 * other.r_ohm, rel=1e-6)
    del scales[(1, False, "ads1115")]
    model = line_model(masks, calibration=Calibration("x", scales=scales))
    found = model.outputs(_nominal(model))
    assert found[2].r_ohm == pytest.approx(1.01 * plain[2].r_ohm, rel=1e-6)
    assert found[3].r_ohm == pytest.approx(plain[3].r_ohm, rel=1e-6)


def _nominal(model: LineModel) -> dict[str, float]:
    values = {key: item.value for key, item in model.inputs.items()}
    return values | dict.fromkeys(together(model.errors).names, 0.0)


# -- the plan -----------------------------------------------------------------


def usual(open_v: float, designation: str) -> plan.Plan:
    return plan.choose(RIG, ADS1115, open_v, designation)


def test_an_alkaline_cell_gets_every_load_and_what_differs_of_combinations() -> None:
    found = lineplan.choose(RIG, usual(1.58, "LR6"), 1.58, 0.16)
    assert found.masks == MASKS
    assert found.load_ohm[0] == 470.0 and found.load_ohm[-1] == pytest.approx(3.3 * 15 / 18.3)
    assert found.order == MASKS + MASKS[::-1]
    for light, heavy in zip(found.load_ohm, found.load_ohm[1:], strict=False):
        assert light >= lineplan.APART * heavy
    assert (found.rest_ms, found.on_ms, found.recovery_ms) == (5000, 300, 1000)
    assert "7 currents" in found.reason and "3.3 ∥ 15 Ω" in found.reason


def test_a_cell_is_not_asked_for_more_than_a_quarter_of_its_voltage() -> None:
    found = lineplan.choose(RIG, usual(9.4, "6LR61"), 9.4, 1.9)
    assert min(found.load_ohm) >= 3.0 * 1.9 and found.masks == (8, 4, 12, 2, 6)
    assert "quarter of E" in found.reason


def test_loads_together_keep_to_what_the_force_path_bears() -> None:
    """12.9 V: 3.3 and 15 ohm take 4.77 A by hand, below 5 A; a board that does not say what its
    force path bears is taken to bear 4 A."""
    block = usual(12.9, "PB12")
    assert 3 in lineplan.choose(RIG, block, 12.9, 0.012).masks
    silent = replace(RIG, leads=None)
    assert lineplan.sum_limit_a(silent) == 4.0
    assert 3 not in lineplan.choose(silent, block, 12.9, 0.012).masks
    # 3.3 ohm itself bears 13.2 V (4 A) and not 13.3 V.
    told = lineplan.choose(RIG, usual(13.3, "PB12"), 13.3, 0.012)
    assert not any(mask & 1 for mask in told.masks) and "beyond the rig's limits" in told.reason


def test_too_few_currents_are_refused_with_what_to_do() -> None:
    with pytest.raises(AnalysisError) as caught:
        lineplan.choose(RIG, usual(3.2, "CR2032"), 3.2, 25.0)
    assert caught.value.code == "too_few_currents"
    assert "1 current" in caught.value.message and "--load 470" in caught.value.remedy
