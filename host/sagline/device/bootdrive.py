# SPDX-License-Identifier: MIT
"""The drive that a Pico shows when it was plugged in with BOOTSEL held.

INFO_UF2.TXT on it says which board it is (the UF2 format's own specification).
"""

from __future__ import annotations

import os
import string
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

INFO = "INFO_UF2.TXT"
_FILES = {
    "RPI-RP2": ("RPI_PICO", "a Pico (RPI_PICO_W for a Pico W)"),
    "RP2350": ("RPI_PICO2", "a Pico 2 (RPI_PICO2_W for a Pico 2 W)"),
}


@dataclass(frozen=True)
class BootDrive:
    """Where it is mounted, and its Board-ID."""

    path: Path
    board_id: str

    @property
    def advice(self) -> str:
        """Which file to put on it, and from where."""
        name, whom = _FILES.get(self.board_id, ("", f"a board that calls itself {self.board_id}"))
        page = f"https://micropython.org/download/{name}/" if name else "micropython.org/download"
        return (
            f"Get MicroPython for {whom}, the newest .uf2 file of {page}, and copy it to "
            f"{self.path}. The drive goes away and the board comes back as a port."
        )


def find_drives(roots: Iterable[Path] | None = None) -> tuple[BootDrive, ...]:
    """Every such drive among the folders where this system mounts drives."""
    found = []
    for path in _mounted() if roots is None else roots:
        try:
            text = (path / INFO).read_text(encoding="ascii", errors="replace")
        except OSError:
            continue
        for line in text.splitlines():
            if line.startswith("Board-ID:"):
                said = line.removeprefix("Board-ID:").strip()
                board_id = next((one for one in _FILES if said.startswith(one)), said)
                found.append(BootDrive(path, board_id))
    return tuple(found)


def _mounted() -> Iterator[Path]:
    if sys.platform == "win32":
        yield from (Path(f"{letter}:\\") for letter in string.ascii_uppercase[3:])
        return
    if sys.platform == "darwin":
        parents = [Path("/Volumes")]
    else:
        user = os.environ.get("USER", "")
        parents = [Path("/media"), Path("/mnt"), Path("/media") / user, Path("/run/media") / user]
    for parent in parents:
        try:
            yield from sorted(parent.iterdir())
        except OSError:
            continue
