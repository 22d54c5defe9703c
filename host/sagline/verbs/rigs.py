# SPDX-License-Identifier: MIT
"""`sagline rigs`: what could be measured with, without opening any port."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from sagline.verbs.common import add_json

if TYPE_CHECKING:
    from sagline.config import Config


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
        help="open the ports of known boards, of nicknames, and the one given with --rig, "
        "and ask who is there",
    )
    parser.add_argument(
        "--rig",
        metavar="R",
        help="with --probe: one more to ask, by nickname, serial number, port or URL",
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the rigs."""
    from sagline.config import load_config
    from sagline.errors import UsageError

    if args.rig is not None and not args.probe:
        raise UsageError(
            "rig_without_probe",
            "--rig says which rig to ask, and nothing is asked without --probe.",
            f"Use: sagline rigs --probe --rig '{args.rig}'",
        )
    config = load_config()
    rows = _rows(config)
    if args.probe:
        _probe(rows, args.rig, config)
    if args.json:
        print(json.dumps({"rigs": rows}, indent=2))
        return 0
    for row in rows:
        _print_row(row)
    return 0


def _rows(config: "Config") -> list[dict[str, Any]]:
    """Return what is listed: ports, simulated rigs, and what nicknames lead to beside these."""
    from sagline.device.ports import list_serial_ports
    from sagline.rigs import listed_at
    from sagline.virtual.cells import CELLS

    ports = list_serial_ports()
    rows = [_row(p.port, "port", p.description, p.serial_number, likely=p.likely) for p in ports]
    rows += [_row(f"virtual://{c.name}", "virtual", f"simulated {c.title}") for c in CELLS.values()]
    by_address = {row["address"]: row for row in rows}
    for nickname, address in config.rigs.items():
        port = None if "://" in address else listed_at(address, ports)
        if port is not None:
            address = port.port
        elif address not in by_address:
            title = "named in config.toml"
            title += "" if "://" in address else ", not connected"
            by_address[address] = _row(address, _kind(address), title)
            rows.append(by_address[address])
        by_address[address]["nicknames"].append(nickname)
        # Whoever gave it a nickname knows it to be a rig.
        by_address[address]["likely"] = True
    return rows


def _row(
    address: str, kind: str, title: str, serial_number: str | None = None, *, likely: bool = True
) -> dict[str, Any]:
    return {"address": address, "kind": kind, "title": title, "serial_number": serial_number,
            "likely": likely, "nicknames": []}  # fmt: skip


def _kind(address: str) -> str:
    return "virtual" if address.startswith("virtual://") else "port"


def _print_row(row: dict[str, Any]) -> None:
    note = f", serial number {row['serial_number']}" if row["serial_number"] else ""
    if row["nicknames"]:
        note += f", nickname {', '.join(row['nicknames'])}"
    if not row["likely"]:
        note += "  (not known to be a rig)"
    print(f"{row['address']:<22} {row['title']}{note}")
    if row.get("identity"):
        print("{:<22} {maker} {model} {serial}, firmware {firmware}".format("", **row["identity"]))
    elif row.get("error"):
        print(f"{'':<22} {row['error']['message']}\n{'':<22} {row['error']['remedy']}")


def _probe(rows: list[dict[str, Any]], named: str | None, config: "Config") -> None:
    """Ask the boards of known kind, and the one that is named, who they are.

    Each row that was asked gets `identity` and `error`, one of them None.
    """
    from dataclasses import asdict

    from sagline.device.rig import open_rig
    from sagline.errors import SaglineError
    from sagline.rigs import resolve

    address = None if named is None else resolve(named, config)
    if address is not None and all(row["address"] != address for row in rows):
        rows.append(_row(address, _kind(address), "named with --rig"))
    for row in rows:
        if row["address"] != address and not (row["kind"] == "port" and row["likely"]):
            continue
        row |= {"identity": None, "error": None}
        try:
            with open_rig(resolve(row["address"], config)) as rig:
                row["identity"] = asdict(rig.identity)
        except SaglineError as error:
            row |= error.to_dict()
