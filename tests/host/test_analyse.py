# SPDX-License-Identifier: MIT
"""`sagline analyse`: files as instruments and spreadsheets write them, from the file to the log."""

import json
import os
import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from analysis.foreign_records import CELL, LOAD_OHM, Recorder, as_csv
from sagline.cli import main
from sagline.computing import result_of
from sagline.errors import UsageError
from sagline.filecsv import parse
from sagline.filerecord import FileRecord
from sagline.jsonschemas import schema_of
from sagline.log.listing import Filters, list_runs
from sagline.log.store import Log

SAMPLES = Path(__file__).parents[1] / "samples"
TRUE_OHM = CELL.r_at(0.1, LOAD_OHM)
RECORDER = Recorder(readings_per_s=400.0, rest_s=1.0, recovery_s=0.5, steps=2)
COLUMNS = RECORDER.columns(np.random.default_rng(3))
BY_CURRENT = {name: COLUMNS[name] for name in ("time_s", "sense_v", "current_a")}
BY_FORCE = {name: COLUMNS[name] for name in ("time_s", "sense_v", "force_v")}


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("SAGLINE_HOME", str(tmp_path / "home"))
    return tmp_path


@pytest.fixture
def analyse(home, capsys):
    """Write a file, run `sagline analyse` on it; return status, output, errors."""

    def run_(text, *options):
        path = home / "record.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        status = main(["analyse", str(path), *map(str, options)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return run_


def figures(out):
    result = json.loads(out)
    return result["r_ohm"], result["emf_v"], [one["code"] for one in result["warnings"]]


def error(err):
    return json.loads(err)["error"]


# -- what files look like ----------------------------------------------------


def test_a_plain_file_gives_r_and_e(analyse):
    status, out, err = analyse(as_csv(BY_CURRENT, 5), "--json")
    assert (status, err) == (0, "")
    r_ohm, emf_v, _ = figures(out)
    assert r_ohm["t_s"] == 0.1
    assert r_ohm["value"] == pytest.approx(TRUE_OHM, rel=3e-3)
    assert emf_v["value"] == pytest.approx(CELL.emf_v, abs=2e-4)
    result = json.loads(out)
    assert (result["kind"], result["rig"], result["load_ohm"]) == ("file", None, None)
    assert result["r_ohmic_ohm"]["from_s"] > 0.0
    Draft202012Validator(schema_of("result")).validate(result)


def same(text):
    """What a reading of `text` holds, beside that of the plain file."""
    plain = parse(as_csv(BY_FORCE, 5))
    other = parse(text)
    assert other.columns == plain.columns
    assert other.digits == plain.digits
    return other


def test_semicolons_with_decimal_commas_tabs_and_quotes_are_the_same():
    plain = as_csv(BY_FORCE, 5)
    same(plain.replace(",", ";").replace(".", ","))
    same(plain.replace(",", ";"))
    same(plain.replace(",", "\t").replace(".", ","))
    same("\n".join(",".join(f'"{f}"' for f in line.split(",")) for line in plain.splitlines()))
    same(plain.replace("time_s,sense_v,force_v", " Time_s , SENSE_V,force_v "))


def test_a_byte_order_mark_crlf_blank_lines_and_metadata_do_no_harm(analyse):
    text = "# note; with, marks\r\n\r\n# load_ohm: 3.3\r\n" + as_csv(BY_FORCE, 5).replace(
        "\n", "\r\n"
    )
    assert same(text).metadata == {"load_ohm": "3.3"}
    status, out, _ = analyse("\ufeff".encode() + text.encode(), "--json")
    assert status == 0
    assert json.loads(out)["load_ohm"]["value"] == 3.3


def test_fields_that_are_blank_or_no_reading_are_skipped_and_counted(analyse):
    lines = as_csv(BY_CURRENT, 5).splitlines()
    for row, word in zip(range(30, 90, 10), ("", "nan", "NaN", "n/a", "null", "-"), strict=True):
        time_s, _, amps = lines[row].split(",")
        lines[row] = f"{time_s},{word},{amps}"
    status, out, _ = analyse("\n".join(lines), "--json")
    assert status == 0
    r_ohm, _, codes = figures(out)
    assert "fields_skipped" in codes
    [said] = [one for one in json.loads(out)["warnings"] if one["code"] == "fields_skipped"]
    assert said["text"].startswith("6 fields")
    assert r_ohm["value"] == pytest.approx(TRUE_OHM, rel=3e-3)


@pytest.mark.parametrize("later", (0.0, -0.5))
def test_times_that_do_not_ascend_are_refused_with_their_line(analyse, later):
    lines = as_csv(BY_CURRENT, 5).splitlines()
    before_s = float(lines[20].split(",")[0])
    lines[21] = f"{before_s + later:.7f},1.5,0.0"
    status, _, err = analyse("\n".join(lines), "--json")
    assert status == 2 and error(err)["code"] == "bad_times"
    assert "Line 22 " in error(err)["message"] and "line 21" in error(err)["message"]


@pytest.mark.parametrize(
    "header",
    (
        "time_ms,sense_v,current_a",
        "time_s,sense_mv,current_a",
        "time_s,sense_v,current_ma",
        "t,u,i",
    ),
)
def test_other_units_are_refused_and_the_columns_wanted_are_named(analyse, header):
    text = as_csv(BY_CURRENT, 5).replace("time_s,sense_v,current_a", header)
    status, _, err = analyse(text, "--json")
    assert status == 2 and error(err)["code"] == "no_columns"
    assert header.split(",")[1] in error(err)["message"]
    for name in ("time_s", "sense_v", "current_a", "force_v", "return_v"):
        assert name in error(err)["remedy"]


@pytest.mark.parametrize(
    ("row", "said"),
    (
        ("9.0,1.5 V,0.1", "'1.5 V' in the column sense_v"),
        ("9.0,1,5,0,1", "has 5 fields where the header has 3"),
        ("9.0,OL,0.1", "'OL'"),
        (",1.5,0.1", "has no time"),
        ("9.0,1e999,0.1", "1e999"),
    ),
)
def test_what_is_no_number_is_refused_with_its_line(analyse, row, said):
    text = as_csv(BY_CURRENT, 5)
    status, _, err = analyse(f"{text}{row}\n", "--json")
    assert status == 2 and error(err)["code"] == "bad_csv"
    assert f"Line {len(text.splitlines()) + 1} " in error(err)["message"]
    assert said in error(err)["message"]


@pytest.mark.parametrize(
    ("content", "code"),
    (
        (b"", "no_columns"),
        (b"time_s,sense_v,current_a\n", "bad_csv"),
        (b"time_s,sense_v,sense_v,current_a\n", "bad_csv"),
        (b"time_s,sense_v,current_a\n1,,2\n2,,3\n", "empty_column"),
        (b"\xff\xfe\x00\x01", "not_text"),
        (b"PK\x03\x04\x14\x00\xa0\xff", "not_text"),
    ),
)
def test_what_is_no_record_is_told(analyse, content, code):
    status, _, err = analyse(content, "--json")
    assert status == 2 and error(err)["code"] == code


def test_a_file_that_is_not_there_or_too_large_is_told(home, capsys):
    assert main(["analyse", str(home / "none.csv"), "--json"]) == 2
    assert error(capsys.readouterr().err)["code"] == "file_not_read"
    with open(home / "large.csv", "wb") as file:
        os.truncate(file.fileno(), 65 * 2**20)
    assert main(["analyse", str(home / "large.csv"), "--json"]) == 2
    assert error(capsys.readouterr().err)["code"] == "file_too_large"


@pytest.mark.parametrize(
    "options", (("--load", "0"), ("--load", "x"), ("--u-ohm", "-1"), ("--u-volts", "nan"))
)
def test_options_that_mean_nothing_are_refused(analyse, options):
    status, _, err = analyse(as_csv(BY_FORCE, 5), *options, "--json")
    assert status == 2 and error(err)["code"] == "usage" and options[0] in error(err)["message"]


# -- what is said and done ------------------------------------------------------


def test_a_force_voltage_needs_its_load(analyse):
    status, _, err = analyse(as_csv(BY_FORCE, 5), "--json")
    assert status == 2 and error(err)["code"] == "no_load"
    status, out, _ = analyse(as_csv(BY_FORCE, 5), "--load", "3.3", "--json")
    r_ohm, _, _ = figures(out)
    assert r_ohm["value"] == pytest.approx(TRUE_OHM, rel=3e-3)
    # r goes with the load: given twice as large, it comes out so.
    text = as_csv(BY_FORCE, 5, load_ohm=3.3)
    _, out, _ = analyse(text, "--load", "6.6", "--json")
    assert figures(out)[0]["value"] == pytest.approx(2.0 * r_ohm["value"], rel=1e-6)


def test_stated_uncertainties_reach_the_result(analyse):
    text = as_csv(BY_FORCE, 5)
    stated = ("--u-ohm", "0.033", "--u-volts-rel", "0", "--u-volts", "0")
    _, out, _ = analyse(text, "--load", "3.3", *stated, "--json")
    r_ohm, _, codes = figures(out)
    assert r_ohm["u"] == pytest.approx(0.01 * r_ohm["value"], rel=0.05)
    assert "u_not_stated" not in codes
    assert "u_not_stated" in figures(analyse(text, "--load", "3.3", "--json")[1])[2]


def test_a_refusal_of_validity_has_status_4(analyse):
    still = dict(BY_CURRENT, current_a=0.0 * COLUMNS["current_a"])
    status, _, err = analyse(as_csv(still, 5), "--json")
    assert status == 4 and error(err)["code"] == "no_step"
    status, _, err = analyse(as_csv(BY_CURRENT, 5), "--times", "5", "--json")
    assert status == 4 and error(err)["code"] == "time_outside_step"


def test_words_say_r_its_budget_and_where_it_is_kept(analyse):
    text = as_csv(BY_FORCE, 5, load_ohm=3.3, designation="lr6", label="drawer 2")
    status, out, _ = analyse(text)
    assert status == 0
    assert out.startswith("r(0.1 s) = 0.19")
    assert "from 2 of 2 repeats on 3.3 Ω" in out
    assert "between repeats    type A" in out
    # The working, from the readings alone: on a calculator it comes out as it stands.
    [line] = [one for one in out.splitlines() if ") V / " in one]
    open_v, loaded_v, amps = (float(n) for n in re.findall(r"[0-9]+\.[0-9]+", line))
    assert (open_v - loaded_v) / amps == pytest.approx(TRUE_OHM, rel=3e-3)
    assert "never short a cell" in out
    assert "sagline log show" in out and "--demo" not in out


def test_columns_that_are_not_used_are_named(analyse):
    both = dict(BY_CURRENT, force_v=COLUMNS["force_v"], mood_v=COLUMNS["force_v"])
    _, out, _ = analyse(as_csv(both, 5), "--json")
    [said] = [one for one in json.loads(out)["warnings"] if one["code"] == "columns_unused"]
    assert "mood_v, force_v" in said["text"]
    # With its load it is force_v that tells.
    _, out, _ = analyse(as_csv(both, 5), "--load", "6.6", "--json")
    assert figures(out)[0]["value"] == pytest.approx(2.0 * TRUE_OHM, rel=3e-3)
    _, out, _ = analyse(as_csv(BY_CURRENT, 5), "--load", "6.6", "--json")
    r_ohm, _, codes = figures(out)
    assert r_ohm["value"] == pytest.approx(TRUE_OHM, rel=3e-3) and "load_unused" in codes


def test_metadata_that_is_no_number_is_told(analyse):
    status, _, err = analyse(as_csv(BY_FORCE, 5, load_ohm="three"), "--json")
    assert status == 2 and error(err)["code"] == "bad_metadata"


# -- the log -----------------------------------------------------------------------


def test_it_is_kept_whole_and_goes_through_the_log(analyse, home, capsys):
    text = as_csv(
        BY_FORCE, 5, load_ohm=3.3, designation="lr6", temperature_c=21.5,
        started_at="2026-11-01T10:00:00+00:00",
    )  # fmt: skip
    path = home / "log.sqlite"
    _, out, _ = analyse(text, "--label", "drawer 2", "--log", path, "--json")
    first = json.loads(out)
    assert (first["label"], first["designation"]) == ("drawer 2", "LR6")
    assert first["conditions"]["temperature_c"] == 21.5
    assert first["measured_at"].startswith("2026-11-01")
    with Log(path) as log:
        [row] = list_runs(log, Filters())
        record = log.any_record(row.id)
        assert [one.to_dict() for one in log.results(row.id)] == [first]
    assert isinstance(record, FileRecord)
    assert record.file == "record.csv"
    assert record.columns["sense_v"] == COLUMNS["sense_v"].tolist()
    again = result_of(record).to_dict()
    assert {**again, "id": 0} == {**first, "id": 0}
    Draft202012Validator(schema_of("file")).validate(record.to_dict())

    def log_(*arguments):
        status = main(["log", *arguments, "--log", str(path)])
        said = capsys.readouterr()
        return status, said.out + said.err

    assert "drawer 2" in log_("list")[1]
    assert "record.csv" in log_("show", row.id)[1]
    assert log_("recompute", row.id, "--times", "0.2")[0] == 0
    assert json.loads(log_("export", row.id, "--raw")[1]) == record.to_dict()
    assert log_("delete", row.id)[0] == 0


def test_a_result_that_cannot_be_kept_is_given_all_the_same(analyse, home):
    (home / "folder").mkdir()
    status, out, err = analyse(as_csv(BY_CURRENT, 5), "--json", "--log", home / "folder")
    assert status == 5 and error(err)["code"] == "not_a_log"
    assert figures(out)[0]["value"] == pytest.approx(TRUE_OHM, rel=3e-3)


@pytest.mark.parametrize("label", ("kitchen 3", "smoke alarm"))
@pytest.mark.parametrize("told", (True, False))
@pytest.mark.parametrize("style", ("--no-decimal-comma", "--decimal-comma"))
def test_what_a_log_exports_is_read_back(home, capsys, label, told, style):
    """The run's r within its U: from the time series alone, whichever converter wrote it."""
    path = Path(shutil.copy(SAMPLES / "log-v1.sqlite", home / "log.sqlite"))
    with Log(path) as log:
        ids = {row.label: row.id for row in list_runs(log, Filters())}
        run = log.results(ids[label])[0]
    out = home / "series.csv"
    export = ["log", "export", ids[label], "--csv", "--out", str(out), style]
    assert main([*export, "--log", str(path)]) == 0
    text = out.read_text(encoding="utf-8")
    if not told:
        lines = text.splitlines(keepends=True)
        text = "".join(one for one in lines if not one.startswith(("# load_on_s", "# load_off_s")))
        out.write_text(text, encoding="utf-8")
    assert main(["analyse", str(out), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    u95 = (run.r_ohm.high95 - run.r_ohm.low95) / 2.0
    assert abs(found["r_ohm"]["value"] - run.r_ohm.value) <= u95
    assert found["emf_v"]["value"] == pytest.approx(run.emf_v.value, rel=3e-3)
    assert found["load_ohm"]["value"] == run.load_ohm.value
    assert (found["label"], found["designation"]) == (run.label, run.designation)
    codes = [one["code"] for one in found["warnings"]]
    assert "simulated" in codes and "fields_skipped" not in codes
    # What was simulated never goes among what was measured.
    [kept] = (home / "home").rglob("*.sqlite")
    assert "demo" in kept.name


def test_a_file_of_a_simulated_rig_is_not_merged_among_what_was_measured(analyse, home, capsys):
    path = home / "log.sqlite"
    assert analyse(as_csv(BY_FORCE, 5, load_ohm=3.3, kind="virtual"), "--log", path)[0] == 0
    assert main(["log", "merge", str(path), "--json"]) == 2
    assert "simulated" in error(capsys.readouterr().err)["message"].lower()
    # One that was measured is.
    other = home / "other.sqlite"
    assert analyse(as_csv(BY_FORCE, 5, load_ohm=3.3, kind="rig"), "--log", other)[0] == 0
    assert main(["log", "merge", str(other), "--json"]) == 0


def test_a_stored_record_of_the_first_version_gives_its_figures():
    record = FileRecord.model_validate_json((SAMPLES / "file-v1.json").read_text())
    stored = json.loads((SAMPLES / "file-result-v1.json").read_text())
    again = result_of(record).to_dict()
    if stored["method"] != record.METHOD:
        assert stored["r_ohm"]["low95"] <= again["r_ohm"]["value"] <= stored["r_ohm"]["high95"]
        return
    for name in ("r_ohm", "emf_v", "current_a", "r_ohmic_ohm"):
        for key, value in stored[name].items():
            assert again[name][key] == pytest.approx(value, rel=1e-9), (name, key)


def test_a_file_that_tells_no_time_has_that_at_which_it_was_written(home, capsys):
    path = home / "record.csv"
    path.write_text(as_csv(BY_CURRENT, 5))
    os.utime(path, (1.7e9, 1.7e9))
    assert main(["analyse", str(path), "--json"]) == 0
    at = datetime.fromisoformat(json.loads(capsys.readouterr().out)["measured_at"])
    assert at == datetime.fromtimestamp(1.7e9, UTC)


def test_the_parser_keeps_the_digits_that_were_typed():
    found = parse("time_s;sense_v;current_a\n0;1,50;-1e-3\n1;1,5;2.50E-2\n")
    assert found.digits == {"time_s": 0, "sense_v": -2, "current_a": -4}
    assert found.columns["current_a"] == [-1e-3, 2.5e-2]
    with pytest.raises(UsageError):
        parse("time_s,sense_v,current_a\n0,1.5\n")
