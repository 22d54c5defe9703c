# SPDX-License-Identifier: MIT
"""Where things are kept, and what is said where that cannot be."""

import json
import subprocess
import sys

import pytest

from sagline import cli
from sagline.errors import UsageError
from sagline.places import find_places


def test_sagline_home_has_everything_and_looking_creates_nothing(tmp_path):
    home = tmp_path / "not" / "yet"
    places = find_places({"SAGLINE_HOME": str(home)})
    assert places.config == home / "config.toml"
    assert places.log == home / "log.sqlite"
    assert places.demo_log == home / "demo-log.sqlite"
    assert places.traces == home / "traces"
    assert places.calibrations == home / "calibrations"
    assert places.drawers == home / "drawers"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32" or sys.platform == "darwin", reason="XDG is Linux's")
@pytest.mark.parametrize("env", [{}, {"SAGLINE_HOME": ""}])
def test_without_it_the_folders_are_the_systems(tmp_path, monkeypatch, env):
    # XDG Base Directory Specification 0.8: settings and data have a folder each.
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "c"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "d"))
    places = find_places(env)
    assert places.config == tmp_path / "c" / "sagline" / "config.toml"
    assert places.log == tmp_path / "d" / "sagline" / "log.sqlite"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("home", ["here", "./here", "~/here"])
def test_a_relative_home_is_refused(home):
    with pytest.raises(UsageError, match="not a full path"):
        find_places({"SAGLINE_HOME": home})


@pytest.mark.parametrize("below", ["", "/a/b"])
def test_a_home_that_can_be_no_folder_is_refused(tmp_path, below):
    file = tmp_path / "file"
    file.write_text("")
    with pytest.raises(UsageError, match=r"file is a file, not a folder"):
        find_places({"SAGLINE_HOME": f"{file}{below}"})
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "gone")
    with pytest.raises(UsageError, match=r"link is a link that leads to no folder"):
        find_places({"SAGLINE_HOME": f"{link}{below}"})
    (tmp_path / "gone").mkdir()
    find_places({"SAGLINE_HOME": f"{link}{below}"})


def where(capsys, *arguments):
    status = cli.main(["where", *arguments])
    out, err = capsys.readouterr()
    return status, out, err


def test_where_says_what_is_there_and_what_is_in_the_way(sagline_home, capsys):
    sagline_home.mkdir()
    (sagline_home / "log.sqlite").write_bytes(b"")
    (sagline_home / "demo-log.sqlite").mkdir()
    (sagline_home / "traces").symlink_to("nowhere")
    (sagline_home / "calibrations").write_bytes(b"")
    status, out, err = where(capsys, "--json")
    assert (status, err) == (0, "")
    rows = {row["name"]: row for row in json.loads(out)["places"]}
    assert rows["log"] == {
        "name": "log",
        "path": str(sagline_home / "log.sqlite"),
        "exists": True,
        "problem": None,
    }
    assert {name: (row["exists"], row["problem"]) for name, row in rows.items()} == {
        "config": (False, None),
        "log": (True, None),
        "demo_log": (True, "a folder is in the file's place"),
        "traces": (False, "a link that leads nowhere"),
        "calibrations": (True, "not a folder"),
        "drawers": (False, None),
    }
    lines = where(capsys)[1].splitlines()
    assert lines[0].split() == [
        "settings", str(sagline_home / "config.toml"), "(not", "there", "yet)",
    ]  # fmt: skip
    assert lines[1].split() == ["log", str(sagline_home / "log.sqlite")]


def test_where_names_the_log_of_the_settings(sagline_home, capsys):
    sagline_home.mkdir()
    (sagline_home / "config.toml").write_text('[defaults]\nlog = "mine/log.sqlite"\n')
    rows = json.loads(where(capsys, "--json")[1])["places"]
    assert rows[1]["path"] == str(sagline_home / "mine" / "log.sqlite")


def test_where_tells_where_settings_are_that_cannot_be_read(sagline_home, capsys):
    (sagline_home / "config.toml").mkdir(parents=True)
    status, out, err = where(capsys)
    assert status == 2
    assert str(sagline_home / "config.toml") in out.splitlines()[0]
    assert "config.toml is a folder" in err
    # Which log is meant is not known then.
    assert str(sagline_home / "log.sqlite") not in out
    assert str(sagline_home / "demo-log.sqlite") in out


LIGHT = """
import sys
from sagline.rigs import resolve
assert resolve(None) == "virtual://lr6?seed=3"
found = {"pydantic", "scipy", "GTC", "numpy"} & set(sys.modules)
sys.exit(f"imported: {sorted(found)}" if found else 0)
"""


def test_the_rig_for_the_first_screen_is_found_without_heavy_imports(sagline_home):
    sagline_home.mkdir()
    (sagline_home / "config.toml").write_text(
        '[rigs]\nbench = "virtual://lr6?seed=3"\n[defaults]\nrig = "bench"\n'
    )
    done = subprocess.run([sys.executable, "-c", LIGHT], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
