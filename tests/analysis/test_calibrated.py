# SPDX-License-Identifier: MIT
"""What a calibration does to the figures, against a circuit written apart from the analysis."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from analysis.analytic_cell import (
    DIODE_V,
    PROFILE,
    RETURN_LEAD_OHM,
    Cell,
    Rig,
    inl_curve,
    make_step,
)
from sagline.analysis.budget import propagate
from sagline.analysis.calibrated import Calibration, Known, Setting, apply
from sagline.analysis.calibration import expected_readings, model
from sagline.analysis.estimate import estimate
from sagline.analysis.influences import influences_of, nominal
from sagline.analysis.onboard_table import OnboardTable
from sagline.analysis.profile import NullProfile
from sagline.analysis.values import Estimate
from sagline_board import profile as board

FRONT_END = ("onboard", "ads1115")
LR6 = Cell(1.58, 0.16)
ID = "019ab000-0000-7000-8000-000000000000"


def true_scales(rig: Rig, converter: int, load: int, high: bool) -> tuple[float, float]:
    """K and the voltage scale, from the rig's own codes at 0 V and 1 V and its resistances.

    The nominal current sees force and return through their gains g, relative to nominal:
    I_nominal R_nominal = V_force g_f - V_return g_r, and the nominal sag is g_s times the true.
    """
    gain = [
        (rig.code(converter, c, 1.0, high) - rig.code(converter, c, 0.0, high))
        / (Rig().code(converter, c, 1.0, high) - Rig().code(converter, c, 0.0, high))
        for c in range(3)
    ]
    seen_ohm, nominal_ohm = rig.loop_ohm(load)[0], Rig().loop_ohm(load)[0]
    force_ohm = seen_ohm + RETURN_LEAD_OHM
    return (
        (gain[1] * force_ohm - gain[2] * RETURN_LEAD_OHM) / nominal_ohm / gain[0],
        1.0 / gain[0],
    )


def calibration_of(
    rig: Rig,
    converter: int,
    load: int,
    high: bool,
    rng: np.random.Generator | None = None,
    u_k: float = 0.0,
    u_volts: float = 0.0,
    u_codes: float = 0.0,
) -> Calibration:
    """The rig's true values at the calibration's temperature, each off by what it may be."""

    def known(value: float, u: float) -> Known:
        return Known(value + (u * float(rng.standard_normal()) if rng else 0.0), u)

    k, volts = true_scales(replace(rig, load_k=0.0), converter, load, high)
    return Calibration(
        ID,
        scales={(load, high, FRONT_END[converter]): known(k, u_k * k)},
        offsets={
            (converter, c, high): known(
                rig.code(converter, c, 0.0, high) - Rig().code(converter, c, 0.0, high), u_codes
            )
            for c in range(3)
        },
        voltage_scales={(converter, high): known(volts, u_volts * volts)},
    )


def codes(found: Estimate) -> list[str]:
    return [notice.code for notice in found.notices]


def shares(found: Estimate) -> dict[str, float]:
    return {line.source: line.share for line in found.budget}


def half(figure) -> float:
    return 0.5 * (figure.high95 - figure.low95)


@pytest.mark.parametrize("converter", [0, 1])
@pytest.mark.parametrize(
    ("cell", "load", "high"),
    [(LR6, 0, False), (Cell(3.0, 20.0), 3, False), (Cell(12.8, 0.6), 1, True)],
)
def test_a_calibration_undoes_every_part(cell: Cell, load: int, high: bool, converter: int) -> None:
    """The circuit has no divider current, which the model takes off: r G is below 4e-4 (20 Ω)."""
    raw_errors = []
    for seed in range(8):
        rig = Rig.drawn(np.random.default_rng(seed), converter, load)
        rig = replace(rig, load_k=0.0, curve=None)
        step = make_step(cell, converter=converter, load=load, rig=rig, rounded=False,
                         range_high=high, rest_s=1.2, recovery_s=0.0)  # fmt: skip
        calibration = calibration_of(rig, converter, load, high)
        found = estimate([step], PROFILE, converter, calibration=calibration)
        _, current_a = cell.loaded(0.1, sum(rig.loop_ohm(load)))
        # The dividers, which take 22 µS at most, are not in these levels; force falls by the
        # blocking diode's drop as well.
        loading = 1.0 + (cell.ohmic_ohm + DIODE_V / current_a) * 22e-6
        assert 1.0 - 1e-4 < found.r_at[0][1].value / cell.ohmic_ohm < loading + 1e-4
        assert 1.0 - 1e-4 < found.emf.value / cell.emf_v < loading + 1e-4
        assert found.current.value == pytest.approx(current_a, rel=1e-4)
        raw = estimate([step], PROFILE, converter)
        raw_errors.append(abs(raw.r_at[0][1].value / cell.ohmic_ohm - 1.0))
        assert found.repeats[0].r_ohm == pytest.approx(found.r_at[0][1].value, rel=1e-9)
    assert max(raw_errors) > 3e-3, "without the calibration it is not"


def steps_of(count: int = 3, converter: int = 1, **settings) -> list:
    rng = np.random.default_rng(1)
    return [
        make_step(LR6, converter=converter, rng=rng, rest_s=0.6, recovery_s=0.0, **settings)
        for _ in range(count)
    ]


def test_a_calibration_that_knows_nothing_changes_nothing() -> None:
    for converter in (0, 1):
        steps = steps_of(converter=converter)
        plain = estimate(steps, PROFILE, converter)
        found = estimate(steps, PROFILE, converter, calibration=Calibration(ID))
        assert replace(found, notices=()) == replace(plain, notices=())
        assert codes(found) == codes(plain) and "uncalibrated" in codes(found)


def test_what_is_not_of_this_load_range_and_front_end_is_not_used() -> None:
    known = Known(1.2, 0.001)
    others = Calibration(
        ID,
        scales={(1, False, "ads1115"): known, (0, True, "ads1115"): known,
                (0, False, "ads1115+null"): known, (0, False, "onboard"): known},
        offsets={(0, 0, False): known, (1, 0, True): known},
        voltage_scales={(0, False): known, (1, True): known},
        table=OnboardTable((0.0, 4095.0), (5.0, 5.0), 0.3),
    )  # fmt: skip
    found = estimate(steps_of(), PROFILE, 1, calibration=others)
    plain = estimate(steps_of(), PROFILE, 1)
    assert found.r_at == plain.r_at and found.emf == plain.emf and found.budget == plain.budget
    assert "uncalibrated" in codes(found)
    levels = expected_readings(PROFILE, 1, 0, False, 1.58, 0.16)
    null = influences_of(PROFILE, 1, 0, False, levels, {}, others, "ads1115+null")
    assert {item.name: item.value for item in null}["scale_k"] == 1.2


def test_each_line_of_a_calibrated_budget() -> None:
    """Against u(K) r, and the drift of load and switch by ±5 K, both moved by one temperature."""
    full = calibration_of(Rig(), 1, 0, False, u_k=1e-3, u_volts=5e-4, u_codes=0.2)
    plain, found = estimate(steps_of(), PROFILE, 1), estimate(steps_of(), PROFILE, 1,
                                                              calibration=full)  # fmt: skip
    (_, r), lines = found.r_at[0], {line.source: line.u for line in found.budget}
    assert lines["calibration"] == pytest.approx(1e-3 * r.value, rel=1e-6)
    bank = PROFILE.loads[0]
    per_k = bank.load_ohm * 100e-6 + bank.switch_ohm * 4e-3
    drift = 5.0 / sqrt(3.0) * per_k / (bank.load_ohm + bank.switch_ohm)
    assert lines["load temperature"] == pytest.approx(drift * r.value, rel=1e-4)
    for gone in ("load resistance", "divider ratio", "converter gain", "reference"):
        assert lines[gone] == 0.0
    assert sum(line.share for line in found.budget) == pytest.approx(1.0)
    assert sum(line.share for line in found.emf_budget) == pytest.approx(1.0)
    emf_lines = {line.source: line.u for line in found.emf_budget}
    assert emf_lines["voltage scale"] == pytest.approx(5e-4 * found.emf.value, rel=1e-3)
    assert r.u is not None and r.u == pytest.approx(sqrt(sum(u * u for u in lines.values())))
    assert half(r) < 0.6 * half(plain.r_at[0][1])
    assert half(found.emf) < 0.6 * half(plain.emf)
    assert half(found.current) < 0.3 * half(plain.current)
    assert half(found.load) == half(plain.load), "K says nothing of the resistor alone"


def test_offset_uncertainty_reaches_r_through_the_force_channel_alone() -> None:
    """The sag and the return drop are differences: a code of force is u·width/gain/V_force."""
    full = calibration_of(Rig(), 1, 0, False, u_codes=2.0)
    found = estimate(steps_of(), PROFILE, 1, calibration=full)
    lines = {line.source: line.u for line in found.budget}
    _, current_a = LR6.loaded(0.1, sum(Rig().loop_ohm(0)))
    code_v = 62.5e-6 / 0.411
    drop_v = current_a * Rig().loop_ohm(0)[0]
    assert lines["offset"] == pytest.approx(2.0 * code_v / drop_v * 0.16, rel=0.01)


def test_each_part_of_a_calibration_helps_by_itself() -> None:
    full = calibration_of(Rig(), 1, 0, False, u_k=1e-3, u_volts=5e-4, u_codes=0.2)
    nothing = {"scales": {}, "offsets": {}, "voltage_scales": {}}
    u = {}
    for name in (*nothing, "none", "all"):
        given = {**nothing, name: getattr(full, name)} if name in nothing else {}
        known = full if name == "all" else replace(full, **(given or nothing))
        found = estimate(steps_of(), PROFILE, 1, calibration=known)
        u[name] = (half(found.r_at[0][1]), half(found.emf), half(found.current))
        assert "uncalibrated" not in codes(found) or name == "none"
        assert ("no_scale" in codes(found)) == (name in ("offsets", "voltage_scales"))
    # r follows K, E the voltage scale, and the current both.
    assert u["scales"][0] < 0.6 * u["none"][0]
    # Intervals of two Monte Carlo runs with other draws.
    assert u["scales"][1] == pytest.approx(u["none"][1], rel=5e-3)
    assert u["scales"][2] == pytest.approx(u["none"][2], rel=0.02)
    assert u["voltage_scales"][0] == pytest.approx(u["none"][0], rel=5e-3)
    assert u["voltage_scales"][1] < 0.8 * u["none"][1]
    assert u["offsets"][0] < u["none"][0] and u["offsets"][1] < 0.95 * u["none"][1]
    assert u["all"][2] < 0.3 * min(u["scales"][2], u["voltage_scales"][2])


def test_scale_without_offsets_keeps_their_tolerance() -> None:
    """K is no cure for an offset: of force 0.5 mV, its lift's parts and 3 codes are left."""
    bare = replace(calibration_of(Rig(), 1, 0, False, u_k=1e-4), offsets={})
    found = estimate(steps_of(), PROFILE, 1, calibration=bare)
    lines = {line.source: line.u for line in found.budget}
    # Lift 0.123 V: reference 0.2 %, gain 0.15 %, its own resistor 0.1 % x 0.96, and 0.5 mV.
    limits_v = np.array([0.123 * 2e-3, 0.123 * 1.5e-3, 0.123 * 0.96e-3, 5e-4, 3 * 62.5e-6])
    u_v = float(np.sqrt((limits_v**2).sum() / 3.0)) / 0.411
    _, current_a = LR6.loaded(0.1, sum(Rig().loop_ohm(0)))
    expected = u_v / (current_a * Rig().loop_ohm(0)[0]) * 0.16
    assert lines["offset"] == pytest.approx(expected, rel=0.1)


def test_the_current_keeps_the_match_of_the_null_range() -> None:
    """A null range that reads 0.1 % more than the plain one, and nothing else that is off: the
    ADS1115's data sheet lets ranges differ by that much. K of the null front end then is
    1/1.001, and says that of the sag alone; the scale of volts, of the plain range, is 1."""
    rig = replace(PROFILE, null=NullProfile.from_integers(board.NULL))
    match = 1e-3
    ideal = expected_readings(rig, 1, 0, False, 1.58, 0.16)
    read = replace(ideal, sense=ideal.sense_open - (ideal.sense_open - ideal.sense) * (1.0 + match))
    known = Calibration(
        ID,
        scales={(0, False, "ads1115+null"): Known(1.0 / (1.0 + match), 0.0)},
        offsets={(1, c, False): Known(0.0, 0.0) for c in range(3)},
        voltage_scales={(1, False): Known(1.0, 0.0)},
    )
    listed = influences_of(rig, 1, 0, False, read, {}, known, "ads1115+null")
    # (1.58 - 0.3) V over 3.3 + 0.041 + 0.16 ohm, as the levels were made.
    true_a = 1.28 / 3.501
    assert model(nominal(listed)).r_ohm == pytest.approx(0.16, rel=1e-4)
    matched = model({**nominal(listed), "volts.range_match": match})
    assert matched.current_a == pytest.approx(true_a, rel=1e-4)
    only = [item if item.name == "volts.range_match" else replace(item, spread=0.0)
            for item in listed]  # fmt: skip
    current = propagate(lambda x: model(x).current_a, only)
    # Rectangular (JCGM 100, 4.3.7).
    assert current.u == pytest.approx(match / sqrt(3.0) * current.value, rel=1e-3)
    assert current.low95 is not None and current.high95 is not None
    assert current.low95 < true_a < current.high95
    r_ohm = propagate(lambda x: model(x).r_ohm + 0.0 * x["volts.range_match"], only)
    assert r_ohm.u == 0.0, "K says it of r"
    plain = influences_of(rig, 1, 0, False, read, {}, known, "ads1115")
    assert not any(item.spread for item in plain if item.name == "volts.range_match")


def test_finite_degrees_of_freedom_of_a_scale_count() -> None:
    full = calibration_of(Rig(), 1, 0, False, u_k=1e-2)
    few = replace(full, scales={key: replace(k, dof=4.0) for key, k in full.scales.items()})
    many, some = (estimate(steps_of(), PROFILE, 1, calibration=c).r_at[0][1] for c in (full, few))
    assert some.u == pytest.approx(many.u)
    assert some.dof is not None and 4.0 < some.dof < 10.0
    assert half(some) > 1.2 * half(many)


def test_a_table_with_its_residual_replaces_the_raw_linearity() -> None:
    steps = steps_of(converter=0, noise_codes=1.0)
    bent = OnboardTable((0.0, 4095.0), (3.0, 3.0), 0.3, 16.0)
    found = estimate(steps, PROFILE, 0, calibration=Calibration(ID, table=bent))
    plain = estimate(steps, PROFILE, 0)
    assert half(found.r_at[0][1]) < 0.25 * half(plain.r_at[0][1])
    assert "onboard_linearity" in codes(plain) and "onboard_linearity" not in codes(found)
    # 3 codes of 0.73 mV through a gain of 0.411 more.
    assert found.emf.value - plain.emf.value == pytest.approx(3 * 732.4e-6 / 0.411, rel=0.01)
    unknown = replace(bent, residual_lsb=None)
    again = estimate(steps, PROFILE, 0, calibration=Calibration(ID, table=unknown))
    assert half(again.r_at[0][1]) > 0.9 * half(plain.r_at[0][1])


def test_apply_leaves_the_list_it_is_given() -> None:
    levels = expected_readings(PROFILE, 1, 0, False, 1.58, 0.16)
    listed = influences_of(PROFILE, 1, 0, False, levels, {})
    before = list(listed)
    full = calibration_of(Rig(), 1, 0, False, u_k=1e-3)
    changed = apply(listed, full, PROFILE, Setting(1, 0, False))
    assert listed == before != changed
    assert len({item.name for item in changed}) == len(changed)


RIGS = 100
# 100 rigs at 95 %: s.d. 2.2 %, so three s.d. below, and above up to one miss.
LEAST, MOST = 0.884, 0.99


@pytest.mark.parametrize(
    ("cell", "load", "converter", "high"),
    [(LR6, 0, 1, False), (Cell(9.2, 1.7), 2, 1, True), (LR6, 0, 0, False)],
    ids=("LR6", "6LR61", "LR6 on-board"),
)
def test_calibrated_intervals_cover_and_are_not_inflated(
    cell: Cell, load: int, converter: int, high: bool
) -> None:
    """Rigs, and calibrations of each, drawn within what is stated; as in test_coverage."""
    errors, widths = [], []
    for seed in range(RIGS):
        rng = np.random.default_rng([seed, 96])
        rig = Rig.drawn(rng, converter, load)
        u_codes = 0.2 if converter else 0.1
        known = calibration_of(
            rig, converter, load, high, rng, u_k=2e-3, u_volts=5e-4, u_codes=u_codes
        )
        if converter == 0:
            # The table's residual, and on top what is too fine for it.
            rig = replace(rig, curve=inl_curve(rng, 0.3 + 0.25, 16.0, smooth=True))
            known = replace(known, table=OnboardTable((0.0, 4095.0), (0.0, 0.0), 0.3, 16.0))
        steps = [
            make_step(cell, converter=converter, load=load, rig=rig, rng=rng, rest_s=0.6,
                      on_s=0.15, recovery_s=0.0, range_high=high)
            for _ in range(3)
        ]  # fmt: skip
        found = estimate(steps, PROFILE, converter, calibration=known)
        _, current_a = cell.loaded(0.1, sum(rig.loop_ohm(load)))
        figures = (found.r_at[0][1], found.emf, found.current)
        truths = (cell.ohmic_ohm, cell.emf_v, current_a)
        errors.append([f.value - t for f, t in zip(figures, truths, strict=True)])
        widths.append([half(f) for f in figures])
    errors, widths = np.abs(np.array(errors)), np.array(widths)
    covered = (errors <= widths).mean(axis=0)
    assert (covered >= LEAST).all() and (covered <= MOST).all(), covered
    # The ideal interval is the 95 % quantile of the error itself; 100 fix it to 10 %.
    assert (widths.mean(axis=0) < 1.2 * np.quantile(errors, 0.95, axis=0)).all()
