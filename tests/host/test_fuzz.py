# SPDX-License-Identifier: MIT
"""A small run of tests/bench/fuzz.py: damaged lines into the board and into the host."""

from bench import fuzz


def test_the_board_bears_fuzzed_lines():
    seen = fuzz.fuzz_board(20_000, seed=2)
    assert seen["pulses"] > 50
    assert seen["replies"] > 2000


def test_the_host_never_takes_a_damaged_reply_for_a_right_one():
    seen = fuzz.fuzz_host(20_000, seed=2)
    assert seen["right"] > 4000
    assert seen["line_damaged"] > 0


def test_the_host_bears_a_board_gone_mad():
    seen = fuzz.fuzz_rig(20_000, seed=2)
    assert seen["steps"] > 20
    for code in ("bad_reply", "bad_profile", "bad_record", "board_m113", "session_lost"):
        assert seen[code] > 0, code


def test_no_stranger_is_taken_for_a_board():
    seen = fuzz.fuzz_stranger(20_000, seed=2)
    for code in ("repl", "modem", "other_instrument", "stranger", "no_session"):
        assert seen[code] > 0, code
