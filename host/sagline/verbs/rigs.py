# SPDX-License-Identifier: MIT
"""`sagline rigs`: what could be measured with, without opening any port."""

import argparse
import json
from typing import Any

from sagline.verbs.common import add_json, add_rig


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "rigs",
        help="list the serial ports and the simulated rigs",
        description="List the serial ports and the simulated rigs. "
        "No port is opened unless you ask for it.",
        allow_abbrev=False,
    )
    parser.add_argument(
        "--probe",
        action="store_true",
        help="open the ports of known boards, and the one given with --rig, and ask who is there",
    )
    add_rig(parser)
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
    if args.probe:
        _probe(rows, args.rig)
    if args.json:
        print(json.dumps({"rigs": rows}, indent=2))
        return 0
    for row in rows:
        note = f", serial number {row['serial_number']}" if row["serial_number"] else ""
        if not row["likely"]:
            note += "  (not known to be a rig)"
        print(f"{row['address']:<22} {row['title']}{note}")
        if row.get("identity"):
            print(
                "{:<22} {maker} {model} {serial}, firmware {firmware}".format("", **row["identity"])
            )
        elif row.get("error"):
            print(f"{'':<22} {row['error']['message']}\n{'':<22} {row['error']['remedy']}")
    return 0


def _probe(rows: list[dict[str, Any]], named: str | None) -> None:
    """Ask the boards of known kind, and the one that is named, who they are.

    Each row that was asked gets `identity` and `error`, one of them None.
    """
    from dataclasses import asdict

    from sagline.device.rig import open_rig
    from sagline.errors import SaglineError
    from sagline.rigs import resolve

    address = None if named is None else resolve(named)
    if address is not None and all(row["address"] != address for row in rows):
        kind = "virtual" if address.startswith("virtual://") else "port"
        rows.append({"address": address, "kind": kind, "title": "named with --rig",
                     "serial_number": None, "likely": True})  # fmt: skip
    for row in rows:
        if row["address"] != address and not (row["kind"] == "port" and row["likely"]):
            continue
        row |= {"identity": None, "error": None}
        try:
            with open_rig(row["address"]) as rig:
                row["identity"] = asdict(rig.identity)
        except SaglineError as error:
            row |= error.to_dict()
