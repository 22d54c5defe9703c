# SPDX-License-Identifier: MIT
"""Where the other interpreter is."""

import shutil
import sys
from pathlib import Path

import pytest


def micropython() -> str:
    """Return the path of MicroPython's unix port; skip the test where there is no wheel for it."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip("no MicroPython here: its wheel exists for Linux x86_64 and macOS arm64 only")
    return found
