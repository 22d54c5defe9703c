# SPDX-License-Identifier: MIT
"""What the verbs of `sagline log` share: which log, which runs, how a run is named."""

import argparse
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.verbs.common import add_json, add_log

if TYPE_CHECKING:
    from sagline.anyrecord import AnyRecord
    from sagline.log.listing import Filters
    from sagline.log.opening import LogError
    from sagline.log.store import Log
    from sagline.results import Result


def add_verb(verbs: Any, name: str, help_text: str, description: str = "") -> Any:
    """Declare a verb with the options that all of them have; return its parser."""
    parser = verbs.add_parser(
        name,
        help=help_text,
        description=description or f"{help_text[0].upper()}{help_text[1:]}.",
        allow_abbrev=False,
    )
    add_log(parser, "the log's file (default: that of real measurements)")
    parser.add_argument("--demo", action="store_true", help="the log of simulated runs")
    add_json(parser)
    return parser


def add_ids(parser: argparse.ArgumentParser) -> None:
    """Add one or more ids."""
    parser.add_argument("ids", nargs="+", metavar="ID", help="a run: its id, or the end of it")


def add_filters(parser: argparse.ArgumentParser) -> None:
    """Add what runs are chosen by."""
    parser.add_argument("--label", metavar="TEXT", help="runs with this in their label")
    parser.add_argument("--designation", metavar="TEXT", help="with this in their designation")
    parser.add_argument("--rig", metavar="TEXT", help="with this in the rig's model or serial")
    parser.add_argument(
        "--text",
        metavar="WORDS",
        help="with each of these words in label, designation, rig, operator, note or id",
    )
    parser.add_argument("--since", type=_day, metavar="DATE", help="from this day on: 2026-11-25")
    parser.add_argument("--until", type=_day, metavar="DATE", help="before this day")
    parser.add_argument("--deleted", action="store_true", help="the deleted ones instead")


def filters_of(args: argparse.Namespace) -> "Filters":
    """Return what the options of `add_filters` say."""
    from sagline.log.listing import Filters

    return Filters(
        label=args.label,
        designation=args.designation,
        rig=args.rig,
        since=args.since,
        until=args.until,
        deleted=args.deleted,
        text=args.text,
    )


def open_log(args: argparse.Namespace, *, write: bool = False) -> "Log":
    """Open the log that the options name. Raises LogError, UsageError."""
    from sagline.log.opening import LogError
    from sagline.log.store import Log

    path = log_path(args)
    if write and not path.exists():
        raise LogError("no_log", f"There is no log {path} yet.", "Measure something first.")
    return Log(path, write=write)


def log_path(args: argparse.Namespace) -> Path:
    """Return the file of the log that the options name. Raises UsageError for two of them."""
    from sagline.errors import UsageError
    from sagline.log.choice import usual_log

    if args.log is not None and args.demo:
        raise UsageError("two_logs", "--log and --demo name two logs.", "Give one of them.")
    return args.log or usual_log(demo=args.demo)


def meant(record: "AnyRecord", results: "Sequence[Result]", given: str) -> "Result | None":
    """Return the result whose id was given, or the record's main one where the run's id was."""
    return record.meant(results, given)


def no_result(record: "AnyRecord", args: argparse.Namespace) -> "LogError":
    """Return the error that says that a run has no result, and how to make one."""
    from sagline.log.opening import LogError

    known = short_id(record.id)
    return LogError(
        "no_result",
        f"The run {known} ended before its result was made.",
        f"Make one: `sagline log recompute{log_option(args)} {known}`; or leave it out.",
    )


def log_option(args: argparse.Namespace) -> str:
    """Return how a further command names the same log: " --demo", " --log 'FILE'" or ""."""
    return " --demo" if args.demo else f" --log '{args.log}'" if args.log else ""


def _day(text: str) -> datetime:
    try:
        # A time without a zone is one of this computer's.
        return datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError, OSError):
        raise argparse.ArgumentTypeError(
            f"{text!r} is no date such as 2026-11-25 or 2026-11-25T14:30"
        ) from None
