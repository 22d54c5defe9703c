# SPDX-License-Identifier: MIT
"""Every fault of the virtual rig, measured: a right result or a refusal with its remedy."""

import pytest

import sagline
from sagline.device.procedure import run
from sagline.device.progress import OpenVoltage, Planned
from sagline.device.settings import Settings
from sagline.errors import LinkLost, Refused, SaglineError
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

# Of each fault: exit status, code, a word of the message, a word of the remedy.
REFUSED = {
    "absent": (4, "no_cell", "No cell", "put the cell in"),
    "reversed": (4, "cell_reversed", "wrong way round", "turn it"),
    "open_sense_pos": (4, "sense_pos_open", "positive sense lead", "positive sense lead"),
    "open_sense_neg": (4, "sense_neg_open", "negative sense lead", "negative sense lead"),
    "open_force_pos": (4, "force_pos_open", "positive force lead", "positive force lead"),
    "open_force_neg": (4, "force_neg_open", "negative force lead", "negative force lead"),
    "mosfet_on": (4, "load_stuck", "load conducts", "switch is stuck on"),
    "mosfet_on:15": (4, "load_stuck", "load conducts", "switch is stuck on"),
    "mosfet_on:68": (4, "load_stuck", "load conducts", "switch is stuck on"),
    "mosfet_on:470": (4, "load_stuck", "load conducts", "switch is stuck on"),
    "mosfet_off": (4, "no_current", "No current", "load's switch"),
    "removed": (4, "no_cell", "came off", "put the cell in"),
    "over_voltage": (4, "board_101", "The guard stopped the load: cell", "Take the cell out"),
    "over_voltage:2": (4, "board_101", "The guard stopped the load: cell", "Take the cell out"),
}
CELL_NAMES = ("lr6", "6lr61")


def measured(cell, fault, *, seed=3, known=True, repeats=3):
    """Return the result; whatever happens, nothing conducts afterwards."""
    settings = {"designation": CELLS[cell].designation if known else None, "repeats": repeats}
    rig = sagline.open_rig(f"virtual://{cell}?seed={seed}&fault={fault}")
    port = rig._link._port
    try:
        with rig:
            return rig.measure(**settings)
    finally:
        assert port.hardware.conducting() == 0
        assert port.hardware.gate_mask() == 0


def holds_the_truth(cell, result):
    true = truth(CELLS[cell], result.load_ohm.value)["truth"]
    r, emf = result.r_ohm, result.emf_v
    return r.low95 < true["r_at"][0]["value"] < r.high95 and emf.low95 < true["emf_v"] < emf.high95


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("cell", CELL_NAMES)
@pytest.mark.parametrize("fault", REFUSED)
def test_a_fault_is_refused_by_name(fault, cell, known):
    status, code, words, remedy = REFUSED[fault]
    with pytest.raises(SaglineError) as caught:
        measured(cell, fault, known=known)
    error = caught.value
    assert (error.exit_status, error.code) == (status, code)
    assert words in error.message
    assert remedy.lower() in error.remedy.lower()


@pytest.mark.parametrize("adc", ["onboard", "ads1115"])
@pytest.mark.parametrize("cell", ["lr6", "lr6-worn", "6lr61"])
@pytest.mark.parametrize("fault", list(REFUSED)[:6])
def test_a_lead_is_missed_before_anything_is_switched_on_any_rig(fault, cell, adc):
    for seed in range(8):
        address = f"virtual://{cell}?seed={seed}&adc={adc}&fault={fault}"
        with sagline.open_rig(address) as rig, pytest.raises(Refused) as caught:
            next(run(rig, Settings()))
        assert caught.value.code == REFUSED[fault][1], seed
        assert rig._link._port.hardware._pulses == 0


@pytest.mark.parametrize("adc", ["onboard", "ads1115", "both"])
@pytest.mark.parametrize("cell", ["lr6", "lr6-worn", "6lr61"])
def test_a_sound_rig_is_never_suspected(cell, adc):
    for seed in range(25):
        with sagline.open_rig(f"virtual://{cell}?seed={seed}&adc={adc}") as rig:
            assert isinstance(next(run(rig, Settings())), OpenVoltage), seed


@pytest.mark.parametrize("cell", CELL_NAMES)
def test_a_bad_contact_in_the_force_path_falls_out(cell):
    """0.1 ohm is two thirds of an LR6's own resistance: in two-wire hands r would show it."""
    bad, good = (measured(cell, fault, repeats=5) for fault in ("contact_100mohm", ""))
    assert holds_the_truth(cell, bad)
    assert bad.r_ohm.value == pytest.approx(good.r_ohm.value, abs=0.01 * good.r_ohm.value)
    assert bad.current_a.value < good.current_a.value
    if cell == "lr6":
        loop_ohm = 1.58 / good.current_a.value
        assert 1.58 / bad.current_a.value - loop_ohm == pytest.approx(0.1, abs=0.05)


def test_a_cell_removed_in_a_later_repeat_leaves_the_others_standing():
    result = measured("lr6", "removed:3", repeats=5)
    assert [row.kept for row in result.repeats] == [True, True, False, False, False]
    assert "came off" in (result.repeats[2].reason or "")
    assert "No cell" in (result.repeats[3].reason or "")
    assert [w.code for w in result.warnings].count("repeat_rejected") == 3
    assert holds_the_truth("lr6", result)


@pytest.mark.parametrize("adc", ["onboard", "ads1115", "both"])
@pytest.mark.parametrize("load_ohm", [3.3, 15.0, 68.0, 470.0])
@pytest.mark.parametrize("cell", CELL_NAMES)
def test_a_stuck_load_is_found_before_any_is_switched_on(cell, load_ohm, adc):
    for seed in range(4):
        address = f"virtual://{cell}?seed={seed}&adc={adc}&fault=mosfet_on:{load_ohm:g}"
        with sagline.open_rig(address) as rig:
            with pytest.raises(Refused) as caught:
                rig.measure()
            assert caught.value.code == "load_stuck", seed
            assert "Take the cell out now" in caught.value.remedy
            hardware = rig._link._port.hardware
            assert hardware._pulses == 0
            assert hardware.conducting() == 0


@pytest.mark.parametrize("adc", ["onboard", "ads1115", "both"])
@pytest.mark.parametrize("cell", CELL_NAMES)
def test_no_load_of_a_sound_rig_is_suspected(cell, adc):
    for seed in range(12):
        with sagline.open_rig(f"virtual://{cell}?seed={seed}&adc={adc}") as rig:
            for item in run(rig, Settings(designation=CELLS[cell].designation)):
                if isinstance(item, Planned):
                    break
            else:
                pytest.fail("no plan")


@pytest.mark.parametrize("step", [1, 2, 3])
def test_an_unplugged_board_is_a_lost_link(step):
    with pytest.raises(LinkLost) as caught:
        measured("lr6", f"unplugged:{step}")
    assert caught.value.exit_status == 3
    assert caught.value.remedy


@pytest.mark.parametrize("step", [1, 2, 3])
def test_a_board_that_starts_anew_ends_the_measurement(step):
    with pytest.raises(SaglineError) as caught:
        measured("lr6", f"reset:{step}")
    assert caught.value.exit_status in (3, 4)
    assert caught.value.message
    assert "protocol.md" not in caught.value.remedy


@pytest.mark.parametrize("kind", ["lost", "flipped", "doubled", "inserted"])
@pytest.mark.parametrize("rate", ["1e-5", "1e-4", "1e-3"])
def test_damaged_bytes_never_change_a_figure(kind, rate):
    """A request sent again takes time, in which the cell recovers a little more: that, and the
    noise of another instant, is all the difference there may be."""
    try:
        result = measured("lr6", f"bytes_{kind}:{rate}", repeats=2)
    except LinkLost as lost:
        assert rate == "1e-3"
        assert lost.code and lost.remedy
        return
    sound = measured("lr6", "", repeats=2)
    for name in ("r_ohm", "emf_v"):
        got, wanted = getattr(result, name), getattr(sound, name)
        assert got.value == pytest.approx(wanted.value, abs=0.2 * wanted.u)
        assert got.u == pytest.approx(wanted.u, rel=0.02)
    assert holds_the_truth("lr6", result)
