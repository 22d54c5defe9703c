# SPDX-License-Identifier: MIT
"""`sagline measure`: one cell, from the clips to the result."""

import argparse
import json
from contextlib import closing
from pathlib import Path
from typing import Any

from sagline import calibrationstore
from sagline.errors import UsageError
from sagline.ids import short_id
from sagline.streams import OutputLost, tell
from sagline.verbs.common import add_json, add_log, add_rig, times_s
from sagline.verbs.progressline import ProgressLine

ALL = "all"
EPILOG = """examples:
  sagline measure --rig 'virtual://lr6?seed=7'
  sagline measure --designation LR6 --label kitchen-3 --json > kitchen-3.json
  sagline measure --load 68 --repeats 3 --times 0.1,1
  sagline measure --designation LR6 --load all

before you connect it:
  Read a pack that you do not know with a voltmeter: the rig bears 16.5 V at most, so no
  24 V pack may be connected. A power bank or a pack with electronics in it is no cell: what
  is measured is its converter or its protection. Take chargers and appliances off first.
"""


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "measure",
        help="measure one cell: EMF and internal resistance with uncertainty",
        description="Measure one cell: its EMF and its internal resistance, with uncertainty.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    add_rig(parser)
    parser.add_argument("--label", help="your name for the cell")
    parser.add_argument("--designation", help="what is printed on it, e.g. LR6, 6LR61 (IEC 60086)")
    parser.add_argument(
        "--load",
        type=_load,
        default=None,
        metavar="auto|OHM|all",
        help="the load in ohms, or auto (default): chosen for the cell; all: as with auto, then a "
        "V-I line through all loads and combinations that cell and rig bear",
    )
    parser.add_argument(
        "--repeats", type=int, default=5, metavar="N", help="repeats to average (default 5)"
    )
    parser.add_argument(
        "--target",
        type=float,
        metavar="REL",
        help="measure until U(r)/r at 95 %% is within this, e.g. 0.01; the repeats decide how many "
        "more it takes",
    )
    parser.add_argument(
        "--times",
        type=times_s,
        default=(0.1,),
        metavar="S,...",
        help="times after switching at which r is reported, in s (default 0.1)",
    )
    parser.add_argument(
        "--temperature",
        type=float,
        metavar="C",
        help="the cell's, in °C (default: by the rig's thermistor, where it has one)",
    )
    parser.add_argument(
        "--operator", metavar="NAME", help="who measures (default: as set in config.toml)"
    )
    parser.add_argument(
        "--clear-trip",
        action="store_true",
        help="clear the guard's trip first, once you have seen to its cause",
    )
    parser.add_argument(
        "--calibration",
        metavar="ID",
        help="use this one of this computer's calibrations of the rig (`sagline calibrate --list`) "
        "in place of the one that its board keeps",
    )
    parser.add_argument(
        "--trace",
        metavar="FILE",
        help="keep every byte with its time in a new file; --rig 'replay://FILE' plays it again",
    )
    parser.add_argument(
        "--teach",
        action="store_true",
        help="show what was read and keep r back: it is for you to work out, and to hold against "
        "the run's with `sagline log answer`",
    )
    add_log(parser, "keep the run in this log (default: the usual one; simulated: the demo log)")
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Measure; print the result. Returns the exit status."""
    from sagline.config import load_config
    from sagline.device.settings import Settings
    from sagline.rigs import resolve

    if args.teach and args.json:
        raise UsageError(
            "two_ways",
            "--teach keeps r back, and --json prints it.",
            "Give one of them; `sagline log show --json` prints a run that was kept.",
        )
    config = load_config()
    settings = Settings(
        load_ohm=None if args.load == ALL else args.load,
        line=args.load == ALL,
        designation=args.designation,
        repeats=args.repeats,
        times_s=args.times,
        target_u_rel=args.target,
        label=args.label,
        operator=config.operator if args.operator is None else args.operator,
        temperature_c=args.temperature,
        clear_trip=args.clear_trip,
    )
    address = resolve(args.rig, config)
    result, record_id, keeper = _measure(address, settings, args.trace, args.log, args.calibration)
    if keeper is not None:
        result = keeper.told(result)
    option = "--demo " if result.kind == "virtual" else ""
    if args.log is not None:
        option = f"--log '{args.log}' "
    shown = f"`sagline log show {option}{short_id(record_id)}`"
    kept = keeper is not None and keeper.failure is None
    if args.teach:
        _exercise(result, f"sagline log answer {option}{short_id(record_id)}", kept)
    else:
        _print(args.json, result, f"It is in the log: {shown}." if kept else None)
    if keeper is None:
        return 0
    if keeper.remark is not None:
        tell(f"sagline: {keeper.remark}")
    if keeper.failure is not None:
        # The result is out; what could not be kept is said last, with its own exit status.
        raise keeper.failure
    if not (args.json or args.teach):
        print(f"\nKept in the log as {short_id(record_id)}: {shown}")
    return 0


def _exercise(result: Any, command: str, kept: bool) -> None:
    """Print what was read, and how an answer is held against the run, if it was kept."""
    from sagline.teaching import Exercise

    exercise = Exercise.of(result)
    print("\n".join(exercise.lines()))
    if kept:
        asked = " --line-emf V" if exercise.points else ""
        print(f"\nWhen you have yours: `{command} --r OHM{asked}`")


def _print(as_json: bool, result: Any, where: str | None) -> None:
    """Print the result; raise NotStored where that cannot be. `where` it is all the same."""
    import sys

    from sagline.errors import NotStored
    from sagline.wording import report_lines

    try:
        if as_json:
            print(json.dumps(result.to_dict(), indent=2))
        else:
            print("\n".join(report_lines(result)))
        sys.stdout.flush()
    except OutputLost as lost:
        if lost.reader_left:
            raise
        error = lost.as_error()
        remedy = where or f"It is nowhere else. {error.remedy}"
        raise NotStored(
            "output_not_written", f"The result was made. {error.message}", remedy
        ) from lost


def _measure(
    address: str, settings: Any, trace: str | None, log: Path | None, calibration_id: str | None
) -> tuple[Any, str, Any]:
    """Return the result, its record's id, and the keeper, None where nothing is kept."""
    from sagline.device.procedure import run as procedure
    from sagline.device.progress import Finished, LinePlanned, Planned, describe
    from sagline.device.rig import open_rig
    from sagline.log.choice import log_for
    from sagline.log.keeper import Keeper
    from sagline.wording import line_sentence, plan_lines, wrapped

    record_id = ""
    with ProgressLine() as line, open_rig(address, trace) as rig:
        if calibration_id is not None:
            rig.calibration = calibrationstore.find(rig.identity.serial, calibration_id)
        progress = procedure(rig, settings)
        path = log_for(rig, log)
        keeper = None if path is None else Keeper(path)
        with closing(progress if keeper is None else keeper.keep(progress)) as items:
            for item in items:
                if isinstance(item, Planned):
                    record_id = item.record.id
                    line.keep(plan_lines(item.plan, item.advice))
                    continue
                if isinstance(item, LinePlanned):
                    line.keep(wrapped([line_sentence(item.plan)], 79))
                    continue
                if isinstance(item, Finished):
                    return item.result, record_id, keeper
                line.show(describe(item))
    raise AssertionError("a measurement ends with Finished or an error")


def _load(text: str) -> float | str | None:
    if text in ("auto", ALL):
        return None if text == "auto" else ALL
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is neither auto, all nor a number of ohms"
        ) from None
