# SPDX-License-Identifier: MIT
"""The command line: parse, dispatch, and turn every error into words and a status.

Exit statuses: 0 result; 1 our fault; 2 usage, or output not written; 3 no rig or link
lost; 4 refused; 5 result not stored or not printed; 130 stopped by the user, load off; 128 + N by
signal N likewise.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from typing import Any

from sagline import streams
from sagline.ending import Ended, listening, stopped
from sagline.errors import SaglineError, UsageError
from sagline.verbs import (
    analyse,
    calibrate,
    demo,
    drawer,
    flash,
    guide,
    hand,
    hands,
    log,
    measure,
    rigs,
    schema,
    selftest,
    virtual,
    where,
)
from sagline_board import __version__

VERBS = (
    demo,
    measure,
    drawer,
    hand,
    analyse,
    calibrate,
    log,
    rigs,
    flash,
    selftest,
    virtual,
    hands,
    where,
    schema,
    guide,
)

STATUSES = """exit status:
  0 result, with or without notes   1 our fault
  2 usage, or output that cannot be written   3 no rig, or link lost
  4 refused by guard or validity   5 result made but not stored or printed
  130 stopped by the user, load off   143, 129 by SIGTERM, SIGHUP, load off
"""


class _Parser(argparse.ArgumentParser):
    """Reports a wrong request as UsageError, so that --json covers it too."""

    def error(self, message: str):
        raise UsageError("usage", f"{message}.", f"See `{self.prog} --help`.")

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:  # pyright: ignore[reportIncompatibleMethodOverride]
        """Parse; a command with something left over refuses it here, in its own name."""
        found, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self.error(f"`{self.prog}` does not know {' '.join(unknown)}")
        return found, unknown


def build_parser() -> argparse.ArgumentParser:
    """Return the whole command line."""
    parser = _Parser(
        prog="sagline",
        description="Find the EMF and the internal resistance of a cell, "
        "and how far the figure can be trusted.",
        epilog=STATUSES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"sagline {__version__}")
    demo.add_screen(parser)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for verb in VERBS:
        verb.add(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    streams.prepare()
    arguments = list(sys.argv[1:] if argv is None else argv)
    as_json = "--json" in arguments
    try:
        with listening(), streams.guarded_output():
            return _dispatch(arguments)
    except SystemExit as end:
        # argparse has printed a help text or the version.
        return end.code if isinstance(end.code, int) else 0
    except Ended as end:
        error = stopped(end.number)
    except KeyboardInterrupt:
        error = stopped()
    except streams.OutputLost as lost:
        if lost.reader_left:
            return 0
        error = lost.as_error()
    except SaglineError as caught:
        error = caught
    except Exception as fault:
        error = _our_fault(fault)
    _print_error(error, as_json)
    return error.exit_status


def _dispatch(arguments: list[str]) -> int:
    parser = build_parser()
    args = parser.parse_args(arguments)
    if args.command is not None:
        return args.run(args)
    if not streams.on_terminal():
        parser.print_help(sys.stderr)
        return UsageError.exit_status
    from sagline.rigs import resolve

    return demo.open_bench(resolve(None), teach=args.teach, line=args.line)


def _print_error(error: SaglineError, as_json: bool) -> None:
    if as_json:
        streams.tell(json.dumps(error.to_dict()))
    else:
        streams.tell(f"sagline: {error.message}\n  {error.remedy}")


def _our_fault(error: Exception) -> SaglineError:
    """Save the traceback in a file; return the error that names it."""
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile(
        "w", prefix="sagline-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        file.write(f"sagline {__version__}, Python {sys.version}\n")
        traceback.print_exception(error, file=file)
    return SaglineError(
        "our_fault",
        f"Something in sagline went wrong: {type(error).__name__}: {error}.",
        f"Try again. If it stays so, keep {file.name}: it tells whoever mends it where to look.",
    )
