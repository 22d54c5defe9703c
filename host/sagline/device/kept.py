# SPDX-License-Identifier: MIT
"""The calibration that a board keeps, over the link: read, replaced, taken away.

On the board it is a document in numbered chunks of base64; here it is checked against the
length and CRC-32 that the board gives, and only then understood.
"""

import binascii
import json
import re
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sagline.device.link import Link
from sagline.errors import NEW_FIRMWARE, BoardRefused, Refused, UsageError, WrongDevice
from sagline_board import commands, faults, keep

if TYPE_CHECKING:
    from sagline.calibrations import Calibration

# How often a chunk that does not fit is asked for.
TRIES = 3
# No calibration is as long as this; a board's few kilobytes could hold zeros without end.
_MOST_JSON = 1_000_000
_IDENTITY = re.compile(r'(\d+),(\d+),(\d+),"([0-9A-F]{8})","([^"]*)"')
_CHUNK = re.compile(r'(\d+),(\d+),"([A-Za-z0-9+/=]*)"')


@dataclass(frozen=True)
class KeptIdentity:
    """What a board says of the calibration that it keeps.

    `slot` is 0 where it keeps none. `damaged` slots hold something else than a good copy.
    """

    slot: int
    damaged: int
    length: int
    crc: int
    id: str


class Unreadable(Exception):
    """The board's document is whole and yet no calibration of this program's kind."""


def read_identity(link: Link) -> KeptIdentity | None:
    """Return what the board keeps; None where its firmware knows of no such thing."""
    try:
        reply = link.request("calibration_identity")
    except BoardRefused as refusal:
        if refusal.number == faults.UNDEFINED_HEADER:
            return None
        raise
    found = _IDENTITY.fullmatch(reply)
    if found is None:
        raise _bad_reply(f"is asked what calibration it keeps and answers {reply[:60]!r}")
    slot, damaged, length, crc, name = found.groups()
    return KeptIdentity(int(slot), int(damaged), int(length), int(crc, 16), name)


def read_calibration(link: Link, identity: KeptIdentity) -> "Calibration":
    """Return the calibration that `identity` is of.

    Raises Unreadable where it is whole but not understood, WrongDevice where its chunks do not
    make up what the board says it keeps; else as `Link.request`.
    """
    if identity.length > keep.MOST:
        raise _bad_reply(f"says that it keeps {identity.length} bytes")
    chunks = -(-identity.length // commands.KEPT_CHUNK)
    data = b"".join(_chunk(link, chunk, identity.length) for chunk in range(chunks))
    if zlib.crc32(data) != identity.crc:
        raise _bad_reply("gave its calibration otherwise than its checksum says")
    return decoded(data)


def write_calibration(link: Link, calibration: "Calibration") -> None:
    """Let the board keep `calibration` in place of what it keeps.

    Raises UsageError where it is too long for a board, BoardRefused where the board cannot,
    WrongDevice where it then keeps something else.
    """
    data = encoded(calibration)
    crc = zlib.crc32(data)
    link.request("begin_calibration", len(data), calibration.id)
    for chunk, first in enumerate(range(0, len(data), commands.KEPT_CHUNK)):
        text = binascii.b2a_base64(data[first : first + commands.KEPT_CHUNK], newline=False)
        link.request("write_calibration", chunk, text.decode())
    link.request("commit_calibration", f"{crc:08X}")
    now = read_identity(link)
    if now is None or (now.length, now.crc, now.id) != (len(data), crc, calibration.id):
        raise _bad_reply("keeps another calibration than the one it was given")


def clear_calibration(link: Link) -> None:
    """Let the board keep no calibration. Raises BoardRefused where it cannot."""
    link.request("clear_calibration")
    now = read_identity(link)
    if now is None or now.slot:
        raise _bad_reply("still keeps the calibration that it was told to forget")


def encoded(calibration: "Calibration") -> bytes:
    """Return the document as a board keeps it: JSON, packed. Raises UsageError if too long."""
    text = json.dumps(calibration.to_dict(), separators=(",", ":"))
    data = zlib.compress(text.encode("ascii"), 9)
    if len(data) > keep.MOST:
        raise UsageError(
            "calibration_too_long",
            f"This calibration takes {len(data)} bytes, and a board keeps {keep.MOST}.",
            "Give the on-board converter's table fewer knots.",
        )
    return data


def decoded(data: bytes) -> "Calibration":
    """Return the calibration in what a board keeps. Raises Unreadable."""
    from sagline.calibrations import Calibration

    try:
        text = zlib.decompressobj().decompress(data, _MOST_JSON)
        return Calibration.model_validate_json(text)
    except (zlib.error, ValueError) as error:
        raise Unreadable(str(error).splitlines()[0]) from error


def _chunk(link: Link, chunk: int, length: int) -> bytes:
    """Return the bytes of one chunk; ask again where its header does not fit."""
    wanted = min(commands.KEPT_CHUNK, length - chunk * commands.KEPT_CHUNK)
    reply = ""
    for _ in range(TRIES):
        reply = link.request("read_calibration", chunk)
        found = _CHUNK.fullmatch(reply)
        if found is not None and (int(found[1]), int(found[2])) == (chunk, wanted):
            try:
                data = binascii.a2b_base64(found[3], strict_mode=True)
            except binascii.Error:
                continue
            if len(data) == wanted:
                return data
    raise _bad_reply(f"gives chunk {chunk} of its calibration as {reply[:40]!r}")


def _bad_reply(what: str) -> WrongDevice:
    return WrongDevice(
        "bad_reply", f"The board {what}.", f"Try again; if it stays so, {NEW_FIRMWARE}"
    )


def no_keeping() -> Refused:
    """Return the error for a board that keeps no calibration."""
    return Refused(
        "keeps_no_calibration",
        "The firmware on this board keeps no calibration.",
        f"To have it kept there, {NEW_FIRMWARE}.",
    )
