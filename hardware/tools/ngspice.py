# SPDX-License-Identifier: MIT
"""What a deck prints when ngspice runs it."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

LACKS = "needs ngspice (on Debian: apt-get install ngspice)"
TIME_OUT_S = 600.0
_PRINTED = re.compile(r"^([a-z]\w*)\s*=\s*([-+]?\d\S*)", re.M)


class SimulatorError(RuntimeError):
    """ngspice did not finish."""


def available() -> bool:
    """Whether there is an ngspice to run."""
    return shutil.which("ngspice") is not None


def printed(deck: str) -> dict[str, float]:
    """Name to number of every line `name = number`. Raises SimulatorError.

    A failed analysis prints no number: whoever asks for it gets a KeyError, never an old one.
    """
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "deck.cir"
        source.write_text(deck, encoding="ascii")
        try:
            done = subprocess.run(
                ["ngspice", "-n", "-b", str(source)],
                capture_output=True, text=True, timeout=TIME_OUT_S, check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired as error:
            raise SimulatorError(f"ngspice took longer than {TIME_OUT_S:g} s") from error
    said = done.stdout + done.stderr
    if "aborted" in said or "too small" in said or "no such" in said.lower():
        raise SimulatorError(f"ngspice ended with {done.returncode}: {said[-1500:]}")
    return {name: float(value) for name, value in _PRINTED.findall(done.stdout)}
