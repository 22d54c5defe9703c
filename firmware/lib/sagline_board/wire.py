# SPDX-License-Identifier: MIT
"""Bytes to lines, lines to messages, and back. No port, no clock, no state of a session.

Rules of this file:
- A line ends with LF, CR or CR LF; empty lines mean nothing; a line over
  MAX_LINE bytes is dropped as a whole and reported as OVERRUN.
- An envelope is `@<session>.<seq> <message>*<CRC-32>`: session 1 to 8 upper-case
  hex digits, seq 1 to 6 decimal digits, CRC-32 (zlib) as 8 upper-case hex
  digits over every byte after `@` up to the last `*`. Anything else that
  starts with `@` is damage: it is dropped, and the sender asks again.
- A message is printable ASCII.

The board and the host both import this file, so the two ends cannot drift.
"""

import binascii

MAX_LINE = 256
MAX_REPLY = 512

OVERRUN = None

_AT = 64
_DOT = 46
_SPACE = 32
_STAR = 42
_HEX = b"0123456789ABCDEF"
_DIGITS = b"0123456789"


class LineReader:
    """Collect bytes into lines, with a bound on what is kept."""

    def __init__(self, limit=MAX_LINE):
        self._limit = limit
        self._tail = b""
        self._skipping = False

    def feed(self, data):
        """Return the lines completed by `data` (bytes each, or OVERRUN for one dropped)."""
        lines = []
        pieces = bytes(data).replace(b"\r", b"\n").split(b"\n")
        for piece in pieces[:-1]:
            self._end_line(piece, lines)
        self._keep(pieces[-1])
        return lines

    def _keep(self, piece):
        if self._skipping:
            return
        if len(self._tail) + len(piece) > self._limit:
            self._tail = b""
            self._skipping = True
        else:
            self._tail = self._tail + piece

    def _end_line(self, piece, lines):
        self._keep(piece)
        if self._skipping:
            self._skipping = False
            lines.append(OVERRUN)
        elif self._tail:
            lines.append(self._tail)
        self._tail = b""


def ends_safely(line):
    """Tell whether a line's last word is one that turns the load off."""
    last = bytes(line[-5:]).upper()
    return last == b"ABORT" or last[1:] == b"ABOR" or last[1:] == b"*RST"


def crc32(data, before=0):
    """Return the CRC-32 of `data` (ITU-T V.42, as in zlib), an int of 32 bits.

    `before` is that of the bytes that come before these.
    """
    return binascii.crc32(data, before) & 0xFFFFFFFF


def is_text(data):
    """Tell whether `data` is printable ASCII from end to end."""
    return len(data) == 0 or (min(data) >= 32 and max(data) <= 126)


def seal(session, seq, message):
    """Return the envelope (bytes, no line end) around `message` (str)."""
    body = ("%s.%d %s" % (session, seq, message)).encode()
    return b"@" + body + ("*%08X" % crc32(body)).encode()


def is_sealed(line):
    """Tell whether `line` claims to be an envelope, whole or damaged."""
    return len(line) > 0 and line[0] == _AT


def unseal(line):
    """Return (session, seq, message) of an envelope, or None where it is damaged."""
    if len(line) < 14 or line[0] != _AT or line[-9] != _STAR:
        return None
    body = bytes(line[1:-9])
    tail = bytes(line[-8:])
    if ("%08X" % crc32(body)).encode() != tail or not is_text(body):
        return None
    dot = body.find(b".")
    space = body.find(b" ")
    if dot < 1 or dot > 8 or space < dot + 2 or space > dot + 7 or space == len(body) - 1:
        return None
    session = body[:dot]
    seq = body[dot + 1 : space]
    # Nothing is left of what holds no other byte.
    if session.strip(_HEX) or seq.strip(_DIGITS):
        return None
    return session.decode(), int(seq), body[space + 1 :].decode()


def split_outside_quotes(text, separator):
    """Split `text` at `separator` where it does not stand inside a quoted string."""
    parts = []
    start = 0
    quote = ""
    for index, char in enumerate(text):
        if quote:
            if char == quote:
                quote = ""
        elif char == '"' or char == "'":
            quote = char
        elif char == separator:
            parts.append(text[start:index])
            start = index + 1
    parts.append(text[start:])
    return parts


def error_text(number, text):
    """Return the reply that reports an error inside an envelope."""
    return 'ERR %d,"%s"' % (number, text)


def parse_error(message):
    """Return (number, text) of an error reply, or None where `message` is none."""
    if not message.startswith("ERR ") or not message.endswith('"'):
        return None
    comma = message.find(',"')
    if comma < 0:
        return None
    try:
        return int(message[4:comma]), message[comma + 2 : -1]
    except ValueError:
        return None
