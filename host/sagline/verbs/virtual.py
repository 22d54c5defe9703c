# SPDX-License-Identifier: MIT
"""`sagline virtual`: what the simulated cells are, and what a perfect measurement would find."""

import argparse
import json
from typing import Any

from sagline.verbs.common import add_json, times_s


def add(commands: Any) -> None:
    """Declare the command and its verbs."""
    parser = commands.add_parser(
        "virtual",
        help="the simulated rig: its cells and their true values",
        description="The simulated rig: its cells and their true values.",
        allow_abbrev=False,
    )
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="list|truth|serve")
    listing = verbs.add_parser("list", help="the simulated cells", allow_abbrev=False)
    add_json(listing)
    listing.set_defaults(run=run_list)
    truth = verbs.add_parser(
        "truth", help="the true EMF and r(t) of a simulated cell", allow_abbrev=False
    )
    truth.add_argument("name", metavar="NAME", help="a name from `sagline virtual list`")
    truth.add_argument("--load", type=float, metavar="OHM", help="the load (default: the plan's)")
    truth.add_argument(
        "--at",
        type=times_s,
        default=(),
        metavar="S,...",
        help="more times in s, beside 0.1",
    )
    add_json(truth)
    truth.set_defaults(run=run_truth)
    serve = verbs.add_parser(
        "serve",
        help="a simulated rig on a TCP port of this computer",
        description="Serve a simulated rig, at the pace of a real one, on a TCP port of this "
        "computer, its hands on the next port. Ctrl-C ends it, with the load off.",
        allow_abbrev=False,
    )
    serve.add_argument(
        "name", metavar="NAME", help="a name from `sagline virtual list`, or 'virtual://lr6?seed=7'"
    )
    serve.add_argument("--port", type=int, required=True, metavar="N", help="0: any free port")
    add_json(serve)
    serve.set_defaults(run=run_serve)


def run_list(args: argparse.Namespace) -> int:
    """Print the simulated cells."""
    from sagline.virtual.cells import CELLS

    if args.json:
        cells = [
            {"name": c.name, "title": c.title, "designation": c.designation} for c in CELLS.values()
        ]
        print(json.dumps({"cells": cells}, indent=2))
    else:
        for cell in CELLS.values():
            print(f"{cell.name:<10} {cell.title} ({cell.designation})")
    return 0


def run_truth(args: argparse.Namespace) -> int:
    """Print the true values of one simulated cell."""
    from sagline.errors import UsageError
    from sagline.virtual.cells import CELLS
    from sagline.virtual.truth import truth

    if args.name not in CELLS:
        raise UsageError(
            "unknown_cell",
            f"There is no simulated cell {args.name!r}.",
            f"Use one of: {', '.join(CELLS)}.",
        )
    try:
        found = truth(CELLS[args.name], args.load, args.at)
    except ValueError as error:
        raise UsageError("bad_truth", f"{error}.", "Give --load and --at as positive.") from error
    if args.json:
        print(json.dumps(found, indent=2))
        return 0
    true = found["truth"]
    print(f"EMF         {true['emf_v']:.5f} V")
    print(f"r(0+)       {true['r_instant_ohm']:.5f} Ω")
    for row in true["r_at"]:
        print(f"{'r(' + format(row['t_s'], 'g') + ' s)':<11} {row['value']:.5f} Ω")
    print(f"on a load of {true['load_ohm']:g} Ω; simulated")
    return 0


def run_serve(args: argparse.Namespace) -> int:
    """Serve one simulated rig until interrupted."""
    from sagline.errors import UsageError
    from sagline.virtual.server import HOST, RigServer

    if not 0 <= args.port <= 65535:
        raise UsageError("bad_port", f"There is no port {args.port}.", "Give 0 to 65535.")
    with RigServer(args.name, args.port) as server:
        address = f"socket://{HOST}:{server.port}"
        if args.json:
            said = {"address": address, "port": server.port, "hands_port": server.hands_port}
            print(json.dumps(said), flush=True)
        else:
            print(f"Measure with: sagline measure --rig '{address}'")
            print(f"Hands: sagline hands --port {server.hands_port} reverse", flush=True)
        server.run()
    return 0
