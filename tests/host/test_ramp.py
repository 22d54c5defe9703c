# SPDX-License-Identifier: MIT
"""A ramp recorded from a simulated rig, the table found of it, and a measurement with it."""

from collections.abc import Generator

import numpy as np
import pytest

import sagline
from bench.true_calibration import calibration_of, true_offset_codes
from sagline.analysis.calibrating.ramp import Piece
from sagline.analysis.calibrating.ramptable import FoundTable, table_of
from sagline.calibrations import Calibration, OnboardLinearity
from sagline.device.ramp import Ramping, ends_v, record_ramp
from sagline.errors import Refused
from sagline.virtual.cells import CELLS
from sagline.virtual.hands import Hands
from sagline.virtual.linearity import Linearity
from sagline.virtual.truth import truth

FARAD = 330e-6
CHARGED_V = {False: 4.5, True: 3.0}
ZERO_CODES = (168.0, 47.0)
"""About what the sense channel's code is at zero volts, in the low range and in the other."""


def recorded(rig, high: bool = False) -> list[Piece]:
    Hands(rig._link._port).connect_capacitor(FARAD, CHARGED_V[high])
    return last(record_ramp(rig, high))


def last(running: Generator[Ramping, None, list[Piece]]) -> list[Piece]:
    while True:
        try:
            next(running)
        except StopIteration as end:
            return end.value


def gauge(linearity: Linearity, found: FoundTable) -> tuple[np.ndarray, np.ndarray]:
    """(line, left): corrected codes are line[0]·ideal + line[1] and what is left beside it.

    Ideal codes at even steps throughout what the ramps reached; a thousandth of them lie in a
    wide code, where one mean code stands for nine inputs.
    """
    ideal = np.arange(found.reached[0] + 15.0, found.reached[1] - 15.0, 0.37)
    corrected = found.table.corrected(ideal + linearity.at(ideal))
    line = np.polyfit(ideal, corrected, 1)
    return line, corrected - np.polyval(line, ideal)


def ideal_but_for(rig, found: FoundTable) -> Calibration:
    """The true calibration of a rig with the table that was found in place of its own.

    Offsets and volts are those that go with the straight line of the table, as they would be if
    they were found with it.
    """
    parts = rig._link._port.hardware.circuit.parts
    rng = np.random.default_rng(0)
    true = calibration_of(parts, serial=rig.identity.serial, rng=rng)
    line, _ = gauge(parts.converters[0].linearity, found)
    offsets = []
    for item in true.offsets:
        if item.converter == "onboard":
            channel = ("sense", "force", "return").index(item.channel)
            off = true_offset_codes(parts, 0, channel, item.range_high)
            nominal = ZERO_CODES[item.range_high] if item.channel != "return" else 373.0
            codes = np.polyval(line, nominal + off) - nominal
            item = item.model_copy(update={"codes": float(codes)})
        offsets.append(item)
    volts = [
        item.model_copy(update={"factor": item.factor / float(line[0])})
        if item.converter == "onboard"
        else item
        for item in true.voltage_scales
    ]
    return true.model_copy(
        update={
            "onboard_table": OnboardLinearity.of(found.table),
            "offsets": offsets,
            "voltage_scales": volts,
        }
    )


@pytest.mark.parametrize("adc", ["both", "onboard"])
@pytest.mark.parametrize(("board", "seed"), [("rp2040", 1), ("rp2350", 2), ("rp2040", 3)])
def test_a_cell_measured_with_the_table_found(board: str, seed: int, adc: str) -> None:
    """The on-board converter's target is U(r(0.1 s)) within 5 % for an LR6 on 3.3 Ω."""
    address = f"virtual://lr6?seed={seed}&board={board}"
    with sagline.open_rig(f"{address}&adc={adc}") as rig:
        found = table_of([recorded(rig) for _ in range(2)], rig.profile)
        linearity = rig._link._port.hardware.circuit.parts.converters[0].linearity
    assert found.against_ads1115 == (adc == "both") and found.notices == ()
    bound = found.table.residual_lsb
    _, left = gauge(linearity, found)
    assert bound is not None
    # Of a table made by time alone a slow bow is left, one draw a rig: 95 % are of many rigs.
    assert np.mean(np.abs(left) < bound) >= (0.95 if adc == "both" else 0.6)
    assert bound < 3.0 * max(0.5, np.quantile(np.abs(left), 0.95))
    with sagline.open_rig(f"{address}&adc=onboard") as rig:
        rig.calibration = ideal_but_for(rig, found)
        result = rig.measure(designation="LR6")
    true = truth(CELLS["lr6"], 3.3)["truth"]
    r, emf = result.r_ohm, result.emf_v
    assert r.low95 < true["r_at"][0]["value"] < r.high95
    assert emf.low95 < true["emf_v"] < emf.high95
    assert (r.high95 - r.low95) / 2.0 < 0.05 * r.value
    assert (emf.high95 - emf.low95) / 2.0 < 0.01 * emf.value


def test_ramps_of_both_ranges_reach_down_to_the_codes_at_zero_volts() -> None:
    with sagline.open_rig("virtual://lr6?seed=4&adc=onboard") as rig:
        ramps = [recorded(rig), recorded(rig), recorded(rig, high=True)]
        assert [ramp[0].raw.range_high for ramp in ramps] == [False, False, True]
        found = table_of(ramps, rig.profile)
        linearity = rig._link._port.hardware.circuit.parts.converters[0].linearity
    assert found.reached[0] < 90.0 and found.reached[1] > 2650.0
    _, left = gauge(linearity, found)
    assert found.table.residual_lsb is not None
    assert np.mean(np.abs(left) < found.table.residual_lsb) >= 0.6


def test_a_ramp_waits_until_the_capacitor_is_within_the_range_and_says_how_it_goes() -> None:
    with sagline.open_rig("virtual://lr6?seed=4&adc=onboard") as rig:
        Hands(rig._link._port).connect_capacitor(100e-6, 4.9)
        top_v, to_v = ends_v(rig.profile, high=False)
        said: list[Ramping] = []
        running = record_ramp(rig)
        while True:
            try:
                said.append(next(running))
            except StopIteration as end:
                pieces = end.value
                break
        assert rig.live().sense_v < to_v + 0.01
    waited = [item for item in said if not item.recording]
    assert waited and all(item.sense_v > top_v for item in waited)
    assert [item.recording for item in said] == [False] * len(waited) + [True] * (
        len(said) - len(waited)
    )
    assert {item.to_v for item in said} == {to_v}
    # Pieces follow each other on one clock, each with the time it began.
    begun_s = np.array([piece.start_s for piece in pieces])
    apart_s = np.diff(begun_s)
    assert apart_s.min() > 6.0 and apart_s.max() < 6.3


@pytest.mark.parametrize(
    ("act", "code"),
    [
        (lambda hands: None, "ramp_stands"),
        (lambda hands: hands.remove(), "ramp_low"),
        (lambda hands: hands.connect_capacitor(1e-3, 0.6), "ramp_low"),
        (lambda hands: hands.connect_capacitor(0.5, 4.0), "ramp_stands"),
        (lambda hands: hands.connect_capacitor(10e-6, 4.0), "ramp_short"),
        (lambda hands: hands.insert("6lr61"), "ramp_stands"),
    ],
    ids=["a cell", "nothing", "discharged", "0.5 F", "10 µF", "a 9 V battery"],
)
def test_what_is_no_ramp_is_refused(act, code: str) -> None:
    with sagline.open_rig("virtual://tray?cells=lr6&seed=4&adc=onboard") as rig:
        act(Hands(rig._link._port))
        with pytest.raises(Refused) as caught:
            last(record_ramp(rig))
        assert caught.value.code == code
        assert caught.value.exit_status == 4


def test_closing_the_ramp_ends_the_running_rest() -> None:
    with sagline.open_rig("virtual://lr6?seed=4&adc=onboard") as rig:
        Hands(rig._link._port).connect_capacitor(FARAD, 4.4)
        running = record_ramp(rig)
        assert next(running).recording
        running.close()
        assert rig._link.fields("state")["state"] == 3, "aborted"
