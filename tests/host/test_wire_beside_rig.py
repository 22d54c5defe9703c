# SPDX-License-Identifier: MIT
"""One cell by a simulated slide wire and by the simulated rig, side by side in one report."""

import json
import re

import numpy as np
import pytest

from sagline.cli import main
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

LOAD_OHM, CLOSED_S = 470.0, 2.0
WIRE_CM, DRIVER_V = 1000.0, 4.0
"""Ten wires of a metre in a row, across a steady 4 V (common practice in teaching)."""
U_CM = 0.05
"""How well a person sees the balance (a guess)."""


def typed(name: str, seed: int) -> list[str]:
    """What a person reads of this cell on the wire: l1 and l2, three times, to a millimetre."""
    rng = np.random.default_rng(seed)
    true = truth(CELLS[name], LOAD_OHM, [CLOSED_S])["truth"]
    emf_v = true["emf_v"]
    r_ohm = next(one["value"] for one in true["r_at"] if one["t_s"] == CLOSED_S)
    loaded_v = emf_v * LOAD_OHM / (LOAD_OHM + r_ohm)
    per_v = WIRE_CM / DRIVER_V
    words: list[str] = []
    for option, volts in (("--open", emf_v), ("--loaded", loaded_v)):
        for _ in range(3):
            words += [option, f"{volts * per_v + U_CM * rng.standard_normal():.1f}"]
    words += ["--load", f"{LOAD_OHM:g}", "--u-length", f"{U_CM}", "--u-ohm", "0.1%"]
    return [*words, "--wire-length", f"{WIRE_CM:g}", "--closed-s", f"{CLOSED_S:g}"]


@pytest.mark.parametrize("seed", [1])
def test_the_slide_wire_and_the_rig_agree_on_one_cell(capsys, tmp_path, seed):
    def sagline(*words):
        assert main([*words, "--temperature", "21", "--log", str(tmp_path / "log.sqlite")]) == 0
        return capsys.readouterr().out

    rig = f"virtual://cr2032?seed={seed}"
    asked = ("--load", f"{LOAD_OHM:g}", "--times", f"0.1,{CLOSED_S:g}")
    run = json.loads(sagline("measure", "--rig", rig, *asked, "--label", "rig", "--json"))
    readings = [*typed("cr2032", seed), "--label", "wire", "--beside", run["id"]]
    report, side = sagline("hand", "slidewire", *readings).split("Beside each other")
    assert "r = R (l1 − l2) / l2" in report, "the working of the wire"
    rows = [line for line in side.splitlines() if line.endswith(("wire", "rig"))]
    assert len(rows) == 2 and all(" 2 s" in row and "470 Ω" in row for row in rows)
    assert re.search(r"^E_n = .* = 0\.\d+: the two agree", side, re.M)

    told = json.loads(sagline("hand", "slidewire", *readings, "--json"))
    assert told["beside"]["notices"] == [] and told["beside"]["pair"]["en"] <= 1.0
    true = truth(CELLS["cr2032"], LOAD_OHM, [CLOSED_S])["truth"]
    r_ohm = next(one["value"] for one in true["r_at"] if one["t_s"] == CLOSED_S)
    for row in told["beside"]["rows"]:
        assert abs(row["r_ohm"] - r_ohm) < 1.5 * row["u95_ohm"]
        assert row["u95_ohm"] < 0.03 * r_ohm
