# SPDX-License-Identifier: MIT
"""What the report predicts, against Ohm's and Kirchhoff's laws, and that it is kept up to date."""

import sys
from functools import cache
from itertools import pairwise

import pytest
from spice import NO_NGSPICE, WHY

import make
from sagline_board import profile
from tools import faults, ngspice, nulling, predict, report

BASE = predict.CASES[0]
simulated = pytest.mark.skipif(NO_NGSPICE, reason=WHY)


@cache
def figures_of_base() -> dict[str, float]:
    return ngspice.printed(predict.deck(make.netlist(), BASE))


def r_beside_marked(what: str) -> float:
    """r with one thing off, as a share of r with everything as marked."""
    off, marked = (predict.measured(BASE, figures_of_base(), each) for each in (what, "marked"))
    return off[0] / marked[0]


@simulated
def test_the_report_is_what_ngspice_makes_of_the_drawing() -> None:
    assert make.stale_report() == []


@simulated
def test_a_load_that_is_off_is_told_by_ohms_law() -> None:
    # The host reckons the current with the marked ohms: what the load has more, r has less.
    marked_ohm = 3.3 + 0.020
    assert r_beside_marked("r11") == pytest.approx(marked_ohm / (marked_ohm + 0.033), abs=2e-4)
    assert r_beside_marked("switches") == pytest.approx(marked_ohm / (marked_ohm + 0.005), abs=3e-4)


@simulated
def test_a_foot_that_is_off_is_told_by_kirchhoffs_law() -> None:
    # 100 k from the tap, 1 M from the reference, 75 k to ground.
    siemens = [1 / 100e3 + 1 / 1e6 + 1 / foot_ohm for foot_ohm in (75e3, 75.075e3)]
    assert r_beside_marked("r44") == pytest.approx(siemens[0] / siemens[1], abs=5e-6)
    # The current's own foot the other way; the return channel hardly matters here.
    assert r_beside_marked("r54") == pytest.approx(siemens[1] / siemens[0], abs=2e-4)


@simulated
def test_as_marked_the_circuit_finds_what_is_there() -> None:
    found = predict.found(make.netlist(), BASE, figures_of_base())
    assert abs(found.bias_r) < 1e-3
    assert abs(found.bias_emf) < 2e-4
    # A rectangle of 1 %, two standard deviations of it, and the rest in squares.
    assert 0.01 * 2 / 3**0.5 < found.parts_r < 0.015
    assert figures_of_base()["gate_1_marked"] > 2.5


def test_a_converters_share_is_its_limit_over_the_sag() -> None:
    # By hand: 8 codes of 0.732 mV, 1 code of 62.5 uV; gain 0.411; two ends; U of rectangles.
    share = predict._converters(predict.CASES[1], 0.1)
    for way, code_v in (("own", 8 * 732.422e-6), ("fine", 62.5e-6)):
        by_hand = 2 * (2 / 3) ** 0.5 * code_v / 0.410959 / 0.1
        assert share[way] == pytest.approx(by_hand, rel=1e-4)
    assert share["null"] < share["fine"] < share["own"]
    assert "null" not in predict._converters(BASE, 0.1)


@simulated
def test_the_null_channel_is_quick_and_still() -> None:
    decks = nulling.decks(make.netlist())
    figures = {name: ngspice.printed(deck) for name, deck in decks.items()}
    found = [value for _, value, _ in nulling.lines(figures)]
    ripple_uv, trim_ms, scale_ms, typical_uv, most_uv, bent_uv = found
    assert ripple_uv < profile.NULL["lsb_pv"] * 1e-6
    assert trim_ms < scale_ms < 500.0
    assert typical_uv < most_uv < profile.NULL["load_shift_nv"] * 1e-3
    # By hand: 10 mV over the reference's feed of 1.2 kohm and its own.
    assert most_uv == pytest.approx(10e3 * 0.8 / 1200.8, rel=0.03)
    # By hand, means of currents: half of 2.5 V, less a quarter of 10 ohm in 10 k of it.
    assert bent_uv == pytest.approx(-0.25 * 10.0 / 10e3 * 2.5e6, rel=0.03)


@simulated
def test_no_fault_drives_a_pin_or_a_load() -> None:
    for fault in faults.FAULTS:
        at = ngspice.printed(faults.deck(make.netlist(), fault))
        pins = [at[f"at_{pin}"] for pin in predict.PINS]
        assert -0.3 < min(pins) <= max(pins) < 3.6, fault.name
        if not (fault.earthed and not fault.lost):
            assert abs(at["at_amperes"]) < 5e-3, fault.name


@simulated
def test_what_cannot_be_solved_is_an_error() -> None:
    deck = "* two sources at odds\nvone a 0 1\nvtwo a 0 2\n.control\nop\nlet a0 = v(a)\nprint a0\n"
    with pytest.raises(ngspice.SimulatorError):
        ngspice.printed(deck + ".endc\n.end\n")


def test_reports_are_compared_to_the_last_digits() -> None:
    row = "| LR6 | 3.3 ohm | {} % |\n"
    texts = [row.format(number) for number in ("1.20", "1.25", "1.30", "1.60")]
    assert all(report.same(one, other) for one, other in pairwise(texts[:3]))
    assert not report.same(texts[0], texts[3])
    assert not report.same(texts[0], texts[0].replace("LR6", "LR03"))
    assert not report.same(texts[0], "")


def test_without_a_simulator_it_says_what_is_left_out(monkeypatch, capsys) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(sys, "argv", ["make.py", "--check"])
    assert make.main() == 0
    assert capsys.readouterr().out == f"left out: report.md {ngspice.LACKS}\n"
