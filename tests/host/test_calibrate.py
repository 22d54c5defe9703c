# SPDX-License-Identifier: MIT
"""The guided calibration on the virtual rig: right, and done wrongly."""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime

import pytest

import sagline
from bench.true_calibration import (
    CHANNELS,
    CONVERTERS,
    rig_of,
    true_offset_codes,
    true_scale,
    true_voltage_scale,
)
from host.served import serving
from sagline import calibrationstore, checkchart, cli
from sagline.calibrationcard import card, card_lines
from sagline.calibrations import Calibration
from sagline.device.calibrating import plan
from sagline.device.calibrating.answerers import ByHands
from sagline.device.calibrating.asking import Given, ask, number
from sagline.device.calibrating.checking import check, step_for
from sagline.device.calibrating.guide import Calibrated, StepRefused, calibrate
from sagline.device.calibrating.prompts import meter, resistor
from sagline.errors import Refused, UsageError
from sagline.virtual.bidding import bid
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

ADDRESS = "virtual://lr6?seed=21"
FEW = ["zero", "volts-low", "scale-3.3-low"]
RIGHT = Given(u_ohm=1e-5)
"""The hands' resistor is what it says."""


class Wrongly(ByHands):
    """Leaves out what it is told not to do, and does something else instead."""

    def __init__(self, hands, leaving=(), instead=None):
        super().__init__(hands)
        self.hands, self.leaving, self.instead = hands, leaving, instead or {}

    def __call__(self, prompt):
        if prompt.code in self.instead:
            self.instead[prompt.code](self.hands)
            return ""
        return "" if prompt.code in self.leaving else super().__call__(prompt)


def calibrated(rig, names, answer=None, given=RIGHT) -> Calibrated:
    steps = plan.find(rig.profile, names)
    for item in calibrate(rig, steps, answer or ByHands(rig.hands()), given):
        if isinstance(item, StepRefused):
            raise item.error
        if isinstance(item, Calibrated):
            return item
    raise AssertionError


def document_of(made: Calibrated) -> Calibration:
    assert made.calibration is not None
    return made.calibration


def refused(names, answer_of, address=ADDRESS) -> Refused:
    with sagline.open_rig(address) as rig, pytest.raises(Refused) as caught:
        calibrated(rig, names, answer_of(rig.hands()))
    return caught.value


@pytest.fixture(scope="module")
def whole():
    """The calibration of one rig, every step, and what its rig truly is."""
    with sagline.open_rig(ADDRESS) as rig:
        made = calibrated(rig, [step.name for step in plan.steps_of(rig.profile)])
        loads = [bank.load_ohm for bank in rig.profile.loads]
    return made, rig_of(ADDRESS)[0], loads


def test_every_scale_zero_and_voltage_is_the_rig_s_own(whole):
    """Within 3 u each, and over all within what u says: 24 scales, 6 zeros and 2 scales of volts
    of the ADS1115. Those of the on-board converter go with the straight line that its linearity
    table leaves out; what they do together is asked below."""
    made, drawn, _ = whole
    document = document_of(made)
    assert len(document.scales) == 24
    # K belongs to the temperature it was found at.
    parts = replace(drawn, temperature_offset_k=0.0)
    match = (1.0 + parts.null.gain_error) / (1.0 + parts.converters[1].gain_error) - 1.0
    z = []
    for scale in document.scales:
        gain_rel = match if scale.front_end == "ads1115+null" else 0.0
        true = true_scale(parts, scale.load, scale.range_high, gain_rel)
        z.append((scale.k - true) / (scale.u_k_rel * true))
        assert scale.u_k_rel < 1.25e-3
        assert scale.standard is not None and not scale.standard.bounded
        assert scale.standard.name.startswith("resistor of ")
    assert (len(document.offsets), len(document.voltage_scales)) == (12, 4)
    meters = [volts.standard for volts in document.voltage_scales]
    # Of the meter nothing was told: it is known by its limits.
    assert all(one is not None and one.name == "voltmeter" and one.bounded for one in meters)
    assert document.onboard_table is not None and document.onboard_table.residual_lsb < 0.6
    for zero in document.offsets:
        if zero.converter == "onboard":
            continue
        at = CONVERTERS.index(zero.converter), CHANNELS.index(zero.channel), zero.range_high
        z.append((zero.codes - true_offset_codes(parts, *at)) / zero.u_codes)
    for volts in document.voltage_scales:
        if volts.converter == "onboard":
            continue
        true = true_voltage_scale(parts, CONVERTERS.index(volts.converter), volts.range_high)
        z.append((volts.factor - true) / (volts.u_rel * true))
    assert max(map(abs, z)) < 3.3
    assert 0.5 < (sum(one**2 for one in z) / len(z)) ** 0.5 < 1.5
    assert made.notices == ()


def test_the_report_card_says_before_correction_and_after(whole):
    made, _, loads = whole
    rows = card(made.found, loads)
    scales = [row for row in rows if row.what.startswith("r with")]
    assert len(scales) == 24
    for row in scales:
        assert row.after_u95 < 0.3 * row.before_u95 < row.limit
        assert row.judged == "within tolerance" and row.used
    assert all(row.used for row in rows)
    assert len({len(line) for line in card_lines(scales)[1:]}) == 1


def test_without_a_linearity_table_the_onboard_zeros_are_not_put_to_use():
    with sagline.open_rig(ADDRESS) as rig:
        made = calibrated(rig, ["zero"])
    rows = card(made.found, [])
    assert len(rows) == 12
    assert {row.what.split(", ")[-1] for row in rows if not row.used} == {"onboard"}
    assert {zero.converter for zero in document_of(made).offsets} == {"ads1115"}


def test_a_base_build_is_calibrated_by_itself_and_keeps_its_word():
    """The on-board converter alone: its table by a discharge held against its own course."""
    with sagline.open_rig("virtual://lr6?seed=22&adc=onboard") as rig:
        before = rig.measure(designation="LR6")
        made = calibrated(rig, ["table", *FEW])
        rig.keep_calibration(document_of(made))
        rig.hands().insert("lr6")
        after = rig.measure(designation="LR6")
    true = truth(CELLS["lr6"], 3.3)["truth"]
    assert after.r_ohm.low95 < true["r_at"][0]["value"] < after.r_ohm.high95
    assert after.emf_v.low95 < true["emf_v"] < after.emf_v.high95
    for name in ("r_ohm", "emf_v"):
        narrow, wide = getattr(after, name), getattr(before, name)
        assert narrow.high95 - narrow.low95 < 0.6 * (wide.high95 - wide.low95)


def test_what_was_found_narrows_r_and_holds_the_truth():
    with sagline.open_rig(ADDRESS) as rig:
        before = rig.measure(designation="LR6").r_ohm
        made = calibrated(rig, FEW, given=Given(u_ohm=2e-4))
        rig.keep_calibration(document_of(made))
        rig.hands().insert("lr6")  # a rested one, whose truth is known
        result = rig.measure(designation="LR6")
    assert result.calibration_id == document_of(made).id
    codes = [notice.code for notice in result.warnings]
    assert "uncalibrated" not in codes and "no_scale" not in codes
    true = truth(CELLS["lr6"], 3.3)["truth"]
    after = result.r_ohm
    assert after.low95 < true["r_at"][0]["value"] < after.high95
    assert result.emf_v.low95 < true["emf_v"] < result.emf_v.high95
    assert after.high95 - after.low95 < 0.35 * (before.high95 - before.low95)


def test_without_a_calibration_the_result_names_the_command():
    with sagline.open_rig(ADDRESS) as rig:
        result = rig.measure(designation="LR6", repeats=2)
    (notice,) = [one for one in result.warnings if one.code == "uncalibrated"]
    assert "sagline calibrate" in notice.remedy


@pytest.mark.parametrize(
    ("names", "leaving", "code"),
    [
        (["scale-3.3-low"], ("tap_load", "tap_cell"), "tap_not_moved"),
        (["scale-3.3-low"], ("insert", "resistor"), "tap_not_moved"),
        (["zero"], ("zero",), "not_shorted"),
    ],
)
def test_what_was_left_undone_is_noticed(names, leaving, code):
    error = refused(names, lambda hands: Wrongly(hands, leaving))
    assert error.code == code
    assert error.exit_status == 4


def test_only_one_of_two_clips_moved_is_noticed():
    for half in ("short_sense", "short_force"):
        instead = {"zero": lambda hands, half=half: getattr(hands, half)()}
        assert refused(["zero"], lambda hands, i=instead: Wrongly(hands, (), i)).code == (
            "not_shorted"
        )


def test_a_resistor_that_comes_and_goes_is_noticed():
    """Put between the clips inside the sense points for B alone: with the clip's 20 mΩ it would
    make K wrong by 1 %. The current betrays it."""

    def into(hands):
        hands.add_series(2.02)
        hands.move_tap("load")

    instead = {
        "resistor": lambda hands: None,
        "tap_load": into,
        "tap_cell": lambda hands: (hands.add_series(0.0), hands.move_tap("cell")),
    }
    error = refused(["scale-3.3-low"], lambda hands: Wrongly(hands, (), instead))
    assert error.code == "resistor_moved"


def test_sides_taken_for_each_other_are_noticed():
    instead = {
        "resistor": lambda hands: (hands.add_series(2.0), hands.move_tap("load")),
        "tap_load": lambda hands: hands.move_tap("cell"),
        "tap_cell": lambda hands: hands.move_tap("load"),
    }
    error = refused(["scale-3.3-low"], lambda hands: Wrongly(hands, (), instead))
    assert error.code == "tap_swapped"


def test_a_cell_of_other_volts_or_none_is_noticed():
    left = refused(["scale-68-high"], lambda hands: Wrongly(hands, ("insert",)))
    assert left.code == "another_cell"
    gone = refused(["scale-3.3-low"], lambda hands: Wrongly(hands, (), {"tap_load": _remove}))
    assert gone.code == "no_cell"


def _remove(hands):
    hands.remove()


def test_a_cell_that_tires_fast_costs_and_is_spoken_of():
    """Its r grows by 30 mΩ from stay to stay of the tap. K is still where it says."""
    parts = replace(rig_of(ADDRESS)[0], temperature_offset_k=0.0)

    def tired(hands, stays):
        cell = replace(CELLS["lr6"], r_instant_ohm=CELLS["lr6"].r_instant_ohm + 0.03 * stays)
        hands._port.hardware.handle(lambda circuit: circuit.insert(cell))

    instead = {
        "tap_load": lambda hands: (hands.move_tap("load"), tired(hands, 1)),
        "tap_cell": lambda hands: (hands.move_tap("cell"), tired(hands, 2)),
    }
    with sagline.open_rig(ADDRESS) as rig:
        made = calibrated(rig, ["zero", "scale-3.3-low"], Wrongly(rig.hands(), (), instead))
    (notice,) = [notice for notice in made.notices if notice.code == "cell_tiring"]
    assert "mΩ" in notice.text and "%" in notice.text
    for scale in document_of(made).scales:
        if scale.front_end == "ads1115":
            true = true_scale(parts, 0, False)
            assert abs(scale.k - true) < 2.0 * scale.u_k_rel * true
            assert scale.u_k_rel > 5e-3


@pytest.mark.parametrize(("gain", "kept"), [(1.01, True), (1.10, False)])
def test_a_null_channel_that_disagrees_with_plain_readings_is_noticed(gain, kept):
    """The ADS1115's ranges agree within 0.1 % (its data sheet); one of 1 % has a fault. A tenth is
    no scale at all."""
    with sagline.open_rig(ADDRESS) as rig:
        difference = rig._link.port.hardware._sampling._difference
        whole = difference._parts
        difference._parts = replace(whole, gain_error=gain * (1.0 + whole.gain_error) - 1.0)
        made = calibrated(rig, ["zero", "scale-3.3-low"])
    k = {scale.front_end: scale.k for scale in document_of(made).scales}
    assert (k.keys() == {"ads1115+null", "ads1115", "onboard"}) is kept
    (notice,) = made.notices
    assert notice.code == "null_differs" and ("no scale" in notice.text) is not kept
    if kept:
        assert k["ads1115+null"] / k["ads1115"] == pytest.approx(1.0 / gain, rel=2e-3)
        assert "-1.1 %" in notice.text, "the ranges of this rig differ by 0.07 % of themselves"


def test_what_one_step_finds_is_added_to_what_was_known():
    with sagline.open_rig(ADDRESS) as rig:
        first = document_of(calibrated(rig, ["zero", "scale-3.3-low"]))
        rig.keep_calibration(first)
        # Of this resistor nothing is told: its tolerance is a limit.
        second = document_of(calibrated(rig, ["scale-15-low"], given=Given()))
        rig.keep_calibration(second)
        assert rig.kept_calibration == second
    assert second.id > first.id
    assert {(scale.load, scale.standard.bounded) for scale in second.scales if scale.standard} == {
        (0, False), (1, True),
    }  # fmt: skip
    assert len(second.offsets) == len(first.offsets) == 6
    assert calibrationstore.ids("lr6-21") == [first.id, second.id]


def test_a_load_by_its_own_ohms():
    parts = rig_of(ADDRESS)[0]
    with sagline.open_rig(ADDRESS) as rig:
        made = calibrated(
            rig, ["load-15"], lambda prompt: f"{parts.load_ohm[1]:.4f}", Given(u_ohm=1e-3)
        )
        with pytest.raises(UsageError) as caught:
            calibrated(rig, ["load-15"], lambda prompt: "15.0", Given())
        assert "--u-ohm" in caught.value.remedy
        with pytest.raises(Refused, match="is not the load"):
            calibrated(rig, ["load-15"], lambda prompt: "3.3", Given(u_ohm=1e-3))
    for scale in document_of(made).scales:
        if scale.front_end != "ads1115+null":
            true = true_scale(parts, 1, scale.range_high)
            assert abs(scale.k / true - 1.0) < 3.0 * scale.u_k_rel < 0.01


def test_answers_are_numbers():
    assert number(meter(), " 1.5824\n") == (1.5824, pytest.approx(1e-4))
    assert number(meter(), "1,58") == (1.58, pytest.approx(1e-2))
    assert number(resistor(10.0, ""), "") == (10.0, 0.0)
    assert number(meter(), "9e0") == (9.0, 1.0)
    for wrong in ("", "volt", "-1", "nan", "0"):
        with pytest.raises(UsageError):
            number(meter(), wrong)
    for bad in (
        lambda: Given(u_ohm=0.0),
        lambda: Given(resistor_ohm=-1.0),
        lambda: Given(repeats=0),
    ):
        with pytest.raises(UsageError):
            bad()


def test_a_slip_of_the_keyboard_is_asked_for_again():
    prompts, answers = [], ["1,58 V", "", "1.58"]

    def answer(prompt):
        prompts.append(prompt.text)
        return answers[len(prompts) - 1]

    assert ask(meter(), answer)[0] == 1.58
    assert prompts[0] == meter().text
    assert all("no number" in text and text.endswith(meter().text) for text in prompts[1:])
    prompts.clear()
    answers[:] = ["x"] * 9
    with pytest.raises(UsageError):
        ask(meter(), answer)
    assert len(prompts) == 3


def test_a_refused_step_leaves_the_others_and_the_clips_in_order():
    """The tap is not moved in the first; the second finds the resistor out of the way."""
    with sagline.open_rig(ADDRESS) as rig:
        hands = Wrongly(rig.hands(), ("tap_load", "tap_cell"))
        steps = plan.find(rig.profile, ["volts-low", "scale-3.3-low", "scale-15-low"])
        items = list(calibrate(rig, steps, hands, RIGHT))
        wiring = rig._link.port.hardware.circuit.wiring
    undone = [item.step.name for item in items if isinstance(item, StepRefused)]
    assert undone == ["scale-3.3-low", "scale-15-low"]
    (end,) = [item for item in items if isinstance(item, Calibrated)]
    assert document_of(end).voltage_scales and not document_of(end).scales
    assert wiring.series_ohm == 0.0 and wiring.tap == "cell"


def test_checks_draw_a_chart_and_tell_when_something_changed():
    with sagline.open_rig(ADDRESS) as rig:
        rig.keep_calibration(document_of(calibrated(rig, ["zero", "scale-3.3-low"])))
        states = [_check(rig, 0.0) for _ in range(6)]
        assert [one["state"] for one in states] == ["in order"] * 6
        assert [one["of"] for one in states] == [0, 0, 0, 0, 0, 5]
        # The same rig and resistor: by the sixth the limits are those of what varies.
        assert states[5]["u_rel"] < 0.5 * states[0]["u_rel"]
        assert states[5]["action_rel"][0] < states[5]["rel"] < states[5]["action_rel"][1]
        assert all(one["e_n"] < 1.0 for one in states)
        # A load that has changed by half a percent: so has K.
        circuit = rig.hands()._port.hardware.circuit
        circuit.parts = replace(
            circuit.parts,
            load_ohm=(1.005 * circuit.parts.load_ohm[0], *circuit.parts.load_ohm[1:]),
        )
        circuit.rewire(circuit.wiring)
        assert _check(rig, 0.0)["state"] == "out"
        assert len(checkchart.read("lr6-21")) == 7
        # Calibrated anew, it is in order again, and begins a new chart.
        rig.keep_calibration(document_of(calibrated(rig, ["scale-3.3-low"])))
        again = _check(rig, 0.0)
        assert (again["state"], again["of"]) == ("in order", 0)


def _check(rig, resistor_error_rel):
    items = check(rig, step_for(rig, None), ByHands(rig.hands(), resistor_error_rel), RIGHT)
    while True:
        try:
            next(items)
        except StopIteration as end:
            checkchart.append(rig.identity.serial, end.value.at, end.value.line)
            return end.value.line


def test_a_chart_that_was_cut_off_loses_its_last_line_alone():
    line = {"rel": 1e-4, "resistor_ohm": 2.0}
    checkchart.append("x-1", datetime.now(UTC), line)
    path = checkchart.append("x-1", datetime.now(UTC), line)
    path.write_bytes(path.read_bytes()[:-7])
    assert len(checkchart.read("x-1")) == 1
    checkchart.append("x-1", datetime.now(UTC), line)
    assert len(checkchart.read("x-1")) == 2
    path.write_text("{}\n")
    with pytest.raises(UsageError, match="line 1"):
        checkchart.read("x-1")


@pytest.fixture
def command(capsys):
    def run(*arguments):
        status = cli.main(["calibrate", "--rig", ADDRESS, *arguments])
        out, err = capsys.readouterr()
        return status, out, err

    return run


def test_the_command_prints_a_card_or_an_object_a_line(command):
    status, out, err = command("--step", "zero,scale-3.3-low", "--u-ohm", "2e-4")
    assert status == 0
    assert "Report card" in out and "r with 3.3 Ω, low range, ads1115+null" in out
    assert "simulated" in err
    status, out, _ = command("--step", "zero,scale-3.3-low", "--json")
    lines = [json.loads(line) for line in out.splitlines()]
    assert status == 0
    assert [next(iter(line)) for line in lines] == ["begun", "found"] * 2 + ["calibration"]
    document = lines[-1]["calibration"]
    assert calibrationstore.newest("lr6-21").id == document["id"]
    assert lines[-1]["simulated"] is True
    assert len(lines[-1]["card"]) == 15


def test_the_command_s_exit_statuses(command, tmp_path, monkeypatch):
    status, _, err = command()  # no terminal, no step
    assert status == 2 and "--step" in err
    assert command("--step", "scale-4.7-low")[0] == 2
    assert command("--step", "zero", "--repeats", "0")[0] == 2
    assert command("--check", "--list")[0] == 2
    assert command("--check")[0] == 4
    status, out, _ = command("--step", "list", "--json")
    names = [json.loads(line)["step"]["name"] for line in out.splitlines()]
    assert status == 0 and names[:4] == ["table", "zero", "volts-low", "scale-3.3-low"]
    status, _, err = command("--step", "zero,load-15", "--u-ohm", "1", "--json")
    assert status == 2 and json.loads(err.splitlines()[-1])["error"]["code"] == "hands_cannot"
    home = tmp_path / "full"
    (home / "calibrations").mkdir(parents=True)
    (home / "calibrations" / "lr6-21").write_text("in the way")
    monkeypatch.setenv("SAGLINE_HOME", str(home))
    status, out, err = command("--step", "zero", "--json")
    assert status == 5 and json.loads(out.splitlines()[-1])["calibration"]["offsets"]


def test_a_person_is_asked_line_by_line_at_a_served_rig():
    """Somebody reads each prompt, does it with `sagline hands`, and presses Enter."""
    with serving("lr6") as served:
        rig = served.address
        words = [sys.executable, "-m", "sagline", "calibrate", "--rig", rig, "--json"]
        process = subprocess.Popen(
            [*words, "--step", "zero", "--u-volts", "0.001"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        assert process.stdin is not None and process.stdout is not None
        asked = []
        for line in process.stdout:
            said = json.loads(line)
            if "prompt" not in said:
                continue
            asked.append(said["prompt"]["code"])
            state = {"zero": "on", "back": "off"}.get(asked[-1])
            if state is not None:
                for clip in ("sense", "force"):
                    bid(served.hands_port, f"short-{clip} {state}")
            process.stdin.write("\n")
            process.stdin.flush()
        process.stdin.close()
        assert process.wait(60) == 0
        assert asked == ["insert", "zero", "back"]
        silent = subprocess.run(
            [*words, "--step", "zero"], input="", capture_output=True, text=True, timeout=60
        )
        assert silent.returncode == 2
        assert json.loads(silent.stderr.splitlines()[-1])["error"]["code"] == "no_answer"
