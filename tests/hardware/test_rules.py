# SPDX-License-Identifier: MIT
"""The circuit breaks no rule, and single mistakes each break the rule that is made for them."""

import re
from pathlib import Path

import pytest
from mistakes import MISTAKES, Mistake, own_profile

import make
from sagline_board import profile
from tools.circuit import Circuit
from tools.ratings import spans_v
from tools.rules import RULES, findings

NETLIST = make.netlist()
FIRMWARE = Path(__file__).parents[2] / "firmware"


def test_no_rule_is_broken() -> None:
    assert findings(NETLIST, profile) == {}


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_a_mistake_is_found(mistake: Mistake) -> None:
    assert mistake.rule in findings(*mistake.edit(NETLIST, own_profile()))


def test_every_rule_has_a_mistake_that_it_finds() -> None:
    assert {mistake.rule for mistake in MISTAKES} == set(RULES)


def test_the_base_build_is_the_full_one_less_parts_and_three_links() -> None:
    full, base = NETLIST.build("full").parts, NETLIST.build("base").parts
    assert set(base) - set(full) == {"W1", "W3", "W4"}
    assert {"R12", "R13", "R14", "Q5", "U4", "U5", "U6"} <= set(full) - set(base)


def test_the_boards_file_names_no_pin_of_its_own() -> None:
    for name in ("boards/pico.py", "main.py"):
        text = (FIRMWARE / name).read_text(encoding="utf-8")
        assert not re.search(r"\b(?:Pin|ADC)\(\s*\d", text), name


def test_voltages_are_reckoned_from_the_clips() -> None:
    spans = spans_v(Circuit(NETLIST.build("full"), profile, "full"))
    assert spans["FP"][1] == spans["RET"][1] == 20.0
    assert spans["S_PIN"] == pytest.approx((0.0, 3.465))
    # Behind the damper's capacitor no direct current flows.
    assert NETLIST.net("R1", "2") not in spans


def test_the_page_on_checks_lists_every_mistake() -> None:
    text = (FIRMWARE.parent / "hardware" / "verification.md").read_text(encoding="utf-8")
    told = re.findall(r"^\| ([^|]+) \| `(\w+)` \|$", text, re.MULTILINE)
    assert told == [(mistake.name, mistake.rule) for mistake in MISTAKES]
