# SPDX-License-Identifier: MIT
"""`sagline hand`: readings taken by hand, from what was typed to the result in the log."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sagline.analysis.hand.fields import (
    CIRCUIT,
    LINE,
    READINGS,
    SLIDEWIRE,
    SWITCHES,
    UNCERTAINTIES,
    WAYS,
    Field,
)
from sagline.ids import short_id
from sagline.log import beside
from sagline.verbs.common import add_json, add_log
from sagline.verbs.handtext import DESCRIPTION, EPILOG

if TYPE_CHECKING:
    from sagline.handfile import HandFile


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
    for field in READINGS:
        unit = "V|CM" if SLIDEWIRE in field.ways and field.unit == "V" else _metavar(field)
        group.add_argument(field.option, action=_Append, metavar=unit, help=field.means)


def _add_stated(group: Any) -> None:
    for field in UNCERTAINTIES:
        group.add_argument(field.option, metavar=f"{_metavar(field)}|%", help=argparse.SUPPRESS)
    names = ", ".join(field.option for field in UNCERTAINTIES)
    group.description = f"{names}: see below"


def _add_circuit(group: Any) -> None:
    for field in CIRCUIT:
        group.add_argument(field.option, metavar=_metavar(field), help=_means(field))
    for field in SWITCHES:
        group.add_argument(field.option, action="store_true", help=_means(field))


def _metavar(field: Field) -> str:
    """Its unit, as a command line can spell it."""
    return field.unit.replace("Ω", "ohm").upper()


def _means(field: Field) -> str:
    """What it means, behind the one way that it is for."""
    return f"{LINE}: {field.means}" if field.ways == (LINE,) else field.means


class _Append(argparse.Action):
    """Keeps the order in which readings of all names are typed."""

    def __call__(self, parser: Any, namespace: Any, values: Any, option_string: Any = None) -> None:
        """Add one reading."""
        typed = getattr(namespace, "entries", None) or []
        namespace.entries = [*typed, (self.dest, values)]


def run(args: argparse.Namespace) -> int:
    """Compute, keep, print. Returns the exit status."""
    from sagline.computing import result_of
    from sagline.handkeeping import keep, record_of
    from sagline.log.choice import usual_log
    from sagline.log.store import Log
    from sagline.wording import report_lines

    path = args.log or usual_log(demo=args.demo)
    record = record_of(_typed(args))
    result = result_of(record)
    found = None
    if args.beside is not None:
        with Log(path) as log:
            found = beside.against(log, args.beside, record, result)
    # Before it is told, so that nothing that was told is lost.
    failure = keep(path, record, result)
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


def _typed(args: argparse.Namespace) -> "HandFile":
    """Return what was typed, over what stands in the file. Raises UsageError."""
    from sagline.handfile import OPTIONS, HandFile, read_hand_file

    file = HandFile(about={"way": args.what}) if args.what in WAYS else _file(args, read_hand_file)
    about = {
        "closed_s": args.closed_s,
        "label": args.label,
        "designation": args.designation,
        "operator": args.operator,
        "temperature_c": args.temperature,
    }
    options = {name: getattr(args, name) for name in OPTIONS}
    if args.closed_each is not None:
        options["closed_each"] = " ".join(args.closed_each)
    file.entries = getattr(args, "entries", None) or file.entries
    file.about |= {name: text for name, text in about.items() if text is not None}
    file.options |= {name: text for name, text in options.items() if text is not None}
    file.switches |= {field.name for field in SWITCHES if getattr(args, field.name)}
    return file


def _file(args: argparse.Namespace, read: Any) -> "HandFile":
    from sagline.errors import UsageError

    if getattr(args, "entries", None):
        raise UsageError(
            "readings_and_file",
            f"{args.what} is taken for a file, and readings were typed besides.",
            "Give the one or the other; the ways of reading are voltmeter, line and slidewire.",
        )
    return read(Path(args.what))
