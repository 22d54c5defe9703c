# SPDX-License-Identifier: MIT
"""The board's files that this program carries: where each belongs on a board, and its bytes."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from sagline.errors import SaglineError

FOLDERS = ("boards", "lib/sagline_board")
"""All of whose Python files on a board are the firmware's own."""
FIRST, LAST = "boot.py", "main.py"
"""What holds the gates low, and what starts the firmware."""
_NOT_ON_A_PICO = ("boards/unix.py",)


@dataclass(frozen=True)
class BoardFile:
    """One file: its path on the board, without a leading "/", and what is in it."""

    path: str
    data: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


def firmware_root() -> Path:
    """The folder that holds the firmware: the package's own, else the checkout's.

    Raises SaglineError where there is neither.
    """
    here = Path(__file__).parent
    for root in (here / "_firmware", here.parents[1] / "firmware"):
        if (root / LAST).is_file():
            return root
    raise SaglineError(
        "no_firmware", "This installation has no firmware for a board.", "Install sagline anew"
    )


def board_files(root: Path | None = None) -> tuple[BoardFile, ...]:
    """What a Pico needs, in the order in which it is to be written: boot.py first, main.py last."""
    root = firmware_root() if root is None else root
    inner = sorted(
        path.relative_to(root).as_posix()
        for folder in FOLDERS
        for path in (root / folder).glob("*.py")
    )
    paths = [FIRST, *(path for path in inner if path not in _NOT_ON_A_PICO), LAST]
    # A checkout on Windows may have CR LF; what is on a board is the same everywhere.
    return tuple(
        BoardFile(path, (root / path).read_bytes().replace(b"\r\n", b"\n")) for path in paths
    )
