# SPDX-License-Identifier: MIT
"""`sagline calibrate` with --list, --restore and --clear, and the exit status of each."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from kept_rigs import bench, calibration, harm, lose, put

from sagline import calibrationstore, cli

VIRTUAL = "virtual://lr6?seed=7"


@pytest.fixture
def desk():
    with bench() as there:
        yield there


@pytest.fixture
def calibrate(capsys):
    def run(*arguments):
        try:
            status = cli.main(["calibrate", *arguments])
        except SystemExit as end:
            status = end.code
        out, err = capsys.readouterr()
        return status, out, err

    return run


def error_of(said):
    return json.loads(said)["error"]


def test_help_names_what_it_does(calibrate):
    status, out, _ = calibrate("--help")
    assert status == 0
    for part in ("--list", "--restore [ID]", "--clear", "sagline calibrate --restore", "anew"):
        assert part in out


def test_two_things_at_once_is_a_wrong_request(calibrate):
    assert calibrate("--list", "--clear")[0] == 2
    status, _, err = calibrate("--lis", "--json")
    assert status == 2 and error_of(err)["code"] == "usage"


def test_a_list_of_nothing(calibrate):
    assert calibrate("--list") == (0, "This computer has no calibration.\n", "")
    status, out, _ = calibrate("--list", "--json")
    assert (status, json.loads(out)) == (0, {"calibrations": [], "kept": None})


def test_the_list_tells_ids_and_ages_and_which_the_board_keeps(calibrate, desk):
    old = calibration(made_at=datetime.now(UTC) - timedelta(days=40.5))
    new = calibration()
    put(desk, new, old)
    calibrationstore.keep(calibration(address="virtual://lr6?seed=8"))
    status, out, _ = calibrate("--list")
    assert status == 0 and len(out.splitlines()) == 3 and "lr6-8" in out
    status, out, _ = calibrate("--list", "--rig", desk.address)
    first, second = out.splitlines()
    assert first.startswith(old.id[-8:]) and "40 days" in first and "keeps this one" in first
    assert second.startswith(new.id[-8:]) and "today" in second and "keeps" not in second
    status, out, _ = calibrate("--list", "--rig", desk.address, "--json")
    listed = json.loads(out)
    assert listed["kept"] == old.id
    assert [one["on_board"] for one in listed["calibrations"]] == [True, False]
    assert listed["calibrations"][0] == {
        "id": old.id, "rig_serial": "lr6-7", "made_at": old.made_at.isoformat(),
        "age_days": 40.5, "scales": 24, "offsets": 12, "onboard_table": True,
        "voltage_scales": 4, "on_board": True,
    }  # fmt: skip


def test_the_list_of_a_rig_shows_what_only_its_board_has(calibrate, desk, monkeypatch, tmp_path):
    one = calibration()
    put(desk, one)
    monkeypatch.setenv("SAGLINE_HOME", str(tmp_path / "another-home"))
    status, out, _ = calibrate("--list", "--rig", desk.address)
    assert status == 0 and one.id[-8:] in out and "keeps this one" in out


def test_restored_after_the_board_has_lost_it(calibrate, desk):
    one = calibration()
    put(desk, one)
    lose(desk)
    status, out, err = calibrate("--list", "--rig", desk.address)
    assert status == 0 and "sagline calibrate --restore" in err and "keeps" not in out
    status, out, _ = calibrate("--restore", "--rig", desk.address)
    assert status == 0 and one.id[-8:] in out and "24 scales" in out and "today" in out
    with desk.open() as rig:
        assert rig.calibration == one
    status, out, _ = calibrate("--restore", "--rig", desk.address, "--json")
    done = json.loads(out)
    assert status == 0 and not done["restored"] and done["calibration"]["id"] == one.id


def test_what_the_board_keeps_is_replaced_only_by_name(calibrate, desk):
    old, new = calibration(), calibration()
    put(desk, new, old)
    status, _, err = calibrate("--restore", "--rig", desk.address, "--json")
    assert status == 4
    refused = error_of(err)
    assert refused["code"] == "board_keeps_another"
    assert f"--restore {new.id[-8:]}" in refused["remedy"]
    status, out, _ = calibrate("--restore", new.id[-8:], "--rig", desk.address, "--json")
    assert status == 0 and json.loads(out)["restored"]
    with desk.open() as rig:
        assert rig.calibration == new


def test_a_damaged_newest_copy_is_mended(calibrate, desk):
    old, new = calibration(), calibration()
    put(desk, old, new)
    harm(desk, 2)
    status, out, _ = calibrate("--restore", "--rig", desk.address)
    assert status == 0 and new.id[-8:] in out
    with desk.open() as rig:
        assert rig.calibration == new and rig.notices == ()


def test_nothing_to_restore_is_a_wrong_request(calibrate):
    status, _, err = calibrate("--restore", "--rig", VIRTUAL, "--json")
    assert status == 2 and error_of(err)["code"] == "no_calibration"
    calibrationstore.keep(calibration())
    status, _, err = calibrate("--restore", "zz", "--rig", VIRTUAL, "--json")
    assert status == 2 and error_of(err)["code"] == "no_calibration"


def test_a_simulated_rig_of_this_program_forgets_it_and_that_is_said(calibrate):
    calibrationstore.keep(calibration())
    status, _, err = calibrate("--restore", "--rig", VIRTUAL)
    assert status == 0 and "forgotten it again" in err


def test_cleared_and_back(calibrate, desk):
    one = calibration()
    put(desk, one)
    status, out, _ = calibrate("--clear", "--rig", desk.address)
    assert status == 0 and f"--restore {one.id[-8:]}" in out
    with desk.open() as rig:
        assert rig.calibration is None
    status, out, _ = calibrate("--clear", "--rig", desk.address, "--json")
    assert status == 0 and json.loads(out) == {"cleared": None}
    assert calibrate("--restore", one.id[-8:], "--rig", desk.address)[0] == 0
    with desk.open() as rig:
        assert rig.calibration == one


def test_no_copy_here_and_none_can_be_made_is_told_and_nothing_cleared(
    calibrate, desk, sagline_home
):
    one = calibration()
    put(desk, one)
    for path in sorted(sagline_home.rglob("*"), reverse=True):
        path.unlink() if path.is_file() else path.rmdir()
    (sagline_home / "calibrations").write_text("a file where the folder should be")
    status, _, err = calibrate("--clear", "--rig", desk.address, "--json")
    assert status == 5 and error_of(err)["code"] == "calibration_not_kept"
    with desk.open() as rig:
        assert rig.calibration == one


def test_a_result_from_the_command_line_names_what_the_board_keeps(desk, capsys):
    one = calibration()
    put(desk, one)
    arguments = ["measure", "--rig", desk.address, "--designation", "LR6", "--repeats", "1"]
    assert cli.main([*arguments, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["calibration_id"] == one.id
    assert not {"uncalibrated", "calibration_lost"} & {one["code"] for one in result["warnings"]}


def test_a_simulated_rig_is_measured_with_one_of_the_history(capsys):
    """U(r) falls by more than half on an LR6, by K of 0.1 % instead of a load of 1 %."""
    known = calibration()
    calibrationstore.keep(known)
    command = ["measure", "--rig", "virtual://lr6?seed=7", "--designation", "LR6", "--json"]
    u_ohm = {}
    for given in (None, known.id[-8:]):
        more = [] if given is None else ["--calibration", given]
        assert cli.main([*command, *more]) == 0
        result = json.loads(capsys.readouterr().out)
        assert result["calibration_id"] == (None if given is None else known.id)
        u_ohm[given] = result["r_ohm"]["u"]
    assert u_ohm[known.id[-8:]] < 0.5 * u_ohm[None]
    assert cli.main([*command, "--calibration", "0123"]) == 2
    assert json.loads(capsys.readouterr().err)["error"]["code"] == "no_calibration"


def test_the_plan_reckons_with_the_calibration(capsys):
    """An unknown 12 V battery for 1 %: by tolerances no load reaches it and the heaviest comes
    nearest; by a known K a lighter one does, and that is what it is loaded with."""
    address = "virtual://sla12?seed=7"
    known = calibration(address=address)
    calibrationstore.keep(known)
    loads = []
    for more in ([], ["--calibration", known.id[-8:]]):
        status = cli.main(["measure", "--rig", address, "--target", "0.01", "--json", *more])
        assert status == 0
        loads.append(json.loads(capsys.readouterr().out)["load_ohm"]["value"])
    assert loads[0] < loads[1]
