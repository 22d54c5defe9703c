# SPDX-License-Identifier: MIT
"""A small run of tests/bench/fuzz.py: damaged lines into the board and into the host."""

from bench import fuzz


def test_the_board_bears_fuzzed_lines():
    seen = fuzz.fuzz_board(20_000, seed=2)
    assert seen["pulses"] > 50
    assert seen["replies"] > 2000


def test_the_host_never_takes_a_damaged_reply_for_a_right_one():
    seen = fuzz.fuzz_host(5_000, seed=2)
    assert seen["right"] > 1000
    assert seen["no_answer"] > 0
