# SPDX-License-Identifier: MIT
"""The rig's thermistor in a measurement: whose temperature counts, and what goes wrong."""

import json

import pytest

import sagline
from sagline.device.link import Link
from sagline.errors import UsageError
from sagline.virtual.hardware import VirtualHardware

ADDRESS = "virtual://lr6?seed=7&thermistor=on"


def codes(result) -> set[str]:
    return {warning.code for warning in result.warnings}


def test_the_cells_temperature_is_in_the_result_within_its_error() -> None:
    for seed in range(8):
        with sagline.open_rig(f"virtual://lr6?seed={seed}&thermistor=on") as rig:
            result = rig.measure(repeats=1)
        # Of the simulated LR6: 23 degrees. U is 0.65 K.
        assert result.conditions.temperature_c == pytest.approx(23.0, abs=0.8)


def test_what_somebody_says_goes_before_what_the_thermistor_says() -> None:
    with sagline.open_rig(ADDRESS) as rig:
        assert rig.measure(repeats=1, temperature_c=35.0).conditions.temperature_c == 35.0


def test_without_one_nothing_is_said_of_the_temperature() -> None:
    with sagline.open_rig("virtual://lr6?seed=7") as rig:
        assert rig.thermistor is None
        assert rig.measure(repeats=1).conditions.temperature_c is None


@pytest.mark.parametrize(
    ("reply", "code"),
    [((26_299, 26_300), "thermistor_open"), ((3, 26_300), "thermistor_shorted"),
     (None, "thermistor_silent")],
)  # fmt: skip
def test_one_that_tells_nothing_is_no_end_of_the_measurement(monkeypatch, reply, code) -> None:
    def broken(self):
        if reply is None:
            raise OSError(5)
        return reply

    monkeypatch.setattr(VirtualHardware, "read_thermistor", broken)
    with sagline.open_rig(ADDRESS) as rig:
        result = rig.measure(repeats=1)
    assert result.conditions.temperature_c is None and code in codes(result)
    assert result.r_at[0].value > 0


def test_a_cell_that_warms_meanwhile_is_told(monkeypatch) -> None:
    said = iter([(13_150, 26_300), (12_000, 26_300)])
    monkeypatch.setattr(VirtualHardware, "read_thermistor", lambda self: next(said))
    with sagline.open_rig(ADDRESS) as rig:
        result = rig.measure(repeats=1)
    assert "temperature_moved" in codes(result)
    assert result.conditions.temperature_c == 25.0


def test_while_a_step_runs_it_is_not_read() -> None:
    link = Link.open(ADDRESS)
    try:
        assert json.loads(f"[{link.request('thermistor_codes')}]")[1] == 26_300
        for name, values in (("clear_segments", ()), ("add_segment", (0, 500)), ("start", ())):
            link.request(name, *values)
        with pytest.raises(Exception, match="step is running"):
            link.request("thermistor_codes")
    finally:
        link.close()


def test_a_base_build_has_none() -> None:
    with pytest.raises(UsageError, match="no thermistor"):
        sagline.open_rig("virtual://lr6?build=base&thermistor=on")
