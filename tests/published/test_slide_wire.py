# SPDX-License-Identifier: MIT
"""Published slide-wire problems, r = R (l1/l2 - 1), through what reads them by hand."""

import json

import pytest

from analysis.sheets import said
from sagline.cli import main


@pytest.mark.parametrize(
    ("readings", "r_ohm", "digit"),
    [
        # NCERT Physics XII, ch. 3: 9.5 ohm, 76.3 and 64.8 cm; exact quotient, then as printed
        ("open=76.3 loaded=64.8 load=9.5", 1.685957, 1e-6),
        ("open=76.3 loaded=64.8 load=9.5", 1.7, 0.1),
        # CBSE, Delhi paper: 9 ohm, 350 and 300 cm
        ("open=350 loaded=300 load=9", 1.5, 0.1),
        # JEE Main 2018: 5 ohm, 52 and 40 cm
        ("open=52 loaded=40 load=5", 1.5, 0.1),
        # A practical class's table, 250.0 cm open; recomputed where its own values are slips
        ("open=250.0 loaded=220.0 load=5", 0.681818, 1e-6),
        ("open=250.0 loaded=235.0 load=10", 0.638298, 1e-6),
        ("open=250.0 loaded=240.0 load=15", 0.625000, 1e-6),
    ],
)
def test_the_published_lengths(readings: str, r_ohm: float, digit: float) -> None:
    found = said("slidewire", readings)
    assert found.r.value == pytest.approx(r_ohm, abs=digit)
    assert found.emf is None, "lengths alone say nothing of E"


def test_the_whole_table_together() -> None:
    """The practical class's table: r of each load beside the r of all."""
    table = "open=250.0 loaded=220.0 load=5 loaded=235.0 load=10 loaded=240.0 load=15"
    found = said("slidewire", table)
    each = [row.r_ohm for row in found.groups if row.r_ohm is not None]
    assert each == pytest.approx([0.681818, 0.638298, 0.625000], abs=1e-6)
    assert min(each) < found.r.value < max(each)


def test_a_ratio_of_two_lengths_is_one_of_two_resistances() -> None:
    """10.0 ohm at 58.3 cm, the unknown at 68.5 cm: 11.75 ohm (published, recomputed). The drop
    across either stands to the other as a cell's EMF to the standard's, which is what is asked
    here; the loaded length is made up."""
    found = said(
        "slidewire", "open=68.5 loaded=60.0 load=1.0", standard_emf="10.0", standard_length="58.3"
    )
    assert found.emf is not None
    assert found.emf.value == pytest.approx(11.75, abs=0.01)


@pytest.mark.parametrize(
    ("typed", "r_ohm", "digit"),
    [
        ("--open 76.3 --loaded 64.8 --load 9.5", 1.685957, 1e-6),
        ("--open 350 --loaded 300 --load 9", 1.5, 0.1),
        ("--open 250,0 --loaded 235,0 --load 10", 0.638298, 1e-6),
    ],
)
def test_on_the_command_line(typed: str, r_ohm: float, digit: float, capsys) -> None:
    assert main(["hand", "slidewire", *typed.split(), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["r_ohm"]["value"] == pytest.approx(r_ohm, abs=digit)
    assert found["emf_v"] is None and found["emf_budget"] == []


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("--open 76.3 --loaded 84.8 --load 9.5", "longer_loaded"),
        ("--open 176.3 --loaded 64.8 --load 9.5 --wire-length 100", "beyond_the_wire"),
    ],
)
def test_refused_on_the_command_line(typed: str, code: str, capsys) -> None:
    assert main(["hand", "slidewire", *typed.split(), "--json"]) == 4
    assert json.loads(capsys.readouterr().err)["error"]["code"] == code
