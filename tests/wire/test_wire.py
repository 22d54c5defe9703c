# SPDX-License-Identifier: MIT
"""The codec under cruel feeding. Checksums against zlib, the published CRC check value."""

import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sagline_board import wire
from wire import cruelty, document

TEXT = document.PROTOCOL.read_text(encoding="utf-8")
VECTORS = document.envelopes(TEXT)


@pytest.mark.parametrize("check", cruelty.CHECKS)
@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector[3][:24])
def test_vector(check, vector):
    assert check(vector) is None


@pytest.mark.parametrize("line", document.blocks("damaged", TEXT)[0])
def test_what_is_no_envelope_is_dropped(line):
    assert cruelty.check_damaged(line) is None


def test_crc_check_value():
    # "123456789" gives CBF43926: check value of CRC-32/ISO-HDLC in the catalogue of
    # parametrised CRC algorithms; from memory.
    assert wire.crc32(b"123456789") == 0xCBF43926


@given(st.binary(max_size=200))
def test_crc_is_that_of_zlib(data):
    assert wire.crc32(data) == zlib.crc32(data)


MESSAGES = st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=180)
SESSIONS = st.text("0123456789ABCDEF", min_size=1, max_size=8)


@given(SESSIONS, st.integers(0, 999_999), MESSAGES)
def test_what_is_sealed_is_unsealed(session, seq, message):
    assert wire.unseal(wire.seal(session, seq, message)) == (session, seq, message)


@given(st.lists(st.binary(min_size=1, max_size=300), max_size=20))
def test_reader_gives_the_same_lines_however_the_bytes_come(pieces):
    data = b"".join(pieces)
    in_pieces = wire.LineReader()
    lines = [line for piece in pieces for line in in_pieces.feed(piece)]
    assert lines == wire.LineReader().feed(data)
    for line in lines:
        assert line is wire.OVERRUN or 0 < len(line) <= wire.MAX_LINE


def test_reader_drops_a_long_line_whole_and_goes_on():
    reader = wire.LineReader(limit=8)
    assert reader.feed(b"123456789\nabc\n") == [wire.OVERRUN, b"abc"]


def test_reader_keeps_a_bounded_tail():
    reader = wire.LineReader(limit=16)
    for _ in range(1000):
        assert reader.feed(b"x" * 100) == []
    assert len(reader._tail) <= 16


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60))
def test_error_reply_round_trip(text):
    quoted = text.replace('"', "'")
    assert wire.parse_error(wire.error_text(-113, quoted)) == (-113, quoted)


@pytest.mark.parametrize("message", ["OK", "ERR", "ERR x", 'ERR x,"y"', "1,2,3", 'ERR 1 "y"'])
def test_other_replies_are_no_errors(message):
    assert wire.parse_error(message) is None


def test_split_keeps_quoted_separators():
    assert wire.split_outside_quotes("a;\"b;c\";'d;e'", ";") == ["a", '"b;c"', "'d;e'"]
