# SPDX-License-Identifier: MIT
"""Hands at the bench while the host has the port: what they do is what is measured."""

import math

import pytest

import sagline
from sagline.device.procedure import run
from sagline.device.progress import Finished, Stepping
from sagline.device.settings import Settings
from sagline.errors import LinkLost, Refused, SaglineError
from sagline.virtual.cells import CELLS
from sagline.virtual.hands import Hands
from sagline.virtual.truth import truth
from sagline.virtual.wiring import LEADS

ADDRESS = "virtual://lr6?seed=5"


@pytest.fixture
def rig():
    with sagline.open_rig(ADDRESS) as opened:
        yield opened


@pytest.fixture
def hands(rig):
    return Hands(rig._link._port)


def measure(rig, **settings):
    return rig.measure(**{"designation": "LR6", "repeats": 2, **settings})


def code_of(rig, **settings):
    with pytest.raises(SaglineError) as caught:
        measure(rig, **settings)
    return caught.value.code


def within(quantity, true):
    return quantity.low95 < true < quantity.high95


def test_hands_leave_no_trace_on_the_wire(rig, hands):
    port = rig._link._port
    for act in (hands.remove, hands.reverse, hands.short_sense):
        act()
    assert port.in_waiting == 0
    assert port._inbox == b""


def test_out_in_and_turned(rig, hands):
    assert hands.cell == "lr6"
    hands.remove()
    assert hands.cell is None
    assert code_of(rig) == "no_cell"
    hands.insert("lr6-worn")
    assert hands.cell == "lr6-worn"
    result = measure(rig)
    true = truth(CELLS["lr6-worn"], 3.3)["truth"]
    assert within(result.r_ohm, true["r_at"][0]["value"])
    assert within(result.emf_v, true["emf_v"])
    hands.reverse()
    assert code_of(rig) == "cell_reversed"
    hands.reverse()
    assert measure(rig).r_ohm.value == pytest.approx(result.r_ohm.value, rel=0.02)
    with pytest.raises(ValueError, match="no cell"):
        hands.insert("nothing")


def test_a_resistor_falls_out_on_one_side_of_the_tap_and_adds_on_the_other(rig, hands):
    """The Kelvin connection: outside the sense taps 0.5 ohm changes the current alone."""
    true_r = truth(CELLS["lr6"], 3.3)["truth"]["r_at"][0]["value"]
    plain = measure(rig)
    hands.add_series(0.5)
    outside = measure(rig)
    assert within(outside.r_ohm, true_r)
    assert outside.current_a.value < plain.current_a.value
    hands.move_tap("load")
    inside = measure(rig)
    assert within(inside.r_ohm, true_r + 0.5)
    assert inside.current_a.value == pytest.approx(outside.current_a.value, rel=0.01)
    hands.add_series(0.0)
    assert within(measure(rig).r_ohm, true_r)
    for wrong in (lambda: hands.add_series(-1.0), lambda: hands.move_tap("middle")):
        with pytest.raises(ValueError):
            wrong()


def test_shorted_sense_is_a_cell_of_no_volts(rig, hands):
    hands.short_sense()
    assert rig.live().sense_v == pytest.approx(0.0, abs=0.03)
    assert code_of(rig) == "no_voltage"
    hands.short_sense(False)
    assert measure(rig).r_ohm.value > 0


def test_a_capacitor_is_discharged_by_the_sense_divider_alone(rig, hands):
    """Textbook discharge, V∞ + (V0 − V∞)·exp(−t/RC), with the divider's own R and V∞; C is
    what the capacitor gives in all, of which its dielectric gives 3 % late.
    """
    farad = 470e-6
    hands.connect_capacitor(farad, 4.5)
    assert hands.cell == "capacitor"
    rig.set_range(False)
    parts = rig._link._port.hardware.circuit.parts
    siemens, amperes = parts.channels[0].loading(parts.reference_v, False)
    end_v = amperes / siemens
    begun_s = rig.now_s()
    assert hands.read_meter() == pytest.approx(4.5, abs=0.005)
    for seconds in (20.0, 40.0, 100.0):
        rig.wait(seconds)
        passed_s = rig.now_s() - begun_s
        least_v, most_v = (
            end_v + (4.5 - end_v) * math.exp(-passed_s * siemens / (share * farad))
            for share in (1 / 1.03, 1.0)
        )
        assert least_v - 0.003 < hands.read_meter() < most_v + 0.003
    assert rig.live().force_v == pytest.approx(0.21, abs=0.01), "a free tap, as with no cell"
    for wrong in ((0.0, 1.0), (2.0, 1.0), (1e-3, -1.0), (1e-3, 24.0)):
        with pytest.raises(ValueError):
            hands.connect_capacitor(*wrong)


def test_a_cell_put_in_after_a_capacitor_has_all_its_leads(hands, rig):
    hands.connect_capacitor(1e-3, 4.0)
    hands.connect_capacitor(1e-3, 4.0)
    hands.insert("lr6")
    assert within(measure(rig).r_ohm, truth(CELLS["lr6"], 3.3)["truth"]["r_at"][0]["value"])
    with sagline.open_rig(f"{ADDRESS}&fault=open_force_pos") as faulty:
        other = Hands(faulty._link._port)
        other.connect_capacitor(1e-3, 4.0)
        other.insert("lr6")
        assert code_of(faulty) == "force_pos_open"


def test_a_shorted_force_clip_is_one_that_misses_the_cell(rig, hands):
    hands.short_force()
    assert code_of(rig) == "force_pos_open"
    hands.short_force(False)
    assert measure(rig).r_ohm.value > 0


def test_only_a_rig_simulated_here_has_hands(rig):
    assert rig.hands().cell == "lr6"


def test_the_meter_reads_the_terminals_with_an_error_of_its_own(hands, rig):
    """0.05 % and 0.2 mV and half a digit, whatever is clipped where."""
    limit_v = 0.0005 * 1.58 + 0.0002 + 0.00005
    first_v = hands.read_meter()
    assert first_v == pytest.approx(1.58, abs=limit_v)
    assert hands.read_meter() == first_v
    hands.reverse()
    assert hands.read_meter() == pytest.approx(1.58, abs=limit_v)
    hands.short_sense()
    assert hands.read_meter() == pytest.approx(1.58, abs=limit_v)
    hands.remove()
    assert abs(hands.read_meter()) <= 0.00025
    errors = set()
    for seed in range(6):
        with sagline.open_rig(f"virtual://lr6?seed={seed}") as other:
            errors.add(round(Hands(other._link._port).read_meter() - 1.58, 6))
    assert len(errors) > 2


def test_the_meter_is_no_part_of_the_measurement():
    def figures(look):
        with sagline.open_rig(ADDRESS) as rig:
            if look:
                Hands(rig._link._port).read_meter()
            result = measure(rig)
        return result.r_ohm.value, result.emf_v.value

    assert figures(True) == figures(False)


@pytest.mark.parametrize("phase", ["rest", "load on", "recovery"])
@pytest.mark.parametrize("act", ["remove", "reverse", "short_sense"])
def test_what_hands_do_in_one_repeat_costs_that_repeat_alone(rig, hands, phase, act):
    """Done in one poll's time, undone in the next one's: 0.1 s that a person would not notice."""
    undo = {
        "remove": lambda: hands.insert("lr6"),
        "reverse": hands.reverse,
        "short_sense": lambda: hands.short_sense(False),
    }[act]
    doing = done = False
    result = None
    for item in run(rig, Settings(designation="LR6", repeats=4)):
        if isinstance(item, Finished):
            result = item.result
        if not isinstance(item, Stepping):
            continue
        if doing:
            undo()
            doing, done = False, True
        elif not done and (item.repeat, item.phase) == (2, phase):
            # Late in the rest, where it is read, and early in the recovery.
            if phase == "rest" and item.elapsed_s < 4.5:
                continue
            getattr(hands, act)()
            doing = True
    assert done and result is not None
    assert [row.kept for row in result.repeats] == [True, phase == "recovery", True, True]
    assert within(result.r_ohm, truth(CELLS["lr6"], 3.3)["truth"]["r_at"][0]["value"])


@pytest.mark.parametrize("lead", LEADS)
def test_a_lead_that_comes_off_for_a_moment_under_load_costs_that_repeat(rig, hands, lead):
    doing = done = False
    result = None
    for item in run(rig, Settings(designation="LR6", repeats=4)):
        if isinstance(item, Finished):
            result = item.result
        if not isinstance(item, Stepping):
            continue
        if doing:
            hands._wire(lost=frozenset())
            doing, done = False, True
        elif not done and (item.repeat, item.phase) == (2, "load on"):
            hands._wire(lost=frozenset({lead}))
            doing = True
    assert done and result is not None
    assert [row.kept for row in result.repeats] == [True, False, True, True]
    assert within(result.r_ohm, truth(CELLS["lr6"], 3.3)["truth"]["r_at"][0]["value"])


def test_unplugged_and_plugged_in_again(rig, hands):
    port = rig._link._port
    hands.unplug()
    with pytest.raises(LinkLost):
        rig.live()
    hands.plug_in()
    # The handle that was open stays dead, as a real one does.
    with pytest.raises(LinkLost):
        rig.live()
    port.close()
    port.open()
    port.write(b"*IDN?\n")
    assert port.read(200).startswith(b"Sagline,")
    assert hands.cell == "lr6"


def test_a_tray_presents_cell_after_cell():
    with sagline.open_rig("virtual://tray?cells=lr6,lr6-worn,6lr61&seed=2") as rig:
        hands = Hands(rig._link._port)
        assert (hands.cell, hands.tray) == ("lr6", ("lr6-worn", "6lr61"))
        measured = {"lr6": measure(rig)}
        while (name := hands.next_cell()) is not None:
            measured[name] = measure(rig, designation=CELLS[name].designation)
        with pytest.raises(Refused, match="No cell"):
            measure(rig)
    assert list(measured) == ["lr6", "lr6-worn", "6lr61"]
    for name, result in measured.items():
        true = truth(CELLS[name], result.load_ohm.value)["truth"]
        assert within(result.emf_v, true["emf_v"])
        assert within(result.r_ohm, true["r_at"][0]["value"])
