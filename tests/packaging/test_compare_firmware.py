# SPDX-License-Identifier: MIT
"""CI's comparison of firmware trees sees a file that is missing, added or changed."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / ".ci" / "compare_firmware.py"
FILES = {"boot.py": "boot", "lib/sagline_board/__init__.py": "package"}
WHEEL = {
    "sagline/__init__.py": "host",
    "sagline/_firmware/boot.py": "boot",
    "sagline/_firmware/lib/sagline_board/__init__.py": "package",
    "sagline_board/__init__.py": "package",
}


def compare(tmp_path: Path, wheel_files: dict[str, str]) -> subprocess.CompletedProcess[str]:
    firmware = tmp_path / "firmware"
    for name, text in FILES.items():
        path = firmware / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    cache = firmware / "lib" / "sagline_board" / "__pycache__"
    cache.mkdir()
    (cache / "__init__.cpython-311.pyc").write_bytes(b"compiled")
    wheel = tmp_path / "x-1-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        for name, text in wheel_files.items():
            archive.writestr(name, text)
    command = [sys.executable, str(SCRIPT), str(wheel), str(firmware)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_equal_trees_are_alike(tmp_path: Path) -> None:
    done = compare(tmp_path, WHEEL)
    assert (done.returncode, done.stdout) == (0, "2 firmware files alike\n")


@pytest.mark.parametrize(
    ("change", "line"),
    [
        ({"sagline/_firmware/boot.py": None}, "sagline/_firmware/: missing: boot.py"),
        ({"sagline/_firmware/old.py": "old"}, "sagline/_firmware/: unexpected: old.py"),
        ({"sagline/_firmware/boot.py": "stale"}, "sagline/_firmware/: different: boot.py"),
        ({"sagline_board/__init__.py": "stale"}, "sagline_board/: different: __init__.py"),
    ],
)
def test_a_difference_is_named(tmp_path: Path, change: dict[str, str | None], line: str) -> None:
    changed = {name: text for name, text in (WHEEL | change).items() if text is not None}
    done = compare(tmp_path, changed)
    assert (done.returncode, done.stdout) == (1, line + "\n")
