# SPDX-License-Identifier: MIT
"""`sagline virtual`: what the simulated cells are, and what a perfect measurement would find."""

import argparse
import json
from typing import Any

from sagline.verbs.common import add_json, times_s

TRUTH_EPILOG = """a file for --cell, and for 'virtual://custom?cell=FILE':
  emf_v = 1.58
  r_instant_ohm = 0.110
  rc = [[0.018, 0.0015], [0.024, 0.030]]   # pairs of ohms and time constant in s
  diffusion_ohm_per_sqrt_s = 0.030         # r rises by this times the root of time
  capacity_ah = 2.5
  temperature_c = 23.0
  # These may be left out:
  name = "mine"             # "custom"
  title = "my AA"           # "custom cell"
  designation = "LR6"       # none, so --load must be given
  emf_slope_v = 0.55        # 0; fall of the EMF over the whole capacity, in V
"""


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
        "truth",
        help="the true EMF and r(t) of a simulated cell",
        description="The true EMF and r(t) of a simulated cell: one by NAME, or your own.",
        epilog=TRUTH_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    truth.add_argument("name", nargs="?", metavar="NAME", help="a name from `sagline virtual list`")
    truth.add_argument("--cell", metavar="FILE", help="a cell of your own, a TOML file as below")
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
    from sagline.virtual.truth import truth

    found = truth(_cell(args.name, args.cell), args.load, args.at)
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


def _cell(name: str | None, file: str | None) -> Any:
    """Return the one cell that is meant."""
    from pathlib import Path

    from sagline.errors import UsageError
    from sagline.virtual.cellfile import load
    from sagline.virtual.cells import CELLS

    if (name is None) == (file is None):
        raise UsageError(
            "which_cell",
            "Which cell is meant: NAME or --cell FILE, one of the two.",
            "Write for example `sagline virtual truth lr6`.",
        )
    if file is not None:
        return load(Path(file))
    if name is not None and name in CELLS:
        return CELLS[name]
    raise UsageError(
        "unknown_cell", f"There is no virtual cell {name!r}.", f"Use one of: {', '.join(CELLS)}."
    )


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
