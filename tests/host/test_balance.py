# SPDX-License-Identifier: MIT
"""The null channel is balanced against the cell, and nothing depends on its being so."""

import json
from dataclasses import replace

import numpy as np
import pytest
from null_stand_in import NullHardware, fit

import sagline
from sagline.analysis import plan as planning
from sagline.analysis import quality
from sagline.device import balance as balancing
from sagline.device.procedure import run
from sagline.device.progress import Finished, LongerRest, Planned, RepeatDone, Stepping, describe
from sagline.device.rests import LONGEST_REST_MS, next_rest_ms, phase_ms
from sagline.device.settings import Settings
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth
from sagline_board.profile import NULL

STEP_V = NULL["reference_uv"] * 1e-6 / NULL["settings"]
CELLS_AND_RANGES = [
    ("lr6", "LR6", False),
    ("hr6", "HR6", False),
    ("cr2032", "CR2032", False),
    ("18650", "ICR18/65", False),
    ("6lr61", "6LR61", True),
    ("sla12", "PB12", True),
]


def run_of(address, each=lambda rig, item: None, **settings):
    """Return the steps of a run's record and its result; `each` sees every item as it comes."""
    steps = []
    with sagline.open_rig(address) as rig:
        for item in run(rig, Settings(**settings)):
            each(rig, item)
            if isinstance(item, RepeatDone):
                steps.append(item.step)
            if isinstance(item, Finished):
                return steps, item
    raise AssertionError("no result")


def difference_v(step):
    """Return the mean of what is left of sense in the last second before the load (V)."""
    points, on_us = step.points, step.edges_us[0]
    rows = zip(points.source, points.start_us, points.n, points.total, strict=True)
    kept = [(n, sum_) for source, at, n, sum_ in rows if source == 7 and on_us - 1e6 < at < on_us]
    counts, sums = np.array(kept).T
    return float(sums.sum() / counts.sum()) * NULL["lsb_pv"] * 1e-12


@pytest.mark.parametrize(("cell", "designation", "high"), CELLS_AND_RANGES)
def test_balanced_within_a_step(cell, designation, high, monkeypatch):
    fit(monkeypatch)
    steps, done = run_of(f"virtual://{cell}?seed=3", designation=designation, repeats=2)
    for step in steps:
        assert step.range_high is high
        assert step.null_setting is not None
        assert abs(difference_v(step)) <= balancing.BALANCED_V
    # Later repeats find the cell a little lower, and are not trimmed for that.
    assert abs(difference_v(steps[0])) <= STEP_V
    assert "null_unbalanced" not in {remark.code for remark in done.ending.remarks}


def test_a_rig_without_the_channel_has_no_setting_and_no_word_of_it():
    steps, done = run_of("virtual://lr6?seed=3&adc=onboard", designation="LR6", repeats=1)
    assert [step.null_setting for step in steps] == [None]
    assert "null_unbalanced" not in {remark.code for remark in done.ending.remarks}


class Broken(NullHardware):
    """The channel's reference has failed: its voltage stays at zero."""

    error = -1.0


class Silent(NullHardware):
    """The channel is fitted and never read."""

    answers = False


@pytest.mark.parametrize("kind", [Broken, Silent])
def test_where_it_cannot_be_balanced_the_plain_reading_serves(kind, monkeypatch):
    true = truth(CELLS["lr6"])["truth"]["r_at"][0]["value"]
    fit(monkeypatch, kind)
    steps, done = run_of("virtual://lr6?seed=3", designation="LR6", repeats=2)
    assert [step.null_setting for step in steps] == [None, None]
    (said,) = [w for w in done.result.warnings if w.code == "null_unbalanced"]
    assert "null channel" in said.text and said.remedy
    assert done.result.r_ohm.low95 < true < done.result.r_ohm.high95


def test_a_voltage_beyond_the_channels_scale_has_no_setting():
    with sagline.open_rig("virtual://lr6?seed=1") as rig:
        profile = rig.profile
    null = balancing.NullProfile.from_integers(NULL)
    fitted = replace(profile, null=null)
    assert balancing.nominal_setting(replace(profile, null=None), 1.5, False) is None
    assert balancing.nominal_setting(fitted, 9.0, False) is None
    assert balancing.nominal_setting(fitted, -3.0, False) is None
    # By hand: the lead-acid range of 0.1155 and 0.34 V or so at 12 V is some 1.6 V at the pin.
    setting = balancing.nominal_setting(fitted, 12.0, True)
    assert setting is not None and 1.3 < setting * STEP_V < 1.9


def test_a_reset_between_repeats_leaves_no_wrong_setting(monkeypatch):
    fit(monkeypatch)
    seen = []

    def reset(rig, item):
        port = rig._link._port
        if isinstance(item, RepeatDone) and item.repeat == 1:
            port.board.receive(b"*RST\n")
            rig.wait(0.01)
            seen.append(port.hardware.setting)
        elif isinstance(item, RepeatDone):
            seen.append(port.hardware.setting)

    steps, _ = run_of("virtual://lr6?seed=3", reset, designation="LR6", repeats=2)
    assert seen == [0, steps[1].null_setting]
    assert steps[0].null_setting == steps[1].null_setting
    assert abs(difference_v(steps[1])) <= STEP_V


def test_out_of_balance_it_is_trimmed_before_the_next_repeat_only(monkeypatch):
    """The channel's reference moves by 2 % between the first repeat and the second."""
    fit(monkeypatch)

    def shift(rig, item):
        if isinstance(item, Planned):
            rig._link._port.hardware.error = 0.002
        if isinstance(item, RepeatDone) and item.repeat == 1:
            rig._link._port.hardware.error = 0.03

    steps, _ = run_of("virtual://lr6?seed=3", shift, designation="LR6", repeats=4)
    first, second, third, fourth = (step.null_setting for step in steps)
    assert first == second
    assert abs(difference_v(steps[1])) > balancing.BALANCED_V
    assert third == fourth < second
    assert abs(difference_v(steps[2])) <= STEP_V


def test_the_setting_of_one_run_is_not_kept_for_the_next(monkeypatch):
    fit(monkeypatch)
    with sagline.open_rig("virtual://lr6?seed=3") as rig:
        rig.measure(designation="LR6", repeats=1)
        assert rig.null_setting is not None
        rig._link._port.hardware.error = -1.0
        result = rig.measure(designation="LR6", repeats=1)
        assert rig.null_setting is None
    assert "null_unbalanced" in {warning.code for warning in result.warnings}


def test_a_channel_that_comes_back_is_used_again_and_the_lack_is_said(monkeypatch):
    fit(monkeypatch)

    def repair(rig, item):
        if isinstance(item, Planned):
            rig._link._port.hardware.error = -1.0
        if isinstance(item, RepeatDone):
            rig._link._port.hardware.error = 0.002

    steps, done = run_of("virtual://lr6?seed=3", repair, designation="LR6", repeats=2)
    assert steps[0].null_setting is None and steps[1].null_setting is not None
    assert "null_unbalanced" in {remark.code for remark in done.ending.remarks}


def test_the_rest_covers_what_the_channel_needs_to_settle():
    """3 s after the cell was put in, 1 s after the last trim: limits of the circuit."""
    assert planning.REST_MS >= 3000


def test_a_trace_of_it_plays_again(monkeypatch, tmp_path):
    fit(monkeypatch)
    path = str(tmp_path / "one.trace")
    with sagline.open_rig("virtual://lr6?seed=3", trace=path) as rig:
        first = rig.measure(designation="LR6", repeats=2)
        setting = rig.null_setting
    with sagline.open_rig(f"replay://{path}") as rig:
        again = rig.measure(designation="LR6", repeats=2)
        assert rig.null_setting == setting is not None
    assert again.r_ohm == first.r_ohm and again.emf_v == first.emf_v


def test_the_setting_is_in_the_stored_record(monkeypatch):
    fit(monkeypatch)
    (step,), _ = run_of("virtual://lr6?seed=3", designation="LR6", repeats=1)
    stored = json.loads(step.model_dump_json())
    assert stored["null_setting"] == step.null_setting == step.raw().null_setting


@pytest.mark.parametrize("phase", ["rest", "load on", "recovery"])
def test_stopped_anywhere_the_load_is_off(phase, monkeypatch):
    fit(monkeypatch)
    with sagline.open_rig("virtual://lr6?seed=3") as rig:
        running = run(rig, Settings(designation="LR6"))
        for item in running:
            if isinstance(item, Stepping) and item.repeat == 2 and item.phase == phase:
                break
        running.close()
        assert rig._link._port.hardware.gate_mask() == 0


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_the_mains_meets_every_step_at_another_phase(mains_hz):
    """The mean of the unit phasors: 1 where all are alike. Of random ones it is 1/sqrt(n)."""
    for count in (5, 8, 13):
        ms = np.array([phase_ms(repeat) for repeat in range(1, count + 1)])
        assert ms.min() >= 0 and ms.max() <= 40
        began_s = np.cumsum(ms) * 1e-3
        for times_s in (began_s, ms * 1e-3):
            mean = abs(np.exp(2j * np.pi * mains_hz * times_s).mean())
            assert mean < 0.6


def test_the_record_shows_the_phase():
    steps, _ = run_of("virtual://lr6?seed=3&adc=ads1115", designation="LR6", repeats=3)
    # 40 ms times 0.618034, 0.236068, 0.854102.
    assert [step.segments[0][1] for step in steps] == [5025, 5009, 5034]


def test_a_rest_that_drifts_is_doubled_up_to_30_s():
    assert next_rest_ms(5000, quality.DRIFT_SHARE) == 5000
    assert next_rest_ms(5000, 2 * quality.DRIFT_SHARE) == 10_000
    assert next_rest_ms(20_000, 1.0) == LONGEST_REST_MS == 30_000
    assert next_rest_ms(30_000, 1.0) == 30_000
    assert next_rest_ms(50_000, 1.0) == 50_000


def test_a_cell_that_has_not_come_to_rest_gets_longer(tmp_path):
    """A polarization of 3 s: six after a pulse its drift is 0.17 % of the sag in 0.1 s, eleven
    after it 0.03 %. The board is asked for no longer step, which its record would not hold.
    """
    path = tmp_path / "slow.toml"
    path.write_text(
        "emf_v = 1.5\nr_instant_ohm = 0.05\nrc = [[0.3, 3.0]]\n"
        "diffusion_ohm_per_sqrt_s = 0.0\ncapacity_ah = 2.0\ntemperature_c = 23.0\n"
    )
    at_s, rests = [], []

    def note(rig, item):
        if isinstance(item, LongerRest):
            rests.append(item.rest_s)
            assert f"{item.rest_s:.0f} s" in describe(item)
        if isinstance(item, RepeatDone):
            at_s.append(rig.now_s())

    steps, done = run_of(
        f"virtual://custom?cell={path}&seed=3&adc=ads1115", note, load_ohm=3.3, repeats=3
    )
    # The first repeat finds the cell rested, the second does not.
    assert rests == [10.0]
    assert 6.3 < at_s[1] - at_s[0] < 7.0
    assert 11.3 < at_s[2] - at_s[1] < 12.0
    assert done.result.r_ohm.value > 0
    assert all(step.segments[0][1] < 5041 for step in steps)
