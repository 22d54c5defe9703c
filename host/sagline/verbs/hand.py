# SPDX-License-Identifier: MIT
"""`sagline hand`: readings taken by hand, from what was typed to the result in the log."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.verbs import beside
from sagline.verbs.common import add_json, add_log
from sagline.verbs.handtext import DESCRIPTION, EPILOG

if TYPE_CHECKING:
    from sagline.errors import NotStored
    from sagline.handfile import HandFile
    from sagline.handrecord import HandRecord
    from sagline.results import Result


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "hand",
        help="readings taken by hand: voltmeter, V-I line, slide wire",
        description=DESCRIPTION,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "what", metavar="voltmeter|line|slidewire|FILE.csv", help="how it was read, or a file of it"
    )
    _add_readings(parser.add_argument_group("readings, in their order"))
    _add_stated(parser.add_argument_group("standard uncertainties"))
    _add_circuit(parser.add_argument_group("circuit and wire"))
    parser.add_argument("--closed-s", metavar="S", help="how long the key was closed, in s")
    parser.add_argument(
        "--closed-each",
        nargs=2,
        metavar="S",
        help="line: the same at either of two currents, where it differed",
    )
    parser.add_argument("--label", help="your name for the cell")
    parser.add_argument("--designation", help="what is printed on it, e.g. LR6 (IEC 60086)")
    parser.add_argument("--temperature", metavar="C", help="the cell's, in °C")
    parser.add_argument(
        "--operator", metavar="NAME", help="who measures (default: as set in config.toml)"
    )
    parser.add_argument(
        "--beside", metavar="ID", help="a rig's run of the same cell: put the two r side by side"
    )
    add_log(parser, "keep the readings in this log (default: the usual one)")
    parser.add_argument("--demo", action="store_true", help="in the log of simulated runs")
    add_json(parser)
    parser.set_defaults(run=run)


def _add_readings(group: Any) -> None:
    for name, metavar, text in (
        ("open", "V|CM", "open voltage, or balance length without load"),
        ("loaded", "V|CM", "the same with the load"),
        ("load", "OHM", "the load they were read on; closes the group"),
        ("amps", "A", "or the current, negative where the cell is charged"),
        ("watts", "W", "or the power in the load"),
    ):
        group.add_argument(f"--{name}", action=_Append, metavar=metavar, help=text)


def _add_stated(group: Any) -> None:
    for name, metavar in (
        ("volts", "V"), ("amps", "A"), ("watts", "W"), ("ohm", "OHM"), ("length", "CM")
    ):  # fmt: skip
        group.add_argument(f"--u-{name}", metavar=f"{metavar}|%", help=argparse.SUPPRESS)
    group.description = "--u-volts, --u-amps, --u-watts, --u-ohm, --u-length: see below"


def _add_circuit(group: Any) -> None:
    for name, metavar, text in (
        ("lead-ohm", "OHM", "leads in series with the load, beyond where the cell is read"),
        ("end-correction", "CM", "added to every length"),
        ("null-width", "CM", "length over which no deflection is seen"),
        ("wire-length", "CM", "length of the wire; what lies beyond is refused"),
        ("gradient", "V/CM", "volts per centimetre, for E"),
        ("standard-emf", "V", "or a standard cell's EMF"),
        ("standard-length", "CM", "and its balance length"),
        ("volts-change", "V", "line: the change of voltage alone"),
        ("amps-change", "A", "for this change of current: r without E"),
        ("rated-amps", "A", "line: the cell's rated current, to hold two currents against"),
    ):
        group.add_argument(f"--{name}", metavar=metavar, help=text)
    group.add_argument(
        "--fit-open", action="store_true", help="line: take the open voltage for a point of it"
    )
    group.add_argument(
        "--extrapolate", action="store_true", help="line: give the E of two points all the same"
    )


class _Append(argparse.Action):
    """Keeps the order in which readings of all names are typed."""

    def __call__(self, parser: Any, namespace: Any, values: Any, option_string: Any = None) -> None:
        """Add one reading."""
        typed = getattr(namespace, "entries", None) or []
        namespace.entries = [*typed, (self.dest, values)]


def run(args: argparse.Namespace) -> int:
    """Compute, keep, print. Returns the exit status."""
    from sagline.computing import result_of
    from sagline.log.choice import usual_log
    from sagline.log.store import Log
    from sagline.wording import report_lines

    path = args.log or usual_log(demo=args.demo)
    record = _record(args)
    result = result_of(record)
    found = None
    if args.beside is not None:
        with Log(path) as log:
            found = beside.against(log, args.beside, record, result)
    # Before it is told, so that nothing that was told is lost.
    failure = _keep(path, record, result)
    if failure is not None:
        result = result.with_warning("not_stored", failure.message, failure.remedy)
    if args.json:
        more = {} if found is None else beside.document(found)
        print(json.dumps({**result.to_dict(), **more}, indent=2))
    else:
        print("\n".join(report_lines(result)))
        if found is not None:
            print("", *beside.lines(found), sep="\n")
    if failure is not None:
        # The result is out; this has its own exit status.
        raise failure
    if not args.json:
        option = f"--log '{args.log}' " if args.log else "--demo " if args.demo else ""
        known = short_id(record.id)
        print(f"\nKept in the log as {known}: `sagline log show {option}{known}`")
    return 0


def _keep(path: Path, record: "HandRecord", result: "Result") -> "NotStored | None":
    """Put both in the log; return why that failed, None where it did not."""
    from sagline.errors import NotStored
    from sagline.log.opening import LogError
    from sagline.log.store import Log

    try:
        with Log(path, write=True) as log:
            log.complete(record, result)
    except NotStored as error:
        return error
    except LogError as error:
        return NotStored(error.code, error.message, error.remedy)
    return None


def _record(args: argparse.Namespace) -> "HandRecord":
    """Return the record of what was typed or stands in the file. Raises UsageError."""
    from datetime import UTC, datetime

    from uuid6 import uuid7

    from sagline.analysis.hand.sheet import WAYS, option
    from sagline.analysis.hand.typed import positive, typed
    from sagline.config import load_config
    from sagline.errors import UsageError
    from sagline.handfile import OPTIONS, SWITCHES, HandFile, read_hand_file
    from sagline.handrecord import HAND_SCHEMA, Entry, HandOptions, HandRecord
    from sagline.plaintext import plain_text
    from sagline_board import __version__

    file = HandFile(about={"way": args.what}) if args.what in WAYS else _file(args, read_hand_file)
    entries = getattr(args, "entries", None) or file.entries
    if file.about["way"] not in WAYS:
        raise UsageError(
            "unknown_way", f"{file.about['way']!r} is no way of reading.", f"Use {', '.join(WAYS)}."
        )
    given = {name: getattr(args, name) for name in OPTIONS if getattr(args, name) is not None}
    if args.closed_each is not None:
        given["closed_each"] = " ".join(args.closed_each)

    def about(name: str, wanted: str | None) -> str | None:
        return plain_text(option(name), file.about.get(name) if wanted is None else wanted)

    closed_s = about("closed_s", args.closed_s)
    temperature_c = about("temperature_c", args.temperature)
    operator = about("operator", args.operator)
    switches = {name: getattr(args, name) or name in file.switches for name in SWITCHES}
    return HandRecord(
        schema=HAND_SCHEMA,
        id=str(uuid7()),
        kind="hand",
        started_at=datetime.now(UTC),
        label=about("label", args.label),
        designation=about("designation", args.designation),
        operator=plain_text("operator", load_config().operator) if operator is None else operator,
        temperature_c=None
        if temperature_c is None
        else typed("--temperature", temperature_c).value,
        sagline=__version__,
        way=file.about["way"],  # pyright: ignore[reportArgumentType]
        closed_s=None if closed_s is None else positive("--closed-s", closed_s).value,
        entries=[Entry(name=name, text=_line(text)) for name, text in entries],  # pyright: ignore
        options=HandOptions(**{k: _line(v) for k, v in {**file.options, **given}.items()}),
        **switches,
    )


def _file(args: argparse.Namespace, read: Any) -> "HandFile":
    from sagline.errors import UsageError

    if getattr(args, "entries", None):
        raise UsageError(
            "readings_and_file",
            f"{args.what} is taken for a file, and readings were typed besides.",
            "Give the one or the other; the ways of reading are voltmeter, line and slidewire.",
        )
    return read(Path(args.what))


def _line(text: str) -> str:
    """Return a number as it was typed. Raises UsageError for what is no line of text."""
    from sagline.plaintext import plain_text

    return plain_text("number", text) or ""
