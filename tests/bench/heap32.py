# SPDX-License-Identifier: MIT
"""What the firmware holds of the heap on 32-bit words, as a Pico has them (emulated).

    npm install --prefix /tmp/heap32 @micropython/micropython-webassembly-pyscript
    NODE_PATH=/tmp/heap32/node_modules python tests/bench/heap32.py

As bytecode, as `sagline flash` writes it, and as source. The port has no machine code, so viper
functions are bytecode here. Prints what heap32.mjs measures, and of how much a Pico has free.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from sagline.bytecode import compiled
from sagline.firmware import BoardFile, board_files

# An RP2040's bytecode, of which nothing is left here that is for a processor.
RP2040 = 6 | 3 << 8 | 4 << 10
FREE_BYTES = 215_904
"""On a Pico with MicroPython 1.20 and nothing loaded: micropython#12557."""
NODE = ("node", str(Path(__file__).with_suffix(".mjs")))


def plain(file: BoardFile) -> BoardFile:
    """The file without machine code."""
    text = file.data.decode().replace("@micropython.viper\n", "")
    return BoardFile(file.path, re.sub(r"ptr(16|32)\(", "(", text).encode())


def measure(files: tuple[BoardFile, ...]) -> int:
    """Print what the parts hold; return the most."""
    with tempfile.TemporaryDirectory() as folder:
        for file in files:
            path = Path(folder, file.path)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(file.data)
        run = subprocess.run([*NODE, folder], capture_output=True, text=True)
    if run.returncode:
        sys.exit(run.stderr)
    print(run.stdout, end="")
    return max(int(line.split()[-1]) for line in run.stdout.splitlines())


def main() -> None:
    source = tuple(map(plain, board_files()))
    for name, files in (("bytecode", compiled(source, RP2040)), ("source", source)):
        print(name)
        most = measure(files)
        print(f"{1 - most / FREE_BYTES:.1%} of {FREE_BYTES} bytes are free")


if __name__ == "__main__":
    main()
