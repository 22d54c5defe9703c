# SPDX-License-Identifier: MIT
"""The command line: parse, dispatch, and turn every error into words and a status.

Exit statuses: 0 result; 1 our fault; 2 usage; 3 no rig or link lost; 4 refused;
5 result not stored; 130 stopped by the user, load off.
"""

import argparse
import io
import json
import os
import sys
from collections.abc import Sequence

from sagline.errors import SaglineError, UsageError
from sagline.verbs import demo, hands, log, measure, rigs, schema, virtual, where
from sagline_board import __version__

VERBS = (demo, measure, log, rigs, virtual, hands, where, schema)

STATUSES = """exit status:
  0 result, with or without warnings   1 our fault   2 usage
  3 no rig, or link lost   4 refused by guard or validity
  5 result made but not stored   130 stopped by the user, load off
"""


class _Parser(argparse.ArgumentParser):
    """Reports a wrong request as UsageError, so that --json covers it too."""

    def error(self, message: str):
        raise UsageError("usage", f"{message}.", f"See `{self.prog} --help`.")


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
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for verb in VERBS:
        verb.add(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    for stream in (sys.stdout, sys.stderr):
        # A terminal or file that lacks Ω shall not cost a measurement.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    as_json = "--json" in arguments
    try:
        return _dispatch(arguments)
    except SaglineError as error:
        _print_error(error, as_json)
        return error.exit_status
    except KeyboardInterrupt:
        from sagline.errors import Cancelled

        stopped = Cancelled("stopped", "Stopped; the load is off.", "Start again when you like.")
        _print_error(stopped, as_json)
        return stopped.exit_status
    except BrokenPipeError:
        # Whoever read our output has left; nothing more can be said to them.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        return _our_fault(error, as_json)


def _dispatch(arguments: list[str]) -> int:
    parser = build_parser()
    args = parser.parse_args(arguments)
    if args.command is not None:
        return args.run(args)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        parser.print_help(sys.stderr)
        return UsageError.exit_status
    from sagline.rigs import resolve

    return demo.open_bench(resolve(None))


def _print_error(error: SaglineError, as_json: bool) -> None:
    if as_json:
        print(json.dumps(error.to_dict()), file=sys.stderr)
    else:
        print(f"sagline: {error.message}\n  {error.remedy}", file=sys.stderr)


def _our_fault(error: Exception, as_json: bool) -> int:
    """Save the traceback where it can be sent from; return the exit status."""
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile(
        "w", prefix="sagline-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        file.write(f"sagline {__version__}, Python {sys.version}\n")
        traceback.print_exception(error, file=file)
    fault = SaglineError(
        "our_fault",
        f"Something in sagline went wrong: {type(error).__name__}: {error}.",
        f"The details are in {file.name}; please send that file with what you did.",
    )
    _print_error(fault, as_json)
    return fault.exit_status
