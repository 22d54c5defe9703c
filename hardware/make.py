# SPDX-License-Identifier: MIT
"""Make everything that follows from the drawing: `python hardware/make.py`.

Schematic files, their pictures, bom.csv, wiring.csv and pins.csv are written anew from `drawing/`;
`--check` writes nothing and names what is not as it would be made.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from drawing import rig
from tools.bom import bom, header, wiring
from tools.circuit import BOARD
from tools.netlist import Netlist, load
from tools.page import lay_out
from tools.pdf import document
from tools.sexp import read
from tools.svg import pictures

HERE = Path(__file__).parent
PRINTED = "rig.pdf"


def netlist(folder: Path = HERE) -> Netlist:
    """The netlist of the committed schematic."""
    return load(folder / "rig" / rig.ROOT)


def printed(folder: Path) -> bytes:
    """All pages of the schematic files in `folder`, in their order, as one PDF."""
    names = [rig.ROOT, *(f"{sheet.name}.kicad_sch" for sheet in rig.pages())]
    texts = [(folder / name).read_text(encoding="utf-8") for name in names]
    return document([lay_out(read(text)) for text in texts])


def make(folder: Path) -> None:
    """Write everything into `folder`."""
    rig.draw(folder / "rig")
    for name, text in pictures(folder / "rig").items():
        (folder / "rig" / name).write_text(text, encoding="utf-8", newline="\n")
    (folder / "rig" / PRINTED).write_bytes(printed(folder / "rig"))
    nets = netlist(folder)
    (folder / "bom.csv").write_text(bom(nets), encoding="utf-8", newline="\n")
    (folder / "wiring.csv").write_text(wiring(nets), encoding="utf-8", newline="\n")
    (folder / "pins.csv").write_text(header(nets, BOARD), encoding="utf-8", newline="\n")


def stale(folder: Path = HERE) -> list[str]:
    """Files in `folder` that are missing, superfluous or not as `make` writes them."""
    with tempfile.TemporaryDirectory() as scratch:
        fresh = Path(scratch)
        make(fresh)
        names = {path.relative_to(fresh) for path in fresh.rglob("*") if path.is_file()}
        kept = {path.relative_to(folder) for path in (folder / "rig").iterdir()}
        return sorted(
            name.as_posix()
            for name in names | kept
            if not (folder / name).exists()
            or not (fresh / name).exists()
            or (folder / name).read_bytes() != (fresh / name).read_bytes()
        )


def main() -> int:
    """Make, or check what was made; 1 where something is not as it should be."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--check", action="store_true", help="write nothing, name what is stale")
    if parser.parse_args().check:
        found = stale()
        sys.stdout.write("".join(f"not as the drawing has it: {name}\n" for name in found))
        return 1 if found else 0
    make(HERE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
