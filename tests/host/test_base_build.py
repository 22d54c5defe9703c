# SPDX-License-Identifier: MIT
"""The base build: one load behind one switch, the board's own converter, no ARM."""

import pytest

import sagline
from sagline.errors import BoardRefused, Refused, SaglineError, UsageError
from sagline.selftest import checks
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth


def opened(cell: str, seed: int = 1, fault: str = ""):
    return sagline.open_rig(f"virtual://{cell}?seed={seed}&build=base&fault={fault}")


def test_it_measures_a_primary_cell() -> None:
    for seed in range(8):
        with opened("lr6", seed) as rig:
            assert rig.identity.base and not rig.identity.ads1115 and not rig.has_null
            (load,) = rig.profile.loads
            assert (load.load_milliohm, load.switch_milliohm) == (3300, 20)
            result = rig.measure(designation="LR6", repeats=3)
        true = truth(CELLS["lr6"], result.load_ohm.value)["truth"]
        r, emf = result.r_ohm, result.emf_v
        assert r.low95 < true["r_at"][0]["value"] < r.high95, seed
        assert emf.low95 < true["emf_v"] < emf.high95, seed


@pytest.mark.parametrize(
    ("cell", "designation"),
    [("18650", "INR18650"), ("lfp", "IFpR26/65"), ("sla12", "12 V 7 Ah"), ("18650", None),
     ("cr2032", None)],
)  # fmt: skip
def test_it_loads_no_cell_that_could_do_harm(cell: str, designation: str | None) -> None:
    known = CELLS[cell].designation if designation else None
    with opened(cell) as rig:
        with pytest.raises(Refused) as refused:
            rig.measure(designation=known)
        assert rig._link._port.hardware._pulses == 0  # pyright: ignore[reportAttributeAccessIssue]
    assert refused.value.code == "base_build"
    assert "base build" in refused.value.message


def test_a_switch_that_is_stuck_is_told_at_the_first_look() -> None:
    """Nothing else holds the load off: it is on from the moment that the cell is in."""
    for cell in ("lr6", "lr6-worn", "hr6"):
        for seed in range(6):
            with opened(cell, seed, "mosfet_on") as rig:
                with pytest.raises(SaglineError) as refused:
                    rig.measure()
                assert rig._link._port.hardware._pulses == 0  # pyright: ignore[reportAttributeAccessIssue]
            assert refused.value.code == "load_stuck", (cell, seed)
            assert "Take the cell out now" in refused.value.remedy


@pytest.mark.parametrize("cell", ["lr6", "lr6-worn", "hr6", "6lr61", "cr2032"])
def test_a_sound_one_is_never_suspected(cell: str) -> None:
    from sagline.device.admission import open_voltage

    for seed in range(12):
        with opened(cell, seed) as rig:
            assert open_voltage(rig) > 0.5, seed


def test_the_self_test_passes_a_sound_one_and_finds_a_stuck_switch_without_a_cell() -> None:
    for seed in range(8):
        with opened("lr6", seed, "absent") as rig:
            assert [one.name for one in checks.with_empty(rig) if one.verdict == "bad"] == []
        with opened("lr6", seed) as rig:
            assert [one.name for one in checks.with_cell(rig) if one.verdict == "bad"] == []
        with opened("lr6", seed, "absent,mosfet_on") as rig:
            bad = [one.found for one in checks.with_empty(rig) if one.verdict == "bad"]
            assert any("a load conducts that was not switched on" in found for found in bad), seed


def test_it_has_no_other_load() -> None:
    with opened("lr6") as rig:
        with pytest.raises(UsageError):
            rig.measure(load_ohm=15.0)
        with pytest.raises(BoardRefused):
            next(rig.step(0, ((2, 100),)))
    with pytest.raises(UsageError, match="no such load"):
        opened("lr6", fault="mosfet_on:15")
    with pytest.raises(UsageError, match="own converter alone"):
        sagline.open_rig("virtual://lr6?build=base&adc=both")


@pytest.mark.parametrize("lead", ["sense_pos", "sense_neg", "force_pos", "force_neg"])
def test_a_lost_lead_is_not_taken_for_a_stuck_switch(lead: str) -> None:
    for cell in ("lr6", "6lr61"):
        with opened(cell, 2, f"open_{lead}") as rig, pytest.raises(SaglineError) as refused:
            rig.measure()
        assert refused.value.code == f"{lead}_open"
