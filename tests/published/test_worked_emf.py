# SPDX-License-Identifier: MIT
"""Textbook problems of EMF, terminal voltage and r, through what reads them by hand.

At their printed digits, one unit of the last either way: books cut as often as they round.
"""

import json

import pytest

from analysis.sheets import codes, said
from sagline.analysis.hand.advice import drawn
from sagline.analysis.values import AnalysisError
from sagline.cli import main

# Readings as printed, r and one unit of its last digit.
OPEN_AND_LOADED = {
    # OpenStax University Physics vol. 2, 10.1: E 12.00, r 0.100 on 10.00 and 0.500 ohm
    "openstax-light": ("open=12.00 loaded=11.881 load=10.00", 0.100, 0.001),
    "openstax-heavy": ("open=12.00 loaded=10.00 load=0.500", 0.100, 0.001),
    "openstax-aged": ("open=12.00 loaded=6.00 load=0.500", 0.500, 0.001),
    # OpenStax College Physics 2e, 21.2: a cell under charge, 16.0 V at 10.0 A
    "openstax-charging": ("open=12.0 loaded=16.0 amps=-10.0", 0.400, 0.001),
    # The same: a starter motor, then with corrosion in its lead, read at the motor
    "openstax-starter": ("open=12.0 loaded=10.0 load=0.0500", 0.0100, 0.0001),
    "openstax-corroded": ("open=12.0 loaded=4.0 load=0.0500", 0.1000, 0.0001),
    # Young and Freedman, University Physics, 25.33 (from memory)
    "young-freedman": ("open=3.08 loaded=2.97 amps=1.65", 0.067, 0.001),
    # Serway and Jewett, ch. 28 problem 1 (from memory): 20.0 W at 11.6 V
    "serway-jewett": ("open=15.0 loaded=11.6 watts=20.0", 1.97, 0.01),
    # NCERT Physics XII, ch. 3: 10 V, 8.5 V at 0.5 A
    "ncert": ("open=10 loaded=8.5 amps=0.5", 3.0, 1.0),
    # Examination items
    "exam-12": ("open=12.0 loaded=10.9 load=10.0", 1.0, 0.1),
    "exam-9": ("open=9.00 loaded=8.00 load=1.40", 0.175, 0.001),
}


@pytest.mark.parametrize("name", OPEN_AND_LOADED)
def test_the_printed_resistance_comes_out(name: str) -> None:
    readings, r_ohm, digit = OPEN_AND_LOADED[name]
    found = said("voltmeter", readings)
    assert found.r.value == pytest.approx(r_ohm, abs=digit)
    assert found.emf is not None
    assert found.emf.value == float(readings.split()[0].split("=")[1])
    # What the digits leave open holds the printed figure.
    assert found.r.low95 is not None and found.r.high95 is not None
    assert found.r.low95 - digit / 2.0 <= r_ohm <= found.r.high95 + digit / 2.0


def test_exactly_what_the_examination_wants() -> None:
    found = said("voltmeter", OPEN_AND_LOADED["exam-9"][0])
    assert found.r.value == pytest.approx(0.175, abs=1e-12)


def test_the_load_that_was_not_given_comes_out_too() -> None:
    """Young and Freedman 1.80 ohm; Serway and Jewett 6.73 (both from memory); NCERT 17."""
    for name, load_ohm, digit in (
        ("young-freedman", 1.80, 0.01), ("serway-jewett", 6.73, 0.01), ("ncert", 17.0, 1.0)
    ):  # fmt: skip
        load = said("voltmeter", OPEN_AND_LOADED[name][0]).load
        assert load is not None and load.value == pytest.approx(load_ohm, abs=digit)


def test_corrosion_in_a_lead_is_no_r_where_the_cell_itself_is_read() -> None:
    """OpenStax: 0.0900 ohm in the lead, 80.0 A. At the cell's terminals 11.2 V remain."""
    at_cell = said("voltmeter", "open=12.0 loaded=11.2 load=0.0500", lead_ohm="0.0900")
    assert at_cell.r.value == pytest.approx(0.0100, abs=0.0001)
    assert at_cell.current is not None
    assert at_cell.current.value == pytest.approx(80.0, abs=0.1)


@pytest.mark.parametrize(
    ("emf_v", "r_ohm", "load_ohm", "current_a", "terminal_v", "power_w"),
    [
        # OpenStax University Physics vol. 2, 10.1: amperes and volts with the unit of their last
        # digit; for the first the book prints 11.90 V where 11.881 is right.
        (12.00, 0.100, 10.00, (1.188, 0.001), (11.9, 0.1), None),
        (12.00, 0.100, 0.500, (20.0, 0.1), (10.00, 0.01), (200.0, 1.0)),
        (12.00, 0.500, 0.500, (12.0, 0.1), (6.00, 0.01), (72.0, 0.1)),
        # OpenStax College Physics 2e: starter; a voltmeter of 1.00 kilohm as the only load
        (12.0, 0.0100, 0.0500, (200.0, 1.0), (10.0, 0.1), None),
        (12.0, 0.1000, 0.0500, (80.0, 0.1), (4.0, 0.1), None),
        (1.585, 0.100, 1000.0, (1.58484e-3, 1e-8), (1.584842, 1e-6), None),
    ],
)
def test_what_a_load_draws(emf_v, r_ohm, load_ohm, current_a, terminal_v, power_w) -> None:
    """The circuit that the advice on loads rests on."""
    found = drawn(emf_v, r_ohm, load_ohm)
    assert found.current_a == pytest.approx(current_a[0], abs=current_a[1])
    assert found.terminal_v == pytest.approx(terminal_v[0], abs=terminal_v[1])
    if power_w is not None:
        assert found.power_w == pytest.approx(power_w[0], abs=power_w[1])


def test_two_differences_give_r_and_the_emf_is_refused() -> None:
    """OpenStax: -2.00 V for +5.00 A is 0.400 ohm, and the EMF cannot be found."""
    changes = {"volts_change": "-2.00", "amps_change": "5.00"}
    found = said("line", "", **changes)
    assert found.r.value == pytest.approx(0.400, abs=1e-12)
    assert found.emf is None and "emf_unknown" in codes(found)
    with pytest.raises(AnalysisError) as caught:
        said("line", "", **changes, extrapolate=True)
    assert caught.value.code == "emf_not_in_differences"


def test_a_standard_cell_gives_the_emf() -> None:
    """OpenStax, null method: standard 12.0 V, balance at 5.000 against 2.500 is 24.0 V. The
    loaded length is made up: E does not depend on it."""
    found = said(
        "slidewire", "open=5.000 loaded=4.000 load=1.0", standard_emf="12.0",
        standard_length="2.500",
    )  # fmt: skip
    assert found.emf is not None
    assert found.emf.value == pytest.approx(24.0, abs=0.1)


def test_a_negative_terminal_voltage_is_refused() -> None:
    """1.58 V with r 0.200 ohm cannot drive 8.50 A: V would be -0.120 V (OpenStax's numbers)."""
    assert drawn(1.58, 0.200, 1.58 / 8.50 - 0.200).terminal_v == pytest.approx(-0.120)
    with pytest.raises(AnalysisError) as caught:
        said("voltmeter", "open=1.58 loaded=-0.120 amps=8.50")
    assert caught.value.code == "negative_terminal_voltage"
    assert "numbers typed" in caught.value.remedy


@pytest.mark.parametrize(
    ("typed", "r_ohm", "digit"),
    [
        ("voltmeter --open 9.00 --loaded 8.00 --load 1.40", 0.175, 0.001),
        ("voltmeter --open 3,08 --loaded 2,97 --amps 1,65", 0.067, 0.001),
        ("voltmeter --open 15.0 --loaded 11.6 --watts 20.0", 1.97, 0.01),
        ("voltmeter --open 12.0 --loaded 16.0 --amps -10.0", 0.400, 0.001),
        ("line --volts-change -2.00 --amps-change 5.00", 0.400, 0.001),
    ],
)
def test_on_the_command_line(typed: str, r_ohm: float, digit: float, capsys) -> None:
    assert main(["hand", *typed.split(), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["kind"] == "hand"
    assert found["r_ohm"]["value"] == pytest.approx(r_ohm, abs=digit)
    assert (found["emf_v"] is None) == ("change" in typed)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("voltmeter --open 1.58 --loaded -0.120 --amps 8.50", "negative_terminal_voltage"),
        ("voltmeter --open 1.50 --loaded 1.58 --load 10.0", "loaded_above_open"),
        ("line --volts-change -2.00 --amps-change 5.00 --extrapolate", "emf_not_in_differences"),
    ],
)
def test_refused_on_the_command_line(typed: str, code: str, capsys) -> None:
    assert main(["hand", *typed.split(), "--json"]) == 4
    told = capsys.readouterr()
    assert told.out == ""
    assert json.loads(told.err)["error"]["code"] == code
