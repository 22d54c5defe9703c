# SPDX-License-Identifier: MIT
"""`sagline analyse`: a record that another instrument made, by the same estimator."""

import argparse
import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.verbs.common import add_json, add_log, times_s

if TYPE_CHECKING:
    from sagline.errors import SaglineError
    from sagline.filerecord import FileRecord
    from sagline.results import Result

DESCRIPTION = """Find EMF and internal resistance in a record that an oscilloscope, a logger or a
rig made: volts of the cell and the current against time, from a rest over a load switched on at
once to a recovery. The step is found in it; several steps are repeats."""

EPILOG = """the file, as CSV with a line of column names:
  # load_ohm: 3.3              lines of metadata, none of them needed
  time_s,sense_v,force_v
  0.000,1.5821,0.0002

  time_s     seconds, ascending
  sense_v    the cell's voltage, read at its terminals
  current_a  the current, positive or negative; or instead of it
  force_v    the voltage across the load (--load OHM), and with it
  return_v   where the load's other end is not at the zero of force_v

  Semicolons or tabs may part the fields, with decimal points or commas. What was not read is
  left blank. `# load_on_s:` and `# load_off_s:` tell the instants of switching, parted by
  spaces, where they are known better than the readings show them. label, designation,
  operator, temperature_c and started_at are taken from metadata too. `sagline log export --csv`
  writes such a file.

examples:
  sagline analyse scope.csv --load 3.3 --u-ohm 0.01 --u-volts-rel 0.005
  sagline analyse logger.csv --designation LR6 --times 0.1,0.2 --json

before you connect a cell to a load:
  See its data sheet for the greatest current. A load must bear V²/R as heat. Never short a cell;
  keep to local codes, and leave packs and large batteries to people who are licensed for them.
"""

LARGEST_BYTES = 64 * 2**20


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "analyse",
        help="find EMF and internal resistance in another instrument's record",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("file", type=Path, metavar="FILE.csv", help="the record")
    parser.add_argument(
        "--load", type=_above_zero, metavar="OHM", help="what force_v was read across, in ohms"
    )
    parser.add_argument(
        "--times",
        type=times_s,
        metavar="S,...",
        help="times after load on at which r is reported, in s (default: 0.1, or the nearest "
        "that the record can tell)",
    )
    parser.add_argument(
        "--window", type=_not_below_zero, metavar="S",
        help="each reading is the mean over so many seconds about its time (default: an instant)",
    )  # fmt: skip
    stated = parser.add_argument_group(
        "standard uncertainties of the instrument (a limit of ±a is one of a/√3)"
    )
    for name, unit, help_text in (
        ("--u-ohm", "OHM", "of --load"),
        ("--u-volts-rel", "REL", "of the scale of volts, each channel's own; 0.005 is 0.5 %%"),
        ("--u-volts", "V", "of the zero of volts, each channel's own"),
        ("--u-amps-rel", "REL", "of the scale of current_a"),
    ):
        stated.add_argument(name, type=_not_below_zero, metavar=unit, help=help_text)
    parser.add_argument("--label", help="your name for the cell")
    parser.add_argument("--designation", help="what is printed on it, e.g. LR6 (IEC 60086)")
    parser.add_argument("--temperature", type=_finite, metavar="C", help="the cell's, in °C")
    parser.add_argument(
        "--operator", metavar="NAME", help="who measured (default: as set in config.toml)"
    )
    add_log(parser, "keep the record in this log (default: the usual one; simulated: the demo log)")
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Analyse, keep, print. Returns the exit status."""
    from sagline.computing import result_of
    from sagline.log.choice import usual_log
    from sagline.wording import report_lines

    record = _record(args)
    result = result_of(record)
    path = usual_log(demo=record.is_simulated) if args.log is None else args.log
    failure = _keep(record, result, path)
    if args.json:
        print(json.dumps(result.to_dict(), indent=2))
    else:
        print("\n".join(report_lines(result)))
    if failure is not None:
        # The result is out; what could not be kept is said last, with its own exit status.
        raise failure
    if not args.json:
        option = "--demo " if record.is_simulated else ""
        option = option if args.log is None else f"--log '{args.log}' "
        print(
            f"\nKept in the log as {short_id(record.id)}: "
            f"`sagline log show {option}{short_id(record.id)}`"
        )
    return 0


def _record(args: argparse.Namespace) -> "FileRecord":
    from datetime import UTC, datetime

    from sagline.config import load_config
    from sagline.filecsv import parse
    from sagline.filerecord import FileOptions, FileRecord

    text, written_s = _read(args.file)
    return FileRecord.of(
        parse(text),
        args.file.name,
        datetime.fromtimestamp(written_s, UTC),
        FileOptions(
            load_ohm=args.load,
            times_s=None if args.times is None else list(args.times),
            window_s=args.window,
            u_ohm=args.u_ohm,
            u_volts_rel=args.u_volts_rel,
            u_volts=args.u_volts,
            u_amps_rel=args.u_amps_rel,
        ),
        label=args.label,
        designation=args.designation,
        operator=args.operator,
        temperature_c=args.temperature,
        usual_operator=load_config().operator,
    )


def _read(path: Path) -> tuple[str, float]:
    """Return the file's text and when it was last written (s). Raises UsageError."""
    from sagline.errors import UsageError

    try:
        about = path.stat()
        if about.st_size > LARGEST_BYTES:
            raise UsageError(
                "file_too_large",
                f"{path} has more than {LARGEST_BYTES // 2**20} MiB",
                "cut it to some seconds about the step, or keep each tenth reading",
            )
        return path.read_bytes().decode("utf-8-sig"), about.st_mtime
    except OSError as error:
        raise UsageError(
            "file_not_read",
            f"{path} cannot be read: {error.strerror}",
            "name a CSV file; `sagline analyse --help` shows one",
        ) from error
    except UnicodeDecodeError:
        raise UsageError(
            "not_text",
            f"{path} is no text in UTF-8",
            "export it as CSV in UTF-8; a spreadsheet's or an instrument's own file is none",
        ) from None


def _keep(record: "FileRecord", result: "Result", path: Path) -> "SaglineError | None":
    """Put both into the log; return why that failed."""
    from sagline.errors import NotStored, SaglineError
    from sagline.log.store import Log

    try:
        with Log(path, write=True) as log:
            log.complete(record, result)
    except SaglineError as error:
        return NotStored(error.code, error.message, error.remedy)
    return None


def _finite(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise argparse.ArgumentTypeError(f"{text!r} is no number")
    return value


def _not_below_zero(text: str) -> float:
    value = _finite(text)
    if value < 0.0:
        raise argparse.ArgumentTypeError(f"{text!r} is below zero")
    return value


def _above_zero(text: str) -> float:
    value = _finite(text)
    if value <= 0.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not above zero")
    return value
