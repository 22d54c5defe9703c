# SPDX-License-Identifier: MIT
"""`sagline flash`: the firmware of this program onto a board."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from sagline.verbs.common import add_json, add_rig

if TYPE_CHECKING:
    from sagline.device.flashing import Board, Change
    from sagline.device.rawrepl import RawRepl
    from sagline.firmware import BoardFile

WAIT_S = 300.0
BACK_S = 30.0
_LOOK_S = 0.5

_WORDS = {"same": "as it should be", "new": "new", "replace": "replaced", "remove": "removed"}
_WOULD = {"same": "as it should be", "new": "would be new", "replace": "would be replaced",
          "remove": "would be removed"}  # fmt: skip


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "flash",
        help="put the firmware on a board",
        description="Put the firmware of this program on a Pico or Pico 2 with MicroPython. Only "
        "what differs is written; each file's hash is compared on the board; a calibration that "
        "the board keeps stays. Take the cell out first. Where a board shows its drive instead of "
        "a port (BOOTSEL held while plugged in), you are told which file to put on it, and "
        "flashing goes on when the board comes back.",
        allow_abbrev=False,
    )
    add_rig(parser)
    parser.add_argument(
        "--dry-run", action="store_true", help="tell what differs and write nothing"
    )
    parser.add_argument(
        "--source",
        action="store_true",
        help="write source instead of bytecode: takes more of the board's memory, and its "
        "tracebacks tell lines",
    )
    parser.add_argument(
        "--wait",
        type=float,
        default=WAIT_S,
        metavar="S",
        help=f"how long to wait for a board whose drive is there (default {WAIT_S:g})",
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Flash, start the board anew and ask it who it is."""
    from sagline.device import flashing
    from sagline.device.ports import serial_number_of
    from sagline.device.rawrepl import RawRepl
    from sagline.firmware import board_files
    from sagline_board import __version__

    address = _address(args)
    # Under another name, perhaps, but with its own number the board will be back.
    meant = serial_number_of(address) or address
    with RawRepl(address) as repl:
        board = flashing.meet(repl)
        files, why = _form(board_files(), board, args.source)
        changes = flashing.compare(repl, files)
        differs = any(change.action != "same" for change in changes)
        if differs and not args.dry_run:
            _write(repl, flashing.write(repl, files, changes))
        # It was stopped to be looked at: it goes on with what it has.
        flashing.restart(repl)
    firmware = None if args.dry_run else _back(meant, address)
    if args.json:
        print(json.dumps(_told(board, changes, firmware, why, args.dry_run), indent=2))
        return 0
    _print(board, changes, why, args.dry_run)
    if firmware is not None:
        print(f"The board answers with firmware {firmware}.")
        if firmware != __version__:
            print(f"This program is {__version__}: was another board meant?")
    return 0


def _form(
    files: "tuple[BoardFile, ...]", board: "Board", source: bool
) -> "tuple[tuple[BoardFile, ...], str]":
    """The files as this board is to have them; why they are source, "" where they are not."""
    from sagline.bytecode import NotCompiled, compiled

    if source:
        return files, "as asked"
    try:
        return compiled(files, board.mpy), ""
    except NotCompiled as error:
        return files, str(error)


def _told(
    board: "Board", changes: "tuple[Change, ...]", firmware: str | None, why: str, dry_run: bool
) -> dict[str, Any]:
    return {
        "board": board.name,
        "micropython": board.micropython,
        "form": "source" if why else "bytecode",
        "why_source": why or None,
        "dry_run": dry_run,
        "files": [{"path": one.path, "action": one.action} for one in changes],
        "firmware": firmware,
    }


def _write(repl: "RawRepl", changes: Any) -> None:
    from sagline.verbs.progressline import ProgressLine

    with ProgressLine() as line:
        for change, size in changes:
            line.show(f"{change.path}  {size} bytes" if size else f"{change.path}  removed")


def _print(board: "Board", changes: "tuple[Change, ...]", why: str, dry_run: bool) -> None:
    print(f"{board.name}, MicroPython {board.micropython}")
    if why:
        print(f"  source, which takes more of the board's memory: {why}")
    for change in changes:
        if change.action != "same":
            print(f"  {change.path:<34} {(_WOULD if dry_run else _WORDS)[change.action]}")
    same = sum(change.action == "same" for change in changes)
    print(f"  {same} of {len(changes)} files were as they should be")


def _address(args: argparse.Namespace) -> str:
    """The port meant; where there is none but a drive, the one that comes when that has gone.

    Raises UsageError for a simulated rig, NoRig, LinkLost.
    """
    from sagline.device.bootdrive import find_drives
    from sagline.errors import NoRig, UsageError
    from sagline.rigs import resolve

    try:
        address = resolve(args.rig)
    except NoRig as error:
        drives = find_drives()
        if not drives:
            raise NoRig(
                error.code,
                error.message,
                "Connect a board; one without MicroPython with BOOTSEL held while you plug it in",
            ) from error
        return _after(drives[0].advice, args)
    if "://" in address and not address.startswith(("socket://", "rfc2217://")):
        raise UsageError(
            "no_board",
            f"{address} is no board: it runs this program's own firmware.",
            "Give the port of a board with --rig; `sagline rigs` lists them",
        )
    return address


def _after(advice: str, args: argparse.Namespace) -> str:
    """Tell which file to drop, wait for the board to come back, return its address."""
    from sagline.device.clock import WallClock
    from sagline.errors import NoRig
    from sagline.rigs import resolve
    from sagline.streams import tell

    tell(advice)
    clock = WallClock()
    until_s = clock.now_s() + args.wait
    while clock.now_s() < until_s:
        clock.wait(_LOOK_S)
        try:
            address = resolve(args.rig)
        except NoRig:
            continue
        # The port is there a moment before it may be opened.
        clock.wait(_LOOK_S)
        return address
    raise NoRig("no_rig", f"No board came back within {args.wait:g} s.", advice)


def _back(meant: str, address: str) -> str:
    """The firmware's version by the board itself, which starts anew. Raises LinkLost."""
    from sagline.device.clock import WallClock
    from sagline.device.rig import open_rig
    from sagline.errors import LinkLost, RigError

    clock = WallClock()
    until_s = clock.now_s() + BACK_S
    while True:
        clock.wait(1.0)
        try:
            with open_rig(_named(meant, address)) as rig:
                return rig.identity.firmware
        except RigError as error:
            if clock.now_s() > until_s:
                raise LinkLost(
                    "not_back",
                    f"The files are on the board, but it does not answer: {error.message}",
                    "Unplug it, plug it in again and run `sagline rigs --probe`; see that the "
                    "start jumper is open",
                ) from error


def _named(meant: str, address: str) -> str:
    from sagline.errors import NoRig
    from sagline.rigs import resolve

    try:
        return resolve(meant)
    except NoRig:
        return address
