# SPDX-License-Identifier: MIT
"""Foreign records against a cell in closed form: figures, steps found, lacks said, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from analysis.analytic_cell import Cell
from analysis.foreign_records import CELL, LOAD_OHM, Recorder
from sagline.analysis.foreign.analyse import analyse
from sagline.analysis.foreign.edges import pulses
from sagline.analysis.foreign.table import Column, ForeignTable, Stated
from sagline.analysis.values import AnalysisError

TRUE_OHM = CELL.r_at(0.1, LOAD_OHM)
QUIET = Recorder(noise_v=2e-5, noise_a=2e-5, digits=6)


def seeded(number: int) -> np.random.Generator:
    return np.random.default_rng(number)


def holds(figure, truth):
    return figure.low95 <= truth <= figure.high95


def codes(found):
    return [notice.code for notice in found.notices]


def refusal(table, times_s=None):
    with pytest.raises(AnalysisError) as caught:
        analyse(table, times_s)
    return caught.value


def shares(found):
    return {line.source: line.share for line in found.budget}


@pytest.mark.parametrize("by_force", (False, True))
@pytest.mark.parametrize("steps", (1, 4))
def test_r_and_e_are_found_in_a_record_of_unequal_spacing(by_force, steps) -> None:
    found = analyse(QUIET.with_(steps=steps).table(seeded(steps), by_force=by_force))
    [(t_s, r_ohm), *_] = found.r_at
    assert t_s == 0.1
    assert r_ohm.value == pytest.approx(TRUE_OHM, rel=1e-3)
    assert holds(r_ohm, TRUE_OHM)
    assert found.emf.value == pytest.approx(CELL.emf_v, abs=2e-5)
    assert found.current.value == pytest.approx(CELL.loaded(0.1, LOAD_OHM)[1], rel=1e-3)
    assert len(found.repeats) == steps and found.rejected == 0
    assert ("single_step" in codes(found)) == (steps == 1)
    assert found.on_s == pytest.approx(0.3, abs=2e-3)
    first_s, ohmic = found.ohmic
    assert 0.5e-3 < first_s < 3e-3
    assert holds(ohmic, CELL.r_at(first_s, LOAD_OHM))


def test_the_load_is_that_which_the_force_voltage_was_read_across() -> None:
    by_force = analyse(QUIET.table(seeded(1), by_force=True))
    assert by_force.load is not None and by_force.load.value == LOAD_OHM
    assert analyse(QUIET.table(seeded(1))).load is None


def test_a_force_voltage_that_is_the_cells_at_rest_is_understood() -> None:
    """A switch below the load and a diode above it: force falls when the load goes on."""
    table = QUIET.with_(steps=2).table(seeded(2), by_force=True)
    assert table.force is not None
    high = np.where(table.force.v > 0.5, table.force.v, table.sense.v)
    found = analyse(replace(table, force=Column(table.force.t_s, high, 1e-6)))
    assert found.r_at[0][1].value == pytest.approx(TRUE_OHM, rel=1e-3)


def test_the_return_is_taken_off_with_its_level_at_rest() -> None:
    table = QUIET.table(seeded(3), by_force=True)
    assert table.force is not None
    back_v = 0.02 * table.force.v + 0.013
    raised = Column(table.force.t_s, table.force.v + 0.02 * table.force.v, 1e-6)
    back = Column(table.force.t_s, back_v, 1e-6)
    found = analyse(replace(table, force=raised, back=back))
    assert found.r_at[0][1].value == pytest.approx(TRUE_OHM, rel=1e-3)


def test_a_current_of_the_other_sign_and_with_a_zero_of_its_own_is_the_same() -> None:
    table = QUIET.table(seeded(4))
    assert table.current is not None
    turned = Column(table.current.t_s, 0.03 - table.current.v, 1e-6)
    found, plain = analyse(replace(table, current=turned)), analyse(table)
    assert found.r_at[0][1].value == pytest.approx(plain.r_at[0][1].value, rel=1e-6)
    assert found.current.value == pytest.approx(plain.current.value, rel=1e-6)


def test_a_current_at_rest_is_said_and_one_into_the_cell_refused() -> None:
    drawn = analyse(QUIET.with_(amps=0.1).table(seeded(4)))
    assert "current_at_rest" in codes(drawn)
    assert drawn.r_at[0][1].value == pytest.approx(TRUE_OHM, rel=1e-3)
    error = refusal(QUIET.with_(amps=-0.1).table(seeded(4)))
    assert error.code == "something_else_connected" and "into the cell" in error.message


@pytest.mark.parametrize("noise", (0.0, 0.02))
def test_edges_lie_between_the_readings_about_them(noise) -> None:
    recorder = Recorder(steps=3, noise_a=noise)
    rng = seeded(5)
    t_s, on_s = recorder.instants_s(seeded(5))
    found = pulses(recorder.table(rng))
    assert len(found) == 3
    for pulse, true_s in zip(found, on_s, strict=True):
        assert pulse.on is not None and pulse.off is not None
        assert abs(pulse.on.at_s - true_s) <= pulse.on.half_s + 1e-7
        assert abs(pulse.off.at_s - true_s - 0.3) <= pulse.off.half_s + 1e-7
        assert pulse.on.half_s <= float(np.diff(t_s).max())


def test_a_reading_on_its_way_widens_the_edge_and_is_left_out() -> None:
    table = QUIET.table(seeded(6))
    assert table.current is not None
    amps = table.current.v.copy()
    first = int(np.argmax(amps > 0.2))
    # The instrument averaged over the instant of switching.
    amps[first] *= 0.5
    sense = table.sense.v.copy()
    sense[first] = 0.5 * (sense[first] + CELL.emf_v)
    slow = replace(
        table,
        current=Column(table.current.t_s, amps, 1e-6),
        sense=Column(table.sense.t_s, sense, 1e-6),
    )
    [pulse] = pulses(slow)
    assert pulse.on is not None
    assert pulse.on.before_s == table.current.t_s[first - 1]
    assert pulse.on.after_s == table.current.t_s[first + 1]
    assert analyse(slow).r_at[0][1].value == pytest.approx(TRUE_OHM, rel=2e-3)


def test_told_instants_of_switching_are_taken_and_carry_no_timing() -> None:
    recorder = QUIET.with_(readings_per_s=200.0)
    _, on_s = recorder.instants_s(seeded(7))
    table = recorder.table(seeded(7))
    told = replace(table, on_s=tuple(on_s), off_s=tuple(t + 0.3 for t in on_s))
    assert shares(analyse(table))["timing"] > 0.2
    assert shares(analyse(told))["timing"] == 0.0
    assert holds(analyse(told).r_at[0][1], TRUE_OHM)
    wrong = replace(told, on_s=(on_s[0] + 1.0, on_s[0]))
    assert refusal(wrong).code == "bad_edges"


def test_stated_uncertainties_enter_and_those_that_are_not_are_named() -> None:
    table = QUIET.table(seeded(8), by_force=True)
    bare = analyse(table)
    [notice] = [one for one in bare.notices if one.code == "u_not_stated"]
    for option in ("--u-volts-rel", "--u-volts", "--u-ohm"):
        assert option in notice.text
    assert "--u-amps-rel" not in notice.text
    stated = analyse(replace(table, stated=Stated(0.033, 0.01, 0.0)))
    assert "u_not_stated" not in codes(stated)
    # r = R ΔV / V_force: three relative uncertainties of 1 % that are independent.
    r_ohm = stated.r_at[0][1]
    assert r_ohm.u == pytest.approx(np.sqrt(3.0) * 0.01 * r_ohm.value, rel=0.02)
    assert stated.emf.u == pytest.approx(0.01 * CELL.emf_v, rel=0.01)
    assert shares(stated)["load resistance"] == pytest.approx(1 / 3, abs=0.02)
    assert sum(shares(stated).values()) == pytest.approx(1.0)


def test_a_coarse_instrument_widens_u_by_its_resolution() -> None:
    """Without noise to carry readings over the steps, rounding to 10 mV leaves 1/π of it."""
    fine = analyse(Recorder(noise_v=1e-6, noise_a=1e-6, digits=6).table(seeded(9)))
    coarse = analyse(Recorder(noise_v=1e-6, noise_a=1e-6, digits=2).table(seeded(9)))
    r_ohm = coarse.r_at[0][1]
    assert r_ohm.u > 20 * fine.r_at[0][1].u
    assert holds(r_ohm, TRUE_OHM)
    assert shares(coarse)["quantization"] > 0.5


def test_too_few_readings_a_second_give_r_at_the_first_time_that_they_tell() -> None:
    recorder = Recorder(readings_per_s=2.0, rest_s=30.0, on_s=10.0, recovery_s=10.0)
    found = analyse(recorder.table(seeded(10)))
    t_s, r_ohm = found.r_at[0]
    assert 0.5 < t_s < 1.5 and found.ohmic[0] == t_s
    assert "too_coarse" in codes(found)
    assert holds(r_ohm, recorder.true_r_ohm(t_s))
    # Who asks for a time gets it or is told why not, never another.
    assert refusal(recorder.table(seeded(10)), (0.1,)).code == "time_before_first"


def test_a_short_step_gives_r_at_its_end() -> None:
    recorder = Recorder(on_s=0.06)
    found = analyse(recorder.table(seeded(11)))
    t_s, r_ohm = found.r_at[0]
    assert 0.055 < t_s < 0.06 and "too_short" in codes(found)
    assert holds(r_ohm, recorder.true_r_ohm(t_s))
    assert refusal(recorder.table(seeded(11)), (0.1,)).code == "time_outside_step"


def test_a_record_that_ends_under_load_says_what_that_costs() -> None:
    found = analyse(QUIET.with_(recovery_s=0.0).table(seeded(12)))
    assert "no_recovery" in codes(found)
    assert holds(found.r_at[0][1], TRUE_OHM)


def test_a_record_without_a_rest_is_read_at_release() -> None:
    """After a load as long as this the release is the mirror of the step: superposition."""
    recorder = QUIET.with_(rest_s=0.0, on_s=2.0, recovery_s=2.0)
    found = analyse(recorder.table(seeded(13)))
    assert "no_rest" in codes(found) and found.rest_s is None
    assert found.r_at[0][1].value == pytest.approx(TRUE_OHM, rel=3e-3)
    assert found.emf.value == pytest.approx(CELL.emf_v, abs=1e-4)


def test_at_release_r_is_told_only_up_to_a_tenth_of_what_the_load_was_on() -> None:
    """Until then what the load leaves behind has hardly gone on."""
    recorder = QUIET.with_(rest_s=0.0, on_s=0.5, recovery_s=2.0)
    found = analyse(recorder.table(seeded(13)))
    t_s, r_ohm = found.r_at[0]
    assert "too_short" in codes(found) and t_s == pytest.approx(0.05, abs=1e-3)
    assert holds(r_ohm, recorder.true_r_ohm(t_s))
    assert refusal(recorder.table(seeded(13)), (0.1,)).code == "time_outside_step"


def test_a_step_too_soon_after_another_is_left_out() -> None:
    """50 ms after a load the cell still comes back along a curve, not a line."""
    table = QUIET.with_(steps=2, rest_s=0.05, on_s=2.0, recovery_s=0.05).table(seeded(26))
    found = analyse(table)
    assert [row.kept for row in found.repeats] == [True, False]
    assert "between it and the load before" in (found.repeats[1].reason or "")
    assert holds(found.r_at[0][1], TRUE_OHM)


def test_a_short_rest_is_said_and_widens_u() -> None:
    whole = analyse(Recorder(noise_v=1e-3).table(seeded(14)))
    brief = analyse(Recorder(noise_v=1e-3, rest_s=0.05).table(seeded(14)))
    assert "short_rest" in codes(brief) and "short_rest" not in codes(whole)
    assert brief.r_at[0][1].u > 2.0 * whole.r_at[0][1].u
    assert holds(brief.r_at[0][1], TRUE_OHM)


def test_hum_is_found_and_taken_out() -> None:
    recorder = Recorder(ripple_v=4e-3, ripple_hz=50.0)
    found = analyse(recorder.table(seeded(15)))
    assert "mains_hum" in codes(found)
    assert holds(found.r_at[0][1], TRUE_OHM)
    # Left in it would be the noise.
    assert found.r_at[0][1].u < 3e-3 * TRUE_OHM


@pytest.mark.parametrize("hz", (17.0, 100.0, 300.0))
def test_ripple_at_rest_is_refused(hz) -> None:
    error = refusal(Recorder(ripple_v=0.03, ripple_hz=hz).table(seeded(16)))
    assert error.code == "something_else_connected" and "rippled" in error.message


def test_a_noisy_instrument_is_no_ripple() -> None:
    found = analyse(Recorder(noise_v=0.02).table(seeded(17)))
    assert holds(found.r_at[0][1], TRUE_OHM)


def test_a_voltage_that_rises_at_rest_is_refused() -> None:
    rising = replace(CELL, drift_v_per_s=0.2)
    error = refusal(QUIET.table(seeded(18), rising))
    assert error.code == "something_else_connected" and "rose" in error.message


def test_a_charging_step_is_refused() -> None:
    table = QUIET.table(seeded(19))
    charged = replace(table, sense=Column(table.sense.t_s, 3.1 - table.sense.v, 1e-6))
    error = refusal(charged)
    assert error.code == "something_else_connected" and "charged" in error.message


def test_no_step_is_told() -> None:
    table = Recorder(noise_a=0.3).table(seeded(20))
    assert refusal(table).code == "no_step"
    assert table.current is not None
    flat = replace(table, current=Column(table.current.t_s, 0.0 * table.current.v, 1e-5))
    assert refusal(flat).code == "no_step"


def test_steps_of_different_loads_are_refused() -> None:
    table = QUIET.with_(steps=2).table(seeded(21))
    assert table.current is not None
    middle_s = 4.3
    amps = np.where(table.current.t_s > middle_s, 0.7 * table.current.v, table.current.v)
    error = refusal(replace(table, current=Column(table.current.t_s, amps, 1e-6)))
    assert error.code == "mixed_steps"


def test_a_sense_that_never_moves_is_refused() -> None:
    table = QUIET.table(seeded(22))
    still = replace(table, sense=Column(table.sense.t_s, 0.0 * table.sense.v + 1.5, 1e-6))
    assert refusal(still).code == "sense_still"


def test_few_readings_are_told() -> None:
    table = Recorder(readings_per_s=4.0, on_s=0.6).table(seeded(22))
    assert refusal(table).code == "few_points"


def test_a_step_that_cannot_be_read_is_left_out_and_listed() -> None:
    table = QUIET.with_(steps=3).table(seeded(23))
    # The record begins in the middle of the first pulse.
    from_s = 3.1
    cut = ForeignTable(table.sense.within(from_s, 99.0), current=table.driver.within(from_s, 99.0))
    found = analyse(cut)
    assert found.rejected == 1 and [row.kept for row in found.repeats] == [False, True, True]
    assert "repeat_rejected" in codes(found)


def test_very_many_readings_are_averaged_and_give_the_same() -> None:
    recorder = Recorder(readings_per_s=50_000.0, rest_s=1.0, recovery_s=0.5)
    found = analyse(recorder.table(seeded(24)))
    assert holds(found.r_at[0][1], TRUE_OHM)
    assert found.r_at[0][1].u < 6e-4 * TRUE_OHM


def test_r_that_falls_is_read_without_a_model() -> None:
    """A contact that improves under load: r(t) = r - a (1 - exp(-t/tau))."""
    rng = seeded(25)
    recorder = QUIET.with_(readings_per_s=2000.0)
    table = recorder.table(rng, Cell(1.55, 0.2))
    _, on_s = recorder.instants_s(seeded(25))
    since_s = table.sense.t_s - on_s[0]
    amps = table.driver.v
    better_v = np.where(amps > 0.1, amps * 0.04 * -np.expm1(-since_s / 0.02), 0.0)
    found = analyse(replace(table, sense=Column(table.sense.t_s, table.sense.v + better_v, 1e-6)))
    assert "unusual_course" in codes(found)
    truth = 0.2 + 0.04 * np.expm1(-0.1 / 0.02)
    assert found.r_at[0][1].value == pytest.approx(truth, rel=5e-3)


def test_intervals_hold_the_truth_and_are_not_wide_for_nothing() -> None:
    """Noise alone, one step: the interval rests on the residuals."""
    recorder, draws = Recorder(noise_v=1e-3, noise_a=5e-4), 40
    held, errors, us = 0, [], []
    for seed in range(draws):
        r_ohm = analyse(recorder.table(seeded(1000 + seed))).r_at[0][1]
        held += holds(r_ohm, TRUE_OHM)
        errors.append(r_ohm.value - TRUE_OHM)
        us.append(r_ohm.u)
    assert held >= binom.ppf(1e-3, draws, 0.95)
    assert 0.6 < np.std(errors) / np.mean(us) < 1.4
