# SPDX-License-Identifier: MIT
"""Make everything that follows from the drawing: `python hardware/make.py`.

Schematic files, their pictures and print, bom.csv, wiring.csv, pins.csv and the simulator's decks
are written anew from `drawing/`, and report.md from what ngspice makes of the decks; without
ngspice that is said, and report.md left alone. `--check` writes nothing and names what is not as
it would be made.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from drawing import rig
from tools import report
from tools.bom import bom, header, wiring
from tools.circuit import BOARD
from tools.netlist import Netlist, load
from tools.ngspice import LACKS, available, printed
from tools.page import lay_out
from tools.pdf import document
from tools.sexp import read
from tools.svg import pictures

HERE = Path(__file__).parent
PRINTED, DECKS, REPORT = "rig.pdf", "decks", "report.md"


def netlist(folder: Path = HERE) -> Netlist:
    """The netlist of the committed schematic."""
    return load(folder / "rig" / rig.ROOT)


def print_of(folder: Path) -> bytes:
    """All pages of the schematic files in `folder`, in their order, as one PDF."""
    names = [rig.ROOT, *(f"{sheet.name}.kicad_sch" for sheet in rig.pages())]
    texts = [(folder / name).read_text(encoding="utf-8") for name in names]
    return document([lay_out(read(text)) for text in texts])


def make(folder: Path) -> None:
    """Write everything into `folder`."""
    rig.draw(folder / "rig")
    for name, text in pictures(folder / "rig").items():
        (folder / "rig" / name).write_text(text, encoding="utf-8", newline="\n")
    (folder / "rig" / PRINTED).write_bytes(print_of(folder / "rig"))
    nets = netlist(folder)
    (folder / "bom.csv").write_text(bom(nets), encoding="utf-8", newline="\n")
    (folder / "wiring.csv").write_text(wiring(nets), encoding="utf-8", newline="\n")
    (folder / "pins.csv").write_text(header(nets, BOARD), encoding="utf-8", newline="\n")
    (folder / DECKS).mkdir(exist_ok=True)
    for name, text in report.decks(nets).items():
        (folder / DECKS / f"{name}.cir").write_text(text, encoding="ascii", newline="\n")


def stale(folder: Path = HERE) -> list[str]:
    """Files in `folder` that are missing, superfluous or not as `make` writes them."""
    with tempfile.TemporaryDirectory() as scratch:
        fresh = Path(scratch)
        make(fresh)
        names = {path.relative_to(fresh) for path in fresh.rglob("*") if path.is_file()}
        kept = {
            path.relative_to(folder)
            for name in ("rig", DECKS)
            for path in (folder / name).iterdir()
        }
        return sorted(
            name.as_posix()
            for name in names | kept
            if not (folder / name).exists()
            or not (fresh / name).exists()
            or (folder / name).read_bytes() != (fresh / name).read_bytes()
        )


def stale_report(folder: Path = HERE) -> list[str]:
    """The report's name where it is not as ngspice has it. Raises SimulatorError."""
    fresh = report.report(netlist(folder), printed)
    path = folder / REPORT
    kept = path.read_text(encoding="utf-8") if path.exists() else ""
    return [] if report.same(kept, fresh) else [REPORT]


def main() -> int:
    """Make, or check what was made; 1 where something is not as it should be."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--check", action="store_true", help="write nothing, name what is stale")
    check = parser.parse_args().check
    if not check:
        make(HERE)
    found = stale() if check else []
    if not available():
        sys.stdout.write(f"left out: {REPORT} {LACKS}\n")
    elif check:
        found += stale_report()
    else:
        text = report.report(netlist(), printed)
        (HERE / REPORT).write_text(text, encoding="utf-8", newline="\n")
    sys.stdout.write("".join(f"not as the drawing has it: {name}\n" for name in found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
