# SPDX-License-Identifier: MIT
"""Voltmeter readings: u against another library's propagation, t factors, and refusals."""

from math import sqrt

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat

from analysis.sheets import codes, said
from sagline.analysis.hand.advice import LEAST_SHARE, Terms, drawn, halving
from sagline.analysis.hand.beyond import beyond
from sagline.analysis.values import AnalysisError, Quantity

STATED = {"u_volts": "0.002", "u_ohm": "0.5%", "u_amps": "0.4%", "u_watts": "1%"}
SINGLE = "open=1.580 loaded=1.490"


def test_u_on_a_load_is_that_of_another_library() -> None:
    """By the `uncertainties` package."""
    e, v = ufloat(1.58, 0.002), ufloat(1.49, 0.002)
    load, lead = ufloat(10.0, 0.05), ufloat(0.03, 0.005 / sqrt(3.0))
    found = said("voltmeter", f"{SINGLE} load=10.0", **STATED)
    wanted = load * (e - v) / v
    assert found.r.value == pytest.approx(wanted.n)
    assert found.r.u == pytest.approx(wanted.s, rel=1e-9)
    with_lead = said("voltmeter", f"{SINGLE} load=10.0", lead_ohm="0.03", **STATED)
    wanted = (load + lead) * (e - v) / v
    assert with_lead.r.value == pytest.approx(wanted.n)
    assert with_lead.r.u == pytest.approx(wanted.s, rel=1e-9)
    assert with_lead.load is not None and with_lead.load.value == 10.0, "without its leads"


def test_u_with_a_current_or_watts_is_that_of_another_library() -> None:
    """By the `uncertainties` package."""
    e, v = ufloat(1.58, 0.002), ufloat(1.49, 0.002)
    amps, watts = ufloat(0.149, 0.004 * 0.149), ufloat(0.222, 0.00222)
    for closer, wanted in (("amps=0.149", (e - v) / amps), ("watts=0.222", (e - v) * v / watts)):
        found = said("voltmeter", f"{SINGLE} {closer}", **STATED)
        assert found.r.value == pytest.approx(wanted.n)
        assert found.r.u == pytest.approx(wanted.s, rel=1e-9)
        assert found.r.dof is None and found.r.k == pytest.approx(1.959964, abs=1e-5)


def test_without_a_stated_u_half_a_digit_is_all() -> None:
    """u = 0.29 of a digit (GUM F.2.2.1), and 95 % of a rectangle is 0.95 of its half width."""
    found = said("voltmeter", "open=1.58 loaded=1.49 load=10.0")
    assert found.emf is not None
    assert found.emf.u == pytest.approx(0.29 * 0.01, rel=5e-3)
    assert found.emf.high95 is not None
    assert found.emf.high95 - 1.58 == pytest.approx(0.95 * 0.005, rel=5e-3)
    assert codes(found).count("resolution_only") == 2
    told = [one for one in found.notices if one.code == "resolution_only"]
    assert "±0.005 V" in told[0].text and "--u-volts" in told[0].remedy
    assert "±0.05 Ω" in told[1].text and "--u-ohm" in told[1].remedy
    finer = said("voltmeter", "open=1.580 loaded=1.490 load=10.00")
    assert finer.r.u is not None and found.r.u is not None
    assert finer.r.u < 0.2 * found.r.u, "1.580 says more than 1.58"


def test_repeats_bring_their_scatter_and_its_degrees_of_freedom() -> None:
    """Loaded readings alone scatter; k is Student's t (scipy) of the Welch-Satterthwaite dof."""
    values = (1.480, 1.495, 1.487, 1.498)
    readings = " ".join(f"loaded={value:.3f}" for value in values)
    found = said("voltmeter", f"open=1.58000 {readings} load=10.000", u_volts="1e-6", u_ohm="1e-6")
    v, u = float(np.mean(values)), float(np.std(values, ddof=1)) / 2.0
    assert found.r.u == pytest.approx(10.0 * 1.58 / v**2 * u, rel=1e-4)
    assert found.r.dof == pytest.approx(3.0, rel=1e-3)
    assert found.r.k == pytest.approx(stats.t.ppf(0.975, 3), rel=1e-3)
    line = next(line for line in found.budget if line.source == "repeats of loaded voltage")
    assert line.type == "A" and line.share > 0.99
    [row] = [row for row in found.table if row.n == 4]
    assert row.half_range == pytest.approx(0.009)
    assert row.u == pytest.approx(u, rel=1e-3)


def test_the_whole_read_again_counts_its_scatter_once() -> None:
    """Three pairs on one load: r is their mean, s/sqrt(3) with 2 degrees of freedom."""
    pairs = ((1.5801, 1.4905), (1.5803, 1.4899), (1.5798, 1.4896))
    readings = " ".join(f"open={e} loaded={v} load=10.000" for e, v in pairs)
    found = said("voltmeter", readings, u_volts="1e-7", u_ohm="1e-7")
    each = np.array([10.0 * (e / v - 1.0) for e, v in pairs])
    assert found.r.value == pytest.approx(each.mean(), rel=1e-9)
    assert found.r.u == pytest.approx(each.std(ddof=1) / sqrt(3.0), rel=1e-4)
    assert found.r.dof == pytest.approx(2.0, rel=1e-3)
    assert [row.r_ohm for row in found.groups] == pytest.approx(each)
    assert {line.source for line in found.budget if line.share > 1e-6} == {"between repeats"}


def test_what_the_meters_are_off_by_is_not_lessened_by_repeating() -> None:
    """By the `uncertainties` package: one error of each voltage and of the current for all."""
    readings = "open=1.580 loaded=1.490 amps=0.149"
    once = said("voltmeter", readings, **{k: STATED[k] for k in ("u_volts", "u_amps")})
    thrice = said("voltmeter", f"{readings} {readings} {readings}", u_volts="0.002", u_amps="0.4%")
    assert thrice.r.u == pytest.approx(once.r.u, rel=1e-6)


def test_open_readings_in_common_keep_their_scatter() -> None:
    readings = "open=1.57 open=1.58 open=1.59 loaded=1.4900 load=10.0 loaded=1.4901 load=10.0"
    found = said("voltmeter", readings, u_volts="1e-6", u_ohm="1e-6")
    assert found.emf is not None
    assert found.emf.u == pytest.approx(0.01 / sqrt(3.0), rel=1e-3)
    sources = {line.source for line in found.budget}
    assert "repeats of open voltage" in sources and "repeats of loaded voltage" not in sources


def test_open_before_and_after_bound_a_drift() -> None:
    found = said("voltmeter", "open=1.580 loaded=1.490 load=10.0 open=1.570", u_volts="1e-6")
    assert found.emf is not None and found.emf.value == pytest.approx(1.575)
    assert found.emf.u == pytest.approx(0.005 / sqrt(3.0), rel=1e-3)
    assert "drift of the open voltage" in {line.source for line in found.emf_budget}


def test_r_of_different_loads_is_not_averaged() -> None:
    readings = "open=1.580 loaded=1.540 load=47.0 loaded=1.440 load=10.0"
    found = said("voltmeter", readings, u_volts="0.001", u_ohm="0.5%")
    light, heavy = (said("voltmeter", f"open=1.580 {rest}", u_volts="0.001", u_ohm="0.5%")
                    for rest in ("loaded=1.540 load=47.0", "loaded=1.440 load=10.0"))  # fmt: skip
    assert found.r == heavy.r, "the one with the smaller U"
    assert [row.kept for row in found.groups] == [False, True]
    assert found.groups[0].r_ohm == light.r.value
    assert "47 Ω" in (found.groups[0].reason or "")
    assert "several_settings" in codes(found)


@pytest.mark.parametrize(
    ("readings", "code", "remedy"),
    [
        ("loaded=1.49 load=10", "no_open_voltage", "--open"),
        ("open=1.58", "no_readings", "--loaded"),
        ("open=1.50 loaded=1.58 load=10.0", "loaded_above_open", "rest"),
        ("open=1.58 loaded=1.49 amps=0", "no_current", "load"),
        ("open=-1.58 loaded=1.49 load=10.0", "open_not_positive", "positive lead"),
        ("open=12.0 loaded=11.0 amps=-10.0", "charged_below_open", "--amps"),
        ("open=12.0 loaded=16.0 amps=10.0", "loaded_above_open", "minus sign"),
    ],
)
def test_what_no_cell_shows_is_refused(readings: str, code: str, remedy: str) -> None:
    with pytest.raises(AnalysisError) as caught:
        said("voltmeter", readings)
    assert caught.value.code == code and caught.value.exit_status == 4
    assert remedy in caught.value.remedy


def test_within_u_of_zero_a_bound_is_said() -> None:
    found = said("voltmeter", "open=1.580 loaded=1.581 load=10.0", u_volts="0.002")
    assert found.r.value < 0.0
    assert found.r.high95 is not None and found.r.high95 > 0.0
    told = next(one for one in found.notices if one.code == "r_not_told_from_zero")
    assert f"{found.r.high95:.2g} Ω" in told.text
    assert found.short_circuit is None, "nothing positive to divide by"
    with pytest.raises(AnalysisError):
        said("voltmeter", "open=1.580 loaded=1.587 load=10.0", u_volts="0.002")


def test_u_on_another_load_is_what_propagation_says() -> None:
    """By the `uncertainties` package, for readings taken on that other load."""
    terms, r_ohm = Terms(1.58, 0.002, 0.003, 0.01), 0.6
    for load_ohm in (0.3, 1.0, 4.7, 33.0):
        v = drawn(1.58, r_ohm, load_ohm).terminal_v
        wanted = ufloat(load_ohm, 0.01 * load_ohm) * (ufloat(1.58, 0.002) / ufloat(v, 0.003) - 1.0)
        assert wanted.n == pytest.approx(r_ohm)
        assert terms.u_ohm(load_ohm, r_ohm) == pytest.approx(wanted.s, rel=1e-9)


def test_the_best_load_is_near_r_and_the_halving_one_halves() -> None:
    terms, r_ohm = Terms(1.58, 0.002, 0.002, 0.0), 0.6
    loads = np.geomspace(0.05, 100.0, 4000) * r_ohm
    best = loads[np.argmin([terms.u_ohm(load, r_ohm) for load in loads])]
    assert 0.4 * r_ohm < best < 2.0 * r_ohm
    value = halving(terms, 33.0, r_ohm)
    assert value is not None
    assert terms.u_ohm(value, r_ohm) <= 0.5 * terms.u_ohm(33.0, r_ohm)
    # The next larger one of E12 does not.
    assert terms.u_ohm(value * 1.25, r_ohm) > 0.5 * terms.u_ohm(33.0, r_ohm)
    assert halving(terms, LEAST_SHARE * r_ohm, r_ohm) is None
    # Half of u comes of the load itself: nothing else can halve it.
    assert halving(Terms(1.58, 1e-4, 1e-4, 0.05), 10.0, r_ohm) is None


def test_advice_minds_the_current() -> None:
    usual = said("voltmeter", "open=1.580 loaded=1.566 load=33.0", designation="LR6", **STATED)
    assert "other_load" in codes(usual)
    told = next(one for one in usual.notices if one.code == "other_load")
    assert "never short a cell" in told.remedy and " A " in told.text
    coin = said("voltmeter", "open=3.000 loaded=2.400 load=47.0", designation="CR2032", **STATED)
    heavy = [one for one in coin.notices if one.code.startswith("other_load")]
    assert all(one.code == "other_load_draws_much" for one in heavy)
    strong = said("voltmeter", "open=12.600 loaded=12.560 load=10.0", designation="PB12", **STATED)
    assert "other_load_draws_much" in codes(strong)
    known = said("voltmeter", "open=1.580 loaded=1.490 load=10", u_volts="1e-5", u_ohm="5%")
    assert "load_limits" in codes(known)


def test_short_circuit_and_greatest_power() -> None:
    """By the `uncertainties` package; where r is poorly known, by drawing both."""
    e, v, load = ufloat(1.58, 0.002), ufloat(1.49, 0.002), ufloat(10.0, 0.05)
    r = load * (e - v) / v
    found = said("voltmeter", f"{SINGLE} load=10.0", **STATED)
    assert found.short_circuit is not None and found.max_power is not None
    assert found.short_circuit.u == pytest.approx((e / r).s, rel=1e-6)
    assert found.max_power.u == pytest.approx((e * e / (4 * r)).s, rel=1e-6)
    emf = Quantity(1.5, 0.01, None, 1.96, 1.4804, 1.5196)
    poor = Quantity(0.5, 0.1, None, 1.96, 0.304, 0.696)
    current, power = beyond(emf, poor, 0.0)
    rng = np.random.default_rng(5)
    sampled = (1.5 + 0.01 * rng.standard_normal(400_000)) / (
        0.5 + 0.1 * rng.standard_normal(400_000)
    )
    assert current is not None and power is not None
    assert [current.low95, current.high95] == pytest.approx(
        list(np.quantile(sampled, [0.025, 0.975])), rel=0.02
    )
    maybe_none = Quantity(0.1, 0.1, None, 1.96, -0.096, 0.296)
    current, _ = beyond(emf, maybe_none, 0.0)
    assert current is not None and current.high95 is None and current.low95 is not None
    assert current.low95 == pytest.approx(1.4804 / 0.296)


def test_shares_sum_to_one() -> None:
    found = said("voltmeter", "open=1.580 open=1.583 loaded=1.49 loaded=1.48 load=10", **STATED)
    for lines, figure in ((found.budget, found.r), (found.emf_budget, found.emf)):
        assert figure is not None and figure.u is not None
        assert sum(line.share for line in lines) == pytest.approx(1.0)
        assert sqrt(sum(line.u**2 for line in lines)) == pytest.approx(figure.u)


def test_a_time_is_carried_or_asked_for() -> None:
    assert "time_unknown" in codes(said("voltmeter", f"{SINGLE} load=10.0"))
    assert "time_unknown" not in codes(said("voltmeter", f"{SINGLE} load=10.0", closed_s=2.0))
