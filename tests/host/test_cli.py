# SPDX-License-Identifier: MIT
"""The command line as a person or a program meets it: output, errors, exit statuses."""

import json
import os
import re
import subprocess
import sys

import pytest

from sagline import __version__, cli, open_rig
from sagline.device import procedure
from sagline.device.progress import RepeatDone
from sagline.device.settings import Settings
from sagline.virtual.cells import CATALOGUE
from terminal import Terminal

LR6 = "virtual://lr6?seed=7"

# contract: every key of a result, in the order in which it is written.
RESULT_KEYS = [
    "schema",
    "id",
    "kind",
    "measured_at",
    "label",
    "designation",
    "operator",
    "sagline",
    "method",
    "firmware",
    "rig",
    "calibration_id",
    "emf_v",
    "r_ohm",
    "r_ohmic_ohm",
    "r_extrapolated_ohm",
    "r_at",
    "line",
    "load_ohm",
    "current_a",
    "short_circuit_a",
    "max_power_w",
    "repeats",
    "rejected",
    "budget",
    "emf_budget",
    "conditions",
    "warnings",
]
QUANTITY_KEYS = {"value", "u", "dof", "k", "low95", "high95"}


@pytest.fixture
def sagline(capsys):
    """Run one command; return (status, stdout, stderr)."""

    def run(*arguments):
        try:
            status = cli.main(arguments)
        except SystemExit as end:
            status = end.code
        out, err = capsys.readouterr()
        return status, out, err

    return run


def test_version_and_help(sagline):
    assert sagline("--version") == (0, f"sagline {__version__}\n", "")
    status, out, _ = sagline("--help")
    assert status == 0
    for name in ("demo", "measure", "rigs", "virtual", "where"):
        assert name in out
        assert sagline(name, "--help")[0] == 0


def test_measure_json_has_every_field(sagline):
    status, out, err = sagline("measure", "--rig", LR6, "--label", "kitchen-3", "--json")
    assert (status, err) == (0, "")
    result = json.loads(out)
    assert list(result) == RESULT_KEYS
    for name in ("emf_v", "load_ohm", "current_a", "short_circuit_a", "max_power_w"):
        assert set(result[name]) == QUANTITY_KEYS
    assert set(result["r_ohm"]) == QUANTITY_KEYS | {"t_s"}
    assert result["r_ohm"]["t_s"] == 0.1
    ohmic = result["r_ohmic_ohm"]
    assert ohmic["from_s"] == 1e-4 and ohmic["value"] < result["r_ohm"]["value"]
    assert result["r_at"][0] == result["r_ohm"]
    assert [set(row) for row in result["repeats"]] == [
        {"n", "r_ohm", "emf_v", "kept", "reason"}
    ] * 5
    assert {key for row in result["budget"] for key in row} == {"source", "type", "u_ohm", "share"}
    assert {key for row in result["emf_budget"] for key in row} == {
        "source", "type", "u_v", "share",
    }  # fmt: skip
    assert sum(row["share"] for row in result["budget"]) == pytest.approx(1.0)
    assert set(result["conditions"]) == {"temperature_c", "rest_s", "dvdt_v_per_s", "on_s"}
    assert all(set(row) == {"code", "text", "remedy"} for row in result["warnings"])
    assert result["label"] == "kitchen-3"
    assert result["kind"] == "virtual"
    assert result["measured_at"].endswith(("Z", "+00:00"))


def test_the_root_of_the_shares_is_u(sagline):
    result = json.loads(sagline("measure", "--rig", LR6, "--json")[1])
    for budget, quantity, key in (
        ("budget", "r_ohm", "u_ohm"),
        ("emf_budget", "emf_v", "u_v"),
    ):
        total = sum(row[key] ** 2 for row in result[budget]) ** 0.5
        assert total == pytest.approx(result[quantity]["u"], rel=1e-6)


def test_measure_in_words(sagline):
    status, out, err = sagline("measure", "--rig", LR6, "--designation", "LR6", "--repeats", "3")
    assert (status, err) == (0, "")
    assert "EMF" in out
    assert "r(0.1 s)" in out
    assert "(E − V) / I" in out
    assert "3 of 3 repeats" in out
    assert "simulated" in out
    assert max(len(line) for line in out.splitlines()) <= 80


@pytest.mark.parametrize(
    ("arguments", "status", "code"),
    [
        (("measure", "--rig", "virtual://nothing"), 2, "unknown_cell"),
        (("measure", "--rig", LR6, "--load", "5"), 2, "load_not_in_bank"),
        (("measure", "--rig", LR6, "--load", "five"), 2, "usage"),
        (("measure", "--rig", LR6, "--times", "x"), 2, "usage"),
        (("measure", "--rig", LR6, "--repeats", "0"), 2, "bad_repeats"),
        (("measure", "--rig", LR6, "--designation", "XYZ"), 2, "unknown_designation"),
        (("measure", "--rig", "/dev/no-such-port"), 3, "no_such_port"),
        (("measure", "--rig", "attic"), 3, "unknown_rig"),
        (("rigs", "--rig", LR6), 2, "rig_without_probe"),
        # 9.4 V on 3.3 ohm would be 2.9 A: 8 s of it is beyond every limit.
        (("measure", "--rig", "virtual://6lr61", "--load", "3.3", "--times", "8"), 4,
         "load_limit"),
        (("measure", "--lab", "x"), 2, "usage"),
        (("measure", "--rig", LR6, "--temperature", "nan"), 2, "bad_temperature"),
        (("measure", "--rig", LR6, "--temperature", "-400"), 2, "bad_temperature"),
        (("measure", "--rig", LR6, "--temperature", "inf"), 2, "bad_temperature"),
        (("measure", "--rig", LR6, "--temperature", "295"), 2, "bad_temperature"),
        (("measure", "--rig", "socket://127.0.0.1"), 2, "bad_address"),
        (("measure", "--rig", "socket://127.0.0.1:99999"), 2, "bad_address"),
        (("measure", "--rig", "socket://:5025"), 2, "bad_address"),
        (("virtual", "truth", "nothing"), 2, "unknown_cell"),
        (("virtual", "truth", "lr6", "--load", "-1"), 2, "bad_load"),
        (("virtual", "truth", "lr6", "--at=-1"), 2, "bad_times"),
        (("virtual", "truth"), 2, "which_cell"),
        (("virtual", "truth", "lr6", "--cell", "x.toml"), 2, "which_cell"),
        (("virtual", "truth", "--cell", "no such.toml"), 2, "unreadable_cell"),
        (("measure", "--rig", "virtual://custom?cell=no%20such.toml"), 2, "unreadable_cell"),
        (("nonsense",), 2, "usage"),
    ],
)  # fmt: skip
def test_errors(sagline, arguments, status, code):
    found, out, err = sagline(*arguments, "--json")
    assert (found, out) == (status, "")
    error = json.loads(err)["error"]
    assert error["code"] == code
    assert error["message"]
    assert error["remedy"]
    found, out, err = sagline(*arguments)
    assert (found, out) == (status, "")
    assert err.startswith("sagline: ")
    assert len(err.splitlines()) == 2


@pytest.mark.parametrize(
    ("arguments", "message", "remedy"),
    [
        (("measure", "--rig", LR6, "--load", "3.3", "--times", "0.1,1"),
         "The load of 3.3 Ω would be on for 1.4 s; its limit is 1.2 s.",
         "Give --load with more ohms, or shorter --times."),
        (("measure", "--lab", "x"), "`sagline measure` does not know --lab x.",
         "See `sagline measure --help`."),
        (("virtual", "truth", "lr6", "--lab"), "`sagline virtual truth` does not know --lab.",
         "See `sagline virtual truth --help`."),
        (("--lab",), "`sagline` does not know --lab.", "See `sagline --help`."),
        (("measure", "--rig", LR6, "--temperature", "295"),
         "295 °C is no temperature to measure a cell at.", "Give it in °C, from -100 to 150."),
        (("measure", "--rig", "socket://box"),
         "The address socket://box lacks a host or the number of a port, 0 to 65535.",
         "Write it as socket://HOST:PORT, for example socket://127.0.0.1:5025."),
        (("measure", "--rig", LR6 + "&adc=best"), "adc=best is not possible.",
         "Write adc= and one of: both, ads1115, onboard."),
    ],
)  # fmt: skip
def test_what_is_said_and_what_to_do(sagline, arguments, message, remedy):
    err = sagline(*arguments)[2]
    assert err == f"sagline: {message}\n  {remedy}\n"


def test_a_time_that_was_asked_for_twice_is_reported_once(sagline):
    given = ("--load", "15", "--repeats", "2", "--times", "0.1,0.2,0.1")
    result = json.loads(sagline("measure", "--rig", LR6, *given, "--json")[1])
    assert [row["t_s"] for row in result["r_at"]] == [0.1, 0.2, 1e-4]


def test_a_single_repeat_loses_no_digits(sagline):
    out = sagline("measure", "--rig", LR6, "--designation", "LR6", "--repeats", "1")[1]
    assert re.search(r"^r\(0\.1 s\) = 0\.\d{4,} Ω, U unknown   \(no interval\)$", out, re.M)
    assert re.search(r"^EMF +=? ?1\.\d{4,} V, U unknown   \(no interval\)", out, re.M)
    assert "from 1 of 1 repeat on" in out


def test_the_working_shows_what_was_measured(sagline):
    out = sagline("measure", "--rig", LR6, "--load", "3.3")[1]
    found = re.search(r"= \(([\d.]+) − ([\d.]+)\) V / ([\d.]+) A\n *= ([\d.]+) Ω", out)
    open_v, loaded_v, current_a, r_ohm = map(float, found.groups())
    assert (open_v - loaded_v) / current_a == pytest.approx(r_ohm, rel=2e-3)
    rests, loads = [], []
    with open_rig(LR6) as rig:
        for item in procedure.run(rig, Settings(load_ohm=3.3)):
            if isinstance(item, RepeatDone):
                t_s, sense_v = item.waveform.t_s, item.waveform.sense_v
                rests.append(sense_v[(t_s > -1.0) & (t_s < 0.0)].mean())
                # Even about 0.1 s; what curvature within does to the mean is below 0.1 mV.
                loads.append(sense_v[(t_s > 0.08) & (t_s < 0.12)].mean())
    # Averages of plain readings; the level itself comes from a line through them.
    assert open_v == pytest.approx(sum(rests) / 5, abs=3e-4)
    assert loaded_v == pytest.approx(sum(loads) / 5, abs=3e-4)


def test_no_rig_names_the_demo(sagline, monkeypatch):
    monkeypatch.setattr("sagline.rigs.list_serial_ports", lambda: [])
    status, _, err = sagline("measure")
    assert status == 3
    assert "sagline demo" in err


def test_several_rigs_are_listed(sagline, monkeypatch):
    from sagline.device.ports import PortInfo

    ports = [PortInfo(f"/dev/ttyACM{i}", "Board", f"e66{i}", True) for i in range(2)]
    monkeypatch.setattr("sagline.rigs.list_serial_ports", lambda: ports)
    status, _, err = sagline("measure")
    assert status == 2
    assert "/dev/ttyACM0, /dev/ttyACM1" in err


def test_truth(sagline):
    status, out, _ = sagline("virtual", "truth", "lr6", "--at", "1,0.01", "--json")
    assert status == 0
    truth = json.loads(out)["truth"]
    assert set(truth) == {"emf_v", "r_instant_ohm", "r_at", "load_ohm"}
    assert [row["t_s"] for row in truth["r_at"]] == [0.01, 0.1, 1.0]
    assert truth["load_ohm"] == 3.3
    assert "r(0.1 s)" in sagline("virtual", "truth", "lr6")[1]


def test_truth_of_ones_own_cell(sagline):
    """The catalogue's files are in the same format; a cell of the name lr6 is planned 3.3 ohm."""
    file = str(CATALOGUE / "lr6.toml")
    own = sagline("virtual", "truth", "--cell", file, "--at", "1", "--json")
    assert own == sagline("virtual", "truth", "lr6", "--at", "1", "--json")
    assert own[0] == 0


def test_the_files_format_in_the_help_is_the_one_that_is_read(sagline, tmp_path):
    _, text, _ = sagline("virtual", "truth", "--help")
    lines = [line.strip() for line in text.splitlines()]
    file = tmp_path / "cell.toml"
    file.write_text("\n".join(lines[lines.index("emf_v = 1.58") :]), encoding="utf-8")
    assert sagline("virtual", "truth", "--cell", str(file)) == sagline("virtual", "truth", "lr6")


@pytest.mark.parametrize(
    "arguments",
    [("--version",), ("--help",), ("virtual", "--help"), ("virtual", "truth", "--help")],
)
def test_help_waits_for_no_heavy_import(arguments):
    code = (
        "import sys; from sagline import cli\n"
        f"try: cli.main({arguments!r})\n"
        "except SystemExit: pass\n"
        "sys.exit(', '.join({'scipy', 'GTC', 'pydantic'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")


def test_lists(sagline):
    cells = json.loads(sagline("virtual", "list", "--json")[1])["cells"]
    assert {"lr6", "6lr61"} <= {cell["name"] for cell in cells}
    rigs = json.loads(sagline("rigs", "--json")[1])["rigs"]
    assert {"virtual://lr6", "virtual://6lr61"} <= {rig["address"] for rig in rigs}
    assert "virtual://lr6" in sagline("rigs")[1]


def test_probing_asks_the_named_rig_and_no_stranger(sagline):
    rows = json.loads(sagline("rigs", "--probe", "--rig", LR6, "--json")[1])["rigs"]
    answers = {row["address"]: row["identity"] for row in rows if "identity" in row}
    assert answers[LR6]["serial"] == "lr6-7"
    assert answers[LR6]["firmware"] == __version__
    assert "virtual://6lr61" not in answers
    out = sagline("rigs", "--probe", "--rig", "/dev/no-such-port")[1]
    assert "There is no port /dev/no-such-port." in out


@pytest.fixture
def settings(sagline_home):
    """Write config.toml."""

    def write(text):
        sagline_home.mkdir(exist_ok=True)
        (sagline_home / "config.toml").write_text(text)

    return write


def test_the_settings_name_rig_and_operator(sagline, settings):
    settings("[rigs]\nbench = 'virtual://lr6?seed=7'\n"
             "[defaults]\noperator = 'A. Volta'\nrig = 'bench'\n")  # fmt: skip
    result = json.loads(sagline("measure", "--repeats", "2", "--json")[1])
    assert (result["rig"].split()[1], result["operator"]) == ("lr6-7", "A. Volta")
    result = json.loads(
        sagline("measure", "--rig", "virtual://lr6?seed=8", "--repeats", "2",
                "--operator", "L. Galvani", "--json")[1]
    )  # fmt: skip
    assert (result["rig"].split()[1], result["operator"]) == ("lr6-8", "L. Galvani")


def test_wrong_settings_are_told_before_anything_is_measured(sagline, settings):
    settings("[defaults]\n\noperater = 'A. Volta'\n")
    for arguments in (("measure", "--rig", LR6), ("rigs",), ("where",)):
        status, _, err = sagline(*arguments)
        assert status == 2
        assert "config.toml, line 3: " in err


def test_rigs_lists_nicknames_beside_what_they_name(sagline, settings, monkeypatch):
    from sagline.device.ports import PortInfo

    listed = [PortInfo("/dev/ttyUSB0", "USB serial", "0001", False)]
    for module in ("sagline.device.ports", "sagline.rigs"):
        monkeypatch.setattr(f"{module}.list_serial_ports", lambda: listed)
    settings("[rigs]\nbench = '0001'\nsame = '/dev/ttyUSB0'\nsim = 'virtual://lr6'\n"
             "far = 'socket://127.0.0.1:9'\ngone = 'e661000000000000'\n")  # fmt: skip
    rows = {row["address"]: row for row in json.loads(sagline("rigs", "--json")[1])["rigs"]}
    named = {address: row["nicknames"] for address, row in rows.items() if row["nicknames"]}
    assert named == {
        "/dev/ttyUSB0": ["bench", "same"],
        "virtual://lr6": ["sim"],
        "socket://127.0.0.1:9": ["far"],
        "e661000000000000": ["gone"],
    }
    assert rows["/dev/ttyUSB0"]["likely"]
    lines = sagline("rigs")[1].splitlines()
    assert lines[0].endswith("serial number 0001, nickname bench, same")
    assert lines[-1] == "e661000000000000       named in config.toml, not connected, nickname gone"
    # Whoever gives a port a nickname has named it: --probe asks it too.
    rows = {r["address"]: r for r in json.loads(sagline("rigs", "--probe", "--json")[1])["rigs"]}
    assert rows["e661000000000000"]["error"]["code"] == "unknown_rig"
    assert rows["socket://127.0.0.1:9"]["error"]["code"] == "port_not_opened"
    assert "identity" not in rows["virtual://lr6"]


def test_without_a_terminal_the_screens_say_what_to_use(sagline):
    status, out, err = sagline()
    assert (status, out) == (2, "")
    assert "measure" in err
    status, _, err = sagline("demo")
    assert status == 2
    assert "sagline measure" in err


def test_an_interrupt_is_130_with_the_load_off(sagline, monkeypatch):
    def interrupt(_rig, _settings):
        raise KeyboardInterrupt
        yield

    monkeypatch.setattr("sagline.device.procedure.run", interrupt)
    status, out, err = sagline("measure", "--rig", LR6, "--json")
    assert (status, out) == (130, "")
    assert json.loads(err)["error"]["code"] == "stopped"


def test_our_own_fault_is_saved(sagline, monkeypatch):
    def broken(_rig, _settings):
        raise ZeroDivisionError("by design")
        yield

    monkeypatch.setattr("sagline.device.procedure.run", broken)
    status, _, err = sagline("measure", "--rig", LR6, "--json")
    assert status == 1
    error = json.loads(err)["error"]
    assert error["code"] == "our_fault"
    path = next(word for word in error["remedy"].split() if word.endswith(".txt:")).rstrip(":")
    with open(path, encoding="utf-8") as file:
        assert "ZeroDivisionError: by design" in file.read()
    os.unlink(path)


def test_output_into_a_closed_pipe_is_no_fault():
    run = subprocess.run(
        f"{sys.executable} -m sagline virtual list | true; echo ${{PIPESTATUS[0]}}",
        shell=True, executable="/bin/bash", capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert run.stderr == ""
    assert run.stdout.strip() == "0"


def test_a_person_at_a_terminal_reads_the_plan_before_the_first_load():
    given = ("measure", "--rig", "virtual://starter12?seed=1&null=off", "--designation", "PB12")
    with Terminal(*given, "--repeats", "1", whole=False) as terminal:
        assert terminal.ended() == 0
    before, _, after = terminal.shown.partition("Repeat 1 of 1: load on")
    assert after, "the load went on"
    # It stays, in lines of its own; what follows is one line that is written over.
    assert "\x1b[KPlan: 1 repeat on 15 Ω" in before and "Expected" in before
    assert "Measure with --load 3.3" in before
    assert "loads are not to be compared.\r\n\r\x1b[KRepeat 1" in before


def test_help_says_what_to_do_with_an_unknown_pack(capsys):
    assert cli.main(["measure", "--help"]) == 0
    said = capsys.readouterr().out
    assert "voltmeter" in said and "16.5 V" in said and "24 V" in said
