# SPDX-License-Identifier: MIT
"""In an editable install the virtual rig runs the firmware of the checkout, and no other copy.

Each test runs `sagline measure` on a copy of the checkout, with the import path that the
editable install's `.pth` file gives, moved to the copy. `python -S` leaves that file itself
unread: with it, the real checkout would stand in for whatever the copy lacks.
"""

import json
import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SITE = Path(sysconfig.get_paths()["purelib"])

# A constant of the firmware that decides when the board samples.
CONSTANT_FILE = "firmware/lib/sagline_board/sampler.py"
CONSTANT = "NEAR_EDGE_US = 500000"
CHANGED_CONSTANT = "NEAR_EDGE_US = 250000"


def editable_paths() -> list[Path]:
    """The folders that the editable install puts on the import path."""
    lines = [
        Path(line)
        for pth in SITE.glob("*sagline*.pth")
        for line in pth.read_text(encoding="utf-8").splitlines()
    ]
    return [line for line in lines if line.is_relative_to(ROOT)]


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A copy of the host's and the board's code."""
    if not editable_paths():
        pytest.skip("sagline is not installed from this checkout as editable")
    copy = tmp_path / "checkout"
    for folder in ("host", "firmware"):
        shutil.copytree(ROOT / folder, copy / folder, ignore=shutil.ignore_patterns("__pycache__"))
    return copy


def measure(checkout: Path) -> subprocess.CompletedProcess[str]:
    """Run `sagline measure` on the copy; one seed, so one result."""
    paths = [checkout / path.relative_to(ROOT) for path in editable_paths()]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(map(str, [*paths, SITE]))}
    command = [sys.executable, "-S", "-m", "sagline", "measure"]
    return subprocess.run(
        [*command, "--rig", "virtual://lr6?seed=7", "--json"],
        capture_output=True,
        text=True,
        check=False,
        cwd=checkout,
        env=environment,
    )


def r_ohm(checkout: Path) -> float:
    done = measure(checkout)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)["r_ohm"]["value"]


def test_the_install_is_the_two_source_folders(checkout: Path) -> None:
    assert sorted(editable_paths()) == [ROOT / "firmware" / "lib", ROOT / "host"]


def test_without_the_firmware_nothing_is_measured(checkout: Path) -> None:
    shutil.rmtree(checkout / "firmware" / "lib")
    done = measure(checkout)
    assert done.returncode != 0
    assert done.stdout == ""
    assert "sagline_board" in done.stderr


def test_a_changed_firmware_constant_changes_the_result(checkout: Path) -> None:
    before = r_ohm(checkout)
    assert r_ohm(checkout) == before
    path = checkout / CONSTANT_FILE
    source = path.read_text(encoding="utf-8")
    assert source.count(CONSTANT) == 1
    path.write_text(source.replace(CONSTANT, CHANGED_CONSTANT), encoding="utf-8")
    assert r_ohm(checkout) != before
