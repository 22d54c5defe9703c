# SPDX-License-Identifier: MIT
"""The firmware put on a board, so that a supply cut at any instant leaves no gate high.

Gates go low first. Before the first file changes, main.py is put out of the way: what starts
then is boot.py alone, which holds the gates low, and never a mixture of old and new. Every file
is written beside, its hash compared on the board, and renamed; main.py comes last. Files that are
none of the firmware's, as those in which the board keeps its calibration, are not touched.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from sagline.device.rawrepl import BoardRaised, RawRepl
from sagline.errors import Refused, WrongDevice
from sagline.firmware import FOLDERS, LAST, BoardFile
from sagline_board.profile import PINS, WATCHDOG_CTRL, WATCHDOG_ENABLE

CHUNK_BYTES = 512
OLDEST = (1, 20)
"""MicroPython with what the firmware asks of it."""
_BESIDE = ".new"
# Of files in the firmware's folders that are its own, also of another version.
_ENDINGS = (".py", ".mpy", _BESIDE)

_SAFE = "from machine import Pin\nfor n in {pins}:\n Pin(n, Pin.OUT, value=0)\n"
_ABOUT = """import sys
i = sys.implementation
print(i.name, "%d.%d" % i.version[:2], getattr(i, "_machine", ""), getattr(i, "_mpy", 0), sep="|")
"""
_WATCHDOG = "from machine import mem32\nprint(1 if mem32[{address}] & {enable} else 0)\n"
_HASHES = """import os, hashlib, binascii
def hash_of(path):
 try:
  file = open("/" + path, "rb")
 except OSError:
  return "-"
 made = hashlib.sha256()
 while True:
  data = file.read(512)
  if not data:
   break
  made.update(data)
 file.close()
 return binascii.hexlify(made.digest()).decode()
def names(folder, endings):
 try:
  there = os.listdir("/" + folder)
  return [one for one in there if [end for end in endings if one.endswith(end)]]
 except OSError:
  return []
"""
_MAKE = """import os
try:
 os.mkdir({path!r})
except OSError as error:
 if error.errno != 17:
  raise
"""
_RENAME = "import os\nos.rename({old!r}, {new!r})\n"
_REMOVE = "import os\nos.remove({path!r})\n"

Action = Literal["same", "new", "replace", "remove"]


@dataclass(frozen=True)
class Board:
    """What is to be flashed: MicroPython's version there, the board's name by it, its `_mpy`."""

    micropython: str
    name: str
    mpy: int

    @property
    def chip(self) -> str | None:
        """RP2040 or RP2350; None for any other."""
        return next((chip for chip in WATCHDOG_CTRL if chip in self.name), None)


@dataclass(frozen=True)
class Change:
    """What is done about one file of the board."""

    path: str
    action: Action


def meet(repl: RawRepl) -> Board:
    """Hold every gate and ARM low, and say what board it is.

    Raises WrongDevice where it is no Pico or its MicroPython too old, Refused where its watchdog
    runs.
    """
    try:
        repl.run(_SAFE.format(pins=(*PINS["gates"], PINS["arm"])))
    except BoardRaised as error:
        raise _no_pico(error.raised) from error
    name, version, machine, mpy = repl.run(_ABOUT).strip().split("|")
    board = Board(version, machine, int(mpy))
    if name != "micropython" or board.chip is None:
        raise _no_pico(f"it is {machine or name}")
    if tuple(int(part) for part in version.split(".")) < OLDEST:
        raise WrongDevice(
            "old_micropython",
            f"The board has MicroPython {version}; the firmware needs {OLDEST[0]}.{OLDEST[1]}.",
            "Hold BOOTSEL while you plug it in, then run `sagline flash` again",
        )
    if (
        repl.run(
            _WATCHDOG.format(address=WATCHDOG_CTRL[board.chip], enable=WATCHDOG_ENABLE)
        ).strip()
        != "0"
    ):
        raise Refused(
            "watchdog_runs",
            "The board's watchdog runs: it would start the board anew in the middle of a file.",
            "Unplug the board, plug it in again and run `sagline flash` again",
        )
    return board


def compare(repl: RawRepl, files: Sequence[BoardFile]) -> tuple[Change, ...]:
    """What differs on the board, by SHA-256, in the order of `files`; what is to go comes last."""
    paths = [one.path for one in files]
    there = dict(
        line.split(" ")
        for line in repl.run(
            _HASHES + f"for path in {paths!r}:\n print(path, hash_of(path))\n"
        ).splitlines()
    )
    changes = [Change(one.path, _action(there[one.path], one.sha256)) for one in files]
    told = repl.run(
        _HASHES
        + f"for folder in {('', *FOLDERS)!r}:\n for name in names(folder, {_ENDINGS!r}):\n"
        + "  print(folder + '/' + name)\n"
    )
    ours = set(paths)
    for line in told.split():
        path = line.lstrip("/")
        of_ours = path.endswith(_BESIDE) and path.removesuffix(_BESIDE) in ours
        in_folders = "/" in path and path.endswith(_ENDINGS)
        if path not in ours and (of_ours or in_folders):
            changes.append(Change(path, "remove"))
    return tuple(changes)


def write(
    repl: RawRepl, files: Sequence[BoardFile], changes: Sequence[Change]
) -> Iterator[tuple[Change, int]]:
    """Make every change, telling each before it is made, with the bytes to be written.

    Nothing is written where nothing differs. Raises BoardRaised, Refused (`board_full`,
    `bad_hash`), LinkLost.
    """
    wanted = {one.path: one for one in files}
    todo = [change for change in changes if change.action != "same"]
    if not todo:
        return
    # Whatever differs: from here on only boot.py starts, until main.py is back. Where it is the
    # one file that differs, its rename is all there is.
    others = [change for change in todo if change.path != LAST]
    if others:
        is_there = any(change.path == LAST and change.action != "new" for change in changes)
        if is_there:
            repl.run(_REMOVE.format(path=f"/{LAST}"))
        todo = [*others, Change(LAST, "replace" if is_there else "new")]
    for folder in FOLDERS:
        parts = folder.split("/")
        for depth in range(len(parts)):
            repl.run(_MAKE.format(path="/" + "/".join(parts[: depth + 1])))
    # What is to go goes first: it may lie where a file is written beside.
    for change in sorted(todo, key=lambda change: change.action != "remove"):
        if change.action == "remove":
            yield change, 0
            repl.run(_REMOVE.format(path=f"/{change.path}"))
            continue
        file = wanted[change.path]
        yield change, len(file.data)
        _put(repl, file)


def restart(repl: RawRepl) -> None:
    """Start the board anew, with what is on it now."""
    repl.send_off("import machine\nmachine.reset()\n")


def _put(repl: RawRepl, file: BoardFile) -> None:
    beside = f"/{file.path}{_BESIDE}"
    try:
        repl.run(f"f = open({beside!r}, 'wb')\n")
        for at in range(0, len(file.data), CHUNK_BYTES):
            repl.run(f"f.write({file.data[at : at + CHUNK_BYTES]!r})\n")
        repl.run("f.close()\n")
    except BoardRaised as error:
        if re.search(r"\b(28|ENOSPC)\b", error.raised):
            raise Refused(
                "board_full",
                f"The board has no room for {file.path}.",
                "Take files that are not sagline's off the board, then run `sagline flash` again",
            ) from error
        raise
    found = repl.run(_HASHES + f"print(hash_of({beside[1:]!r}))\n").strip()
    if found != file.sha256:
        raise Refused(
            "bad_hash",
            f"{file.path} did not arrive on the board as it was sent.",
            "Use another cable or port and run `sagline flash` again; until then the board does "
            "not start its firmware, its gates are low",
        )
    repl.run(_RENAME.format(old=beside, new=f"/{file.path}"))


def _action(found: str, wanted: str) -> Action:
    if found == wanted:
        return "same"
    return "new" if found == "-" else "replace"


def _no_pico(why: str) -> WrongDevice:
    return WrongDevice(
        "no_pico",
        f"The board is no Raspberry Pi Pico or Pico 2: {why}.",
        "Choose the right port with --rig; `sagline rigs` lists them",
    )
