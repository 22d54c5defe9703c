# SPDX-License-Identifier: MIT
"""Keeps one document through resets and power cuts: two slots, written in turn.

A write goes into the slot that does not hold the newest good copy, so a write cut off at any
byte leaves that copy. A slot begins with magic number, sequence number, lengths of name and
document and the document's CRC-32 (little-endian), the name, and a CRC-32 of all that; the
document follows. The good slot with the highest sequence number counts.

What is needed of files is small: `size(name)` (-1 where there is none), `read(name, offset,
count)`, `write(name, pieces)` (the whole file anew) and `remove(name)`, each raising OSError.
"""

import struct

from .wire import crc32

# Longest document and name, in bytes.
MOST = 8192
MOST_NAME = 40
SLOTS = ("sagline-kept-1.bin", "sagline-kept-2.bin")

_MAGIC = b"SgK1"
_HEAD = "<4sIHHI"
_HEAD_BYTES = 16
_CRC = "<I"
_CRC_BYTES = 4
# A document is checked in pieces: its whole need not fit into the heap twice.
_PIECE = 256


class MemoryFiles:
    """Files of a board that has none: they last as long as this object."""

    def __init__(self):
        self._files = {}

    def size(self, name):
        return len(self._files[name]) if name in self._files else -1

    def read(self, name, offset, count):
        if name not in self._files:
            raise OSError(2)
        return self._files[name][offset : offset + count]

    def write(self, name, pieces):
        self._files[name] = b"".join([bytes(piece) for piece in pieces])

    def remove(self, name):
        self._files.pop(name, None)


class Keep:
    """One document, its name, and where it is kept.

    slot: 1 or 2, where the newest good copy is; 0 where there is none.
    damaged: how many slots hold something that is no good copy.
    name, length, crc: the copy's name (str), bytes and CRC-32.
    """

    def __init__(self, files):
        self._files = files
        self._draft = None
        self._draft_name = ""
        self.look()

    def look(self):
        """Read the slots anew."""
        self.slot = self.damaged = 0
        self._forget()
        for index, file in enumerate(SLOTS):
            try:
                if self._files.size(file) < 0:
                    continue
                found = self._checked(file)
            except OSError:
                found = None
            if found is None:
                self.damaged += 1
            elif not self.slot or found[0] > self._sequence:
                self.slot = index + 1
                self._sequence, self.name, self.length, self.crc, self._start = found

    def read(self, offset, count):
        """Return up to `count` bytes of the document from `offset`. Raises OSError."""
        count = max(0, min(count, self.length - offset))
        return self._files.read(SLOTS[self.slot - 1], self._start + offset, count)

    # -- writing -----------------------------------------------------------

    def begin(self, length, name):
        """Make room for a document of `length` bytes. Raises MemoryError."""
        self._draft = None
        self._draft = bytearray(length)
        self._draft_name = name

    def put(self, offset, data):
        """Put `data` into the draft; return whether it fits there."""
        if self._draft is None or offset + len(data) > len(self._draft):
            return False
        self._draft[offset : offset + len(data)] = data
        return True

    def drop(self):
        """Forget the draft."""
        self._draft = None

    def commit(self, crc):
        """Keep the draft in place of what was kept; return whether it is whole: of this CRC-32.

        Raises OSError where it cannot be written; then what was kept before still is.
        """
        if self._draft is None or crc32(self._draft) != crc:
            return False
        name = self._draft_name.encode()
        head = struct.pack(_HEAD, _MAGIC, self._sequence + 1, len(name), len(self._draft), crc)
        head += name
        target = 2 if self.slot == 1 else 1
        try:
            self._files.write(
                SLOTS[target - 1], (head, struct.pack(_CRC, crc32(head)), self._draft)
            )
        except OSError:
            self._discard(target)
            self.look()
            raise
        self._draft = None
        self.look()
        if self.slot != target:
            raise OSError(5)
        return True

    def clear(self):
        """Keep nothing. The newest copy goes last: cut off before that, it is still kept.

        Raises OSError.
        """
        self._draft = None
        try:
            for slot in (2, 1) if self.slot == 1 else (1, 2):
                if self._files.size(SLOTS[slot - 1]) >= 0:
                    self._files.remove(SLOTS[slot - 1])
        finally:
            self.look()

    # -- inside ------------------------------------------------------------

    def _forget(self):
        self._sequence = self.length = self.crc = self._start = 0
        self.name = ""

    def _discard(self, slot):
        """Take away what a failed write has left; its room may be needed."""
        try:
            self._files.remove(SLOTS[slot - 1])
        except OSError:
            pass

    def _checked(self, file):
        """Return (sequence, name, length, crc, start of the document), None for no good copy."""
        head = self._files.read(file, 0, _HEAD_BYTES)
        if len(head) < _HEAD_BYTES:
            return None
        magic, sequence, name_bytes, length, crc = struct.unpack(_HEAD, head)
        if magic != _MAGIC or name_bytes > MOST_NAME or length > MOST:
            return None
        start = _HEAD_BYTES + name_bytes + _CRC_BYTES
        if self._files.size(file) != start + length:
            return None
        name = self._files.read(file, _HEAD_BYTES, name_bytes)
        sealed = self._files.read(file, _HEAD_BYTES + name_bytes, _CRC_BYTES)
        if sealed != struct.pack(_CRC, crc32(head + name)):
            return None
        found = 0
        for offset in range(0, length, _PIECE):
            piece = self._files.read(file, start + offset, min(_PIECE, length - offset))
            found = crc32(piece, found)
        return (sequence, name.decode(), length, crc, start) if found == crc else None
