# SPDX-License-Identifier: MIT
"""`sagline log export`: what other programs get, read back by the standard library alone."""

import csv
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path
from statistics import fmean

import pytest

from sagline.cli import main
from sagline.computing import result_of
from sagline.log.csvtext import Digits, Style, as_text, metadata, table
from sagline.log.listing import Filters, list_runs
from sagline.log.recomputing import recompute
from sagline.log.store import Log
from sagline.records import Record
from sagline.results import Result

SAMPLE = Path(__file__).parents[1] / "samples" / "log-v2.sqlite"


@pytest.fixture
def path(tmp_path):
    return Path(shutil.copy(SAMPLE, tmp_path / "log.sqlite"))


@pytest.fixture
def ids(path):
    with Log(path) as log:
        return {row.label: row.id for row in list_runs(log, Filters())}


@pytest.fixture
def export(path, capsys):
    """Run `sagline log export ...` on the log; return status, output, errors."""

    def run_(*arguments):
        status = main(["log", "export", *map(str, arguments), "--log", str(path)])
        said = capsys.readouterr()
        return status, said.out, said.err

    return run_


def code(err):
    return json.loads(err)["error"]["code"]


def read_series(text):
    """What the file itself says it is: metadata, then columns as numbers or None."""
    lines = text.splitlines()
    about = dict(line[2:].split(":", 1) for line in lines if line.startswith("# "))
    about = {key: value.strip() for key, value in about.items()}
    separator = {"comma": ",", "semicolon": ";"}[about["separator"]]
    mark = {"point": ".", "comma": ","}[about["decimal"]]
    rows = csv.DictReader((line for line in lines if line[:1] != "#"), delimiter=separator)
    return about, [
        {name: float(text.replace(mark, ".")) if text else None for name, text in row.items()}
        for row in rows
    ]


def mean(rows, column, from_s, to_s):
    chosen = [row[column] for row in rows
              if row[column] is not None and from_s <= row["time_s"] <= to_s]  # fmt: skip
    return fmean(chosen)


@pytest.mark.parametrize("label", ["kitchen 3", "smoke alarm"])
def test_r_is_found_from_the_time_series_by_hand(export, ids, path, label):
    """(E - V) / I from the columns and the load alone, repeat by repeat."""
    status, out, err = export(ids[label], "--csv")
    assert (status, err) == (0, "")
    about, rows = read_series(out)
    assert list(rows[0]) == ["time_s", "sense_v", "force_v", "return_v"]
    assert about["id"] == ids[label]
    assert about["label"] == label
    total_ohm = float(about["load_ohm"]) + float(about["switch_ohm"])
    found = []
    for on_s in map(float, about["load_on_s"].split()):
        rest, then = (on_s - 1.0, on_s), (on_s + 0.09, on_s + 0.11)
        open_v, loaded_v = mean(rows, "sense_v", *rest), mean(rows, "sense_v", *then)
        return_v = mean(rows, "return_v", *then) - mean(rows, "return_v", *rest)
        current_a = (mean(rows, "force_v", *then) - return_v) / total_ohm
        found.append((open_v - loaded_v) / current_a)
    with Log(path) as log:
        result = log.results(ids[label])[0]
    assert found == pytest.approx([row.r_ohm for row in result.repeats], rel=0.02)


def test_repeats_keep_the_gaps_they_had(export, ids, path):
    about, rows = read_series(export(ids["kitchen 3"], "--csv")[1])
    times = [row["time_s"] or 0.0 for row in rows]
    assert times == sorted(times)
    with Log(path) as log:
        first, second = log.record(ids["kitchen 3"]).steps
    on_s = [float(text) for text in about["load_on_s"].split()]
    longer_rest_s = (second.segments[0][1] - first.segments[0][1]) * 1e-3
    between_s = second.at_s - first.at_s + longer_rest_s
    assert on_s[1] - on_s[0] == pytest.approx(between_s, abs=1e-6)
    assert on_s[1] - on_s[0] > 6.0


def test_channels_read_at_once_share_a_row_and_others_leave_it_empty(export, ids):
    _, rows = read_series(export(ids["smoke alarm"], "--csv")[1])
    assert all(value is not None for row in rows for value in row.values())
    _, rows = read_series(export(ids["kitchen 3"], "--csv")[1])
    assert sum(row["sense_v"] is None for row in rows) > len(rows) / 2
    assert all(any(row[name] is not None for name in list(row)[1:]) for row in rows)


@pytest.mark.parametrize("form", ["--csv", "--table"])
def test_both_commas_give_the_same_numbers(export, ids, form, sagline_home):
    point = export(ids["kitchen 3"], form)[1]
    comma = export(ids["kitchen 3"], form, "--decimal-comma")[1]
    sagline_home.mkdir()
    (sagline_home / "config.toml").write_text("[defaults]\ndecimal_comma = true\n")
    assert export(ids["kitchen 3"], form)[1] == comma
    assert export(ids["kitchen 3"], form, "--no-decimal-comma")[1] == point
    assert json.loads(export(ids["kitchen 3"], "--json")[1])["r_ohm"]["t_s"] == 0.1
    if form == "--csv":
        assert ";" in comma
        assert read_series(comma)[1] == read_series(point)[1]
        return
    (ours,) = csv.DictReader(io.StringIO(point))
    (theirs,) = csv.DictReader(io.StringIO(comma), delimiter=";")
    assert float(theirs["r_ohm"].replace(",", ".")) == float(ours["r_ohm"])
    assert "," in theirs["r_ohm"]


def test_a_table_has_a_row_a_run_whether_or_not_it_has_a_result(export, ids, path):
    status, out, _ = export(*ids.values())
    assert status == 0
    rows = {row["label"]: row for row in csv.DictReader(io.StringIO(out))}
    assert set(rows) == {"kitchen 3", "smoke alarm", "cut off", "by hand"}
    assert rows["by hand"]["emf_v"] == "" != rows["by hand"]["r_ohm"]
    with Log(path) as log:
        result = log.results(ids["kitchen 3"])[-1]
    kitchen = rows["kitchen 3"]
    assert float(kitchen["emf_v"]) == result.emf_v.value
    assert result.r_ohm.low95 is not None and result.r_ohm.high95 is not None
    half = (result.r_ohm.high95 - result.r_ohm.low95) / 2
    assert float(kitchen["r_u95_ohm"]) == pytest.approx(half, rel=1e-12)
    assert (kitchen["t_s"], kitchen["temperature_c"], kitchen["repeats_kept"]) == (
        "0.1", "21.5", "2",
    )  # fmt: skip
    cut = rows["cut off"]
    assert (cut["state"], cut["r_ohm"], cut["repeats_measured"]) == ("interrupted", "", "1")


def test_json_is_the_result_or_a_list_of_them(export, ids, path):
    with Log(path) as log:
        wanted = {label: log.results(ids[label])[-1] for label in ("kitchen 3", "smoke alarm")}
    one = export(ids["kitchen 3"], "--json")[1]
    assert Result.model_validate_json(one) == wanted["kitchen 3"]
    two = json.loads(export(ids["kitchen 3"], ids["smoke alarm"], "--json")[1])
    assert [Result.model_validate(item) for item in two] == list(wanted.values())
    status, out, err = export(ids["cut off"], "--json")
    assert (status, out, code(err)) == (2, "", "no_result")


def test_the_result_named_is_the_one_exported(export, ids, path):
    with Log(path, write=True) as log:
        recompute(log, ids["smoke alarm"], (0.2,))
        first, newest = log.results(ids["smoke alarm"])
    # A run stands for its result at the times that were asked for.
    assert json.loads(export(ids["smoke alarm"], "--json")[1])["id"] == first.id
    assert json.loads(export(newest.id, "--json")[1])["id"] == newest.id
    both = json.loads(export(newest.id, first.id, "--json")[1])
    assert [one["id"] for one in both] == [newest.id, first.id]


def test_a_record_goes_to_another_log_and_gives_the_same_figures(export, ids, path, tmp_path):
    _, out, _ = export(ids["kitchen 3"], "--raw")
    record = Record.model_validate_json(out)
    with Log(path) as log:
        assert record == log.record(record.id)
        (stored,) = log.results(record.id)
    with Log(tmp_path / "fresh.sqlite", write=True) as log:
        log.begin(record)
        again = result_of(log.record(record.id))
    # A later version may have more to say of the same figures.
    said = {"id": stored.id, "warnings": stored.warnings}
    assert again.model_copy(update=said) == stored


def test_several_runs_go_to_a_folder(export, ids, tmp_path):
    both = (ids["kitchen 3"], ids["smoke alarm"])
    status, _, err = export(*both, "--csv")
    assert status == 2
    assert "--out FOLDER" in err
    folder = tmp_path / "deep" / "out"
    assert export(*both, both[0], "--csv", "--out", folder) == (0, "", "")
    names = sorted(file.name for file in folder.iterdir())
    assert [name[-12:] for name in names] == [f"{id_[-8:]}.csv" for id_ in both]
    assert read_series((folder / names[0]).read_text())[0]["label"] == "kitchen 3"
    assert export(both[0], "--raw", "--out", folder)[0] == 0
    assert len(list(folder.glob("*.json"))) == 1


def test_nothing_is_overwritten_unless_told(export, ids, tmp_path):
    out = tmp_path / "runs.csv"
    out.write_text("mine")
    status, _, err = export(ids["kitchen 3"], "--out", out)
    assert status == 2
    assert f"{out} is there already" in err
    assert out.read_text() == "mine"
    assert export(ids["kitchen 3"], "--out", out, "--force")[0] == 0
    assert out.read_text().startswith("id,")
    both = (ids["kitchen 3"], ids["smoke alarm"])
    folder = tmp_path / "out"
    assert export(both[1], "--csv", "--out", folder)[0] == 0  # a file of that name
    assert export(*both, "--csv", "--out", folder)[0] == 2
    folder.unlink()
    assert export(*both, "--csv", "--out", folder)[0] == 0
    first = sorted(folder.iterdir())[0]
    first.unlink()
    assert export(*both, "--csv", "--out", folder)[0] == 2
    assert not first.exists(), "all of them or none"


def test_the_log_is_never_overwritten(export, ids, path):
    before = path.read_bytes()
    status, _, err = export(ids["kitchen 3"], "--raw", "--out", path, "--force")
    assert status == 2
    assert "the log itself" in err
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "wanted"),
    [
        (("--csv", "--json"), "two_forms"),
        (("--json", "--decimal-comma"), "comma_in_json"),
    ],
)
def test_requests_that_make_no_sense(export, ids, arguments, wanted):
    status, out, err = export(ids["kitchen 3"], *arguments)
    assert (status, out, code(err)) == (2, "", wanted)


def test_a_folder_that_is_not_there_and_one_in_the_files_place(export, ids, tmp_path):
    status, _, err = export(ids["kitchen 3"], "--out", tmp_path / "no" / "runs.csv")
    assert status == 5
    assert "cannot be written" in err
    status, _, err = export(ids["kitchen 3"], "--out", tmp_path)
    assert status == 2
    assert "is a folder" in err


@pytest.mark.skipif(sys.platform == "win32", reason="limits of a process are a thing of Unix")
def test_a_file_that_finds_no_room_is_taken_away_again(ids, path, tmp_path):
    out = tmp_path / "run.json"
    limited = (
        "import resource, signal, sys; from sagline.cli import main;"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (40000, 40000));"
        "sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", limited, "log", "export", ids["kitchen 3"], "--raw",
         "--log", str(path), "--out", str(out)],
        capture_output=True, text=True, timeout=60,
    )  # fmt: skip
    assert done.returncode == 5
    assert "cannot be written" in done.stderr
    assert not out.exists()


def test_a_run_without_a_repeat_has_no_time_series(export, ids, path, tmp_path):
    with Log(path) as log:
        record = log.record(ids["cut off"])
    empty = tmp_path / "empty.sqlite"
    with Log(empty, write=True) as log:
        log.begin(record.with_steps([], None))
    shutil.copy(empty, path)
    status, _, err = export(record.id, "--csv")
    assert status == 4
    assert "--raw" in err
    assert export(record.id, "--raw")[0] == 0


# Common practice: these make a spreadsheet compute what it finds in a field.
FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1", "＝1", "'=1", "'", "it's", "a,=1+1", ""]


@pytest.mark.parametrize("label", FORMULAS)
def test_no_label_becomes_a_formula_and_none_is_lost(export, ids, path, label):
    with Log(path, write=True) as log:
        log.mark([ids["kitchen 3"]], "label", label)
    (row,) = csv.DictReader(io.StringIO(export(ids["kitchen 3"])[1]))
    said = row["label"]
    assert not said.lstrip().startswith(tuple("=+-@＝"))
    assert said.removeprefix("'") == label
    lines = [line for line in export(ids["kitchen 3"], "--csv")[1].splitlines()
             if line.startswith("# label:")]  # fmt: skip
    (line,) = lines
    assert ",=" not in line and ";=" not in line
    text = line.removeprefix("# label:").strip()
    assert (json.loads(text) if text[:1] == '"' else text) == label


def test_a_label_with_a_line_break_adds_no_metadata():
    text = metadata({"label": "x\n# load_ohm: 1", "operator": '"A"', "none": None, "load_ohm": 3.3})
    first, second, third, fourth = text.splitlines()
    assert json.loads(first.removeprefix("# label: ")) == "x\n# load_ohm: 1"
    assert json.loads(second.removeprefix("# operator: ")) == '"A"'
    assert (third, fourth) == ("# none:", "# load_ohm: 3.3")


def test_numbers_are_no_text():
    assert table(["a", "b"], [[-1.5, Digits("-0.50")]], Style(True)) == "a;b\n-1,5;-0,50\n"
    assert as_text("-1.5") == "'-1.5"
