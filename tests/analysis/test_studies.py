# SPDX-License-Identifier: MIT
"""The studies' own arithmetic (tests/bench), against distributions and closed forms."""

from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from analysis.analytic_cell import DIODE_V, LEADS_OHM, Rig, make_step
from analysis.analytic_cell import Cell as AnalyticCell
from bench.custom import draw_custom
from bench.draws import FRONT_ENDS, Draw, Figure, Study
from bench.efficiency import One, Row
from bench.observer import REST_WINDOW_S, observe, resistance
from bench.tally import Cover, overall_of, rows_of, wrong
from sagline.designations import DESIGNATIONS
from sagline.virtual.cells import CELLS
from sagline.virtual.parts import nominal_parts
from sagline_board import profile

N = 10_000
NORMAL_95 = 1.959964  # the normal distribution's 97.5 % quantile (any table of it)


def draws(bias: float = 0.0, sd: float = 1.0, tails: float | None = None) -> list[Draw]:
    """Figures whose error is normal, of `sd` times the u they claim (or Student's t)."""
    rng = np.random.default_rng(1)
    z = rng.standard_normal(N) if tails is None else rng.standard_t(tails, N)
    found = []
    for number, error in enumerate(bias + sd * z):
        u, true = 0.01, 2.0
        value = true + error * u
        figure = Figure(value, u, value - NORMAL_95 * u, value + NORMAL_95 * u, true)
        found.append(Draw(number, "lr6", ("null", "both")[number % 2], "rp2040", 3.3, r=figure))
    return found


def test_a_normal_error_with_its_own_u_is_held_in_95_percent() -> None:
    found = draws()
    rows, overall = rows_of(found, ("front_end",)), overall_of(found)
    cover = overall.covers["r"]
    assert cover is not None
    assert [row.key for row in rows] == [("null",), ("both",)]
    assert [row.draws for row in rows] == [N // 2, N // 2]
    # Binomial: s.d. 0.22 % for 10 000.
    assert cover.share == pytest.approx(0.95, abs=4 * 0.0022)
    assert cover.share_sd == pytest.approx(0.00218, abs=1e-5)
    # 1.96 · 0.01 / 2.0
    assert cover.half_rel == pytest.approx(0.0098, rel=1e-3)
    assert cover.sd == pytest.approx(1.0, abs=0.03)
    assert cover.quantiles == pytest.approx((-1.96, -0.994, 0.0, 0.994, 1.96), abs=0.08)
    assert wrong(rows, overall) == []
    assert overall.covers["emf"] is None


@pytest.mark.parametrize(
    ("given", "expected_share", "says"),
    [
        # Phi(1.96/1.3) - Phi(-1.96/1.3), Phi(1.96/0.8) - ..., and with a mean of 0.6 and of
        # 0.15, from a table of the normal distribution; Student's t of 3: P(|t| < 1.96).
        ({"sd": 1.3}, 0.868, "too narrow"),
        ({"sd": 0.8}, 0.986, "too wide"),
        ({"bias": 0.6}, 0.908, "biased"),
        ({"bias": 0.15}, 0.947, "mean error +0.1"),
        ({"tails": 3.0}, 0.855, ""),
    ],
)
def test_a_wrong_u_or_a_bias_is_told_and_named(
    given: dict[str, float], expected_share: float, says: str
) -> None:
    found = draws(**given)
    overall = overall_of(found)
    cover = overall.covers["r"]
    assert cover is not None
    assert cover.share == pytest.approx(expected_share, abs=0.014)
    told = wrong([], overall)
    assert told and all("r(0.1 s)" in words for words in told)
    assert any(says in words for words in told)


def test_few_draws_are_judged_by_their_own_chance() -> None:
    """Of ten with 95 % each, eight or fewer held are common: 0.95^10 + ... leaves 8.6 %."""
    held = Figure(1.0, 0.1, 0.8, 1.2, 1.05)
    missed = replace(held, truth=1.3)
    assert Cover.of([]) is None
    one = Cover.of([held])
    few, many = Cover.of([held] * 9 + [missed]), Cover.of([held] * 400 + [missed] * 80)
    assert one is not None and one.share == 1.0 and one.wrong() == []
    assert few is not None and not any("covered" in words for words in few.wrong())
    assert many is not None and any("covered in 83.3%" in words for words in many.wrong())


def test_refusals_are_counted_and_crashes_are_wrong() -> None:
    which = Draw(0, "lr6", "null", "rp2040", 3.3)
    found = [
        replace(which, number=1, refused="clipped"),
        replace(which, number=2, refused="crash ValueError"),
        replace(which, number=3, refused="clipped"),
    ]
    row = rows_of(found, ("cell",))[0]
    assert row.refusals == {"clipped": 2, "crash ValueError": 1}
    assert row.wrong() == ["lr6: 1 × crash ValueError"]


def test_a_draw_is_a_function_of_its_number_and_survives_its_file() -> None:
    study = Study(("6lr61", "custom"), tuple(name for name in FRONT_ENDS if name != "null"))
    first, again = study.draw(4), study.draw(4)
    assert first.cell == "custom" and first.front_end == "both" and first.refused is None
    assert replace(again, seconds=first.seconds) == first
    assert Draw.from_dict(first.to_dict()) == first
    # Six rows: the boards take turns from one round to the next.
    assert [study.draw(number).board for number in (0, 6)] == ["rp2350", "rp2040"]


def test_custom_cells_can_be_loaded_as_they_are_told(tmp_path: Path) -> None:
    seen_ohm = set()
    for seed in range(200):
        custom = draw_custom(np.random.default_rng(seed), tmp_path / "cell.toml")
        load = next(
            one for one in profile.LOADS if one["load_milliohm"] == round(custom.load_ohm * 1e3)
        )
        assert custom.cell.emf_v / custom.load_ohm <= load["max_ma"] / 1e3
        assert custom.cell.emf_v <= load["max_mv"] / 1e3
        seen_ohm.add(custom.load_ohm)
    assert seen_ohm == {3.3, 15.0, 68.0, 470.0}
    assert {designation.load_ohm for designation in DESIGNATIONS.values()} <= seen_ohm


def test_the_ratio_of_scatters_knows_how_well_it_is_known() -> None:
    """Pairs of normal errors, correlation 0.8, s.d. 1.5 to 1: the ratio of their s.d., and how
    much it varies from study to study, is known."""
    rng = np.random.default_rng(11)
    rows = []
    for _ in range(300):
        common, own = rng.standard_normal((2, 60)) * 1e-4
        ones = [
            One("lr6", "both", (0.1,), (0.2 + 1.5 * ours,), (0.2 + his,), (1e-4,))
            for his, ours in zip(common, 0.8 * common + 0.6 * own, strict=True)
        ]
        rows.append(Row.of(ones, 0))
    ratios = [row.ratio for row in rows]
    assert np.mean(ratios) == pytest.approx(1.5, abs=0.03)
    # 300 studies tell a s.d. to 4 %.
    assert np.std(ratios) == pytest.approx(np.mean([row.ratio_sd for row in rows]), rel=0.16)
    assert rows[0].n == 60 and rows[0].known_sd == pytest.approx(1e-4)


def test_the_observer_is_least_squares() -> None:
    """A cell without pairs: level and drift, and a step of known size. The variance of the
    step is sigma²/S, S the sum of squares of its column less what a line takes of it (Frisch
    and Waugh, Econometrica 1 (1933) 387)."""
    plain = replace(CELLS["lr6"], rc=(), diffusion_ohm_per_sqrt_s=0.0, emf_slope_v=0.0)
    noise = 8.0
    rng = np.random.default_rng(7)
    analytic = AnalyticCell(plain.emf_v, plain.r_instant_ohm)
    steps = [
        make_step(analytic, rng=rng, noise_codes=noise, rest_s=1.5, recovery_s=0.0)
        for _ in range(3)
    ]
    seen = observe(steps, plain, (0.1,))
    squares = 0.0
    for raw in steps:
        t_us = raw.start_us + raw.length_us / 2 - raw.edges_us[0]
        chosen = (raw.source == 4) & (raw.start_us >= raw.edges_us[0] - REST_WINDOW_S * 1e6)
        t_us, n = t_us[chosen], raw.n[chosen]
        column = (t_us > 0).astype(float)
        line = np.polyfit(t_us, column, 1, w=np.sqrt(n))
        squares += float(np.sum(n * (column - np.polyval(line, t_us)) ** 2))
    # The analytic cell's diode takes 0.3 V whatever the current; the observer goes by the
    # circuit's current, so that his r is the sag over that.
    bank = nominal_parts()
    loop_ohm = bank.load_ohm[0] + bank.switch_ohm[0] + LEADS_OHM + plain.r_instant_ohm
    sag_v = (plain.emf_v - DIODE_V) / loop_ohm * plain.r_instant_ohm
    at_s = np.array([0.1])
    _, rise_a = resistance(plain, 0, False, at_s, np.zeros(1))
    true_ohm = sag_v / rise_a[0]
    volts = np.array([plain.emf_v, plain.emf_v - sag_v])
    sag_code = -float(np.diff(Rig().code(1, 0, volts, False))[0])
    # One conversion's noise on rounded codes: the rounding's own 1/12 comes to it.
    expected = sqrt((noise**2 + 1.0 / 12.0) / squares) / sag_code * true_ohm
    assert seen.sd_ohm[0] == pytest.approx(expected, rel=0.02)
    assert seen.r_ohm[0] == pytest.approx(true_ohm, abs=3 * expected)
    assert seen.chi2 / seen.dof == pytest.approx(1.0, abs=0.02)
