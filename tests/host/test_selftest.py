# SPDX-License-Identifier: MIT
"""The self-test: a sound rig passes, whatever its parts; each fault that shows is named."""

import json
from dataclasses import replace
from typing import Any

import pytest

import sagline
from sagline.cli import main
from sagline.device.rig import Rig
from sagline.jsonschemas import schema_of
from sagline.selftest import checks
from sagline.selftest.card import Check
from sagline_board import faults

EMPTY = "absent"


def opened(cell: str = "lr6", seed: int = 3, adc: str = "both", fault: str = "") -> Rig:
    return sagline.open_rig(f"virtual://{cell}?seed={seed}&adc={adc}&fault={fault}")


def port_of(rig: Rig) -> Any:
    return rig._link._port


def all_of(rig: Rig, cell: bool) -> list[Check]:
    """Every check; whatever happens, nothing conducts afterwards."""
    try:
        found = [*checks.of_board(rig)]
        found += checks.with_cell(rig) if cell else checks.with_empty(rig)
        return found
    finally:
        port = port_of(rig)
        assert port.hardware.gate_mask() == 0
        assert port.hardware.conducting() == 0


def bad(found: list[Check]) -> dict[str, str]:
    return {one.name: f"{one.found} {one.remedy}" for one in found if one.verdict == "bad"}


@pytest.mark.parametrize("adc", ["onboard", "ads1115", "both"])
def test_a_sound_rig_passes_with_empty_clips_and_with_a_cell(adc: str) -> None:
    for seed in range(12):
        with opened(seed=seed, adc=adc, fault=EMPTY) as rig:
            found = all_of(rig, cell=False)
            assert bad(found) == {}, seed
            assert sum(one.found == "closes" for one in found) == len(rig.profile.loads)
            pulses = port_of(rig).hardware._pulses
            assert pulses > len(rig.profile.loads)
        with opened(seed=seed, adc=adc) as rig:
            found = all_of(rig, cell=True)
            assert bad(found) == {}, seed
            loads = [one for one in found if one.name.startswith("load ")]
            assert len(loads) == len(rig.profile.loads)
            assert {one.verdict for one in loads} == {"good"}


@pytest.mark.parametrize("load_ohm", ["3.3", "15", "68", "470"])
def test_a_switch_that_is_stuck_on_shows_with_empty_clips(load_ohm: str) -> None:
    with opened(fault=f"{EMPTY},mosfet_on:{load_ohm}") as rig:
        found = bad(all_of(rig, cell=False))
    assert list(found) == ["switches at rest"] and "stuck on" in found["switches at rest"]


@pytest.mark.parametrize("adc", ["onboard", "both"])
def test_switches_that_do_not_close_show_with_empty_clips(adc: str) -> None:
    with opened(adc=adc, fault=f"{EMPTY},mosfet_off") as rig:
        found = bad(all_of(rig, cell=False))
        count = len(rig.profile.loads)
    assert len(found) == count and all("does not close" in one for one in found.values())


WITH_CELL = {
    "absent": ("cell", "No cell is between the clips"),
    "reversed": ("cell", "wrong way round"),
    "open_sense_pos": ("cell", "positive sense lead"),
    "open_sense_neg": ("cell", "negative sense lead"),
    "open_force_pos": ("cell", "positive force lead"),
    "open_force_neg": ("cell", "negative force lead"),
    "mosfet_on:68": ("switches at rest", "stuck on"),
    "mosfet_off": ("load 3.3 Ω", "No current"),
    "removed:2": ("load 3.3 Ω", "came off"),
    "over_voltage:2": ("load 3.3 Ω", "The guard stopped the load"),
}


@pytest.mark.parametrize("adc", ["onboard", "both"])
@pytest.mark.parametrize("fault", WITH_CELL)
def test_a_fault_with_a_cell_in_is_named_and_nothing_is_loaded_after_it(
    fault: str, adc: str
) -> None:
    name, words = WITH_CELL[fault]
    with opened(adc=adc, fault=fault) as rig:
        found = all_of(rig, cell=True)
    first = next(one for one in found if one.verdict == "bad")
    assert first.name == name and words in first.found + first.remedy
    assert not [one for one in found[found.index(first) + 1 :] if one.name.startswith("load")]


def test_every_fault_of_the_wiring_shows_one_way_or_the_other() -> None:
    from sagline.virtual.faults import STATIC

    # Four leads take a contact's resistance out of every reading: that is what they are for.
    seen = {fault.split(":")[0] for fault in WITH_CELL}
    assert set(STATIC) - seen == {"contact_100mohm"}


def test_a_cell_is_never_loaded_where_empty_clips_were_promised() -> None:
    for cell in ("lr6", "18650", "sla12"):
        with opened(cell) as rig:
            found = all_of(rig, cell=False)
            assert port_of(rig).hardware._pulses == 0
        assert "Take out" in " ".join(bad(found).values())
        assert [one.verdict for one in found if one.name == "switches"] == ["skipped"]


@pytest.mark.parametrize("cell", ["cr2032", "18650", "sla12"])
def test_loads_are_tried_with_a_cell_that_bears_them_only(cell: str) -> None:
    with opened(cell) as rig:
        found = all_of(rig, cell=True)
        assert port_of(rig).hardware._pulses == 0
    (skipped,) = [one for one in found if one.verdict == "skipped"]
    assert "LR6" in skipped.remedy and bad(found) == {}


def test_a_range_that_does_not_switch_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(fault=EMPTY) as rig:
        hardware = port_of(rig).hardware
        real = hardware.set_range
        monkeypatch.setattr(hardware, "set_range", lambda _high: real(1))
        found = bad(all_of(rig, cell=False))
    assert "The range does not switch" in found["empty clips, low range"]


def test_a_load_of_another_value_is_found_by_the_others() -> None:
    with opened() as rig:
        circuit = port_of(rig).hardware.circuit
        ohms = list(circuit.parts.load_ohm)
        ohms[1] = 22.0
        circuit.parts = replace(circuit.parts, load_ohm=tuple(ohms))
        found = bad(all_of(rig, cell=True))
    assert (
        list(found) == ["load 15 Ω"]
        and "not the resistance it is marked with" in found["load 15 Ω"]
    )


def test_a_trip_is_bad_until_it_is_cleared() -> None:
    with opened(fault=EMPTY) as rig:
        port_of(rig).board.engine.guard.trip(faults.TRIP_HUNG)
        found = bad([*checks.of_board(rig)])
        assert "hung" in found["guard"] and "--clear-trip" in found["guard"]
        rig.clear_trip()
        assert bad([*checks.of_board(rig)]) == {}


def test_the_command_prints_a_card_and_says_by_its_status(capsys) -> None:
    assert main(["selftest", "--rig", f"virtual://lr6?fault={EMPTY}"]) == 0
    told = capsys.readouterr().out
    assert "ok    switch of 470 Ω: closes" in told and "put a cell in" in told
    assert main(["selftest", "--cell", "--json", "--rig", "virtual://lr6?fault=reversed"]) == 4
    card = json.loads(capsys.readouterr().out)
    import jsonschema

    jsonschema.validate(card, schema_of("selftest"))
    assert card["with_cell"] and card["checks"][-1]["verdict"] == "bad"
