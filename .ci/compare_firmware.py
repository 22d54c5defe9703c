# SPDX-License-Identifier: MIT
"""Compare the firmware in a wheel with a checkout's, file by file.

Usage: python compare_firmware.py WHEEL FIRMWARE_FOLDER

A wheel carries the whole tree as `sagline/_firmware` for flashing, and
`lib/sagline_board` once more as a package for the host to import.
"""

import hashlib
import sys
import zipfile
from pathlib import Path

FLASHED = "sagline/_firmware/"
IMPORTED = "sagline_board/"
IMPORTED_SOURCE = "lib/sagline_board/"


def tree_hashes(folder: Path) -> dict[str, str]:
    """SHA-256 of each file below `folder`, by its path there; byte-compiled files left out."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def wheel_hashes(wheel: Path, prefix: str) -> dict[str, str]:
    """SHA-256 of each file of `wheel` below `prefix`, by its path there."""
    with zipfile.ZipFile(wheel) as archive:
        return {
            name.removeprefix(prefix): hashlib.sha256(archive.read(name)).hexdigest()
            for name in archive.namelist()
            if name.startswith(prefix) and not name.endswith("/")
        }


def differences(expected: dict[str, str], found: dict[str, str]) -> list[str]:
    """Words for each path that is missing, unexpected or different in `found`."""
    words = [f"missing: {path}" for path in sorted(expected.keys() - found.keys())]
    words += [f"unexpected: {path}" for path in sorted(found.keys() - expected.keys())]
    words += [
        f"different: {path}"
        for path in sorted(expected.keys() & found.keys())
        if expected[path] != found[path]
    ]
    return words


def main(wheel: Path, firmware: Path) -> int:
    """Print what differs; 0 where nothing does, else 1."""
    expected = tree_hashes(firmware)
    imported = {
        path.removeprefix(IMPORTED_SOURCE): digest
        for path, digest in expected.items()
        if path.startswith(IMPORTED_SOURCE)
    }
    if not imported:
        print(f"no {IMPORTED_SOURCE} below {firmware}")
        return 1
    found = [f"{FLASHED}: {words}" for words in differences(expected, wheel_hashes(wheel, FLASHED))]
    found += [
        f"{IMPORTED}: {words}" for words in differences(imported, wheel_hashes(wheel, IMPORTED))
    ]
    for line in found:
        print(line)
    if not found:
        print(f"{len(expected)} firmware files alike")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
