# SPDX-License-Identifier: MIT
"""Figures in words: value and U rounded alike, to two digits of U (GUM 7.2.6)."""

import re

import pytest

import sagline
from sagline import wording
from sagline.analysis.terminal import Terminal
from sagline.device.procedure import run
from sagline.device.progress import Finished, RepeatDone
from sagline.device.settings import Settings
from sagline.results import Quantity
from sagline.virtual.cells import CELLS
from sagline_board import profile


def quantity(value, half, k=2.0):
    return Quantity(value=value, u=half / k, dof=None, k=k, low95=value - half, high95=value + half)


@pytest.mark.parametrize(
    ("value", "half", "text"),
    [
        # GUM 7.2.2: mass 100.02147 g with u 0.35 mg, here as U.
        (100.02147, 0.00035, "100.02147 Ω ± 0.00035 Ω"),
        (0.160675, 0.00211, "0.1607 Ω ± 0.0021 Ω"),
        (0.160675, 0.0996, "0.16 Ω ± 0.10 Ω"),
        (0.160675, 0.0994, "0.161 Ω ± 0.099 Ω"),
        (12.34, 1.0, "12.3 Ω ± 1.0 Ω"),
        (1234.5, 250.0, "1230 Ω ± 250 Ω"),
        (98765.0, 1234.0, "98800 Ω ± 1200 Ω"),
        (99.96, 9.96, "100 Ω ± 10 Ω"),
    ],
)
def test_figure(value, half, text):
    assert wording.figure(quantity(value, half), "Ω") == text


def test_a_figure_without_interval_says_so():
    alone = Quantity(value=0.1606, u=None, dof=None, k=None, low95=None, high95=None)
    assert wording.figure(alone, "Ω") == "0.1606 Ω, U unknown"
    # Digits as a known part of 1.6 mΩ bears them (k = 2), and none are lost.
    assert wording.figure(alone, "Ω", 0.0016) == "0.1606 Ω, U unknown"
    volts = Quantity(value=1.58, u=None, dof=None, k=None, low95=None, high95=None)
    assert wording.figure(volts, "V", 0.0019) == "1.5800 V, U unknown"
    assert wording.figure(volts, "V") == "1.580 V, U unknown"
    assert wording.coverage(alone) == "no interval"
    assert wording.relative(alone) == "unknown"


@pytest.mark.parametrize(
    ("dof", "words"),
    # Cut, not rounded, to a whole number (GUM G.4.1).
    [(None, "dof ∞"), (4.0, "dof 4"), (18.99, "dof 18"), (999.9, "dof 999"), (1e5, "dof >999")],
)
def test_coverage_is_said_with_k_and_degrees_of_freedom(dof, words):
    known = quantity(0.16, 0.002, k=2.1).model_copy(update={"dof": dof})
    assert wording.coverage(known) == f"95 %, k = 2.10, {words}"


def test_what_is_computed_beyond_the_measured_current_is_said_so():
    with sagline.open_rig("virtual://lr6?seed=1") as rig:
        result = rig.measure(designation="LR6", repeats=2)
    head, current, power = wording.extrapolated_lines(result)
    assert "far beyond the 0.3" in head and "never short" in head
    # E/r and E²/(4 r) of the result's own figures.
    e, r = result.emf_v.value, result.r_ohm.value
    assert float(current.split()[5]) == pytest.approx(e / r, rel=0.01)
    assert float(power.split()[6]) == pytest.approx(e * e / (4 * r), rel=0.01)
    assert "extrapolated" in {warning.code for warning in result.warnings}
    printed = wording.report_lines(result)
    assert power in printed and max(map(len, printed)) <= 80
    low = result.short_circuit_a.model_copy(update={"low95": 8.0, "high95": None, "u": None})
    bounded = result.model_copy(update={"short_circuit_a": low})
    assert "above 8 A   (95 %)" in wording.extrapolated_lines(bounded)[1]
    nothing = result.model_copy(update={"short_circuit_a": None, "max_power_w": None})
    assert wording.extrapolated_lines(nothing) == []


@pytest.mark.parametrize(
    ("cell", "high"), [("lr6", False), ("6lr61", True), ("cr2032", False), ("sla12", True)]
)
def test_the_working_shows_levels_that_were_measured(cell, high):
    """E and V are means over the repeats of what the converter counted, by Ohm's law at each
    divider's node, and r comes out of them to the digits that are printed. (With the null channel
    the sag is what that read: tests/analysis/test_terminal.py.)"""
    with sagline.open_rig(f"virtual://{cell}?seed=4&null=off") as rig:
        items = list(run(rig, Settings(designation=CELLS[cell].designation, repeats=4)))
    raws = [item.step.raw() for item in items if isinstance(item, RepeatDone)]
    (result,) = [item.result for item in items if isinstance(item, Finished)]

    def volts(from_s, to_s):
        means = []
        for raw in raws:
            t_s = (raw.start_us + raw.length_us / 2 - raw.edges_us[0]) * 1e-6
            used = (raw.source == 4) & (t_s > from_s) & (t_s < to_s)
            means.append(raw.total[used].sum() / raw.n[used].sum())
        parts = profile.CHANNELS[profile.SENSE]
        siemens = sum(1 / parts[f"{name}_ohm"] for name in ("top", "foot", "lift"))
        siemens += 1 / parts["range_foot_ohm"] if high else 0.0
        node_v = sum(means) / len(means) * profile.CONVERTERS[1]["lsb_nv"] * 1e-9
        lift_a = profile.REFERENCE["reference_uv"] * 1e-6 / parts["lift_ohm"]
        return parts["top_ohm"] * (node_v * siemens - lift_a)

    assert raws[0].range_high is high
    found = wording.Working.of(result.terminal, result.current_a.value)
    # Between 10 ms before and after, the voltage is straight enough.
    code_v = 0.55e-3 if high else 0.16e-3
    assert found.open_v == pytest.approx(volts(-0.3, 0.0), abs=0.2 * code_v)
    assert found.loaded_v == pytest.approx(volts(0.09, 0.11), abs=0.5 * code_v)
    line = wording.equation_lines(0.1, found.open_v, found.loaded_v, found.current_a, found.r_ohm)
    open_v, loaded_v, current_a = map(float, re.findall(r"[0-9]+\.[0-9]+", line[1]))
    digit_v = 10.0 ** -wording.sag_places(found.open_v, found.loaded_v)
    assert (open_v - loaded_v) / current_a == pytest.approx(
        float(line[2].split()[1]), rel=1e-3, abs=digit_v / current_a
    )
    # The fit reads the sag in fine codes too, and from the whole step: the working is within one
    # of the plain codes of it.
    assert found.r_ohm == pytest.approx(result.r_ohm.value, abs=2.0 * code_v / found.current_a)


def test_working_comes_out_with_a_calculator():
    # OpenStax University Physics vol. 2, 10.1: E 12.00 V, r 0.100 ohm, R 0.500 ohm -> 20.0 A,
    # terminal voltage 10.0 V.
    found = wording.Working.of(Terminal(12.0, 10.0, 1), 20.0)
    assert found is not None
    lines = wording.equation_lines(0.1, found.open_v, found.loaded_v, found.current_a, found.r_ohm)
    assert lines == [
        "r(0.1 s) = (E − V) / I",
        "         = (12.0000 − 10.0000) V / 20.00 A",
        "         = 0.1000 Ω",
    ]
