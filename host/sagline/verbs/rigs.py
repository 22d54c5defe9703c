# SPDX-License-Identifier: MIT
"""`sagline rigs`: what could be measured with, without opening any port."""

import argparse
import json
from typing import Any

from sagline.verbs.common import add_json


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "rigs",
        help="list the serial ports and the simulated rigs",
        description="List the serial ports and the simulated rigs. No port is opened.",
        allow_abbrev=False,
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the rigs."""
    from sagline.device.ports import list_serial_ports
    from sagline.virtual.cells import CELLS

    rows = [
        {"address": p.port, "kind": "port", "title": p.description,
         "serial_number": p.serial_number, "likely": p.likely}
        for p in list_serial_ports()
    ]  # fmt: skip
    rows += [
        {"address": f"virtual://{c.name}", "kind": "virtual", "title": f"simulated {c.title}",
         "serial_number": None, "likely": True}
        for c in CELLS.values()
    ]  # fmt: skip
    if args.json:
        print(json.dumps({"rigs": rows}, indent=2))
        return 0
    for row in rows:
        note = "" if row["likely"] else "  (not known to be a rig)"
        print(f"{row['address']:<22} {row['title']}{note}")
    return 0
