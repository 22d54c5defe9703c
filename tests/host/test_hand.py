# SPDX-License-Identifier: MIT
"""`sagline hand` from the command line to the log and back."""

import csv
import json

import pytest
from jsonschema import Draft202012Validator
from test_cli import RESULT_KEYS

from sagline.cli import main
from sagline.handfile import hand_csv, read_hand_file
from sagline.handrecord import HandRecord
from sagline.jsonschemas import schema_of
from sagline.log.csvtext import Style
from sagline.log.store import Log
from sagline.records import Record

METER = "voltmeter --open 1.580 --loaded 1.492 --load 10.0 --u-volts 0.002 --closed-s 2"
WIRE = "slidewire --open 76.3 --loaded 64.8 --load 9.5"
LINE = "line --loaded 1.49 --amps 0.15 --loaded 1.40 --amps 0.31 --loaded 1.32 --amps 0.45"
ALL = (METER, WIRE, LINE)


@pytest.fixture
def sagline(capsys):
    """Run a command; return status, output and errors."""

    def run_(*arguments):
        status = main([str(one) for one in arguments])
        said = capsys.readouterr()
        return status, said.out, said.err

    return run_


@pytest.fixture
def log_path(tmp_path):
    return tmp_path / "log.sqlite"


@pytest.mark.parametrize("typed", ALL)
def test_the_result_is_a_valid_document(typed, sagline):
    status, out, err = sagline("hand", *typed.split(), "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    Draft202012Validator(schema_of("result")).validate(found)
    assert list(found) == RESULT_KEYS
    assert (found["kind"], found["rig"], found["method"]) == ("hand", None, "hand-1")
    assert (found["line"] is not None) == typed.startswith("line")
    assert sum(row["share"] for row in found["budget"]) == pytest.approx(1.0)
    assert found["r_at"] == [found["r_ohm"]] and found["r_ohmic_ohm"] is None
    assert found["r_ohm"]["t_s"] == (2.0 if typed == METER else None)
    assert found["conditions"]["on_s"] == found["r_ohm"]["t_s"]


def test_the_words_show_the_working_with_its_numbers(sagline):
    status, out, _ = sagline("hand", *METER.split(), "--loaded", "1.490", "--load", "10.0")
    assert status == 0 and max(map(len, out.splitlines())) <= 80
    assert "r(2 s) = " in out and "= (1.58000 − 1.49100) V / 0.1491 A" in out
    assert "half range" in out and "differ by" in out
    assert "What u(r(2 s)), the standard uncertainty, is made of:" in out
    _, out, _ = sagline("hand", *WIRE.split())
    assert "= 9.5 Ω × (76.30 − 64.80) cm / 64.80 cm" in out and "EMF" not in out
    _, out, _ = sagline("hand", *LINE.split())
    assert "V = 1.5752 V − 0.5666 Ω × I" in out and "Steepest line" in out


def test_the_calculator_gives_what_stands_there(sagline):
    _, out, _ = sagline("hand", *METER.split())
    line = next(line for line in out.splitlines() if " V / " in line)
    figures = line.replace("=", "").replace("V", "").replace("A", "").replace("−", "-")
    r_ohm = float(next(line for line in out.splitlines() if line.startswith("r(2 s)")).split()[3])
    assert eval(figures) == pytest.approx(r_ohm, abs=0.0005)


@pytest.mark.parametrize("typed", ALL)
def test_readings_are_kept_as_they_were_typed(typed, sagline, log_path):
    typed = typed.replace("1.49", "1,49")
    status, out, _ = sagline(
        "hand", *typed.split(), "--log", log_path, "--label", "kitchen 3", "--temperature", "21,5"
    )
    assert status == 0
    known = out.rsplit("show", 1)[1].split()[-1].strip("`")
    status, shown, _ = sagline("log", "show", known, "--log", log_path)
    assert status == 0
    readings = " ".join(line[10:] for line in shown.splitlines() if line.startswith("typed"))
    words = typed.split()[1:]
    for name in ("--u-volts", "--closed-s"):
        if name in words:
            del words[words.index(name) : words.index(name) + 2]
    assert readings.split() == words
    # What was printed is what is shown, but for where it is kept.
    assert out.split("\n\nKept")[0] in shown
    with Log(log_path) as log:
        record = log.any_record(log.find(known))
        assert isinstance(record, HandRecord)
        assert (record.label, record.temperature_c) == ("kitchen 3", 21.5)
        [stored] = log.results(record.id)
    status, out, _ = sagline("log", "recompute", known, "--log", log_path)
    assert status == 0 and "has a result of method hand-1" in out
    status, out, _ = sagline("log", "export", known, "--json", "--log", log_path)
    assert json.loads(out) == stored.to_dict()
    status, out, _ = sagline("log", "list", "--log", log_path)
    assert "kitchen 3" in out and (" - " in out.splitlines()[1] or not typed.startswith("slide"))
    status, out, _ = sagline("log", "export", known, "--log", log_path)
    [fields] = csv.DictReader(out.splitlines())
    assert (fields["kind"], fields["rig"]) == ("hand", f"by hand, {typed.split()[0]}")
    assert float(fields["r_ohm"]) == stored.r_ohm.value
    assert (fields["emf_v"] == "") == (stored.emf_v is None)


@pytest.mark.parametrize("typed", ALL)
@pytest.mark.parametrize("comma", [False, True])
def test_a_file_of_it_gives_the_same_again(typed, comma, sagline, log_path, tmp_path):
    _, out, _ = sagline("hand", *typed.split(), "--log", log_path, "--label", "=1+1", "--json")
    first = json.loads(out)
    style = ["--decimal-comma"] if comma else []
    sagline("log", "export", first["id"], "--csv", *style, "--log", log_path, "--out",
            path := tmp_path / "readings.csv")  # fmt: skip
    assert ";" in path.read_text() or not comma
    status, out, err = sagline("hand", path, "--log", log_path, "--json")
    assert (status, err) == (0, "")
    again = json.loads(out)
    for key in ("emf_v", "r_ohm", "line", "budget", "warnings", "label", "conditions"):
        assert again[key] == first[key]


def test_a_file_as_spreadsheets_write_it(sagline, tmp_path):
    """A byte-order mark, CRLF, semicolons and decimal commas; rows without a load are repeats."""
    path = tmp_path / "readings.csv"
    text = (
        "# way: voltmeter\n# read on the bench by the window\n# u-volts: 0,002\n#closed_s: 2\n"
        "Open_V;loaded_v;load_ohm\n1,580;1,492;\n1,579;1,491;10,0\n\n"
    )
    path.write_bytes("\ufeff".encode() + text.replace("\n", "\r\n").encode())
    status, out, err = sagline("hand", path, "--u-ohm", "0.1%", "--json")
    assert (status, err) == (0, "")
    found = json.loads(out)
    # A row is read from left to right: open, loaded, open again, loaded, and then the load.
    assert found["r_ohm"]["value"] == pytest.approx(10.0 * (1.5795 / 1.4915 - 1.0))
    assert found["r_ohm"]["t_s"] == 2.0
    assert "resolution_only" not in {one["code"] for one in found["warnings"]}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("open_v,loaded_v,load_ohm\n1.58,1.49,10\n", "how its readings were taken"),
        ("# way: guess\nopen_v\n1.5\n", "'guess' is no way"),
        ("# way: voltmeter\nopen_v,loaded,load_ohm\n", "line 2: 'loaded' is no column"),
        ("# way: voltmeter\nopen_v,open_cm\n", "line 2: a column is there twice"),
        ("# way: voltmeter\n# u_volt: 0.1\n", "line 2: 'u_volt' is no option"),
        ("# way: line\n# fit_open: maybe\n", "line 2: fit_open is yes or no"),
        ('# way: line\n# label: "open\n', "line 2"),
        ("# way: voltmeter\nopen_v,loaded_v\n1,58,1,49\n", "line 3: 4 fields"),
        ("# way: voltmeter\nopen_v,loaded_v,load_ohm\n1.58,x,10\n", "'x', which is no number"),
        ("# way: voltmeter\nopen_v,loaded_v,load_ohm\n1.58,1.49,\n", "no load behind it"),
        ("# way: voltmeter\nopen_v,loaded_v,load_ohm\n", None),
    ],
)
def test_a_file_that_is_not_understood(text, said, sagline, tmp_path):
    path = tmp_path / "bad.csv"
    path.write_text(text)
    status, out, err = sagline("hand", path)
    assert out == ""
    if said is None:
        assert status == 4 and "no loaded reading" in err
    else:
        assert status == 2 and said in " ".join(err.split())


def test_a_file_that_cannot_be_read(sagline, tmp_path):
    for path in (tmp_path / "none.csv", tmp_path):
        assert sagline("hand", path)[0] == 2
    (tmp_path / "latin.csv").write_bytes("# way: line\n# label: Zelle Ä\n".encode("latin-1"))
    status, _, err = sagline("hand", tmp_path / "latin.csv")
    assert status == 2 and "UTF-8" in err
    (tmp_path / "big.csv").write_bytes(b"#" * 1_000_001)
    status, _, err = sagline("hand", tmp_path / "big.csv")
    assert status == 2 and "analyse" in err
    good = tmp_path / "good.csv"
    good.write_text("# way: voltmeter\nopen_v,loaded_v,load_ohm\n1.58,1.49,10\n")
    status, _, err = sagline("hand", good, "--open", "1.6")
    assert status == 2 and "taken for a file" in err


def test_a_log_that_takes_nothing_costs_no_result(sagline, tmp_path):
    status, out, err = sagline("hand", *METER.split(), "--json", "--log", tmp_path)
    assert status == 5
    assert "not_stored" in {one["code"] for one in json.loads(out)["warnings"]}
    assert json.loads(err)["error"]["code"] == "not_a_log"


def test_nothing_of_a_refused_sheet_is_kept(sagline, log_path):
    status, _, err = sagline(
        "hand", "voltmeter", "--open", "1.5", "--loaded", "1.9", "--load", "9.0", "--log", log_path
    )
    assert status == 4 and "above the open one" in " ".join(err.split())
    assert not log_path.exists()


@pytest.fixture
def run_and_readings(sagline, log_path):
    """A run of a simulated rig at two times, and readings of the same load; their ids."""
    rig = ["measure", "--rig", "virtual://lr6?seed=7", "--designation", "LR6", "--repeats", "2"]
    rig += ["--times", "0.1,0.4", "--temperature", "21", "--json", "--log", str(log_path)]
    _, out, _ = sagline(*rig)
    run_ = json.loads(out)
    readings = "voltmeter --open 1.580 --loaded 1.500 --load 3.30 --u-volts 0.002 --closed-s 0.4"
    more = ["--temperature", "21", "--designation", "LR6", "--log", str(log_path), "--json"]
    status, out, _ = sagline("hand", *readings.split(), *more, "--beside", run_["id"])
    assert status == 0
    return run_, json.loads(out)


def test_beside_a_rigs_run_its_longest_time_is_taken(run_and_readings):
    """E_n = |r1 - r2| / sqrt(U1² + U2²), and what 21 °C as typed leaves open of an alkaline r."""
    run_, readings = run_and_readings
    told = readings["beside"]
    first, second = told["rows"]
    assert (first["t_s"], second["t_s"]) == (0.4, 0.4)
    at = next(one for one in run_["r_at"] if one["t_s"] == 0.4)
    assert second["r_ohm"] == at["value"]
    half = [0.5 * (one["high95"] - one["low95"]) for one in (readings["r_ohm"], at)]
    en = abs(readings["r_ohm"]["value"] - at["value"]) / (half[0] ** 2 + half[1] ** 2) ** 0.5
    assert told["pair"]["en"] == pytest.approx(en, rel=0.1)
    assert told["pair"]["en"] <= en
    assert told["notices"] == []


def test_compare_puts_them_beside_each_other_too(run_and_readings, sagline, log_path):
    run_, readings = run_and_readings
    where = ("--log", log_path)
    status, out, _ = sagline("log", "compare", readings["id"], run_["id"], *where)
    assert status == 0 and "E_n = " in out and "3.3 Ω" in out and "0.4 s" in out
    status, out, _ = sagline("log", "compare", readings["id"], run_["id"], "--at", "0.1", *where)
    assert "r grows with time" in " ".join(out.split())
    status, _, err = sagline("log", "compare", readings["id"], readings["id"], *where)
    assert status == 2 and "one other result" in err
    status, _, err = sagline("hand", *METER.split(), "--beside", "ffffffff", *where)
    assert status == 2


def test_what_was_not_alike_is_said(sagline, log_path, run_and_readings):
    run_, _ = run_and_readings
    _, out, _ = sagline("hand", *LINE.split(), "--beside", run_["id"], "--log", log_path, "--json")
    codes = {one["code"] for one in json.loads(out)["beside"]["notices"]}
    assert codes == {"mixed_times", "mixed_loads", "temperature_unknown"}
    warm = [*METER.split(), "--temperature", "35"]
    _, out, _ = sagline("hand", *warm, "--beside", run_["id"], "--log", log_path, "--json")
    codes = {one["code"] for one in json.loads(out)["beside"]["notices"]}
    assert codes == {"mixed_times", "mixed_loads", "mixed_temperatures"}


def test_a_rigs_run_and_readings_stay_apart_in_the_log(run_and_readings, log_path):
    with Log(log_path) as log:
        kinds = [type(log.any_record(log.find(one["id"]))) for one in run_and_readings]
    assert kinds == [Record, HandRecord]


def test_the_operator_of_the_settings_reads(sagline, sagline_home):
    sagline_home.mkdir()
    (sagline_home / "config.toml").write_text('[defaults]\noperator = "A. Volta"\n')
    _, out, _ = sagline("hand", *METER.split(), "--json")
    assert json.loads(out)["operator"] == "A. Volta"
    _, out, _ = sagline("hand", *METER.split(), "--json", "--operator", "G. Ohm")
    assert json.loads(out)["operator"] == "G. Ohm"


def test_no_abbreviation_and_no_control_characters(sagline):
    assert sagline("hand", "voltmeter", "--ope", "1.5")[0] == 2
    assert sagline("hand", *METER.split(), "--label", "a\x1b[2J")[0] == 2
    assert sagline("hand", "voltmeter", "--open", "1\n5", "--loaded", "1", "--load", "1")[0] == 2


def test_a_text_for_files_of_any_country(tmp_path, sagline, log_path):
    """What hand_csv writes with a decimal comma, read_hand_file reads letter by letter."""
    _, out, _ = sagline("hand", *LINE.split(), "--log", log_path, "--json")
    with Log(log_path) as log:
        record = log.any_record(log.find(json.loads(out)["id"]))
    assert isinstance(record, HandRecord)
    path = tmp_path / "line.csv"
    path.write_text(hand_csv(record, Style(decimal_comma=True)))
    found = read_hand_file(path)
    assert [(name, text.replace(",", ".")) for name, text in found.entries] == [
        (entry.name, entry.text) for entry in record.entries
    ]
