# SPDX-License-Identifier: MIT
"""A run as an exercise on the command line: what is given, what is kept back, what is said of an
answer (simulated rig)."""

import json
import re

import pytest

from sagline.analysis.hand.typed import typed
from sagline.cli import main
from sagline.results import Quantity
from sagline.teaching import Beside, Exercise, slip

LR6 = "virtual://lr6?seed=7"

# NCERT Physics XII, ch. 3: balance lengths 76.3 cm open and 64.8 cm with 9.5 ohm across
# the cell, r = 1.7 ohm. A ratio of lengths is one of voltages.
WIRE = Exercise(10.0, 76.3, 64.8, 9.5, 1)


def run(capsys, *arguments: str) -> tuple[int, str, str]:
    status = main(arguments)
    out, err = capsys.readouterr()
    return status, out, err


def measured(capsys, log, *options: str) -> tuple[str, list[str], dict]:
    """Measure with --teach: what was printed, the command it names, and the run's result."""
    status, out, _ = run(
        capsys, "measure", "--rig", LR6, "--repeats", "2", "--teach", "--log", str(log), *options
    )
    assert status == 0
    named = re.search(r"`sagline (log answer [^`]*)`", out)
    assert named
    command = named.group(1).replace("'", "").split()
    _, shown, _ = run(capsys, "log", "show", "--log", str(log), command[4], "--json")
    return out, command, json.loads(shown)["results"][0]


def test_what_was_read_is_given_and_r_is_not(capsys, tmp_path) -> None:
    out, command, result = measured(capsys, tmp_path / "log.sqlite")
    assert "±" not in out and "budget" not in out and "what u(" not in out.lower()
    assert f"{result['r_ohm']['value']:.4f}" not in out
    given = {
        name: float(re.search(rf"{name} += ([\d.]+) ", out).group(1))
        for name in ("V_open", "V_loaded", "R_x")
    }
    by_hand = given["R_x"] * (given["V_open"] / given["V_loaded"] - 1.0)
    # Not the resistor's marked value: the diode takes its share of the voltage.
    assert given["R_x"] > 1.1 * result["load_ohm"]["value"]
    place = command.index("OHM")
    answer = [*command[:place], f"{by_hand:.4f}"]
    status, said, _ = run(capsys, *answer)
    assert status == 0
    assert said.startswith(f"agrees: your r = {by_hand:.4f} Ω") and "within U" in said
    assert f"{result['r_ohm']['value']:.4f} Ω ±" in said


def test_a_line_is_given_by_its_points_and_its_e_kept_back(capsys, tmp_path) -> None:
    out, command, result = measured(capsys, tmp_path / "log.sqlite", "--load", "all")
    points = re.findall(r"^  ([\d.]+) A +([\d.]+) V$", out, re.M)
    assert len(points) == len(result["line"]["points"]) >= 3
    (i1, v1), (i2, v2) = ((float(i), float(v)) for i, v in (points[0], points[-1]))
    r_ohm = (v1 - v2) / (i2 - i1)
    emf_v = v1 + r_ohm * i1
    assert command[-4:] == ["--r", "OHM", "--line-emf", "V"]
    answer = [*command[:-4], "--r", f"{r_ohm:.3f}", "--line-emf", f"{emf_v:.3f}", "--json"]
    status, said, _ = run(capsys, *answer)
    r, emf = json.loads(said)
    assert status == 0 and r["agrees"] is emf["agrees"] is True
    assert emf["found"] == result["line"]["emf_v"]["value"] and emf["unit"] == "V"
    wrong = [*command[:-4], "--r", f"{r_ohm:.3f}", "--line-emf", "1,40"]
    _, said, _ = run(capsys, *wrong)
    assert "differs: your E of the line = 1.40 V" in said and "more than U" in said


def test_refusals_say_what_to_do(capsys, tmp_path) -> None:
    log = tmp_path / "log.sqlite"
    status, _, err = run(capsys, "measure", "--rig", LR6, "--teach", "--json")
    assert status == 2 and json.loads(err)["error"]["code"] == "two_ways"
    assert not log.exists()
    _, command, _ = measured(capsys, log)
    answer = command[: command.index("--r")]
    status, _, err = run(capsys, *answer, "--r", "0.16", "--line-emf", "1.58")
    assert status == 2 and "--load all" in err
    status, _, err = run(capsys, *answer, "--r", "sixteen")
    assert status == 2 and "is no number" in err
    _, made, _ = run(capsys, "hand", "voltmeter", "--open", "1.58", "--loaded", "1.49", "--load",
                     "10", "--log", str(log), "--json")  # fmt: skip
    by_hand = json.loads(made)["id"]
    status, _, err = run(capsys, "log", "answer", "--log", str(log), by_hand, "--r", "0.6")
    assert status == 2 and "`sagline measure`" in err


def test_the_equation_is_the_published_one() -> None:
    assert WIRE.r_ohm == pytest.approx(1.7, abs=0.05)
    assert slip(WIRE, typed("r", "1.69")) is None


@pytest.mark.parametrize(
    ("answer", "word"),
    [
        ("1690", "milliohms"),
        # 9.5 · 76.3/64.8, 9.5/(76.3/64.8 − 1), 9.5 · 64.8/76.3, 9.5 · (1 − 64.8/76.3), 76.3 − 64.8
        ("11.19", "the 1 was not taken off"),
        ("53.5", "divided instead of multiplied"),
        ("8.07", "the ratio was"),
        ("1.432", "divided by V_open"),
        ("11.5", "the sag in volts"),
        ("-1.69", "wrong sign"),
    ],
)
def test_a_slip_is_known_again(answer: str, word: str) -> None:
    found = slip(WIRE, typed("r", answer))
    assert found is not None and word in found


def test_the_last_digit_counts_and_an_unknown_u_is_no_verdict() -> None:
    known = Quantity(value=1.70, u=0.01, dof=None, k=2.0, low95=1.68, high95=1.72)
    assert Beside("r", "Ω", typed("r", "1.7"), known).agrees is True
    # 1.67 may be up to 1.675 before rounding, which is 0.025 off.
    assert Beside("r", "Ω", typed("r", "1.67"), known).agrees is False
    assert Beside("r", "Ω", typed("r", "1.68"), known).agrees is True
    unknown = known.model_copy(update={"low95": None, "high95": None})
    beside = Beside("r", "Ω", typed("r", "1.7"), unknown)
    assert beside.agrees is None and "single repeat" in beside.lines()[0]
