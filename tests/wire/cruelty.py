# SPDX-License-Identifier: MIT
"""Feeds vectors to the codec in every unkind way, and plays exchanges against a board.

Runs on CPython (called by the tests) and on MicroPython (as a script, see the
end). Every check returns what went wrong as text, None where all is well.
"""

from board.still import StillHardware, StillNull, let_pass
from sagline_board import commands, wire
from sagline_board.board import Board

JUNK = (b"AT\r", b"\x00\xff\xfe\n", b"@@@\n", b"*\n", b"x" * 400 + b"\n", b"\n\r\n")

WITH_NULL = "# with the null channel"


def opened(data, reader=None):
    """Return the valid envelopes in `data` as (session, seq, message)."""
    reader = reader or wire.LineReader(wire.MAX_REPLY)
    found = []
    for line in reader.feed(data):
        if line is not wire.OVERRUN:
            envelope = wire.unseal(line)
            if envelope is not None:
                found.append(envelope)
    return found


def check_whole(vector):
    session, seq, message, line = vector
    wanted = [(session, seq, message)]
    if wire.seal(session, seq, message) != line.encode():
        return "seal gives another line for " + line
    for end in (b"\n", b"\r", b"\r\n"):
        if opened(line.encode() + end) != wanted:
            return "not read whole: " + line


def check_byte_by_byte(vector):
    session, seq, message, line = vector
    reader = wire.LineReader(wire.MAX_REPLY)
    found = []
    for byte in line.encode() + b"\n":
        found += opened(bytes([byte]), reader)
    if found != [(session, seq, message)]:
        return "not read byte by byte: " + line


def check_junk_around(vector):
    session, seq, message, line = vector
    for junk in JUNK:
        if opened(junk + line.encode() + b"\n" + junk) != [(session, seq, message)]:
            return "junk %r spoils %s" % (junk[:8], line)


def check_truncated(vector):
    line = vector[3].encode()
    for length in range(len(line)):
        if opened(line[:length] + b"\n"):
            return "taken though cut to %d bytes: %s" % (length, vector[3])


def check_each_byte_flipped(vector):
    """Every byte changed in every bit, and to every other value of a few kinds."""
    line = vector[3].encode()
    for index in range(len(line)):
        for change in (1, 2, 4, 8, 16, 32, 64, 128, 255):
            damaged = line[:index] + bytes([line[index] ^ change]) + line[index + 1 :]
            if opened(damaged + b"\n"):
                return "taken though byte %d is changed: %s" % (index, vector[3])


CHECKS = (
    check_whole, check_byte_by_byte, check_junk_around, check_truncated, check_each_byte_flipped,
)  # fmt: skip


def check_damaged(line):
    if opened(line.encode() + b"\n"):
        return "taken for an envelope: " + line


def check_header(header, name):
    command = commands.find(header)
    found = "-" if command is None else command.name
    if found != name:
        return "%s means %s, not %s" % (header, found, name)


def check_exchange(lines):
    """Play one exchange: `>` to the board, `<` from it, `~ N ms` passes time.

    A first line `# with the null channel` puts one on the board.
    """
    hw = StillHardware()
    if lines[0] == WITH_NULL:
        hw = StillNull()
        lines = lines[1:]
    board = Board(hw)
    waiting = []
    for line in lines:
        if line.startswith("> "):
            if waiting:
                return "the board also said " + repr(waiting)
            board.receive(line[2:].encode() + b"\n")
            waiting = board.take_output().decode().splitlines()
        elif line.startswith("< "):
            if not waiting or waiting[0] != line[2:]:
                return "expected %r, got %r" % (line[2:], waiting)
            waiting = waiting[1:]
        elif line.startswith("~ "):
            let_pass(board, hw, int(line.split(" ")[1]) * 1000)
        else:
            return "not a line of an exchange: " + line
    if waiting:
        return "the board also said " + repr(waiting)


def check_all(vectors, damaged, headers, exchanges):
    """Return (how many checks ran, what went wrong)."""
    results = [check(vector) for vector in vectors for check in CHECKS]
    results += [check_damaged(line) for line in damaged]
    results += [check_header(header, name) for header, name in headers]
    results += [check_exchange(lines) for lines in exchanges]
    return len(results), [result for result in results if result is not None]


if __name__ == "__main__":
    import json
    import sys

    with open(sys.argv[1]) as file:
        count, wrong = check_all(*json.load(file))
    for text in wrong:
        print(text)
    print("checks %d, wrong %d" % (count, len(wrong)))
