# SPDX-License-Identifier: MIT
"""`sagline demo`: the whole job on a simulated cell, at the pace of a real bench."""

import argparse
from typing import Any

from sagline.streams import on_terminal

DEMO_ADDRESS = "virtual://lr6?seed=1&pace=real"


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "demo",
        help="see it all work on a simulated cell",
        description="Measure a simulated cell at the pace of a real bench, in the terminal.",
        allow_abbrev=False,
    )
    add_screen(parser)
    parser.set_defaults(run=run)


def add_screen(parser: argparse.ArgumentParser) -> None:
    """Add what can be asked of the screen."""
    parser.add_argument(
        "--teach",
        action="store_true",
        help="the screen keeps r back until a student has given theirs, then compares the two",
    )
    parser.add_argument(
        "--line",
        action="store_true",
        help="the screen's measurements go on with a V-I line through all loads",
    )


def run(args: argparse.Namespace) -> int:
    """Open Bench on the simulated rig. Returns the exit status."""
    return open_bench(DEMO_ADDRESS, autostart=True, teach=args.teach, line=args.line)


def open_bench(
    address: str, *, autostart: bool = False, teach: bool = False, line: bool = False
) -> int:
    """Open Bench on the rig at `address`; with `autostart` measure at once, with `teach` keep
    r back until a student has given theirs, with `line` measure V-I lines too.

    Returns the exit status. Raises UsageError without a terminal, Cancelled where a
    signal, Ctrl-C or leaving it in mid-measurement ended it, and whatever fault of ours
    it has shown; the last two after the screen is gone.
    """
    if not on_terminal():
        from sagline.errors import UsageError

        raise UsageError(
            "no_terminal",
            "The screen needs a terminal for all of input, output and errors.",
            "Use `sagline measure` here; it prints lines, and JSON with --json.",
        )
    from sagline.device.settings import Settings
    from sagline.ending import stopped
    from sagline.tui.app import SaglineApp

    settings = Settings(line=True) if line else None
    app = SaglineApp(address, settings, autostart=autostart, teach=teach)
    app.run()
    if app.fault is not None:
        raise app.fault
    if app.ended_by is not None:
        raise stopped(app.ended_by, closed=app.closed)
    return app.return_code or 0
